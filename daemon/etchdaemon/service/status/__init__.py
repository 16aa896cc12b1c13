"""The snapshot that people are shown, and when."""
