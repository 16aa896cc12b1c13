"""*Machine*: connection, bed, moves and wiring."""
