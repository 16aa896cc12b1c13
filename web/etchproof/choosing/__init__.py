"""Choosing a recipe from readings, and where to look next."""
