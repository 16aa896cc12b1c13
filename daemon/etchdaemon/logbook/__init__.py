"""What was done, on disk: every run, what was really run in each row, and every event."""
