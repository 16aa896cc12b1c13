"""The two firmwares: what differs between them, and their numbered settings."""
