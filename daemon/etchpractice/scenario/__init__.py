"""Scenarios: what is to happen in an etch, when, and what must come of it."""
