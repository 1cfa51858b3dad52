"""The 95 % range of one eye's chance: sampling, blanks, and an allowance for the form of the model."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import FloatArray, expit, matrix
from models.measure import Z95

MODEL_FORM_SD = 0.15
"""Allowance on the logit for the form of the model being wrong; own simulations, no published source."""


def logit_variance(covariance: FloatArray, X: ArrayLike) -> FloatArray:
    """Sampling variance a'Va of the log-odds of eyes X [n, p], with a = (1, x), [n]."""
    table = matrix(X, "columns", columns=covariance.shape[0] - 1)
    design = np.column_stack([np.ones(table.shape[0]), table])
    return np.asarray(np.einsum("ij,jk,ik->i", design, covariance, design))


def risk_range(
    eta: ArrayLike,
    sampling_variance: ArrayLike,
    missing_variance: ArrayLike = 0.0,
    *,
    form_sd: float = MODEL_FORM_SD,
) -> tuple[FloatArray, FloatArray]:
    """95 % range of the chance: expit(eta -/+ 1.96 sqrt(v_s + v_m + form_sd^2)), low and high."""
    centre = np.asarray(eta, dtype=np.float64)
    spread = np.asarray(sampling_variance, dtype=np.float64) + np.asarray(missing_variance, dtype=np.float64)
    half = Z95 * np.sqrt(spread + form_sd**2)
    return np.asarray(expit(centre - half)), np.asarray(expit(centre + half))
