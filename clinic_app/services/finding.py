"""Finding an eye by the patient's number, wherever it stands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType

from clinic_app.domain.people import CARE, Duty
from clinic_app.domain.record import Case, CaseKey
from clinic_app.domain.states import BOOKED, STOOD_DOWN, UNFINISHED, state_of
from clinic_app.session import Session
from models.codebook import Stage

BOOKINGS, THEATRE, DAY_ONE = "bookings", "theatre", "day_one"
"""Pages on which an eye is opened."""
OPEN_TO: Mapping[str, tuple[Duty, ...]] = MappingProxyType(
    {
        BOOKINGS: (Duty.BOOKING, Duty.SURGEON),
        THEATRE: (Duty.SURGEON, Duty.SCRIBE),
        DAY_ONE: (Duty.DAY_ONE, Duty.SURGEON),
    }
)
"""Whose duty opens each of these pages."""
MOST = 200
"""How many eyes are listed at once; more are counted."""


@dataclass(frozen=True, slots=True)
class FoundEye:
    """An eye that fits: where it stands, and nothing that a seal could cover.

    `pages` are those on which the person acting may open it, the one on which it is worked on now first: Theatre, too,
    for its sheet once its day is past, since the theatre list shows no day but today's.
    """

    key: CaseKey
    state: str
    birth_date: date | None
    pages: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Finding:
    """The eyes that fit, newest surgery first, and how many more there are."""

    eyes: tuple[FoundEye, ...]
    more: int


def find_eyes(session: Session, text: str) -> Finding:
    """The eyes of patients whose number holds `text`, letters in either case; a whole number comes before a part.

    An empty text finds nothing.
    """
    session.need(*CARE, act="Finding an eye")
    wanted = text.strip().casefold()
    if not wanted:
        return Finding((), 0)
    patients = {one for one in session.store.patients() if wanted in one.casefold()}
    shown = sorted(patients, key=lambda one: (one.casefold() != wanted, one))[:MOST]
    gone = session.store.stood_down()
    cases = session.store.cases(patients=shown)
    found = [_found(session, case, stood_down=case.key in gone) for case in cases]
    found.sort(key=lambda one: (one.key.patient_id.casefold() != wanted, -one.key.surgery_date.toordinal(), one.key))
    return Finding(tuple(found[:MOST]), max(0, len(found) - MOST) + len(patients) - len(shown))


def _found(session: Session, case: Case, *, stood_down: bool) -> FoundEye:
    born, state = case.row().get("birth_date"), state_of(case, stood_down=stood_down)
    pages = (page_of(state), THEATRE) if _has_sheet(session, case, state) else (page_of(state),)
    open_to = tuple(page for page in pages if session.may(*OPEN_TO[page]))
    return FoundEye(case.key, state, born if isinstance(born, date) else None, open_to or pages[:1])


def _has_sheet(session: Session, case: Case, state: str) -> bool:
    signed, past = case.has(Stage.THEATRE), case.key.surgery_date < session.today()
    return case.has(Stage.BOOKING) and (signed or (past and state == BOOKED))


def page_of(state: str) -> str:
    """The page on which an eye in that state is worked on."""
    return BOOKINGS if state in (UNFINISHED, BOOKED, STOOD_DOWN) else DAY_ONE
