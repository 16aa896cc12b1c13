"""The practice machine: a controller, its motion and a tile, in a process of its own."""
