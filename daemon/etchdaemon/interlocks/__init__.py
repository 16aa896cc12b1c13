"""What must be safe before and while there is a beam: pure."""
