"""The daemon's socket, and what may be asked there."""
