"""Stand-ins for what a test has not: a daemon, a board, a disk, a broker's boxes."""
