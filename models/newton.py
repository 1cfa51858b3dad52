"""Newton's method for one penalised logistic fit, as bare as possible; whoever needs safety asks `fit_logistic`."""

from __future__ import annotations

import numpy as np
from scipy.special import expit

from models.arrays import FloatArray
from models.fit import certified
from models.prior import Prior
from models.standardised import Standardised

_ROUNDS = 20
_INDEPENDENT = 1e-6
"""What must be left of a column, of its own length, when what the others say (the 1 of the intercept too) is taken
from it."""


def newton(
    X: FloatArray, weight: FloatArray, cloudy: FloatArray, prior: Prior, start: FloatArray | None = None
) -> FloatArray | None:
    """Coefficients [p + 1], intercept first, when part `cloudy` [n] of each eye's `weight` [n] was cloudy.

    Full steps only, on columns brought to mean 0 and SD 1. None when they do not settle, which may be for want of an
    optimum: settled means the certificate of `fit_logistic` and a last step that moved no log-odds by more than 1e-4.
    """
    total, events = float(weight.sum()), float(cloudy.sum())
    if not 0.0 < events < total:
        return None
    columns = Standardised.of(X, weight)
    design, mean, precision = columns.design, columns.mean(prior.mean), columns.precision(prior.precision)
    # The columns have the mean 0, so that the intercept is the average of the log-odds.
    b = mean.copy() if start is None else columns.worked(start)
    if start is None:
        b[0] = np.log(events / (total - events))
    for _ in range(_ROUNDS):
        risk = expit(design @ b)
        held = weight * risk
        gradient = design.T @ (held - cloudy) + precision @ (b - mean)
        information = (design * (held * (1.0 - risk))[:, None]).T @ design + precision
        unit = 1.0 / np.sqrt(np.maximum(np.diag(information), 1e-300))
        try:
            lower = np.linalg.cholesky(information * np.outer(unit, unit))
        except np.linalg.LinAlgError:
            return None
        if float(np.diag(lower).min()) < _INDEPENDENT:
            return None
        half = np.linalg.solve(lower, unit * gradient)
        step = unit * np.linalg.solve(lower.T, half)
        moved = float(np.abs(design @ step).max())
        if not np.isfinite(moved):
            return None
        # The step of a settled fit is taken too: it squares what error the certificate leaves.
        b = b - step
        if certified(columns, gradient, total) and moved < 1e-4:
            return columns.given(b)
    return None
