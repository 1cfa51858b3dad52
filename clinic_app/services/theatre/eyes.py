"""The eyes of the theatre list: by the clock of the list, never by a forecast."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from clinic_app.domain.people import Duty
from clinic_app.domain.record import Case, CaseKey, Draft, Row
from clinic_app.domain.seal import Secret, masked
from clinic_app.domain.sitting import ACTION, FirstEye, acknowledged, fellow_of, went_on
from clinic_app.domain.states import state_of
from clinic_app.domain.theatre import happened
from clinic_app.domain.theatre_draft import STAGE, draft_of
from clinic_app.session import Session
from models.codebook import Stage

DAYS_BACK = 14
"""Days before today whose unsigned eyes stay on the list."""
WRITERS = (Duty.SURGEON, Duty.SCRIBE)
"""Who may open and write a sheet; signing needs a surgeon."""


@dataclass(frozen=True, slots=True)
class TheatreEye:
    """An eye of the list: its booking laid flat, what has become of its sheet, its other eye of the same day.

    `signed_at` is local. `open_words` are what a draft still needs before it can be signed, None without a draft.
    """

    key: CaseKey
    row: Row
    state: str
    plan_ahead: bool
    fellow: CaseKey | None
    signed_by: str = ""
    signed_at: datetime | None = None
    draft: Draft | None = None
    open_words: tuple[str, ...] | None = None

    @property
    def ready(self) -> bool:
        """Whether its draft can be signed as it stands."""
        return self.open_words == ()

    @property
    def starts(self) -> time | None:
        """When the operation is planned to start."""
        found = self.row.get("surgery_time")
        return found if isinstance(found, time) else None


def list_eyes(session: Session) -> list[TheatreEye]:
    """Today's eyes in theatre order, after those of the last days that were never signed. Refused without the duty."""
    session.need(*WRITERS, act="The theatre list")
    today, gone = session.today(), session.store.stood_down()
    cases = [
        case
        for case in session.store.cases(from_=today - timedelta(days=DAYS_BACK), to=today)
        if case.key not in gone and case.has(Stage.BOOKING) and (case.key.surgery_date == today or _waits(case))
    ]
    drafts = drafts_by_key(session)
    keys = [case.key for case in cases]
    eyes = [_eye(session, case, drafts, fellow_of(case.key, keys)) for case in cases]
    return sorted(eyes, key=_order)


def find_eye(session: Session, key: CaseKey) -> TheatreEye | None:
    """One eye of any day, as it would stand on the list; None when it is not booked. Refused without the duty."""
    session.need(*WRITERS, act="The theatre list")
    case = session.store.case(key)
    if case is None or not case.has(Stage.BOOKING):
        return None
    fellow = fellow_of(key, session.store.keys(patient_id=key.patient_id))
    return _eye(session, case, drafts_by_key(session), fellow)


def drafts_by_key(session: Session) -> Mapping[CaseKey, Draft]:
    """The newest draft of a sheet for each eye, whoever types it."""
    found = [one for one in session.store.drafts() if one.stage == STAGE and one.key is not None]
    return {one.key: one for one in sorted(found, key=lambda one: one.kept_at) if one.key is not None}


def first_eye(session: Session, case: Case, drafts: Mapping[CaseKey, Draft]) -> FirstEye | None:
    """The patient's other eye of the same day when its sheet came first; None for a first or only eye.

    Of two drafts the one begun first came first. But one answer may be typed early on the second eye's sheet: where
    something happened in the other eye, that one counts as the first, unless it went on as the second eye itself.
    """
    key = case.key
    other = fellow_of(key, session.store.keys(patient_id=key.patient_id))
    found = None if other is None else session.store.case(other)
    if found is None or case.has(Stage.THEATRE):
        return None
    mine, theirs = drafts.get(key), drafts.get(found.key)
    if found.has(Stage.THEATRE):
        row: Row = found.stages[Stage.THEATRE].record.row()
    elif theirs is not None:
        row = draft_of(theirs.body).record.row()
        if mine is not None and not _came_first(session, theirs, row, mine):
            return None
    else:
        return None
    return FirstEye(found.key, row, acknowledged(session.store.events(key=key, kind=ACTION), happened(row)))


def _came_first(session: Session, theirs: Draft, row: Row, mine: Draft) -> bool:
    """Whether the other eye's draft, with these answers, is that of the first eye."""
    if theirs.key is not None and went_on(session.store.events(key=theirs.key, kind=ACTION)):
        return False
    return bool(happened(row)) or (theirs.draft_no or 0) < (mine.draft_no or 0)


def local(session: Session, at: datetime) -> datetime:
    """A moment by the clock of the practice."""
    return at.astimezone(ZoneInfo(session.settings.zone) if session.settings.zone else None)


def _waits(case: Case) -> bool:
    return not case.has(Stage.THEATRE) and not case.has(Stage.DAY_ONE)


def _eye(session: Session, case: Case, drafts: Mapping[CaseKey, Draft], fellow: CaseKey | None) -> TheatreEye:
    state, written = state_of(case), case.stages.get(Stage.THEATRE)
    hidden = session.hides(state)
    row = case.stages[Stage.BOOKING].record.row()
    plan = row.get("protection_plan") if Secret.PLAN not in hidden else None
    draft = drafts.get(case.key) if written is None else None
    second = fellow is not None and draft is not None and first_eye(session, case, drafts) is not None
    return TheatreEye(
        key=case.key,
        row=masked(row, hidden),
        state=state,
        plan_ahead=Secret.PLAN not in hidden
        and isinstance(plan, tuple)
        and any(not c.startswith("none") for c in plan),
        fellow=fellow,
        signed_by="" if written is None else written.by,
        signed_at=None if written is None else local(session, written.at),
        draft=draft,
        open_words=None if draft is None else draft_of(draft.body).open(second_eye=second),
    )


def _order(eye: TheatreEye) -> tuple[date, time, str, str]:
    return (eye.key.surgery_date, eye.starts or time.max, eye.key.patient_id, eye.key.eye)
