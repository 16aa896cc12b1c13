"""One place where real and simulated parts are chosen."""
