"""The logbook's tables, as steps, and the file opened with them."""
