"""Dots given in halves, so that runs begin and end in the middle of one."""

import numpy as np

from etchpath.writer.raster import in_parts, parts_of


def in_halves(bits):
    """Return whole dots, each given in its two halves."""
    return in_parts(bits, 2)


def half_a_dot_on(bits):
    """Return whole dots in halves, those of every other row half a dot further to the right."""
    halves = in_halves(bits)
    row = parts_of(halves)
    row[1::2, 1:] = row[1::2, :-1].copy()
    return halves


def shortest_run(halves):
    """Return of how many halves the shortest run is, burnt or bare between two burnt ones."""
    rows = (np.flatnonzero(np.diff(row, prepend=False, append=False)) for row in parts_of(halves))
    return min((length for edges in rows for length in np.diff(edges)), default=np.inf)
