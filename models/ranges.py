"""The 95 % range of one eye's chance: sampling, blanks, and an allowance for the form of the model."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import FloatArray, expit, matrix, vector
from models.errors import ModelError
from models.measure import Z95

MODEL_FORM_SD = 0.15
"""Allowance on the logit for the form of the model being wrong; own simulations, no published source."""


def logit_variance(covariance: ArrayLike, X: ArrayLike) -> FloatArray:
    """Sampling variance a'Va of the log-odds of eyes X [n, p], with a = (1, x), [n]; covariance: [p + 1, p + 1].

    ModelError for shapes that do not belong together, blanks, or a variance that comes out negative.
    """
    table = matrix(X, "columns")
    size = table.shape[1] + 1
    spread = matrix(covariance, "covariance", columns=size)
    if spread.shape[0] != size:
        raise _refusal(f"The covariance has the shape {spread.shape} where {(size, size)} is needed.")
    design = np.column_stack([np.ones(table.shape[0]), table])
    found = np.einsum("ij,jk,ik->i", design, spread, design)
    if (found < -1e-12 * max(1.0, float(np.abs(found).max(initial=0.0)))).any():
        raise _refusal("The covariance gives an eye a negative variance.")
    return np.asarray(np.maximum(found, 0.0))


def risk_range(
    eta: ArrayLike,
    sampling_variance: ArrayLike,
    missing_variance: ArrayLike = 0.0,
    *,
    form_sd: float = MODEL_FORM_SD,
) -> tuple[FloatArray, FloatArray]:
    """95 % range of the chance: expit(eta -/+ 1.96 sqrt(v_s + v_m + form_sd^2)), low and high.

    A single number stands for every eye. ModelError for lengths that differ, a blank or an infinite number, and a
    negative variance or allowance.
    """
    centre, sampling, missing = (
        _finite(values, name)
        for values, name in (
            (eta, "log-odds"), (sampling_variance, "sampling variances"), (missing_variance, "variances of the blanks"),
        )
    )  # fmt: skip
    if len({array.shape for array in (centre, sampling, missing) if array.ndim}) > 1:
        raise _refusal(f"The log-odds and the variances have the shapes {centre.shape}, {sampling.shape}, "
                       f"{missing.shape}.")  # fmt: skip
    if (sampling < 0.0).any() or (missing < 0.0).any() or not form_sd >= 0.0 or form_sd == np.inf:
        raise _refusal("A variance, or the allowance for the form of the model, is negative or no number.")
    half = Z95 * np.sqrt(sampling + missing + form_sd**2)
    return np.asarray(expit(centre - half)), np.asarray(expit(centre + half))


def _finite(values: ArrayLike, name: str) -> FloatArray:
    """A number or a row of numbers, as it was given."""
    array = np.asarray(values)
    return vector(array.reshape(-1), name).reshape(array.shape)


def _refusal(why: str) -> ModelError:
    return ModelError("The range cannot be worked out.", why, "Give one finite number an eye, variances of 0 or more.")
