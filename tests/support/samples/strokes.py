"""What a file of ours burns, followed word by word: the writer's code has no part in it."""

import re


def strokes(gcode):
    """Follow the file as the controller would: y, from, to and S of every move with the beam on."""
    x = y = s = 0.0
    is_relative, is_rapid, found = False, True, []
    for line in gcode.decode("ascii").splitlines():
        words = [(letter, float(v)) for letter, v in re.findall(r"([A-Z])([-.\d]+)", line)]
        codes = {f"{letter}{v:g}" for letter, v in words if letter in "GM"}
        is_relative = "G91" in codes or (is_relative and "G90" not in codes)
        is_rapid = "G0" in codes or (is_rapid and "G1" not in codes)
        values = dict(words)
        s = values.get("S", s)
        start = x
        x = values.get("X", 0.0 if is_relative else x) + (x if is_relative else 0.0)
        y = values.get("Y", 0.0 if is_relative else y) + (y if is_relative else 0.0)
        if not is_rapid and s and x != start:
            found.append((y, start, x, s))
    return found
