"""Dots by search: what a dot leaves on this surface, what an eye sees of it, and better dots."""
