"""Records without the people: other numbers, shifted days, ages for birth dates, no free text, nobody's code."""

from __future__ import annotations

import secrets
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from clinic_app.domain.derived import age_at
from models.codebook import BY_NAME, Kind, Role

OLDEST = 90
MAX_SHIFT_DAYS = 180
SMALLEST_GROUP = 5
_PATIENT = "patient_id"
_DROPPED = frozenset({"birth_date", "surgery_time"})
_KEPT_IDENTIFIERS = frozenset({"phaco_machine_id"})
"""A machine is no person, and energies compare only within one: it gets another name."""

RULES = (
    "Patient numbers are fresh ones, drawn for this export alone; no list of old and new numbers is kept.",
    f"All days of a patient are moved by the same number of days, drawn between 1 and {MAX_SHIFT_DAYS} either way.",
    f"The birth date is left out; the age at surgery stands in whole years, {OLDEST} meaning {OLDEST} or more.",
    "Free text, texts as typed, devices and observers, clock time of the operation, lots, trays and the codes of "
    "persons are left out; machines have other names.",
    f"An answer about sex that fewer than {SMALLEST_GROUP} patients share is left out.",
)


@dataclass(frozen=True, slots=True)
class Disguise:
    """One patient's fresh number and shift; drawn anew for each export."""

    patient_id: str
    shift: timedelta


class Disguises:
    """Fresh numbers and shifts for the patients of one export; nothing of it is kept."""

    def __init__(self, patients: Iterable[str]) -> None:
        known = sorted(set(patients))
        numbers = list(range(1, len(known) + 1))
        secrets.SystemRandom().shuffle(numbers)
        width = len(str(len(known)))
        self._of = {
            patient: Disguise(f"P{number:0{width}}", _shift()) for patient, number in zip(known, numbers, strict=True)
        }
        self._machines: dict[object, str] = {}

    def row(self, row: Mapping[str, object], rare: frozenset[object]) -> dict[str, object]:
        """The flat row without the person; `rare` are the answers about sex that too few patients share.

        What follows from left-out fields (hours since surgery, vision as a number) has to be in the row already.
        """
        disguise = self._of[str(row[_PATIENT])]
        kept: dict[str, object] = {_PATIENT: disguise.patient_id}
        for name, value in row.items():
            if name == _PATIENT or value is None or not _may_leave(name):
                continue
            kept[name] = self._changed(name, value, disguise.shift)
        if kept.get("sex") in rare:
            del kept["sex"]
        age = age_of(row)
        if age is not None:
            kept["age_years"] = float(min(int(age), OLDEST))
        return kept

    def _changed(self, name: str, value: object, shift: timedelta) -> object:
        if name in _KEPT_IDENTIFIERS:
            return self._machines.setdefault(value, f"machine {len(self._machines) + 1}")
        return value + shift if isinstance(value, date | datetime) else value


def _shift() -> timedelta:
    return timedelta(days=(1 + secrets.randbelow(MAX_SHIFT_DAYS)) * (1 if secrets.randbelow(2) else -1))


def _may_leave(name: str) -> bool:
    if name not in BY_NAME and name.endswith(("_typed", "_source")):
        return False
    base = name
    for ending in ("_missing", "_at"):
        if name not in BY_NAME:
            base = base.removesuffix(ending)
    field = BY_NAME.get(base)
    if field is None or base in _DROPPED:
        return field is None and name == "confirmed"
    if base in _KEPT_IDENTIFIERS or base in ("eye", "surgery_date", "sex"):
        return True
    return field.kind not in (Kind.IDENTIFIER, Kind.TEXT) and field.role is not Role.IDENTIFIER


def age_of(row: Mapping[str, object]) -> float | None:
    """Age at surgery, from the days themselves or as given."""
    birth, day, given = row.get("birth_date"), row.get("surgery_date"), row.get("age_years")
    if isinstance(birth, date) and isinstance(day, date):
        return max(age_at(birth, day), 0.0)
    return float(given) if isinstance(given, int | float) else None


def rare_sexes(rows: Iterable[Mapping[str, object]]) -> frozenset[object]:
    """Answers about sex that too few patients share to hide among."""
    of = {row[_PATIENT]: row["sex"] for row in rows if row.get("sex") is not None}
    return frozenset(sex for sex, count in Counter(of.values()).items() if count < SMALLEST_GROUP)
