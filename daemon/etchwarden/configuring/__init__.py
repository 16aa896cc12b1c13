"""Writing a machine's first file: what may stand in it, what is asked, and how it is written."""
