"""When an eye is to be seen after surgery, what visits besides day one raise, and how long its cornea took to clear.

Hours are worked out, never typed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from types import MappingProxyType
from zoneinfo import ZoneInfo

from clinic_app.domain import day_one
from clinic_app.domain.checks import WINDOW_HOURS
from clinic_app.domain.derived import clock_known, hours_between, number, started_at
from clinic_app.domain.halts import Halt, Urgency, standing
from clinic_app.domain.moves import POSTPONED
from clinic_app.domain.practice import Levels
from clinic_app.domain.record import CaseEvent, Row
from models.codebook import CENTRE_GRADE

SAME_DAY_HOURS = (2.0, 6.0)
"""Hours after surgery of a check on the day itself."""
HOURS_SAID = 72
"""Hours after surgery from which days are said instead."""
PRESSURE = "recheck_iop_mmhg"
NEXT_CHECK, APPOINTMENT = "next_check", "appointment"
"""Kinds of events: the day of the next visit until clear, and the time at which an eye is expected."""


class When(StrEnum):
    """Where an eye stands before it is seen."""

    LATER = "Later"
    DUE = "Due"
    OVERDUE = "Overdue"


@dataclass(frozen=True, slots=True)
class Due:
    """Where an eye stands at a moment. `hours` since surgery and `from_`, when it becomes due, are known only with a
    start of surgery; without one the calendar day decides (`inferred`)."""

    when: When
    hours: float | None
    from_: datetime | None
    inferred: bool


def due(row: Row, now: datetime, zone: str | None = None) -> Due:
    """Where an operated eye stands at `now`, a clock time of the practice; the row has a surgery date.

    Due is 12 to 36 h after the start of surgery; without a start the next calendar day.
    """
    start = started_at(row)
    if start is None:
        day = row["surgery_date"]
        if not isinstance(day, date):
            raise TypeError("an operated eye has a surgery date")
        days = (now.date() - day).days
        when = When.LATER if days < 1 else When.DUE if days == 1 else When.OVERDUE
        return Due(when, None, None, inferred=True)
    hours = hours_between(start, now, zone)
    when = When.LATER if hours < WINDOW_HOURS[0] else When.DUE if hours <= WINDOW_HOURS[1] else When.OVERDUE
    return Due(when, hours, _later(start, WINDOW_HOURS[0], zone), inferred=False)


def hours_words(row: Row, seen: datetime, zone: str | None = None) -> str:
    """How long after surgery a moment lies, in words: hours up to three days, else and without clock times days."""
    start = started_at(row)
    if start is not None and clock_known(seen):
        hours = hours_between(start, seen, zone)
        if hours < HOURS_SAID:
            return f"{hours:.0f} h after surgery"
    day = row.get("surgery_date")
    days = (seen.date() - day).days if isinstance(day, date) else 0
    return "day of surgery" if days == 0 else "day after surgery" if days == 1 else f"{days} days after surgery"


def off_time(row: Row) -> bool:
    """Whether a visit lies outside the window: kept, and not used as an outcome. An unknown time is not off."""
    hours = number(row, "hours_since_surgery")
    if hours is not None:
        return not WINDOW_HOURS[0] <= hours <= WINDOW_HOURS[1]
    seen, day = row.get("exam_at"), row.get("surgery_date")
    return isinstance(seen, datetime) and isinstance(day, date) and (seen.date() - day).days != 1


def same_day_check_due(row: Row, now: datetime, zone: str | None = None) -> bool:
    """Whether the eye is within the hours of a check on the day of surgery; without a start, on that day."""
    place = due(row, now, zone)
    if place.hours is None:
        return row["surgery_date"] == now.date()
    return SAME_DAY_HOURS[0] <= place.hours <= SAME_DAY_HOURS[1]


def appointment_of(events: Iterable[CaseEvent]) -> datetime | None:
    """When the eye is expected, as it was agreed last; None when nothing was agreed for the date it has now.

    `events` are in the order written: a postponed surgery takes its appointment away.
    """
    found: datetime | None = None
    for one in events:
        if one.kind == APPOINTMENT:
            found = datetime.fromisoformat(str(one.body["at"]))
        elif one.kind == POSTPONED:
            found = None
    return found


# --- halts of visits besides day one ----------------------------------------------------------------------------------


VISIT_FIELDS: Mapping[str, str] = MappingProxyType(
    {
        PRESSURE: day_one.PRESSURE,
        "recheck_edema_grade_central": CENTRE_GRADE,
        "recheck_va_raw": "ucva_raw",
        "recheck_va_logmar": "ucva_logmar",
    }
)
"""Readings of a visit besides day one, and the fields of day one whose halts they share."""


def of_visit(row: Row, visit: Row) -> dict[str, object]:
    """The row whose halts a visit besides day one raises: what was known before surgery, with the visit's readings."""
    return {**day_one.without_sheet(row), **{to: visit.get(name) for name, to in VISIT_FIELDS.items()}}


def of_visits(row: Row, visits: Iterable[Row]) -> dict[str, object]:
    """The same of several visits in their order: each reading as it was taken last."""
    last: dict[str, object] = {}
    for visit in visits:
        last.update({name: value for name in VISIT_FIELDS if (value := visit.get(name)) is not None})
    return of_visit(row, last)


def left_open(
    row: Row, visits: Sequence[Row], levels: Levels, events: Sequence[CaseEvent], zone: str | None
) -> tuple[Halt, ...]:
    """Halts of visits besides day one whose action is not noted, each once; `visits` are laid flat, in their order.

    Only what was noted since a visit counts for it. A halt goes without a note when a later visit read anew all that it
    came from; a pressure at which a call was due stays as a line, as a second reading on day one leaves it.
    """
    found: dict[str, Halt] = {}
    for place, visit in enumerate(visits):
        at, later = visit.get("recheck_at"), visits[place + 1 :]
        done = day_one.noted_since(events, at, zone) if isinstance(at, datetime) else {}
        again = [one for each in later if (one := number(each, PRESSURE)) is not None]
        had = _read_at([visit]) - {day_one.PRESSURE}
        for halt in day_one.without_action(standing(of_visit(row, visit), levels, again), done):
            came_from = had & set(halt.fields)
            if not came_from or came_from - _read_at(later):
                found.setdefault(halt.code, halt)
    return tuple(sorted(found.values(), key=lambda halt: list(Urgency).index(halt.urgency)))


def _read_at(visits: Iterable[Row]) -> set[str]:
    """What the visits read, as fields of day one."""
    return {to for one in visits for name, to in VISIT_FIELDS.items() if one.get(name) is not None}


# --- clearing ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Clearing:
    """How a cloudy cornea clears: the visits, the day from which it stays clear, days from surgery to it, what is next.

    `next_on` is the day agreed for the next visit; `last` the newest visit with a grade, day one included.
    """

    visits: int
    clear_on: date | None
    days_to_clear: int | None
    next_on: date | None
    last: Row

    @property
    def clear(self) -> bool:
        """Whether the newest graded visit was clear."""
        return self.clear_on is not None


def clearing(row: Row, rechecks: Sequence[Row], cut: int, events: Iterable[CaseEvent] = ()) -> Clearing | None:
    """The clearing of an eye that was cloudy on day one (centre grade >= `cut`); None for every other eye.

    `rechecks` are its later visits laid flat, in any order. Clear is a centre grade below the cut; a cornea that became
    cloudy again is not clear, so the day counts from which every later visit was clear. Days run from the surgery.
    """
    grade = number(row, "edema_grade_central")
    if grade is None or grade < cut:
        return None
    after = [one for one in rechecks if one.get("recheck_kind") != "same_day" and _graded(one) is not None]
    after.sort(key=_seen_on)
    clear_on: date | None = None
    for one in after:
        clear = (_graded(one) or 0) < cut
        clear_on = (clear_on or _seen_on(one).date()) if clear else None
    day = row.get("surgery_date")
    days = (clear_on - day).days if clear_on is not None and isinstance(day, date) else None
    return Clearing(len(after), clear_on, days, _next(events), after[-1] if after else row)


def _next(events: Iterable[CaseEvent]) -> date | None:
    found: list[Mapping[str, object]] = [one.body for one in events if one.kind == NEXT_CHECK]
    return date.fromisoformat(str(found[-1]["on"])) if found and found[-1].get("on") else None


def _graded(row: Row) -> float | None:
    return number(row, "recheck_edema_grade_central")


def _seen_on(row: Row) -> datetime:
    at = row["recheck_at"]
    if not isinstance(at, datetime):
        raise TypeError("a recheck has its day and time")
    return at


def _later(start: datetime, hours: float, zone: str | None) -> datetime:
    """The clock time that many hours on; a change of the clocks in between counts."""
    if zone is None:
        return start + timedelta(hours=hours)
    local = start.replace(tzinfo=ZoneInfo(zone))
    utc = ZoneInfo("UTC")
    return (local.astimezone(utc) + timedelta(hours=hours)).astimezone(ZoneInfo(zone)).replace(tzinfo=None)
