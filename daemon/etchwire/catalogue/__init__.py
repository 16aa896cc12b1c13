"""Lasers, tiles and paint, recipes, cards and readings: what the logbook keeps of the craft."""
