"""The sum over the fields of a row, and texts that are the same for the same value, always."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from functools import lru_cache

SUM = "row_sum"
_EXACT = json.JSONEncoder(separators=(",", ":"), allow_nan=False)
_PLAIN = json.JSONEncoder(separators=(",", ":"), allow_nan=False, ensure_ascii=False)


def readable(value: object) -> str:
    """JSON for the database's own texts: sorted, letters as they are, finite numbers only."""
    return json.dumps(value, separators=(",", ":"), allow_nan=False, sort_keys=True, ensure_ascii=False)


def as_json(told: Mapping[str, object]) -> str:
    """The same in the order given: quick."""
    return _PLAIN.encode(told)


def digest(told: object) -> str:
    """SHA-256 of the value as JSON without blanks, ASCII only: each value has one such text, and no two share it.

    TypeError or ValueError for what the store never holds: bytes, infinities.
    """
    return hashlib.sha256(_EXACT.encode(told).encode()).hexdigest()


@lru_cache(maxsize=64)
def _order(names: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(sorted(str(name) for name in names if name != SUM))


def sum_of(row: Mapping[str, object]) -> str:
    """Sum of a row: the first 128 bits of SHA-256 over names and values, in order of the names.

    Empty cells do not count, so that a column added later leaves the sums of older rows as they are.
    """
    return digest({name: cell for name in _order(tuple(row)) if (cell := row[name]) is not None})[:32]
