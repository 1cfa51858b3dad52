"""The sum over the fields of a row, and texts that are the same for the same value, always."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from json.encoder import encode_basestring_ascii

SUM = "row_sum"
_EXACT = json.JSONEncoder(separators=(",", ":"), allow_nan=False)
_PLAIN = json.JSONEncoder(separators=(",", ":"), allow_nan=False, ensure_ascii=False)
_REMEMBERED = 5_000
"""Distinct cells of a field that are remembered."""


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
    return _hashed(_EXACT.encode(told))


def digest_of_line(told: Sequence[str | int | None]) -> str:
    """`digest` of a list of texts, whole numbers and empty cells: the same, and quicker for the lines of a history."""
    parts = [
        encode_basestring_ascii(one) if isinstance(one, str) else "null" if one is None else _EXACT.encode(one)
        for one in told
    ]
    return _hashed(f"[{','.join(parts)}]")


def _hashed(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


class _Entry(dict[object, str]):
    """Cell of one field -> the entry of a JSON object that says it."""

    def __init__(self, name: str, encoder: json.JSONEncoder) -> None:
        super().__init__()
        self._name, self._encoder = encoder.encode(name), encoder

    def __missing__(self, cell: object) -> str:
        if len(self) >= _REMEMBERED:
            self.clear()
        text = self[cell] = f"{self._name}:{self._encoder.encode(cell)}"
        return text


class _Entries(dict[str, _Entry]):
    def __init__(self, encoder: json.JSONEncoder) -> None:
        super().__init__()
        self._encoder = encoder

    def __missing__(self, name: str) -> _Entry:
        entry = self[name] = _Entry(name, self._encoder)
        return entry


class Remembering:
    """`sum_of` and `as_json` for many rows of the record whose fields say the same again and again.

    Each distinct cell of a field is written as JSON once. All cells of a field must be of one type, as in the store,
    since 1, 1.0 and true are the same to a dictionary.
    """

    def __init__(self) -> None:
        self._exact, self._plain = _Entries(_EXACT), _Entries(_PLAIN)

    def sum_of(self, row: Mapping[str, object]) -> str:
        """As the function `sum_of`."""
        entries = self._exact
        told = [entries[name][row[name]] for name in sorted(row) if row[name] is not None and name != SUM]
        return _hashed(f"{{{','.join(told)}}}")[:32]

    def as_json(self, told: Mapping[str, object]) -> str:
        """As the function `as_json`."""
        entries = self._plain
        return f"{{{','.join([entries[name][cell] for name, cell in told.items()])}}}"


def sum_of(row: Mapping[str, object]) -> str:
    """Sum of a row: the first 128 bits of SHA-256 over names and values, in order of the names.

    Empty cells do not count, so that a column added later leaves the sums of older rows as they are.
    """
    return digest({name: row[name] for name in sorted(row) if row[name] is not None and name != SUM})[:32]
