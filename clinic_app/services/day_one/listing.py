"""The list of day one, by when an eye is due and by appointment; no forecast decides order, colour or words."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum

from clinic_app.domain import day_one, visits
from clinic_app.domain.dates import in_letters
from clinic_app.domain.derived import complete, number
from clinic_app.domain.halts import Halt, cluster, standing, unusual
from clinic_app.domain.moves import POSTPONED
from clinic_app.domain.practice import LEVELS, Levels, levels_of
from clinic_app.domain.record import Case, CaseEvent, CaseKey
from clinic_app.domain.states import GRADED, state_of
from clinic_app.domain.visits import When
from clinic_app.services.day_one.moment import ACTION_DAYS, MAY, now_of, recent_visits
from clinic_app.session import Session
from models.codebook import Stage

OVERDUE_DAYS, CLEARING_DAYS = 30, 120
"""How far back the list looks for eyes never seen, and corneas not yet clear; a cloudy eye of an import that nobody
followed up here counts as never seen. Older eyes are found by their number, so that years of history do not fill the
list."""


class Group(StrEnum):
    """Parts of the list, in order."""

    ACTION = "Action to note"
    DUE = "Due now"
    LATER = "Later"
    OVERDUE = "Overdue"
    CLEARING = "Clearing"


@dataclass(frozen=True, slots=True)
class ListedEye:
    """One eye of the list.

    `due` is None once it was seen. `missed`: did not attend and was not reached yet. `to_note`: halts whose action is
    not noted. `signed`: the theatre sheet is there. `same_day`: the hours of a check on the day of surgery. `pair`: the
    patient's other eye, operated on the same day.
    """

    key: CaseKey
    group: Group
    hours: str
    due: visits.Due | None = None
    appointment: datetime | None = None
    missed: bool = False
    to_note: tuple[Halt, ...] = ()
    signed: bool = True
    same_day: bool = False
    pair: CaseKey | None = None
    clearing: visits.Clearing | None = None


@dataclass(frozen=True, slots=True)
class DayList:
    """The list: eyes in order, halts of whole lists (M56), how many of those operated yesterday are seen, what is next.

    `older`: eyes of the record that were never seen and are too long past for the list.
    """

    eyes: tuple[ListedEye, ...]
    clusters: tuple[tuple[date, Halt], ...]
    graded: int
    of: int
    next_due: datetime | None
    older: int


@dataclass(frozen=True, slots=True)
class _Told:
    """Everything the list reads besides the cases."""

    session: Session
    now: datetime
    levels: Levels
    cut: int
    events: Mapping[CaseKey, Sequence[CaseEvent]]
    entered: Mapping[CaseKey, set[Stage]]

    @property
    def zone(self) -> str | None:
        return self.session.settings.zone or None


def day_list(session: Session) -> DayList:
    """Who is to be seen, by appointment, then by surgery start and number. Refuses people without the duty."""
    session.need(*MAY, act="The list of day one")
    now = now_of(session)
    told = _Told(
        session, now, levels_of(session.store.register(LEVELS)), session.outcome_cut, _events(session),
        session.store.signed_stages(),
    )  # fmt: skip
    gone = session.store.stood_down()
    since = now.date() - timedelta(days=CLEARING_DAYS)
    cases = [case for case in session.store.cases(from_=since, to=now.date()) if case.key not in gone]
    pairs = {case.key for case in cases}
    found = [one for case in cases if (one := _listed(told, case, pairs)) is not None]
    found.sort(key=_order)
    yesterday = now.date() - timedelta(days=1)
    list_of = [case for case in cases if case.key.surgery_date == yesterday]
    waiting = [one.due.from_ for one in found if one.group is Group.LATER and one.due and one.due.from_]
    never = [case for case in session.store.cases(to=now.date(), without=Stage.DAY_ONE) if case.key not in gone]
    listed = {one.key for one in found}
    return DayList(
        eyes=tuple(found),
        clusters=_clusters(told, cases),
        graded=sum(state_of(case) == GRADED for case in list_of),
        of=len(list_of),
        next_due=min(waiting, default=None),
        older=sum(case.key not in listed for case in never),
    )


def find(session: Session, patient: str) -> list[CaseKey]:
    """Operated eyes of a patient by number, whenever they were operated; the newest first."""
    session.need(*MAY, act="Finding an eye")
    today = now_of(session).date()
    keys = [key for key in session.store.keys(patient_id=patient.strip()) if key.surgery_date <= today]
    return sorted(keys, key=lambda key: (key.surgery_date, key.eye), reverse=True)


def _events(session: Session) -> dict[CaseKey, list[CaseEvent]]:
    """What was written about each case, in the order written: what was noted may lapse with a later reading."""
    kinds = (
        day_one.READING, day_one.ACTION, day_one.CORRECTION, day_one.REMOTE, visits.APPOINTMENT, visits.NEXT_CHECK,
        POSTPONED,
    )  # fmt: skip
    found: dict[CaseKey, list[CaseEvent]] = defaultdict(list)
    events = [event for kind in kinds for event in session.store.events(kind=kind)]
    for event in sorted(events, key=lambda one: one.number or 0):
        found[event.key].append(event)
    return found


def _listed(told: _Told, case: Case, pairs: set[CaseKey]) -> ListedEye | None:
    key, events = case.key, told.events.get(case.key, ())
    row = complete(case.row(), zone=told.zone)
    days = (told.now.date() - key.surgery_date).days
    due = visits.due(row, told.now, told.zone)
    other = CaseKey(key.patient_id, "L" if key.eye == "R" else "R", key.surgery_date)
    common = {
        "key": key,
        "hours": visits.hours_words(row, told.now, told.zone),
        "appointment": visits.appointment_of(events),
        "signed": case.has(Stage.THEATRE),
        "pair": other if other in pairs else None,
    }
    if not case.has(Stage.DAY_ONE):
        if due.when is When.OVERDUE and days > OVERDUE_DAYS:
            return None
        if due.when is When.LATER and not case.has(Stage.THEATRE):
            return None  # not operated yet, as far as anybody wrote down
        group = {When.LATER: Group.LATER, When.DUE: Group.DUE, When.OVERDUE: Group.OVERDUE}[due.when]
        if open_ := _of_visits(told, case, row):
            on_the_day = case.key.surgery_date == told.now.date()
            return ListedEye(group=Group.ACTION, due=due, to_note=open_, same_day=on_the_day, **common)  # type: ignore[arg-type]
        check_due = visits.same_day_check_due(row, told.now, told.zone) and not case.rechecks
        return ListedEye(group=group, due=due, same_day=check_due, **common)  # type: ignore[arg-type]
    return _seen(told, case, row, common, days)


def _seen(told: _Told, case: Case, row: dict[str, object], common: dict[str, object], days: int) -> ListedEye | None:
    events = told.events.get(case.key, ())
    noted = day_one.noted_since(events, row.get("exam_at"), told.zone, number(row, day_one.PRESSURE))
    entered_here = Stage.DAY_ONE in told.entered.get(case.key, set())
    status = row.get("visit_status")
    if status == day_one.MISSED and entered_here and day_one.MISSED not in noted:
        return ListedEye(group=Group.OVERDUE, missed=True, **common)  # type: ignore[arg-type]
    if days <= ACTION_DAYS and entered_here:
        now = complete(day_one.as_known(row, events, told.zone), zone=told.zone)
        open_ = day_one.without_action(standing(now, told.levels, day_one.repeats(events)), noted)
        if open_:
            return ListedEye(group=Group.ACTION, to_note=open_, **common)  # type: ignore[arg-type]
    if open_ := _of_visits(told, case, row):
        return ListedEye(group=Group.ACTION, to_note=open_, **common)  # type: ignore[arg-type]
    clearing = visits.clearing(row, [one.record.row() for one in case.rechecks], told.cut, events)
    followed = entered_here or bool(case.rechecks) or (clearing is not None and clearing.next_on is not None)
    if clearing is not None and not clearing.clear and (followed or days <= OVERDUE_DAYS):
        return ListedEye(group=Group.CLEARING, clearing=clearing, **common)  # type: ignore[arg-type]
    return None


def _of_visits(told: _Told, case: Case, row: dict[str, object]) -> tuple[Halt, ...]:
    """Halts of the visits besides day one whose action is not noted; visits of long ago are left in peace."""
    recent = recent_visits(case, told.now, told.zone)
    return visits.left_open(row, recent, told.levels, told.events.get(case.key, ()), told.zone)


def _clusters(told: _Told, cases: Sequence[Case]) -> tuple[tuple[date, Halt], ...]:
    """M56 of every list with two unusual eyes or more, unless somebody noted that as many were told of."""
    odd: dict[date, int] = defaultdict(int)
    settled: dict[date, int] = defaultdict(int)
    first = told.now.date() - timedelta(days=ACTION_DAYS)
    for case in cases:
        day = case.key.surgery_date
        if day < first:
            continue
        events = told.events.get(case.key, ())
        if told_of := day_one.noted(events).get("M56"):
            settled[day] = max(settled[day], int(str(told_of.body.get("eyes", 0))))
        if case.has(Stage.DAY_ONE):
            row = complete(day_one.as_known(case.row(), events, told.zone), zone=told.zone)
            odd[day] += unusual(standing(row, told.levels, day_one.repeats(events)))
    found = ((day, cluster(count, in_letters(day), told.levels)) for day, count in sorted(odd.items()))
    return tuple((day, halt) for day, halt in found if halt is not None and halt.eyes > settled[day])


_PLACE = {group: place for place, group in enumerate(Group)}


def _order(eye: ListedEye) -> tuple[int, datetime, str, str]:
    when = eye.appointment
    if eye.clearing is not None and eye.clearing.next_on is not None:
        when = datetime.combine(eye.clearing.next_on, datetime.min.time())
    if when is None and eye.due is not None:
        when = eye.due.from_
    if when is None:
        when = datetime.combine(eye.key.surgery_date, datetime.min.time())
    return (_PLACE[eye.group], when, eye.key.patient_id, eye.key.eye)
