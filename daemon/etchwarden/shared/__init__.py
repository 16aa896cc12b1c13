"""What several commands share: options, what is asked of the daemon, and how it is told."""
