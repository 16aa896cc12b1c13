"""The practice machine's panel, and scenarios played on it."""
