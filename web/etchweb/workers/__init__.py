"""Heavy work in child processes."""
