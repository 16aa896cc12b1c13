"""Real parts put together for a test, and hands to work them."""
