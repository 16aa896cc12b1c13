"""Files, sheets and recordings to test with, and readers to compare with."""
