"""Copies: backups, restoring, exports and imports, and the room for them."""
