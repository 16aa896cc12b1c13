"""Processes that are killed at any moment, and what is found afterwards."""
