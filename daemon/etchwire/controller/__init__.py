"""What a motion controller can take in: its buffers, and what a line costs it."""
