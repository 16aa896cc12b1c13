"""The record of every etch, in SQLite."""
