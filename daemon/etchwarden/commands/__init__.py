"""The command, one module a subcommand."""
