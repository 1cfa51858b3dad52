"""The record of one eye at one operation, as it travels between file, store, arithmetic and screen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from types import MappingProxyType

from models.codebook import Stage

Value = str | int | float | bool | date | time | datetime | tuple[str, ...]
"""A value of the record; its type follows from the field's kind."""

Row = Mapping[str, object]
"""A case laid flat: codebook name -> value (absent or None when missing), `<name>_missing` -> reason code,
`<name>_source` and `<name>_at` -> device and day of a measurement."""

PATIENT_FIELDS: tuple[str, ...] = ("birth_date", "sex")
"""What belongs to the patient and is shared by both eyes."""

_EMPTY: Mapping[str, str] = MappingProxyType({})


@dataclass(frozen=True, slots=True, order=True)
class CaseKey:
    """One operated eye at one operation."""

    patient_id: str
    eye: str
    surgery_date: date


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a measurement came from: device or observer, and the day it was made."""

    source: str | None = None
    at: date | None = None


@dataclass(frozen=True, slots=True)
class StageRecord:
    """What was written at one moment.

    `values` holds only fields of the stage that have a value; `missing` the reason code of fields that have none;
    `typed` the text as typed where it says more than the value (a comparator such as "<1000", a unit, a plus);
    `origin` device and day of measured fields. The key fields are not repeated here.
    """

    stage: Stage
    values: Mapping[str, Value]
    missing: Mapping[str, str] = field(default_factory=lambda: _EMPTY)
    typed: Mapping[str, str] = field(default_factory=lambda: _EMPTY)
    origin: Mapping[str, Origin] = field(default_factory=dict)

    def row(self) -> dict[str, object]:
        """The record laid flat: values, reasons, and where measurements came from."""
        flat: dict[str, object] = dict(self.values)
        if self.missing:
            flat.update({f"{name}_missing": code for name, code in self.missing.items()})
        if self.origin:
            flat.update({f"{name}_source": one.source for name, one in self.origin.items() if one.source is not None})
            flat.update({f"{name}_at": one.at for name, one in self.origin.items() if one.at is not None})
        return flat


@dataclass(frozen=True, slots=True)
class Written:
    """A stage record as the store holds it: with its version, author and time (UTC)."""

    record: StageRecord
    version: int
    by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Case:
    """Everything the practice wrote about one operated eye."""

    key: CaseKey
    stages: Mapping[Stage, Written]
    rechecks: tuple[Written, ...] = ()

    def has(self, stage: Stage) -> bool:
        """Whether that moment has been written."""
        return stage in self.stages

    def row(self) -> dict[str, object]:
        """The case laid flat, key included; rechecks are left out, derived values not yet worked out."""
        flat: dict[str, object] = {
            "patient_id": self.key.patient_id,
            "eye": self.key.eye,
            "surgery_date": self.key.surgery_date,
        }
        for written in self.stages.values():
            flat.update(written.record.row())
        return flat


@dataclass(frozen=True, slots=True)
class ModelEntry:
    """A model as the practice keeps it. `model_id` is kind and number, e.g. `booking-3`."""

    model_id: str
    model: str
    number: int
    state: str
    card_text: str
    made_at: datetime
    made_by: str
    decided_at: datetime | None = None
    decided_by: str | None = None
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class StoredForecast:
    """A forecast as it was made: number or refusal, what it was made from, and whether it is the locked one.

    `inputs` are the values of the model's fields at that moment. `locked` is set when the next stage was written
    (theatre for a booking forecast, day one for an end-of-case forecast): the last forecast before it.
    """

    key: CaseKey
    model_id: str
    model: str
    made_at: datetime
    made_by: str
    status: str
    risk: float | None
    low: float | None
    high: float | None
    inputs: Mapping[str, object]
    note: str = ""
    locked: bool = False
    forecast_id: int | None = None


@dataclass(frozen=True, slots=True)
class HistoryEntry:
    """One line of the history: who changed what, from which value to which, when and why.

    `subject` names what it is about as people do, `about` as the record does: `case:12`, which names nobody.
    """

    number: int
    at: datetime
    by: str
    act: str
    subject: str
    field: str | None
    old: str | None
    new: str | None
    reason: str | None
    program: str
    about: str = ""


@dataclass(frozen=True, slots=True)
class RegisterEntry:
    """One entry of a register of the practice: a person, a machine, a surgeon's usual answers, levels.

    `name` is unique within the kind; `body` holds JSON values; `version` grows by one with each change.
    """

    kind: str
    name: str
    body: Mapping[str, object]
    version: int
    by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class CaseEvent:
    """Something that happened about a case and is no field of it: an opening, an action, a reading, a correction.

    Written once, never changed. `body` holds JSON values; `at` is UTC; `number` is the store's to give.
    """

    key: CaseKey
    kind: str
    body: Mapping[str, object]
    at: datetime
    by: str
    number: int | None = None


@dataclass(frozen=True, slots=True)
class Draft:
    """What a person typed and has not yet booked, signed or locked.

    `stage` names the form, `key` the eye once it is known, `body` holds JSON values; `draft_no` is the store's to give.
    """

    person: str
    stage: str
    key: CaseKey | None
    body: Mapping[str, object]
    kept_at: datetime
    draft_no: int | None = None
