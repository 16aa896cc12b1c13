"""The command: one module per subcommand, nothing else."""
