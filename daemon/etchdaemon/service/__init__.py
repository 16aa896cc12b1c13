"""The loop that owns the port, and what it keeps beside it."""
