"""A stage record as cells: taking it apart, joining it with what is stored, saying what changed."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, TypeVar

from clinic_app.domain.record import PATIENT_FIELDS, StageRecord
from clinic_app.store.cells import TO_CELL, Cell, text_of, wrong
from clinic_app.store.sums import readable
from models.codebook import BY_NAME, FIELDS, KEY, MISSING_CODES, Field, Kind, Stage, fields_of

T = TypeVar("T")

WRITERS: MappingProxyType[Stage, dict[str, Callable[[object], Cell | None]]] = MappingProxyType(
    {stage: {one.name: TO_CELL[one.kind] for one in fields_of(stage) if one.name not in KEY} for stage in Stage}
)
"""What may be written at each moment, and how it becomes a cell."""

YES_NO = frozenset(one.name for one in FIELDS if one.kind is Kind.YES_NO)

OriginCell = tuple[str | None, str | None]
"""Device or observer, and ISO day."""


def _part(told: Mapping[str, T], patient: bool) -> dict[str, T]:
    if patient:
        return {name: told[name] for name in told if name in PATIENT_FIELDS}
    kept = dict(told)
    for name in PATIENT_FIELDS:
        kept.pop(name, None)
    return kept


@dataclass(frozen=True, slots=True)
class Cells:
    """What one row says of the fields of the record; a field is in `values`, in `missing`, or in neither."""

    values: Mapping[str, Cell] = field(default_factory=dict)
    missing: Mapping[str, str] = field(default_factory=dict)
    typed: Mapping[str, str] = field(default_factory=dict)
    origin: Mapping[str, OriginCell] = field(default_factory=dict)

    def __bool__(self) -> bool:
        return bool(self.values or self.missing or self.typed or self.origin)

    def part(self, *, patient: bool) -> Cells:
        """Only what belongs to the patient, or only what does not."""
        if not any(
            name in told for told in (self.values, self.missing, self.typed, self.origin) for name in PATIENT_FIELDS
        ):
            return NOTHING if patient else self
        return Cells(
            _part(self.values, patient), _part(self.missing, patient),
            _part(self.typed, patient), _part(self.origin, patient),
        )  # fmt: skip

    def plain(self) -> dict[str, object]:
        """The same names as `flat`, numbers as numbers and yes or no as truth, for one JSON text."""
        told: dict[str, object] = {name: cell == 1 if name in YES_NO else cell for name, cell in self.values.items()}
        if self.missing:
            told.update({f"{name}_missing": code for name, code in self.missing.items()})
        if self.typed:
            told.update({f"{name}_typed": text for name, text in self.typed.items()})
        for name, (source, day) in self.origin.items():
            told.update({f"{name}_source": source, f"{name}_at": day})
        return told

    def flat(self) -> dict[str, str]:
        """As texts for the history: `<field>`, `<field>_missing`, `<field>_typed`, `<field>_source`, `<field>_at`."""
        told = {name: text_of(BY_NAME[name].kind, cell) for name, cell in self.values.items()}
        told.update({f"{name}_missing": code for name, code in self.missing.items()})
        told.update({f"{name}_typed": text for name, text in self.typed.items()})
        for name, (source, day) in self.origin.items():
            if source is not None:
                told[f"{name}_source"] = source
            if day is not None:
                told[f"{name}_at"] = day
        return told

    def columns(self, before: Iterable[str] = ()) -> dict[str, object]:
        """As columns of the row; of the empty ones only those are named that the row had `before`."""
        row: dict[str, object] = dict.fromkeys(before)
        row.update(self.values)
        row["missing"] = readable(dict(self.missing)) if self.missing else "{}"
        row["typed"] = readable(dict(self.typed)) if self.typed else "{}"
        row["origin"] = readable({name: list(one) for name, one in self.origin.items()}) if self.origin else "{}"
        return row


_NONE: MappingProxyType[str, str] = MappingProxyType({})
NOTHING = Cells(*(MappingProxyType({}) for _ in range(4)))


def cells_of(record: StageRecord) -> Cells:
    """The record as cells; ValueError or TypeError (naming fields, no values) when it is not a record of its stage."""
    writers = WRITERS[record.stage]
    for told in (record.values, record.missing, record.typed, record.origin):
        if told and not writers.keys() >= told.keys():
            name = min(told.keys() - writers.keys())
            raise ValueError(f"{name} is no field to be written at {record.stage.value}")
    if record.missing:
        both = record.values.keys() & record.missing.keys()
        if both:
            raise ValueError(f"{min(both)} has a value and a reason for having none")
        if not MISSING_CODES.keys() >= set(record.missing.values()):
            raise ValueError("a reason for a missing value is none of the codebook's")
    values: dict[str, Cell] = {}
    for name, value in record.values.items():
        cell = writers[name](value)
        if cell is None:
            raise wrong(BY_NAME[name].kind, value)
        values[name] = cell
    return Cells(
        values,
        dict(record.missing) if record.missing else _NONE,
        dict(record.typed) if record.typed else _NONE,
        {
            name: (one.source, None if one.at is None else one.at.isoformat())
            for name, one in record.origin.items()
            if one.source is not None or one.at is not None
        },
    )


def cells_from(row: Mapping[str, Any], fields: Iterable[Field]) -> Cells:
    """The cells of a stored row."""
    values = {one.name: cell for one in fields if (cell := row[one.name]) is not None}
    missing, typed, origin = (str(row[name]) for name in ("missing", "typed", "origin"))
    return Cells(
        values,
        json.loads(missing) if missing != "{}" else {},
        json.loads(typed) if typed != "{}" else {},
        {name: (one[0], one[1]) for name, one in json.loads(origin).items()} if origin != "{}" else {},
    )


def merge(stored: Cells, said: Cells) -> Cells:
    """What is known after `said` came to `stored`.

    A field not mentioned stays. A reason replaces a value, a value replaces a reason. The text as typed goes with the
    value that it explains; device and day stay until others are named or the value gives way to a reason.
    """
    if not stored:
        return said
    if says_nothing_new(stored, said):
        return stored
    values, missing = dict(stored.values), dict(stored.missing)
    typed, origin = dict(stored.typed), dict(stored.origin)
    for name, cell in said.values.items():
        if values.get(name) != cell:
            typed.pop(name, None)
        values[name] = cell
        missing.pop(name, None)
    for name, code in said.missing.items():
        if values.pop(name, None) is not None or missing.get(name) != code:
            typed.pop(name, None)
            origin.pop(name, None)
        missing[name] = code
    typed.update(said.typed)
    for name, (source, day) in said.origin.items():
        was = origin.get(name, (None, None))
        origin[name] = (was[0] if source is None else source, was[1] if day is None else day)
    return Cells(values, missing, typed, origin)


def says_nothing_new(stored: Cells, said: Cells) -> bool:
    """Whether everything said is stored already: the quick way through a file that comes a second time."""
    return (
        said.values.items() <= stored.values.items()
        and said.missing.items() <= stored.missing.items()
        and said.typed.items() <= stored.typed.items()
        and said.origin.items() <= stored.origin.items()
    )


def replaces(stored: Cells, after: Cells) -> bool:
    """Whether something that was said before is no longer there; filling a blank replaces nothing."""
    before, now = stored.flat(), after.flat()
    return any(now.get(name) != text for name, text in before.items())


def differences(stored: Cells, after: Cells) -> dict[str, tuple[str | None, str | None]]:
    """Name -> (old text, new text) of everything that changed."""
    before, now = stored.flat(), after.flat()
    names = [*now, *(name for name in before if name not in now)]
    return {name: (before.get(name), now.get(name)) for name in names if before.get(name) != now.get(name)}
