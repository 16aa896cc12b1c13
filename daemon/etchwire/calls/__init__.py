"""Everything that may be asked of the daemon, each with its parameters and its answer."""
