"""Lettering: fonts of this computer, lines of text set in millimetres, and their dots."""
