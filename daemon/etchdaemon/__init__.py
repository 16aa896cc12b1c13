"""The process that owns the machine."""
