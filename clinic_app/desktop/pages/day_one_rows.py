"""The rows of the day-one list: by when an eye is due; nothing of a forecast, a plan or a grade."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from clinic_app.desktop.parts.eye_list import ListRow
from clinic_app.desktop.parts.plate import SIDES
from clinic_app.desktop.words import day_words, eyes_words
from clinic_app.domain.halts import about
from clinic_app.domain.record import CaseKey
from clinic_app.services.day_one import DayList, Group, ListedEye

FOOT = "Forecasts and plans are sealed on this page. Order is by appointment."


def rows_of(found: DayList, today: date, *, asked: CaseKey | None = None) -> list[ListRow]:
    """Headings and eyes. While an eye is `asked` about, no side of its patient is shown."""
    rows: list[ListRow] = []
    hidden = asked.patient_id if asked is not None else None
    for group in Group:
        eyes = [eye for eye in found.eyes if eye.group is group]
        if eyes:
            rows.append(ListRow(None, group.value, eyes_words(len(eyes))))
            rows += [row_of(eye, today, hidden=eye.key.patient_id == hidden) for eye in eyes]
    return rows


def row_of(eye: ListedEye, today: date, *, hidden: bool = False) -> ListRow:
    """One eye."""
    aside, under = _aside(eye), _under(eye, today)
    side = "" if hidden else SIDES[eye.key.eye]
    spoken = [eye.key.patient_id, f"{side} eye" if side else "which eye is asked", under, aside]
    return ListRow(
        key=eye.key,
        name=eye.key.patient_id,
        aside=aside,
        side="" if hidden else eye.key.eye,
        under=under,
        under_aside="" if eye.signed else "sheet not signed",
        spoken=", ".join(word for word in spoken if word),
    )


def _aside(eye: ListedEye) -> str:
    if eye.missed:
        return "did not attend"
    if eye.appointment is not None:
        return f"{eye.appointment:%H:%M}"
    return ""


def _under(eye: ListedEye, today: date) -> str:
    if eye.missed:
        return "Not reached yet"
    if eye.to_note:
        return f"Action to note: {about(eye.to_note)}"
    if eye.clearing is not None:
        next_on = eye.clearing.next_on
        return f"Next check {day_words(next_on, today)}" if next_on is not None else "No next check agreed"
    if eye.group is Group.LATER:
        if eye.same_day:
            return "Check on the day, 2 to 6 h"
        if eye.due is not None and eye.due.from_ is not None:
            return f"from {eye.due.from_:%H:%M}"
        return "from tomorrow"
    return eye.hours


def empty_words(found: DayList) -> str:
    """What stands in place of an empty list."""
    if found.eyes:
        return ""
    if found.next_due is not None:
        return f"Nobody due. The next eye is due at {found.next_due:%H:%M}."
    older = f" {eyes_words(found.older)} of earlier days have no day-one visit." if found.older else ""
    return f"Nobody due. Operated eyes appear here from their surgery on.{older}"


def waiting(found: DayList) -> int:
    """How many eyes wait here: due, overdue, or with an action to note."""
    return sum(eye.group in (Group.DUE, Group.OVERDUE, Group.ACTION) for eye in found.eyes)


def matches(eyes: Sequence[ListedEye], text: str) -> list[CaseKey]:
    """The eyes of the list whose patient number holds the text."""
    wanted = text.strip().lower()
    return [eye.key for eye in eyes if wanted and wanted in eye.key.patient_id.lower()]
