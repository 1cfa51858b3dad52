"""One eye on day one: what is worth knowing, its levels, what stands on its sheet; nothing that is sealed."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from clinic_app.domain import day_one, visits
from clinic_app.domain.checks import check
from clinic_app.domain.dates import in_letters
from clinic_app.domain.derived import complete, number
from clinic_app.domain.findings import Finding
from clinic_app.domain.halts import Halt, Urgency, for_the_pair, standing
from clinic_app.domain.people import Person
from clinic_app.domain.practice import DROPS, LEVELS, Levels, drops_of, levels_of
from clinic_app.domain.record import Case, CaseEvent, CaseKey, Row, StoredForecast
from clinic_app.domain.seal import MODELS, Door, Secret, blind, door, masked, masked_event
from clinic_app.domain.states import GRADED, state_of
from clinic_app.services.day_one.drafts import drafts
from clinic_app.services.day_one.moment import MAY, case_of, now_of, recent_visits
from clinic_app.session import Session
from models.codebook import Stage, fields_of

EVERYTHING = frozenset(Secret)


@dataclass(frozen=True, slots=True)
class Pair:
    """The patient's other eye of the same day: where it stands and its halts, never its grade."""

    key: CaseKey
    state: str
    halts: tuple[Halt, ...]


@dataclass(frozen=True, slots=True)
class OpenEye:
    """An eye as the page shows it.

    `row` is the record without anything sealed, derived values included, corrections in place; `answers` what was
    locked on the sheet. `practice_levels` are the practice's, `levels` those of this eye. `version` is that of the
    sheet as read (0: not written). `blind`: the person acting has not seen this eye's forecast; `own_case`: operated
    on it; `may_open`: the forecast may be shown to them before the grade, with a reason. `began` is when the eye was
    opened.
    """

    key: CaseKey
    row: Row
    answers: Row
    state: str
    version: int
    practice_levels: Levels
    levels: Levels
    know: tuple[tuple[str, str], ...]
    events: tuple[CaseEvent, ...]
    pair: Pair | None
    blind: bool
    own_case: bool
    may_open: bool
    began: datetime
    clearing: visits.Clearing | None
    rechecks: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class SheetState:
    """What follows from the answers: halts that stand, the most urgent first, with those whose action is open; what is
    asked and refused; the whole row; hours in words; whether the visit is off the window."""

    halts: tuple[Halt, ...]
    open_actions: tuple[Halt, ...]
    findings: tuple[Finding, ...]
    row: Row
    hours: str
    off_time: bool


def open_eye(session: Session, key: CaseKey) -> OpenEye:
    """One eye; refuses when it is not there or the person may not examine."""
    session.need(*MAY, act="Opening an eye on day one")
    case = case_of(session, key)
    zone = session.settings.zone or None
    state = state_of(case, key in session.store.stood_down())
    events = tuple(session.store.events(key=key))
    hidden = frozenset() if state_of(case) == GRADED else EVERYTHING
    locked = case.stages.get(Stage.DAY_ONE)
    row = complete(day_one.corrected(case.row(), events), zone=zone)
    levels = levels_of(session.store.register(LEVELS))
    drops = drops_of(session.store.register(DROPS))
    changed = [event for event in events if event.kind == day_one.DROPS]
    words = str(changed[-1].body.get("words", "")) if changed else f"Practice protocol {drops.version}" if drops else ""
    rechecks = tuple(one.record.row() for one in case.rechecks)
    return OpenEye(
        key=key,
        row=masked(row, EVERYTHING),
        answers=day_one.ticks_of(day_one.corrected(locked.record.row(), events)) if locked is not None else {},
        state=state,
        version=locked.version if locked is not None else 0,
        practice_levels=levels,
        levels=levels.for_eye(row),
        know=day_one.to_know(row, signed=case.has(Stage.THEATRE), drops=words, fellow=_fellow_words(session, key)),
        events=tuple(masked_event(event, hidden) for event in events),
        pair=_pair(session, key, levels),
        blind=seen_nothing(session, case, events, session.store.forecasts(key=key)),
        own_case=operated_by(case, session.me),
        may_open=all(door(state, session.me.duties, secret) is not Door.SHUT for secret in MODELS.values()),
        began=now_of(session),
        clearing=visits.clearing(case.row(), rechecks, session.outcome_cut, events),
        rechecks=rechecks,
    )


def began_at(eye: OpenEye, began: datetime) -> OpenEye:
    """The eye read anew, with the moment at which it was opened first."""
    return dataclasses.replace(eye, began=began)


def operated_by(case: Case, me: Person) -> bool:
    """Whether the person operated on this eye, by code or by name."""
    theatre = case.stages.get(Stage.THEATRE)
    operator = theatre.record.values.get("surgeon_id") if theatre is not None else None
    return operator is not None and operator in {me.surgeon_id, me.name}


def seen_nothing(session: Session, case: Case, events: tuple[CaseEvent, ...], forecasts: list[StoredForecast]) -> bool:
    """Whether the person acting grades blind: lists hide this eye's forecast from them, no opening of it is written
    down for them, and they neither booked it with the forecast on the page nor operated on it, where both are shown.

    While nobody is registered every list shows every number, and openings alone tell.
    """
    me = session.me
    if not blind(events, forecasts, me.name):
        return False
    if all(one.risk is None for one in forecasts):
        return True
    if session.people and Secret.BOOKING_FORECAST not in session.hides(state_of(case)):
        return False
    booking = case.stages.get(Stage.BOOKING)
    booked = booking is not None and booking.by == me.name
    shown = booked and booking is not None and booking.record.values.get("risk_shown_before_surgery") is True
    return not shown and not operated_by(case, me)


def sheet_state(
    session: Session, eye: OpenEye, answers: Row, *, remote: Mapping[str, object] | None = None
) -> SheetState:
    """What follows from answers as they stand on the sheet, laid flat; fast enough to follow each key.

    `answers` may hold a moment `exam_at`; else the eye counts as seen when it was opened. `remote` are the answers of a
    remote sheet.
    """
    zone = session.settings.zone or None
    given = {"exam_at": eye.began, **day_one.with_findings(answers), **(remote or {})}
    whole = complete({**day_one.without_sheet(eye.row), **given}, zone=zone)
    halts = standing(whole, eye.practice_levels, day_one.repeats(eye.events))
    seen = whole.get("exam_at")
    noted = day_one.noted_since(eye.events, seen, zone, number(whole, day_one.PRESSURE))
    return SheetState(
        halts=halts,
        open_actions=day_one.without_action(halts, noted),
        findings=tuple(one for one in check(whole) if set(one.fields) & _SHEET),
        row=whole,
        hours=visits.hours_words(whole, seen, zone) if isinstance(seen, datetime) else "",
        off_time=visits.off_time(whole),
    )


_SHEET = frozenset(field.name for field in fields_of(Stage.DAY_ONE))


def _fellow_words(session: Session, key: CaseKey) -> str:
    """Whether and when the other eye was operated on; its outcome is not said."""
    side = {"R": "Left", "L": "Right"}[key.eye]
    gone = session.store.stood_down()
    cases = session.store.cases(patient_id=key.patient_id, to=now_of(session).date())
    others = [case for case in cases if case.key.eye != key.eye and case.key not in gone]
    days = [case.key.surgery_date for case in others if case.has(Stage.THEATRE) or case.has(Stage.DAY_ONE)]
    if not days:
        return f"{side}, not operated"
    return f"{side}, operated {'the same day' if max(days) == key.surgery_date else in_letters(max(days))}"


def _pair(session: Session, key: CaseKey, levels: Levels) -> Pair | None:
    other = session.store.case(CaseKey(key.patient_id, "L" if key.eye == "R" else "R", key.surgery_date))
    if other is None:
        return None
    zone = session.settings.zone or None
    halts = _day_one_halts(session, other, levels, zone)
    row = complete(other.row(), zone=zone)
    seen = row.get("exam_at") if other.has(Stage.DAY_ONE) else None
    later = [
        one for one in recent_visits(other, now_of(session), zone)
        if not isinstance(seen, datetime) or one["recheck_at"] > seen  # type: ignore[operator]
    ]  # fmt: skip
    halts += standing(visits.of_visits(row, later), levels)
    told = dict.fromkeys(for_the_pair(halt, levels) for halt in halts if halt.urgency is not Urgency.QUIET)
    return Pair(other.key, state_of(other, other.key in session.store.stood_down()), tuple(told))


def _day_one_halts(session: Session, case: Case, levels: Levels, zone: str | None) -> tuple[Halt, ...]:
    """Halts of an eye's day one: of the sheet that the person acting has begun, else of the one written."""
    events = session.store.events(key=case.key)
    draft = drafts(session).get(case.key)
    if draft is not None:
        row = {**day_one.without_sheet(case.row()), **day_one.with_findings(draft.answers)}
    elif case.has(Stage.DAY_ONE):
        row = day_one.as_known(case.row(), events, zone)
    else:
        return ()
    return standing(complete(row, zone=zone), levels, day_one.repeats(events))
