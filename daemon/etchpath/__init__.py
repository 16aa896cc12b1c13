"""G-code in and out: pure."""
