"""Designs for tests, as their files are written. Our own inventions."""

import numpy as np

from etchphoto.layout.composing import composed, set_letterings
from etchphoto.layout.design_file import design_of_table
from etchphoto.layout.grid import Grid
from etchphoto.layout.jig_file import jig_of_table
from etchphoto.layout.mural_file import mural_of_table
from etchphoto.layout.tables import read_text

SIGN = """
format = "etchwarden-design"
version = 1
name = "House number"

[tile]
width_mm = 60
height_mm = 40
margin_mm = 2

[[layer]]
kind = "outline"
shape = "rounded"
line_mm = 1
corner_mm = 4

[[layer]]
kind = "lettering"
name = "number"
text = "23"
font = "Aileron"
box = { left_mm = 10, top_mm = 5, width_mm = 40, height_mm = 20 }

[[layer]]
kind = "lettering"
text = "Jorgen & Zoe"
size_mm = 3
ink = "white"
field_mm = 1
box = { left_mm = 8, top_mm = 27, width_mm = 44, height_mm = 8 }
"""

PORTRAIT = """
format = "etchwarden-design"
version = 1
name = "Portrait"

[tile]
width_mm = 20
height_mm = 20
margin_mm = 0

[[layer]]
kind = "photo"

[[layer]]
kind = "mask"
shape = "circle"
soft_mm = 4

[[layer]]
kind = "lettering"
name = "who"
text = "Ida"
size_mm = 2
stand = "bottom"
"""

MURAL = """
format = "etchwarden-mural"
version = 1
name = "Harbour & sea"

[wall]
columns = 3
rows = 2
tile_width_mm = 10
tile_height_mm = 8
joint_mm = 1.25
"""

JIG = """
format = "etchwarden-jig"
version = 1
name = "Signs"
exhaust = "left"
tile_mm = 8
focus_depth_mm = 0.5

[pockets]
columns = 3
rows = 1
pitch_x_mm = 65
pitch_y_mm = 45
width_mm = 61
height_mm = 41

[corners]
lower_left_mm = [5.0, 5.0]
upper_right_mm = [196.0, 46.0]
"""


def design_of_toml(text):
    return read_text(text, design_of_table)


def jig_of_toml(text):
    return read_text(text, jig_of_table)


def mural_of_toml(text):
    return read_text(text, mural_of_table)


def design(layers, width_mm=40.0, height_mm=30.0, margin_mm=0.0):
    """Return a design of these layers, each the text of its entries."""
    head = f"width_mm = {width_mm}\nheight_mm = {height_mm}\nmargin_mm = {margin_mm}\n"
    tables = "".join(f"\n[[layer]]\n{layer}\n" for layer in layers)
    return design_of_toml(
        f'format = "etchwarden-design"\nversion = 1\nname = "test"\n[tile]\n{head}{tables}'
    )


def dots(layers, spacing_mm=0.1, photo=None, **tile):
    """Return the dots of these layers; `photo` makes a photo's dots."""
    made = design(layers, **tile)
    grid = Grid.of(made.tile, spacing_mm)
    return composed(made, grid, set_letterings(made), photo)


def all_black(rows, columns):
    """Return a photo that burns wherever its masks keep half of it; no mask keeps all."""

    def photo(fade):
        kept = np.ones((rows, columns)) if fade is None else fade(slice(0, rows))
        return kept >= 0.5

    return photo


def span_mm(burnt, spacing_mm=0.1):
    """Return where burnt dots begin and end along a line of dots, in mm."""
    at = np.flatnonzero(burnt)
    return at[0] * spacing_mm, (at[-1] + 1) * spacing_mm
