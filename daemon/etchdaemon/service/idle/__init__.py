"""Between runs: jobs come and go, the head moves, the controller carries out commands."""
