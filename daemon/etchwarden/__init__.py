"""The command and what it stands on: practice sessions, installation, self-check."""
