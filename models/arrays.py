"""Reading what callers give: float64 arrays of the right shape without blanks, or a refusal in plain words."""

from __future__ import annotations

import math

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
    kind = labels.dtype.kind
    if kind not in "iubUS" and any(_blank(label) for label in labels.tolist()):
        raise ModelError("The patients do not fit.", "A patient label is blank.", "Give every eye its patient.")
    if not length:
        return np.zeros(0, dtype=np.int64)
    if kind in "iu":
        numbers = labels.astype(np.int64) if kind == "i" else labels
        lowest = numbers.min()
        if int(numbers.max()) - int(lowest) <= 4 * length:
            return _numbered((numbers - lowest).astype(np.int64))
    if kind in "OU":
        labels = labels.astype(str)
        letters = labels.view(np.uint32).reshape(length, -1)
        if letters.max() < 128:
            return _numbered(_text_codes(letters.astype(np.uint8)))
    # A dictionary keeps the order of first appearance.
    names = labels.tolist()
    places = {name: place for place, name in enumerate(dict.fromkeys(names))}
    return np.fromiter(map(places.__getitem__, names), dtype=np.int64, count=length)


def _blank(label: object) -> bool:
    return label is None or (isinstance(label, float) and math.isnan(label))


def _numbered(labels: IntArray) -> IntArray:
    """Whole numbers from 0, not much larger than there are eyes, renumbered in the order of first appearance."""
    length = labels.shape[0]
    first = np.full(int(labels.max()) + 1, length, dtype=np.int64)
    # Of assignments to the same place the last one holds; backwards, that is the first appearance.
    first[labels[::-1]] = np.arange(length - 1, -1, -1)
    opens = np.zeros(length, dtype=np.int64)
    opens[first[first < length]] = 1
    return (np.cumsum(opens) - 1)[first[labels]]


def _text_codes(letters: NDArray[np.uint8]) -> IntArray:
    """The same number for the same text, from ASCII letters [n, length]: eight letters are compared as one number."""
    wide = np.zeros((letters.shape[0], -(-letters.shape[1] // 8) * 8), dtype=np.uint8)
    wide[:, : letters.shape[1]] = letters
    words = wide.view(np.uint64)
    codes = _ranks(words[:, 0])
    for word in words.T[1:]:
        more = _ranks(word)
        codes = _ranks(codes * (more.max() + 1) + more)
    return codes


def _ranks(values: NDArray[np.uint64] | IntArray) -> IntArray:
    """Place of each value among the different values, from 0."""
    order = np.argsort(values)
    placed = values[order]
    codes = np.zeros(values.shape[0], dtype=np.int64)
    codes[order[1:]] = np.cumsum(placed[1:] != placed[:-1])
    return codes


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
