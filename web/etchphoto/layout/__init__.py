"""Designs: photo, lettering, outlines and masks laid on one tile, or one photo over many tiles."""
