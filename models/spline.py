"""Restricted cubic splines: smooth curves that are straight beyond the outer knots."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import FloatArray, vector
from models.errors import ModelError

KNOT_SHARES: Mapping[int, tuple[float, ...]] = MappingProxyType(
    {3: (0.10, 0.50, 0.90), 4: (0.05, 0.35, 0.65, 0.95), 5: (0.05, 0.275, 0.50, 0.725, 0.95)}
)
"""Where the knots stand, as shares of the eyes. Harrell FE. Regression Modeling Strategies, 2nd ed. 2015, table 2.3."""


def quantile_knots(x: ArrayLike, number: int) -> FloatArray:
    """Knots [number] at the usual shares of `x`; refused when two knots would stand at the same place."""
    values = vector(x, "measurements")
    if number not in KNOT_SHARES:
        raise ModelError("The curve cannot be drawn.", f"{number} knots are not foreseen.", "Use 3, 4 or 5 knots.")
    if values.shape[0] == 0:
        raise ModelError("The curve cannot be drawn.", "There are no measurements.", "Give measurements.")
    return _checked(np.quantile(values, KNOT_SHARES[number]))


def restricted_cubic(x: ArrayLike, knots: ArrayLike) -> FloatArray:
    """Columns [n, k - 1] of a restricted cubic spline with k knots: x itself, then k - 2 curved terms.

    The curved terms are divided by (last knot - first knot)^2, so that they keep the unit of x (Harrell 2015,
    section 2.4.5).
    """
    values = vector(x, "measurements")
    t = _checked(vector(knots, "knots"))
    last, before = t[-1], t[-2]
    cubes = np.maximum(values[:, None] - t[None, :], 0.0) ** 3
    inner = t[:-2]
    curved = (
        cubes[:, :-2]
        - cubes[:, -2:-1] * (last - inner) / (last - before)
        + cubes[:, -1:] * (before - inner) / (last - before)
    )
    return np.column_stack([values, curved / (last - t[0]) ** 2])


def curve_term(x: ArrayLike, knots: ArrayLike) -> FloatArray:
    """The one curved term [n] of a 3-knot spline; zero below the first knot."""
    t = vector(knots, "knots", 3)
    return restricted_cubic(x, t)[:, 1]


def _checked(knots: FloatArray) -> FloatArray:
    if knots.shape[0] < 3 or (np.diff(knots) <= 0.0).any():
        raise ModelError(
            "The curve cannot be drawn.",
            "Its knots must be three or more and all different.",
            "Use fewer knots, or a straight line.",
        )
    return knots
