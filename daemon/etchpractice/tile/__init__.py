"""The tile under the head: what light fell on it, and what it looks like."""
