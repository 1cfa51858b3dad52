"""Visits besides day one: the check on the day of surgery, and the rechecks of a cloudy cornea until it is clear."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from clinic_app.domain import day_one, visits
from clinic_app.domain.derived import complete
from clinic_app.domain.halts import Halt, standing
from clinic_app.domain.people import Duty
from clinic_app.domain.practice import LEVELS, levels_of
from clinic_app.domain.record import Case, CaseKey, Row, StageRecord, Value
from clinic_app.errors import Refusal
from clinic_app.session import Session
from models.codebook import Field, Stage, fields_of

MAY = (Duty.DAY_ONE, Duty.SURGEON)
BY_PROGRAM = frozenset({"recheck_at", "recheck_kind", "recheck_examiner_id", "recheck_va_logmar"})


@dataclass(frozen=True, slots=True)
class VisitState:
    """What follows from the answers of a visit: halts, those whose action was not noted since the visit began, and
    whether the cornea is clear now (None: not graded)."""

    halts: tuple[Halt, ...]
    open_actions: tuple[Halt, ...]
    clear: bool | None


def visit_fields() -> tuple[Field, ...]:
    """What such a visit asks, in order."""
    return tuple(field for field in fields_of(Stage.RECHECK) if field.name not in BY_PROGRAM)


def visit_state(session: Session, key: CaseKey, before: Row, answers: Row, began: datetime) -> VisitState:
    """What follows from answers as they stand; `before` is the case laid flat, `began` when the visit began. Same halts
    as on day one."""
    zone = session.settings.zone or None
    row = complete({**before, **answers}, zone=zone)
    halts = standing(visits.of_visit(row, row), levels_of(session.store.register(LEVELS)))
    noted = day_one.noted_since(session.store.events(key=key, kind=day_one.ACTION), began, zone)
    grade = row.get("recheck_edema_grade_central")
    return VisitState(
        halts,
        day_one.without_action(halts, noted),
        None if not isinstance(grade, int) else grade < session.outcome_cut,
    )


def keep_visit(
    session: Session,
    key: CaseKey,
    answers: Row,
    *,
    side: str,
    same_day: bool = False,
    at: datetime | None = None,
    next_on: date | None = None,
    drops: str = "",
) -> visits.Clearing | None:
    """Write a visit; returns how the cornea clears, None for an eye that was not cloudy on day one.

    `side` is the eye as the examiner said it; `at` the clock time (now unless given); `next_on` the day agreed for the
    next visit; `drops` a change of the drops in words. A check on the day of surgery (`same_day`) is 2 to 6 h after it
    and never a grade of day one.
    """
    session.need(*MAY, act="Keeping a visit")
    if side != key.eye:
        raise Refusal(
            "The visit was not kept.", "The eye that was examined is not the eye of this row.", "Open the other row."
        )
    case = _case(session, key)
    names = {field.name for field in visit_fields()}
    values: dict[str, Value] = {
        name: value  # type: ignore[misc]
        for name, value in answers.items()
        if name in names and value is not None
    }
    missing = {name: str(answers[f"{name}_missing"]) for name in names if answers.get(f"{name}_missing")}
    if not values:
        raise Refusal("The visit was not kept.", "It has no answer yet.", "Enter what was seen.")
    moment = at or _now(session)
    if moment.date() < key.surgery_date or (same_day and moment.date() != key.surgery_date):
        raise Refusal("The visit was not kept.", "Its day does not fit the surgery.", "Correct the day of the visit.")
    if next_on is not None and next_on < moment.date():
        raise Refusal("The visit was not kept.", "The next visit lies before this one.", "Correct the next day.")
    values |= {
        "recheck_at": moment,
        "recheck_kind": "same_day" if same_day else "recheck",
        "recheck_examiner_id": session.person,
    }
    with session.store.writing(by=session.person, act="check on the day" if same_day else "recheck") as write:
        write.put_recheck(key, StageRecord(Stage.RECHECK, values, missing))
        if next_on is not None:
            write.add_event(key, visits.NEXT_CHECK, {"on": next_on.isoformat()})
        if drops.strip():
            write.add_event(key, day_one.DROPS, {"words": drops.strip()})
    return clearing_of(session, key, case.row())


def clearing_of(session: Session, key: CaseKey, row: Row) -> visits.Clearing | None:
    """How the cornea of that eye clears, from the visits written down; `row` is the case laid flat."""
    rechecks = [one.record.row() for one in _case(session, key).rechecks]
    return visits.clearing(row, rechecks, session.outcome_cut, session.store.events(key=key))


def _case(session: Session, key: CaseKey) -> Case:
    case = session.store.case(key)
    if case is None:
        raise Refusal(
            "The visit was not kept.", "The practice holds no such eye on that day any more.", "Read the list again."
        )
    return case


def _now(session: Session) -> datetime:
    zone = ZoneInfo(session.settings.zone) if session.settings.zone else None
    return session.clock().astimezone(zone).replace(tzinfo=None, second=0, microsecond=0)
