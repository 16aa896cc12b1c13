"""A practice session: its processes, an etch from load to record, and scenarios played in it."""
