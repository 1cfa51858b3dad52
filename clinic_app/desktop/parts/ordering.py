"""The stable order of a long column, made by one sort of whole numbers: value above, place below.

A sort of 64-bit numbers runs several times faster than an index sort of the same column, and a place in the low bits
makes it stable by itself. The few values that differ only in the bits that made room for the place are set right after.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

_SIGN = np.int64(0x7FFFFFFFFFFFFFFF)


def _numbers(values: NDArray[Any]) -> tuple[NDArray[Any], NDArray[np.bool_] | None]:
    """Days as whole numbers; beside them where there is no answer, None when all have one."""
    if values.dtype.kind == "M":
        absent = np.isnat(values)
        return values.view(np.int64), absent if absent.any() else None
    if values.dtype.kind == "f":
        absent = np.isnan(values)
        return values, absent if absent.any() else None
    return values, None


def _bits(values: NDArray[Any], *, falling: bool) -> NDArray[np.int64]:
    """Whole numbers [n] in the order of the values."""
    if values.dtype.kind == "f":
        bits = (values.astype(np.float64) + 0.0).view(np.int64)  # + 0.0: the two zeros are alike
        bits = np.where(bits < 0, bits ^ _SIGN, bits)
        return ~bits if falling else bits
    whole = values.astype(np.int64)
    return ~whole if falling else whole


def stable_order(values: NDArray[Any], *, falling: bool = False) -> NDArray[np.int64]:
    """Places [n] of `values` [n] (numbers, days, yes-or-no) in their order, equal ones as they stand; NaN and NaT last,
    also when `falling`."""
    numbers, absent = _numbers(values)
    if absent is not None:
        known = np.flatnonzero(~absent)
        return np.concatenate([known[_order(numbers[known], falling=falling)], np.flatnonzero(absent)])
    return _order(numbers, falling=falling)


def _order(values: NDArray[Any], *, falling: bool) -> NDArray[np.int64]:
    n = len(values)
    if n < 2:
        return np.arange(n, dtype=np.int64)
    low = (n - 1).bit_length()
    key = _bits(values, falling=falling)
    if values.dtype.kind == "f":
        key = key >> low << low
    elif int(key.max()) - int(key.min()) < 1 << (63 - low):
        key = (key - key.min()) << low
    else:
        return np.argsort(key, kind="stable")  # too far apart to leave room for the place
    key |= np.arange(n, dtype=np.int64)
    key.sort()
    order: NDArray[np.int64] = key & np.int64((1 << low) - 1)
    if values.dtype.kind == "f":
        _mend(order, key >> low, values, falling=falling)
    return order


def _mend(order: NDArray[np.int64], group: NDArray[np.int64], values: NDArray[Any], *, falling: bool) -> None:
    """Set right the order of values that were alike only without their lowest bits."""
    alike = np.flatnonzero(group[1:] == group[:-1])
    mixed = alike[values[order[alike]] != values[order[alike + 1]]]
    if len(mixed):
        places = np.flatnonzero(np.isin(group, group[mixed]))
        held = order[places]
        sign = -1.0 if falling else 1.0
        order[places] = held[np.lexsort((held, sign * values[held].astype(np.float64), group[places]))]
