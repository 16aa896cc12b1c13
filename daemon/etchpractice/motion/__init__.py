"""Blocks, planned and run as segments, with the light that follows them."""
