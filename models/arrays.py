"""Reading what callers give: float64 arrays of the right shape without blanks, or a refusal in plain words."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.errors import ModelError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


def _floats(values: ArrayLike, name: str) -> FloatArray:
    try:
        return np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise ModelError(
            f"The {name} cannot be read.", "They hold something that is not a number.", "Give numbers only."
        ) from error


def _refuse_not_finite(array: FloatArray, name: str) -> None:
    if not np.isfinite(array).all():
        raise ModelError(
            f"The {name} cannot be used.",
            "They hold a blank or an infinite number.",
            "Fill the blanks or leave those eyes out.",
        )


def vector(values: ArrayLike, name: str, length: int | None = None) -> FloatArray:
    """One finite number per eye; `length` is how many there must be."""
    array = _floats(values, name)
    if array.ndim != 1 or (length is not None and array.shape[0] != length):
        wanted = "one row of numbers" if length is None else f"{length} numbers"
        raise ModelError(
            f"The {name} do not fit.",
            f"Needed are {wanted}, given is an array of shape {array.shape}.",
            "Give one number per eye, in the same order as the other arrays.",
        )
    _refuse_not_finite(array, name)
    return array


def matrix(values: ArrayLike, name: str, *, columns: int | None = None, blanks: bool = False) -> FloatArray:
    """A table, eyes by columns; NaN is allowed only with `blanks`, infinities never."""
    array = _floats(values, name)
    if array.ndim != 2 or (columns is not None and array.shape[1] != columns):
        wanted = "a table of eyes by columns" if columns is None else f"a table with {columns} columns"
        raise ModelError(
            f"The {name} do not fit.",
            f"Needed is {wanted}, given is an array of shape {array.shape}.",
            "Give one row per eye and one column per term.",
        )
    _refuse_not_finite(np.where(np.isnan(array), 0.0, array) if blanks else array, name)
    return array


def outcomes(values: ArrayLike, length: int | None = None) -> FloatArray:
    """Outcomes seen, 1 cloudy and 0 clear."""
    array = vector(values, "outcomes", length)
    if not np.isin(array, (0.0, 1.0)).all():
        raise ModelError(
            "The outcomes cannot be used.", "An outcome is neither 0 nor 1.", "Give 1 for cloudy and 0 for clear."
        )
    return array


def risks(values: ArrayLike, length: int | None = None) -> FloatArray:
    """Chances as fractions, 0 to 1."""
    array = vector(values, "chances", length)
    if ((array < 0.0) | (array > 1.0)).any():
        raise ModelError(
            "The chances cannot be used.", "A chance lies outside 0 to 1.", "Give fractions, not per cent."
        )
    return array


def row_weights(values: ArrayLike | None, length: int) -> FloatArray:
    """Weights of eyes, none negative and not all zero; ones where nothing is given."""
    if values is None:
        return np.ones(length)
    array = vector(values, "weights", length)
    if (array < 0.0).any() or not (array > 0.0).any():
        raise ModelError(
            "The weights cannot be used.", "A weight is negative, or all are zero.", "Give weights of zero or more."
        )
    return array


def cluster_codes(clusters: ArrayLike, length: int) -> IntArray:
    """Patients numbered 0, 1, ... in the order in which they first appear, so that renaming them changes nothing."""
    labels = np.asarray(clusters)
    if labels.ndim != 1 or labels.shape[0] != length:
        raise ModelError(
            "The patients do not fit.",
            f"Needed are {length} patient labels, given is an array of shape {labels.shape}.",
            "Give one patient label per eye.",
        )
    if (labels.dtype.kind == "f" and np.isnan(labels).any()) or any(label is None for label in labels.tolist()):
        raise ModelError("The patients do not fit.", "A patient label is blank.", "Give every eye its patient.")
    if labels.dtype.kind == "O":
        labels = labels.astype(str)
    _, first, inverse = np.unique(labels, return_index=True, return_inverse=True)
    order = np.empty(first.shape[0], dtype=np.int64)
    order[np.argsort(first)] = np.arange(first.shape[0])
    return order[inverse.reshape(-1)]


def sums_by_cluster(values: FloatArray, codes: IntArray) -> FloatArray:
    """Sums of the rows of `values` [n, q] within each cluster, [G, q]."""
    size = int(codes.max()) + 1
    return np.column_stack([np.bincount(codes, weights=column, minlength=size) for column in values.T])


def has_logit(risk: FloatArray) -> bool:
    """True when no chance is exactly 0 or 1."""
    return bool(((risk > 0.0) & (risk < 1.0)).all())


def logit(risk: FloatArray) -> FloatArray:
    """Natural log-odds of chances strictly between 0 and 1."""
    return np.log(risk) - np.log1p(-risk)


def expit(log_odds: ArrayLike) -> FloatArray:
    """Chances of log-odds, right to the last digits on both sides."""
    return np.asarray(np.exp(-np.logaddexp(0.0, -np.asarray(log_odds, dtype=np.float64))))


def frozen(array: ArrayLike) -> FloatArray:
    """A read-only float64 copy, for results that must not change under their reader."""
    copy = np.array(array, dtype=np.float64)
    copy.flags.writeable = False
    return copy
