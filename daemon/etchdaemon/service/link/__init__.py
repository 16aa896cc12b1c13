"""The controller as the loop sees it: port, answers, what was measured of it."""
