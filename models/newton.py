"""Newton's method for one penalised logistic fit, as bare as possible; whoever needs safety asks `fit_logistic`."""

from __future__ import annotations

import numpy as np
from scipy.special import expit

from models.arrays import FloatArray
from models.fit import CERTIFICATE
from models.prior import Prior

_ROUNDS = 20
_INDEPENDENT = 1e-6
"""What must be left of a column, of its own length, when what the others say (the 1 of the intercept too) is taken
from it."""


def newton(
    X: FloatArray, weight: FloatArray, cloudy: FloatArray, prior: Prior, start: FloatArray | None = None
) -> FloatArray | None:
    """Coefficients [p + 1], intercept first, when part `cloudy` [n] of each eye's `weight` [n] was cloudy.

    Full steps only. None when they do not settle, which may be for want of an optimum: settled means a gradient below
    1e-8 * n and a last step that moved no log-odds by more than 1e-4.
    """
    n, p = X.shape
    design = np.column_stack([np.ones(n), X])
    total, events = float(weight.sum()), float(cloudy.sum())
    if not 0.0 < events < total:
        return None
    mean = np.concatenate([[0.0], prior.mean])
    precision = np.zeros((p + 1, p + 1))
    precision[1:, 1:] = prior.precision
    b = mean.copy() if start is None else start.copy()
    if start is None:
        b[0] = np.log(events / (total - events)) - float(weight @ (X @ prior.mean)) / total
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
        if float(np.abs(gradient).max()) < CERTIFICATE * n and moved < 1e-4:
            return b
    return None
