"""Who works here, what each may do, and who is acting."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
import sqlcipher3.dbapi2 as driver

from clinic_app.domain.people import EVERYTHING, Duty
from clinic_app.errors import Refusal
from clinic_app.services import people
from clinic_app.session import Session, open_session


class Clock:
    now = datetime(2026, 3, 2, 8, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def session(tmp_path: Path, clock: Clock) -> Iterator[Session]:
    with open_session(tmp_path, person="account", clock=clock) as opened:
        yield opened


@pytest.fixture
def staffed(session: Session) -> Session:
    """Osei looks after people, Ito books and operates, Berg grades; Osei acts."""
    people.register(session, "Osei", [])
    osei = session.acting("Osei")
    people.register(osei, "Ito", [Duty.BOOKING, Duty.SURGEON], surgeon_id="S1")
    people.register(osei, "Berg", [Duty.DAY_ONE])
    return osei


def test_while_nobody_is_registered_everybody_may_do_everything(session: Session) -> None:
    assert session.me.duties == EVERYTHING
    assert people.people(session) == []
    session.need(Duty.PEOPLE, act="Anything")
    assert people.sign_in(session, " Somebody ").person == "Somebody"


def test_the_first_one_looks_after_people_and_unknown_names_may_nothing(session: Session) -> None:
    first = people.register(session, " Osei  Adu ", [Duty.SCRIBE])
    assert (first.name, first.duties) == ("Osei Adu", {Duty.SCRIBE, Duty.PEOPLE})
    assert session.me.duties == frozenset()
    with pytest.raises(Refusal, match="account is not registered"):
        session.need(Duty.BOOKING, Duty.SURGEON, act="Booking an eye")
    with pytest.raises(Refusal, match="not open to you"):
        people.register(session, "Ito", [Duty.BOOKING])
    assert session.acting("Osei Adu").may(Duty.BOOKING, Duty.PEOPLE)


def test_a_refusal_names_the_duty_that_is_needed_and_those_held(staffed: Session) -> None:
    with pytest.raises(Refusal) as told:
        staffed.acting("Berg").need(Duty.BOOKING, Duty.SURGEON, act="Booking an eye")
    assert told.value.what.startswith("Booking an eye is not open to you")
    assert "Booking or Surgeon" in told.value.why
    assert told.value.why.endswith("the duties of Berg are: Day one.")
    staffed.acting("Ito").need(Duty.BOOKING, act="Booking an eye")
    assert not staffed.acting("Ito").may(Duty.DAY_ONE)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("", "1 to 80"), (" \t", "1 to 80"), ("x" * 81, "1 to 80"), ("a\x00b", "1 to 80"), ("ITO", "already"),
        ("The Program", "program itself"),
    ],
)  # fmt: skip
def test_names_that_would_confuse_are_refused(staffed: Session, name: str, words: str) -> None:
    with pytest.raises(Refusal, match=words):
        people.register(staffed, name, [])


def test_a_surgeons_code_is_one_persons(staffed: Session) -> None:
    with pytest.raises(Refusal, match="that of Ito"):
        people.register(staffed, "Lund", [Duty.SURGEON], surgeon_id="S1")
    changed = people.change(staffed, "Ito", duties=[Duty.SURGEON], surgeon_id="S1", reason="No longer books")
    assert (changed.duties, changed.surgeon_id) == ({Duty.SURGEON}, "S1")
    line = staffed.store.history(subject="person Ito")[-1]
    assert (line.field, line.old, line.new) == ("duties", '["booking","surgeon"]', '["surgeon"]')
    assert (line.by, line.reason) == ("Osei", "No longer books")


def test_changes_need_the_duty_and_a_reason(staffed: Session) -> None:
    ito = staffed.acting("Ito")
    with pytest.raises(Refusal, match="duty People"):
        people.change(ito, "Ito", duties=list(Duty), reason="I like to")
    with pytest.raises(Refusal, match="duty People"):
        people.leave(ito, "Berg", reason="Gone")
    with pytest.raises(Refusal, match="duty People"):
        people.reset_pin(ito, "Berg", reason="Forgotten")
    with pytest.raises(Refusal, match="needs a reason"):
        people.change(staffed, "Ito", duties=[], reason="  ")
    with pytest.raises(Refusal, match="not registered"):
        people.change(staffed, "Nobody", duties=[], reason="x")


def test_somebody_always_looks_after_people(staffed: Session) -> None:
    with pytest.raises(Refusal, match="last one"):
        people.leave(staffed, "Osei", reason="Gone")
    with pytest.raises(Refusal, match="last one"):
        people.change(staffed, "Osei", duties=[Duty.DAY_ONE], reason="Other work")
    people.change(staffed, "Ito", duties=[Duty.PEOPLE], reason="Takes over")
    people.leave(staffed, "Osei", reason="Gone")
    with pytest.raises(Refusal, match="last one"):
        people.leave(staffed.acting("Ito"), "Ito", reason="Gone too")


def test_whoever_left_may_nothing_from_that_day_on_and_can_come_back(staffed: Session, clock: Clock) -> None:
    people.leave(staffed, "Berg", on=date(2026, 3, 4), reason="Moves away")
    berg = people.sign_in(staffed, "Berg")
    assert berg.may(Duty.DAY_ONE)
    clock.now += timedelta(days=2)
    assert not berg.may(Duty.DAY_ONE)
    with pytest.raises(Refusal, match="Berg has left"):
        berg.need(Duty.DAY_ONE, act="Grading")
    with pytest.raises(Refusal, match="left the practice on 4 Mar 2026"):
        people.sign_in(staffed, "Berg")
    assert [one.name for one in people.people(staffed)] == ["Ito", "Osei"]
    assert [one.name for one in people.people(staffed, gone=True)] == ["Berg", "Ito", "Osei"]
    with pytest.raises(Refusal, match="already"):
        people.register(staffed, "Berg", [])
    people.come_back(staffed, "Berg", reason="Back")
    assert people.sign_in(staffed, "Berg").may(Duty.DAY_ONE)


# --- PINs ---


@pytest.mark.parametrize("pin", ["123", "123456789", "12a4", "", "１２３４", "1234\n"])
def test_a_pin_has_four_to_eight_digits(staffed: Session, pin: str) -> None:
    with pytest.raises(Refusal, match="4 to 8 digits"):
        people.set_pin(staffed, pin)
    assert not staffed.me.has_pin


def test_the_digits_stand_nowhere_in_the_file(staffed: Session, tmp_path: Path) -> None:
    people.set_pin(staffed, "80417263")
    assert staffed.me.has_pin
    people.check_pin(staffed, "Osei", "80417263")
    first, second = (staffed.store.register("pin")[0].body[part] for part in ("salt", "hash"))
    staffed.store.close()
    assert b"80417263" not in (tmp_path / "practice.sqlite").read_bytes()
    connection = driver.connect(str(tmp_path / "practice.sqlite"), isolation_level=None)
    lines = str(connection.execute("SELECT old, new, reason FROM history_values").fetchall())
    connection.close()
    assert str(first) not in lines
    assert str(second) not in lines


def test_two_people_with_one_pin_have_different_hashes(staffed: Session) -> None:
    people.set_pin(staffed, "4417")
    people.set_pin(staffed.acting("Ito"), "4417")
    one, two = (entry.body for entry in staffed.store.register("pin"))
    assert one["salt"] != two["salt"]
    assert one["hash"] != two["hash"]


def test_signing_in_needs_the_pin_of_whoever_has_one(staffed: Session) -> None:
    people.set_pin(staffed.acting("Ito"), "4417")
    assert people.sign_in(staffed, "Ito", "4417").person == "Ito"
    assert people.sign_in(staffed, "Berg").person == "Berg"
    with pytest.raises(Refusal, match="none was typed"):
        people.sign_in(staffed, "Ito")
    with pytest.raises(Refusal, match="not the right one"):
        people.sign_in(staffed, "Ito", "4418")
    with pytest.raises(Refusal, match="not registered"):
        people.sign_in(staffed, "Nobody", "4417")


def test_a_new_pin_needs_the_old_one_or_a_reset(staffed: Session) -> None:
    ito = staffed.acting("Ito")
    people.set_pin(ito, "4417")
    with pytest.raises(Refusal, match="not the right one"):
        people.set_pin(ito, "1111", old="0000")
    with pytest.raises(Refusal, match="none was typed"):
        people.set_pin(ito, "1111")
    people.set_pin(ito, "5528", old="4417")
    people.check_pin(staffed, "Ito", "5528")
    people.reset_pin(staffed, "Ito", reason="Forgotten")
    assert not ito.me.has_pin
    people.set_pin(ito, "9901")
    with pytest.raises(Refusal):
        people.check_pin(staffed, "Ito", "5528")
    assert "Forgotten" in {line.reason for line in staffed.store.history(subject="pin Ito")}


def wrong(session: Session, times: int, name: str = "Ito") -> list[str]:
    told = []
    for _ in range(times):
        with pytest.raises(Refusal) as refusal:
            people.check_pin(session, name, "0000")
        told.append(refusal.value.what)
    return told


def test_after_five_wrong_ones_each_further_try_waits(staffed: Session, clock: Clock) -> None:
    people.set_pin(staffed.acting("Ito"), "4417")
    assert wrong(staffed, 5) == ["Ito is not signed in."] * 5
    with pytest.raises(Refusal, match="not looked at.*Try again in 30 seconds"):
        people.check_pin(staffed, "Ito", "4417")
    clock.now += timedelta(seconds=29)
    assert wrong(staffed, 1) == ["The PIN was not looked at."]
    clock.now += timedelta(seconds=2)
    assert wrong(staffed, 1) == ["Ito is not signed in."]
    with pytest.raises(Refusal, match="not looked at"):
        people.check_pin(staffed, "Ito", "4417")
    clock.now += timedelta(seconds=31)
    people.check_pin(staffed, "Ito", "4417")
    assert wrong(staffed, 4) == ["Ito is not signed in."] * 4
    people.check_pin(staffed, "Ito", "4417")  # the count began anew


def test_a_clock_that_ran_years_ahead_locks_nobody_out(staffed: Session, clock: Clock) -> None:
    people.set_pin(staffed.acting("Ito"), "4417")
    right, clock.now = clock.now, datetime(2036, 1, 1, tzinfo=UTC)
    wrong(staffed, 5)
    clock.now = right
    assert wrong(staffed, 2) == ["Ito is not signed in.", "The PIN was not looked at."]
    clock.now += timedelta(seconds=31)
    people.check_pin(staffed, "Ito", "4417")


def test_opening_the_program_again_does_not_clear_the_count(staffed: Session, clock: Clock, tmp_path: Path) -> None:
    people.set_pin(staffed.acting("Ito"), "4417")
    wrong(staffed, 5)
    staffed.store.close()
    with open_session(tmp_path, person="account", clock=clock) as again:
        with pytest.raises(Refusal, match="not looked at"):
            people.check_pin(again, "Ito", "4417")
        people.reset_pin(again.acting("Osei"), "Ito", reason="Locked out")
        people.check_pin(again, "Ito", "4417")
        assert all(one.ok for one in again.store.verify())
    with open_session(tmp_path, person="account", clock=clock, read_only=True) as reading:
        assert people.sign_in(reading, "Ito").person == "Ito"


def test_where_only_reading_is_possible_the_pin_is_still_asked(staffed: Session, clock: Clock, tmp_path: Path) -> None:
    people.set_pin(staffed.acting("Ito"), "4417")
    staffed.store.close()
    with open_session(tmp_path, person="account", clock=clock, read_only=True) as reading:
        assert wrong(reading, 7) == ["Ito is not signed in."] * 7
        assert people.sign_in(reading, "Ito", "4417").person == "Ito"
