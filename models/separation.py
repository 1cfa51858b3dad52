"""Does a best fit exist at all? The exact answer, by linear programming."""

from __future__ import annotations

import numpy as np
from scipy.optimize import linprog

from models.arrays import FloatArray


def separating_columns(design: FloatArray, outcome: FloatArray, precision: FloatArray) -> tuple[int, ...]:
    """Numbers of the columns along which the likelihood rises for ever; empty when a best fit exists.

    design: [n, q] with the intercept in column 0; outcome: [n] 0/1; precision: [q, q], zero where nothing holds a
    coefficient. The returned numbers count the columns after the intercept from 0.

    A direction d separates when (2y - 1) * design d >= 0 for every eye, > 0 for one, and the prior is flat along it.
    Sources: Albert A, Anderson JA. Biometrika 1984;71:1-10; Konis K. Linear programming algorithms for detecting
    separated data. DPhil thesis, Oxford 2007 (both from memory).
    """
    centre = np.concatenate([[0.0], design[:, 1:].mean(axis=0)])
    scale = np.concatenate([[1.0], np.abs(design[:, 1:] - centre[1:]).max(axis=0, initial=0.0)])
    scale[scale == 0.0] = 1.0
    scaled = (design - centre) / scale
    signed = scaled * (2.0 * outcome - 1.0)[:, None]
    free = np.abs(precision).max(axis=0, initial=0.0) == 0.0
    flat = None if free.all() else precision[~free] / scale[None, :]
    result = linprog(
        -signed.sum(axis=0),
        A_ub=-signed,
        b_ub=np.zeros(signed.shape[0]),
        A_eq=flat,
        b_eq=None if flat is None else np.zeros(flat.shape[0]),
        bounds=(-1.0, 1.0),
        method="highs",
    )
    # The solver meets its bounds to 1e-7 only; a direction that separates moves some eye by far more.
    if result.status != 0 or float((signed @ result.x).max()) < 1e-4:
        return ()
    return tuple(int(j) - 1 for j in np.flatnonzero(np.abs(result.x) > 1e-7) if j > 0)
