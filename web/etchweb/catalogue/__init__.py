"""Lasers, tiles and paints, and the recipe of each pair."""
