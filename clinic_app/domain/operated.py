"""Which operations are the second on their eye: nobody's model is made for them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date

from clinic_app.domain.record import CaseKey, Row

OPERATED_BEFORE = "operated_before"
"""Mark of a row whose very eye was operated at an earlier date."""


def first_operations(keys: Iterable[CaseKey]) -> dict[tuple[str, str], date]:
    """When each eye of each patient was first operated or is first to be: (patient, eye) -> day."""
    first: dict[tuple[str, str], date] = {}
    for key in keys:
        place = (key.patient_id, key.eye)
        first[place] = min(first.get(place, key.surgery_date), key.surgery_date)
    return first


def key_of(row: Row) -> CaseKey:
    """The key of a stored case's flat row."""
    day = row["surgery_date"]
    if not isinstance(day, date):
        raise TypeError("a stored case has a surgery date")
    return CaseKey(str(row["patient_id"]), str(row["eye"]), day)


def marked(row: Row, key: CaseKey, first: Mapping[tuple[str, str], date]) -> dict[str, object]:
    """The row, with the mark where the eye has an earlier operation in `first`."""
    before = first.get((key.patient_id, key.eye), key.surgery_date) < key.surgery_date
    return {**row, OPERATED_BEFORE: True} if before else dict(row)
