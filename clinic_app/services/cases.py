"""Listing the eyes of the practice, without what is sealed for the person acting."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, time
from typing import Any

from clinic_app.domain.derived import complete
from clinic_app.domain.people import CARE
from clinic_app.domain.record import Case
from clinic_app.domain.seal import Secret, masked, masked_case
from clinic_app.domain.states import STATES, state_of
from clinic_app.session import Session
from models.codebook import Stage


def cases(
    session: Session, *, stage: Stage | None = None, from_: date | None = None, to: date | None = None
) -> list[Case]:
    """The cases with a surgery date from `from_` to `to`, by date; with `stage` only those where it is written."""
    session.need(*CARE, act="Listing eyes")
    found = session.store.cases(from_=from_, to=to)
    hidden = {state: session.hides(state) for state in STATES}
    return [
        masked_case(case, hidden[state_of(case)])  # an eye stood down is sealed like a booked one
        for case in found
        if stage is None or case.has(stage)
    ]


def documents(session: Session, found: Iterable[Case]) -> list[dict[str, Any]]:
    """Cases with their derived values, codebook name -> plain value, as they stand in JSON and CSV.

    Where something is sealed for the person acting, `sealed` says what, whether or not there is any of it.
    """
    session.need(*CARE, act="Listing eyes")
    hides = {state: session.hides(state) for state in STATES}
    return [_document(session, case, hides[state_of(case)]) for case in found]


def _document(session: Session, case: Case, hidden: frozenset[Secret]) -> dict[str, Any]:
    row = masked(complete(case.row(), zone=session.settings.zone or None), hidden)
    told = {name: plain(value) for name, value in row.items() if value is not None}
    return told | ({"sealed": "|".join(one.value for one in Secret if one in hidden)} if hidden else {})


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
