"""Rows of the database turned into values of the record, many at once: each distinct text is read once only."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from datetime import date
from functools import partial
from typing import Any, Generic, TypeVar

from clinic_app.domain.record import Origin
from clinic_app.store.cells import from_cell, wrong
from models.codebook import Field, Kind

CHUNK = 2000
"""Rows turned at once."""

T = TypeVar("T")

_CONVERTED = frozenset({Kind.YES_NO, Kind.CHOICES, Kind.DATE, Kind.TIME, Kind.MOMENT})
_AS_THEY_ARE = frozenset({str, int, float, type(None)})
_MOST = 100_000
"""Distinct cells of a column, or distinct texts, that are remembered."""


class _Column:
    """Turns one column."""

    def __init__(self, kind: Kind) -> None:
        self._kind = kind
        self._convert = partial(from_cell, kind) if kind in _CONVERTED else None
        self._known: dict[object, object] = {}

    def turn(self, cells: Sequence[object]) -> Iterable[object]:
        """The values of these cells, None where the cell is empty."""
        convert, known = self._convert, self._known
        if convert is None:
            odd = set(map(type, cells)) - _AS_THEY_ARE
            if odd:
                raise wrong(self._kind, next(cell for cell in cells if type(cell) in odd))
            return cells
        if len(known) > _MOST:
            known.clear()
        for cell in set(cells).difference(known):
            known[cell] = None if cell is None else convert(cell)
        return [known[cell] for cell in cells]


class Turner:
    """Turns the columns of some fields, in their order."""

    def __init__(self, fields: Sequence[Field]) -> None:
        self._names = [one.name for one in fields]
        self._columns = [_Column(one.kind) for one in fields]

    def values(self, cells: Sequence[Sequence[object]]) -> list[dict[str, Any]]:
        """Field -> value of each row, empty cells left out; `cells` holds one sequence a field, all equally long.

        Raises TypeError or ValueError when a cell holds what is never written.
        """
        used = [at for at, many in enumerate(cells) if many.count(None) < len(many)]
        if not used:
            return [{} for _ in cells[0]] if cells else []
        names = [self._names[at] for at in used]
        turned = [self._columns[at].turn(cells[at]) for at in used]
        return [
            {name: value for name, value in zip(names, row, strict=True) if value is not None}
            for row in zip(*turned, strict=True)
        ]


class Texts(Generic[T]):
    """Reads the texts that stand beside the columns; what comes of one is shared by its rows and never changed."""

    def __init__(self, convert: Callable[[str], T]) -> None:
        self._convert = convert
        self._known: dict[str, T] = {}

    def read(self, text: str) -> T:
        """What the text says."""
        if text not in self._known:
            if len(self._known) > _MOST:
                self._known.clear()
            self._known[text] = self._convert(text)
        return self._known[text]


def told(text: str) -> dict[str, str]:
    """Reasons, or texts as typed: field -> text."""
    return dict(json.loads(text))


def origins(text: str) -> dict[str, Origin]:
    """Field -> device and day."""
    return {
        name: Origin(source, None if day is None else date.fromisoformat(day))
        for name, (source, day) in json.loads(text).items()
    }


def flat_reasons(text: str) -> dict[str, object]:
    """Reasons under the names that they have in a flat row."""
    return {f"{name}_missing": code for name, code in json.loads(text).items()}


def flat_origins(text: str) -> dict[str, object]:
    """Devices and days under the names that they have in a flat row, absent ones left out."""
    flat: dict[str, object] = {}
    for name, one in origins(text).items():
        if one.source is not None:
            flat[f"{name}_source"] = one.source
        if one.at is not None:
            flat[f"{name}_at"] = one.at
    return flat
