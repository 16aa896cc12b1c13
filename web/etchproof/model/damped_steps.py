"""Least squares by Levenberg's damped steps."""

from collections.abc import Callable
from functools import partial
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]

_MOST_STEPS: Final = 200
_LEAST_DAMPING: Final = 1e-12  # with less, figures that say the same could not be told apart
_MOST_DAMPING: Final = 1e12
_ENOUGH: Final = 1e-9  # of the sum of squares: a step that gains less is the last


def least_squares(
    misses: Callable[[Floats], Floats],
    figures: Floats,
    slopes_at: Callable[[Floats], Floats] | None = None,
) -> Floats:
    """Return the figures near the given ones that make the sum of squared misses least.

    `slopes_at` gives the misses' slopes by each figure, shape (misses, figures); without it they
    are tried out (`jacobian`). No figure changes by more than 1 in one step.
    """
    slopes_at = slopes_at or partial(jacobian, misses)
    damping, here = 1e-2, misses(figures)
    cost, slopes = float(here @ here), slopes_at(figures)
    square, pull = slopes.T @ slopes, slopes.T @ here
    for _ in range(_MOST_STEPS):
        held = damping * (square.diagonal() + 1e-9)
        step = np.linalg.solve(square + np.diag(held), pull)
        if step @ (pull + held * step) < _ENOUGH * cost:  # what it gains were the slopes straight
            break
        tried = figures - np.clip(step, -1, 1)
        there = misses(tried)
        its_cost = float(there @ there)
        if its_cost < cost:
            gain, damping = cost - its_cost, max(damping / 3, _LEAST_DAMPING)
            figures, here, cost = tried, there, its_cost
            if gain < _ENOUGH * cost:
                break
            slopes = slopes_at(figures)
            square, pull = slopes.T @ slopes, slopes.T @ here
        else:
            damping *= 4
            if damping > _MOST_DAMPING:
                break
    return figures


def jacobian(function: Callable[[Floats], Floats], at: Floats) -> Floats:
    """Return the slopes of `function` by each figure, shape (misses, figures)."""
    here = function(at)
    return np.stack(
        [(function(at + step) - here) / 1e-6 for step in np.eye(len(at)) * 1e-6], axis=1
    )
