"""The box beside the machine: its contacts, and the daemon's way to them."""
