"""What is usual for a nucleus like this one: the range of fluid, energy or minutes in the practice's own cases."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri
from sklearn.linear_model import QuantileRegressor

from models.arrays import FloatArray, matrix, vector
from models.errors import ModelError

FEWEST_BEYOND = 10
"""Cases wanted beyond each quantile for every coefficient; common practice, no source."""


def usual_range(
    X: ArrayLike,
    y: ArrayLike,
    X_new: ArrayLike,
    quantiles: Sequence[float] = (0.1, 0.5, 0.9),
) -> FloatArray:
    """Quantiles of y for cases X_new [m, p], learnt from cases X [n, p], y [n]; returns [m, number of quantiles].

    Linear quantile regression (Koenker R, Bassett G. Econometrica 1978;46:33, from memory). y is used as given: hand
    over the logarithm of a skewed measurement and take exp of the answer. Where n min(q, 1 - q) is below 10 for each
    coefficient, all quantiles come from the ordinary least squares line and the normal spread about it instead (with
    the logarithm as y: a log-normal spread). Where lines cross among cases like the ones learnt from they are
    put in order; beyond these the bare lines are returned, which may cross.
    """
    table = matrix(X, "columns")
    n, p = table.shape
    measured = vector(y, "measurements", n)
    new = matrix(X_new, "columns", columns=p)
    levels = vector(list(quantiles), "quantiles")
    if ((levels <= 0.0) | (levels >= 1.0)).any() or (np.diff(levels) <= 0.0).any():
        raise _refusal("The quantiles must rise and lie between 0 and 1.")
    if n <= p + 1:
        raise _refusal(f"{n} cases are too few for {p + 1} coefficients.")
    if enough(n, p, levels):
        lines = np.column_stack(
            [
                QuantileRegressor(quantile=level, alpha=0.0, solver="highs").fit(table, measured).predict(new)
                for level in levels.tolist()
            ]
        )
        like_ours = ((new >= table.min(axis=0)) & (new <= table.max(axis=0))).all(axis=1)
        return np.where(like_ours[:, None], np.sort(lines, axis=1), lines)
    design = np.column_stack([np.ones(n), table])
    coefficients, _, rank, _ = np.linalg.lstsq(design, measured, rcond=None)
    sd = float(np.sqrt(((measured - design @ coefficients) ** 2).sum() / (n - rank)))
    middle = np.column_stack([np.ones(new.shape[0]), new]) @ coefficients
    return np.asarray(middle[:, None] + sd * ndtri(levels)[None, :])


def enough(n: int, p: int, quantiles: ArrayLike) -> bool:
    """True when n cases carry quantile regression on p columns and an intercept at all these quantiles."""
    levels = np.asarray(quantiles, dtype=np.float64)
    beyond = n * float(np.minimum(levels, 1.0 - levels).min())
    return beyond >= FEWEST_BEYOND * (p + 1) * (1.0 - 1e-12)


def _refusal(why: str) -> ModelError:
    return ModelError("The usual range cannot be worked out.", why, "Wait for more cases, or use fewer columns.")
