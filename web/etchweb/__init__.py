"""The page: phones talk to this process, and it asks the daemon."""
