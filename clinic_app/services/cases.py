"""Listing the eyes of the practice."""

from __future__ import annotations

from datetime import date, datetime, time
from typing import Any

from clinic_app.domain.derived import complete
from clinic_app.domain.record import Case
from clinic_app.session import Session
from models.codebook import Stage


def cases(
    session: Session, *, stage: Stage | None = None, from_: date | None = None, to: date | None = None
) -> list[Case]:
    """The cases with a surgery date from `from_` to `to`, by date; with `stage` only those where it is written."""
    found = session.store.cases(from_=from_, to=to)
    return [case for case in found if stage is None or case.has(stage)]


def document(session: Session, case: Case) -> dict[str, Any]:
    """The case with its derived values, codebook name -> plain value, as it stands in JSON and CSV."""
    row = complete(case.row(), zone=session.settings.zone or None)
    return {name: plain(value) for name, value in row.items() if value is not None}


def plain(value: object) -> object:
    """A value as files hold it: ISO days and times, `yes` and `no`, answers joined with `|`."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return value.isoformat(timespec="minutes")
    if isinstance(value, time):
        return value.isoformat(timespec="minutes")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, tuple):
        return "|".join(str(one) for one in value)
    return value
