"""Orders: who wants which tiles by when, and how far they are."""
