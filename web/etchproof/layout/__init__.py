"""Laying cards out: what is etched where, with which settings, and as which dots and rows."""
