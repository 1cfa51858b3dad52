"""When an eye is due, what visits besides day one raise, and how long its cornea took to clear."""

from __future__ import annotations

from datetime import UTC, date, datetime, time

import pytest

from clinic_app.domain.halts import Urgency
from clinic_app.domain.moves import POSTPONED
from clinic_app.domain.practice import Levels
from clinic_app.domain.record import CaseEvent, CaseKey
from clinic_app.domain.visits import (
    APPOINTMENT,
    NEXT_CHECK,
    When,
    appointment_of,
    clearing,
    due,
    hours_words,
    left_open,
    of_visits,
    off_time,
    same_day_check_due,
)

DAY = date(2026, 11, 12)
KEY = CaseKey("P-1", "R", DAY)
WITH_CLOCK = {"surgery_date": DAY, "surgery_time": time(9, 0)}
WITHOUT = {"surgery_date": DAY}


def at(day: int, hour: int, minute: int = 0) -> datetime:
    return datetime(2026, 11, day, hour, minute)


@pytest.mark.parametrize(
    ("now", "when"),
    [
        (at(12, 20, 59), When.LATER),
        (at(12, 21), When.DUE),
        (at(13, 21), When.DUE),
        (at(13, 21, 1), When.OVERDUE),
    ],
)
def test_due_is_12_to_36_hours_after_the_start(now: datetime, when: When) -> None:
    place = due(WITH_CLOCK, now)
    assert place.when is when
    assert place.from_ == at(12, 21)
    assert not place.inferred


@pytest.mark.parametrize(
    ("now", "when"),
    [(at(12, 23), When.LATER), (at(13, 0, 1), When.DUE), (at(13, 23), When.DUE), (at(14, 7), When.OVERDUE)],
)
def test_without_clock_times_the_next_calendar_day_counts_and_is_marked(now: datetime, when: When) -> None:
    place = due(WITHOUT, now)
    assert place.when is when
    assert place.inferred
    assert place.hours is None


def test_a_change_of_the_clocks_counts() -> None:
    # Europe/London, 25 Oct 2026: the clocks go back at 2:00, so the night is an hour longer
    row = {"surgery_date": date(2026, 10, 24), "surgery_time": time(16, 0)}
    place = due(row, datetime(2026, 10, 25, 3, 30), "Europe/London")
    assert place.hours == pytest.approx(12.5, abs=1e-9)
    assert place.from_ == datetime(2026, 10, 25, 3, 0)
    assert due(row, datetime(2026, 10, 25, 3, 30)).hours == pytest.approx(11.5, abs=1e-9)


def test_hours_in_words() -> None:
    assert hours_words(WITH_CLOCK, at(13, 9, 4)) == "24 h after surgery"
    assert hours_words(WITH_CLOCK, at(15, 8, 59)) == "72 h after surgery"
    assert hours_words(WITH_CLOCK, at(15, 9)) == "3 days after surgery"
    assert hours_words(WITHOUT, at(13, 9, 4)) == "day after surgery"
    assert hours_words(WITHOUT, at(15, 9)) == "3 days after surgery"
    assert hours_words(WITHOUT, at(12, 9)) == "day of surgery"


def test_off_time_is_outside_the_window_and_unknown_is_not() -> None:
    assert off_time({"hours_since_surgery": 11.9})
    assert not off_time({"hours_since_surgery": 12.0})
    assert not off_time({"hours_since_surgery": 36.0})
    assert off_time({"hours_since_surgery": 36.1})
    assert off_time({**WITHOUT, "exam_at": at(14, 0)})
    assert not off_time({**WITHOUT, "exam_at": at(13, 0)})
    assert not off_time(WITHOUT)


def test_the_check_on_the_day_is_2_to_6_hours_after() -> None:
    assert not same_day_check_due(WITH_CLOCK, at(12, 10, 59))
    assert same_day_check_due(WITH_CLOCK, at(12, 11))
    assert same_day_check_due(WITH_CLOCK, at(12, 15))
    assert not same_day_check_due(WITH_CLOCK, at(12, 15, 1))
    assert same_day_check_due(WITHOUT, at(12, 15, 1))
    assert not same_day_check_due(WITHOUT, at(13, 8))


def visit(day: int, grade: int | None, kind: str = "recheck") -> dict[str, object]:
    found: dict[str, object] = {"recheck_at": at(day, 9), "recheck_kind": kind}
    return found if grade is None else {**found, "recheck_edema_grade_central": grade}


CLOUDY = {"surgery_date": DAY, "edema_grade_central": 3}


def test_a_clear_eye_has_no_clearing_line() -> None:
    assert clearing({**CLOUDY, "edema_grade_central": 1}, [], 2) is None
    assert clearing(WITHOUT, [], 2) is None
    assert clearing({**CLOUDY, "edema_grade_central": 1}, [], 1) is not None


def test_a_cloudy_eye_keeps_its_line_until_a_visit_is_clear() -> None:
    first = clearing(CLOUDY, [], 2)
    assert first is not None
    assert (first.clear, first.days_to_clear, first.visits) == (False, None, 0)
    still = clearing(CLOUDY, [visit(14, 2), visit(15, None)], 2)
    assert still is not None
    assert not still.clear
    assert still.last["recheck_edema_grade_central"] == 2
    done = clearing(CLOUDY, [visit(19, 1), visit(14, 2)], 2)
    assert done is not None
    assert (done.clear, done.clear_on, done.days_to_clear, done.visits) == (True, date(2026, 11, 19), 7, 2)


def test_a_cornea_that_became_cloudy_again_is_not_clear() -> None:
    again = clearing(CLOUDY, [visit(14, 0), visit(16, 2), visit(20, 1), visit(25, 0)], 2)
    assert again is not None
    assert again.clear_on == date(2026, 11, 20)  # from then on every visit was clear
    assert not clearing(CLOUDY, [visit(14, 0), visit(16, 2)], 2).clear  # type: ignore[union-attr]


def test_the_check_on_the_day_of_surgery_does_not_clear() -> None:
    found = clearing(CLOUDY, [visit(12, 0, "same_day")], 2)
    assert found is not None
    assert not found.clear
    assert found.visits == 0


def test_the_next_day_and_the_appointment_are_the_last_ones_agreed() -> None:
    when = datetime(2026, 11, 13, 9, 0, tzinfo=UTC)
    events = [
        CaseEvent(KEY, NEXT_CHECK, {"on": "2026-11-15"}, when, "Okafor"),
        CaseEvent(KEY, NEXT_CHECK, {"on": "2026-11-16"}, when, "Okafor"),
        CaseEvent(KEY, "appointment", {"at": "2026-11-13T08:40"}, when, "Okafor"),
        CaseEvent(KEY, "appointment", {"at": "2026-11-13T09:20"}, when, "Okafor"),
    ]
    found = clearing(CLOUDY, [], 2, events)
    assert found is not None
    assert found.next_on == date(2026, 11, 16)
    assert appointment_of(events) == at(13, 9, 20)
    assert appointment_of([]) is None


def test_a_postponed_surgery_takes_its_appointment_away() -> None:
    key = CaseKey("P-1", "L", date(2026, 11, 19))
    written = datetime(2026, 11, 12, 9, tzinfo=UTC)
    agreed = CaseEvent(key, APPOINTMENT, {"at": "2026-11-13T09:20"}, written, "Okafor")
    moved = CaseEvent(key, POSTPONED, {"from": "2026-11-12", "to": "2026-11-19", "reason": "a cold"}, written, "Osei")
    anew = CaseEvent(key, APPOINTMENT, {"at": "2026-11-20T08:40"}, written, "Okafor")
    assert appointment_of([agreed, moved]) is None
    assert appointment_of([agreed, moved, anew]) == datetime(2026, 11, 20, 8, 40)


# --- halts of visits --------------------------------------------------------------------------------------------------

LEVELS = Levels()
BEFORE = {"preop_va_raw": "6/18", "preop_va_logmar": 0.477, "glaucoma": "none"}


def seen(hour: int, minute: int = 0, **readings: object) -> dict[str, object]:
    return {"recheck_at": datetime(2026, 11, 12, hour, minute), **readings}


def done(halt: str, hour: int, minute: int = 0) -> CaseEvent:
    at = datetime(2026, 11, 12, hour, minute, tzinfo=UTC)
    return CaseEvent(CaseKey("P-1", "L", date(2026, 11, 12)), "action", {"halt": halt}, at, "Okafor")


def codes(visits: list[dict[str, object]], events: tuple[CaseEvent, ...] = ()) -> list[tuple[str, Urgency]]:
    return [(one.code, one.urgency) for one in left_open(BEFORE, visits, LEVELS, events, "UTC")]


def test_a_halt_of_an_earlier_visit_stays_until_it_is_noted_or_read_anew() -> None:
    high = seen(12, recheck_iop_mmhg=52.0)
    assert codes([high]) == [("M51", Urgency.NOW)]
    assert codes([high, seen(14, recheck_va_raw="6/12")]) == [("M51", Urgency.NOW)]
    assert codes([high, seen(14, recheck_va_raw="6/12")], (done("M51", 12, 10),)) == []
    assert codes([high, seen(14, recheck_iop_mmhg=18.0)]) == [("M51", Urgency.QUIET)]  # what was done is still to note
    assert codes([high, seen(14, recheck_iop_mmhg=18.0)], (done("M51", 12, 10),)) == []
    assert codes([high, seen(14, recheck_iop_mmhg=45.0)], (done("M51", 12, 10),)) == [("M51", Urgency.NOW)]
    assert codes([high, seen(14, recheck_iop_mmhg=45.0)], (done("M51", 14, 10),)) == []
    milky = seen(12, recheck_edema_grade_central=3)
    assert codes([milky, seen(14, recheck_iop_mmhg=18.0)]) == [("M55", Urgency.TODAY)]
    assert codes([milky, seen(14, recheck_edema_grade_central=1)]) == []
    toxic = seen(12, recheck_edema_grade_central=4, recheck_va_raw="HM", recheck_va_logmar=2.3)
    half = seen(14, recheck_edema_grade_central=1)
    assert codes([toxic, half]) == [("M54", Urgency.NOW), ("M58", Urgency.NOW)]  # vision was not read again


def test_several_visits_count_with_the_newest_of_each_reading() -> None:
    found = of_visits(BEFORE, [seen(12, recheck_iop_mmhg=52.0, recheck_va_raw="6/12"), seen(14, recheck_iop_mmhg=18.0)])
    assert (found["iop_pod1_mmhg"], found["ucva_raw"], found["edema_grade_central"]) == (18.0, "6/12", None)
