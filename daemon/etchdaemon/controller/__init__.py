"""What the motion controller says and is told: pure, bytes in and events out."""
