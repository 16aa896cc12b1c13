"""The self-check: facts are gathered by a thin shell, and tables of pure checks judge them."""
