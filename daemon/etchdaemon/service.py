"""The loop that owns the port."""
