"""What counts as cloudy on day one, and when that is not known: one rule for training, review and screens."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from models.codebook import CENTRE_GRADE

Row = Mapping[str, object]

CUT = 2
"""Central grade from which a cornea counts as cloudy."""

WINDOW = (12.0, 36.0)
"""Hours after surgery within which a visit counts as day one, both ends included."""

UNSEEN_WORDS: Mapping[str, str] = {
    "not_seen": "not seen on day one",
    "no_grade": "seen, but the centre was not graded",
    "off_time": "graded outside the window",
    "no_time": "graded, but when is not recorded",
}
"""Why an outcome is unknown: code, words. Unknown is never counted as clear."""

_SEEN_STATUS = frozenset({"attended", "seen_elsewhere"})


@dataclass(frozen=True, slots=True)
class Look:
    """The outcome of one eye: cloudy or not, or None with the reason (a key of UNSEEN_WORDS).

    `inferred`: no clock times, but seen on the next calendar day, which counts as in the window.
    """

    cloudy: bool | None
    reason: str | None = None
    inferred: bool = False


def look(row: Row, cut: int = CUT, window: tuple[float, float] = WINDOW) -> Look:
    """Read the outcome of a row: central grade >= cut at a visit `window` hours after surgery."""
    status = row.get("visit_status")
    if status is not None and status not in _SEEN_STATUS:
        return Look(None, "not_seen")
    grade = row.get(CENTRE_GRADE)
    if grade is None:
        was_there = status is not None or row.get("exam_at") is not None
        return Look(None, "no_grade" if was_there else "not_seen")
    hours = _hours(row)
    if hours is not None:
        if not window[0] <= hours <= window[1]:
            return Look(None, "off_time")
        return Look(_number(grade) >= cut)
    days = _days(row)
    if days is None:
        return Look(None, "no_time")
    if days != 1:
        return Look(None, "off_time")
    return Look(_number(grade) >= cut, inferred=True)


def seen(row: Row, cut: int = CUT, window: tuple[float, float] = WINDOW) -> bool | None:
    """True when the eye was cloudy on day one, False when it was not, None when that is not known."""
    return look(row, cut, window).cloudy


def _number(value: object) -> float:
    return float(str(value)) if isinstance(value, str) else float(value)  # type: ignore[arg-type]


def _hours(row: Row) -> float | None:
    """Hours as recorded, else from both clock times (no change of the clocks in between).

    A visit at midnight is a day without a clock time: nobody examines eyes then.
    """
    recorded = row.get("hours_since_surgery")
    if recorded is not None:
        return _number(recorded)
    day, start, exam = row.get("surgery_date"), row.get("surgery_time"), row.get("exam_at")
    known = isinstance(exam, datetime) and exam.time() != time(0, 0)
    if known and isinstance(exam, datetime) and isinstance(start, time) and isinstance(day, date):
        return (exam.replace(tzinfo=None) - datetime.combine(day, start)) / timedelta(hours=1)
    return None


def _days(row: Row) -> int | None:
    day, exam = row.get("surgery_date"), row.get("exam_at")
    if isinstance(exam, datetime):
        exam = exam.date()
    if isinstance(exam, date) and isinstance(day, date):
        return (exam - day).days
    return None
