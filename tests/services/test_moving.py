"""Eyes stood down, postponed, taken out by consent, and patients' numbers merged: what is kept, what is refused."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest

from clinic_app.domain.drafted import DraftAnswer, Drafted
from clinic_app.domain.people import Duty, Person, body_of
from clinic_app.domain.record import CaseKey, Draft, StageRecord
from clinic_app.errors import Refusal
from clinic_app.services import bookings, decisions, drafts, moving
from clinic_app.services.training import train_candidate
from clinic_app.session import Session, open_session
from models.codebook import Stage
from models.eligibility import REASONS
from tests.models.invented_practice import practice
from tests.services.test_bookings import NOW, record
from tests.services.test_decisions import fill


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Session]:
    with open_session(tmp_path_factory.mktemp("practice"), person="Booker", clock=lambda: NOW) as opened:
        fill(opened, practice(600))
        train_candidate(opened, model="booking", resamples=0)
        decisions.adopt(opened, "booking-1", reason="first model")
        yield opened


@pytest.fixture
def plain(tmp_path: Path) -> Iterator[Session]:
    with open_session(tmp_path, person="Booker", clock=lambda: NOW) as opened:
        yield opened


def register(session: Session, name: str, *duties: Duty) -> None:
    with session.store.writing(by="People", act="register") as write:
        write.put_register("person", name, body_of(Person(name, frozenset(duties))))


def booked(session: Session, number: str, eye: str = "R", day: date = date(2026, 11, 3), **more: object) -> CaseKey:
    key = CaseKey(number, eye, day)
    bookings.book(session, record(**more), key)
    return key


def listed(session: Session) -> dict[CaseKey, bookings.BookedEye]:
    return {one.key: one for one in bookings.list_eyes(session)}


# --- standing down ---


def test_an_eye_stood_down_leaves_the_list_and_keeps_its_record(plain: Session) -> None:
    key = booked(plain, "S-1")
    moving.stand_down(plain, key, "  chose not to  have it ")
    assert key not in listed(plain)
    (eye,) = bookings.stood_down_eyes(plain)
    assert (eye.key, eye.state, eye.stood_down_for) == (key, "Stood down", "chose not to have it")
    assert eye.row["nucleus_hardness"] == 3
    assert any(line.reason == "chose not to have it" for line in plain.store.history(key=key))


def test_it_is_not_changed_while_stood_down_and_can_be_taken_back(plain: Session) -> None:
    key = booked(plain, "S-2")
    moving.stand_down(plain, key, "ill")
    with pytest.raises(Refusal, match="Take it back first"):
        bookings.book(plain, record(nucleus_hardness=5), key, reason="seen again")
    moving.take_back(plain, key, "well again")
    assert listed(plain)[key].state == "Booked"
    assert bookings.stood_down_eyes(plain) == []
    kinds = [one.kind for one in plain.store.events(key=key)]
    assert kinds[-2:] == ["stood_down", "taken_back"]


def test_an_eye_stood_down_leaves_the_list_a_quarter_after_its_day_and_can_still_be_taken_back(plain: Session) -> None:
    key = booked(plain, "S-4", day=date(2026, 6, 30))
    late = booked(plain, "S-5", day=date(2026, 7, 1))
    moving.stand_down(plain, key, "ill")
    moving.stand_down(plain, late, "ill")
    assert [eye.key for eye in bookings.stood_down_eyes(plain)] == [late]
    assert bookings.open_eye(plain, key).state == "Stood down"
    moving.take_back(plain, key, "well again")
    assert key in listed(plain)


def test_an_operated_eye_is_not_stood_down(plain: Session) -> None:
    key = booked(plain, "S-3")
    with plain.store.writing(by="Dr", act="sign") as write:
        write.put_stage(key, StageRecord(Stage.THEATRE, {"us_time_s": 30.0}))
    with pytest.raises(Refusal, match="operated"):
        moving.stand_down(plain, key, "late")
    assert key not in plain.store.stood_down()


# --- another day ---


def test_a_postponed_eye_keeps_forecasts_events_and_history_under_the_new_day(session: Session) -> None:
    key = booked(session, "P-1", protection_plan=("coat_first",))
    (first,) = session.store.forecasts(key=key)
    moved = moving.postpone(session, key, date(2026, 12, 8), "no anaesthetist")
    assert moved == CaseKey("P-1", "R", date(2026, 12, 8))
    assert session.store.case(key) is None
    eye = listed(session)[moved]
    assert eye.moved_from == date(2026, 11, 3)
    assert eye.row["nucleus_hardness"] == 3
    kept = session.store.forecasts(key=moved)
    assert kept[0].risk == first.risk
    assert [one.kind for one in session.store.events(key=moved)] == ["plan", "opening", "postponed"]
    assert any(line.reason == "no anaesthetist" for line in session.store.history(key=moved))


def test_the_age_of_the_new_day_makes_a_new_forecast_beside_the_old_one(session: Session) -> None:
    key = booked(session, "P-2")
    moved = moving.postpone(session, key, date(2027, 10, 3), "wishes to wait")
    first, second = session.store.forecasts(key=moved)
    assert second.inputs["age_years"] - first.inputs["age_years"] == pytest.approx(334 / 365.25, abs=0.01)  # type: ignore[operator]
    assert second.risk != first.risk
    assert listed(session)[moved].forecast == second


@pytest.mark.parametrize(
    ("day", "why"),
    [(date(2026, 11, 3), "that day already"), (date(2026, 9, 30), "past"), (date(2026, 11, 10), "booked")],
)
def test_a_day_that_cannot_be_is_refused(plain: Session, day: date, why: str) -> None:
    key = booked(plain, "P-3")
    booked(plain, "P-3", day=date(2026, 11, 10))
    with pytest.raises(Refusal, match=why):
        moving.postpone(plain, key, day, "moved")
    assert key in listed(plain)
    assert plain.store.events(kind="postponed") == []


def test_an_eye_that_was_postponed_once_is_no_second_operation(session: Session) -> None:
    key = booked(session, "P-4")
    moved = moving.postpone(session, key, date(2026, 11, 20), "ill")
    moved = moving.postpone(session, moved, date(2026, 11, 27), "ill still")
    assert listed(session)[moved].forecast.status == "forecast"  # type: ignore[union-attr]
    assert listed(session)[moved].moved_from == date(2026, 11, 20)


# --- consent ---


def test_withdrawn_consent_takes_both_eyes_out_and_leaves_them_recorded(session: Session) -> None:
    right, left = booked(session, "C-1"), booked(session, "C-1", "L", date(2026, 11, 17))
    assert moving.withdraw_consent(session, "C-1", "asked by letter") == [right, left]
    eyes = listed(session)
    for key in (right, left):
        assert eyes[key].row["consent_audit_model"] == "no"
        assert eyes[key].row["nucleus_hardness"] == 3
        assert eyes[key].forecast.status == "refused_unlike_ours"  # type: ignore[union-attr]
        assert REASONS["consent_withdrawn"] in eyes[key].forecast.note  # type: ignore[union-attr]
        (event,) = session.store.events(key=key, kind="consent_withdrawn")
        assert event.body == {"reason": "asked by letter"}
    moving.give_consent(session, "C-1", "asked again")
    assert listed(session)[right].forecast.status == "forecast"  # type: ignore[union-attr]


def test_consent_can_be_withdrawn_after_surgery_and_the_eye_is_left_out_of_fitting(session: Session) -> None:
    graded = next(key for key in sorted(session.store.keys()) if key.surgery_date < NOW.date())
    moving.withdraw_consent(session, graded.patient_id, "asked by letter")
    before = session.card("booking-1")
    found = train_candidate(session, model="booking", resamples=0)
    after = session.card(str(found["model_id"]))
    out = len(session.store.keys(patient_id=graded.patient_id))
    assert before.training["n"] - after.training["n"] == out  # type: ignore[operator]
    moving.give_consent(session, graded.patient_id, "a mistake of ours")


def test_consent_of_nobody_is_refused(plain: Session) -> None:
    with pytest.raises(Refusal, match="No eye of that number"):
        moving.withdraw_consent(plain, "nobody", "asked")


# --- two numbers ---


@pytest.mark.parametrize(("gone", "kept", "withdrawn"), [("C-06", "C-6", "C-6"), ("C-07", "C-7", "C-07")])
def test_a_withdrawal_under_either_number_holds_for_all_the_eyes(
    session: Session, gone: str, kept: str, withdrawn: str
) -> None:
    booked(session, kept, consent_audit_model="yes")
    booked(session, gone, "L", consent_audit_model="yes")
    moving.withdraw_consent(session, withdrawn, "asked by letter")
    moving.merge_numbers(session, gone, kept, "one person, two numbers")
    eyes = [listed(session)[CaseKey(kept, side, date(2026, 11, 3))] for side in "RL"]
    for eye in eyes:
        assert eye.row["consent_audit_model"] == "no"
        assert REASONS["consent_withdrawn"] in eye.forecast.note  # type: ignore[union-attr]
        (event,) = session.store.events(key=eye.key, kind="consent_withdrawn")
        assert event.body == {"reason": "asked by letter"}
    moving.give_consent(session, kept, "asked again")
    booked(session, f"{kept}-2", "L", date(2026, 12, 8), consent_audit_model="yes")
    moving.merge_numbers(session, f"{kept}-2", kept, "a third number")
    theirs = [one for key, one in listed(session).items() if key.patient_id == kept]
    assert [one.row["consent_audit_model"] for one in theirs] == ["yes"] * 3


def test_two_numbers_of_one_patient_become_one(session: Session) -> None:
    right, left = booked(session, "M-1"), booked(session, "M-01", "L")
    assert moving.merge_numbers(session, "M-01", "M-1", "one person, two numbers") == [
        CaseKey("M-1", "L", left.surgery_date)
    ]
    assert {one for one in listed(session) if one.patient_id.startswith("M-")} == {
        right, CaseKey("M-1", "L", left.surgery_date),
    }  # fmt: skip
    assert session.store.case(left) is None
    moved = CaseKey("M-1", "L", left.surgery_date)
    assert len(session.store.forecasts(key=moved)) == 1
    (event,) = session.store.events(key=moved, kind="merged")
    assert event.body == {"from": "M-01", "to": "M-1", "reason": "one person, two numbers"}
    assert bookings.fellow(session, "M-1", "R") is not None


def test_a_second_operation_that_the_merging_reveals_loses_its_number(session: Session) -> None:
    booked(session, "M-2", day=date(2026, 11, 4))
    booked(session, "M-02", day=date(2026, 12, 4))
    moving.merge_numbers(session, "M-02", "M-2", "one person")
    later = CaseKey("M-2", "R", date(2026, 12, 4))
    assert listed(session)[later].forecast.risk is None  # type: ignore[union-attr]


def test_numbers_that_clash_are_refused_with_what_to_do(plain: Session) -> None:
    booked(plain, "M-3")
    booked(plain, "M-03")
    with pytest.raises(Refusal, match="Correct the eye or the day"):
        moving.merge_numbers(plain, "M-03", "M-3", "one person")
    booked(plain, "M-4", "L", birth_date=date(1961, 1, 1))
    with pytest.raises(Refusal, match="different things of the person"):
        moving.merge_numbers(plain, "M-4", "M-3", "one person")
    with pytest.raises(Refusal, match="not known"):
        moving.merge_numbers(plain, "M-5", "M-3", "one person")
    assert len(listed(plain)) == 3


# --- who may, and why ---


def test_every_act_needs_its_duty_and_a_reason(plain: Session) -> None:
    key = booked(plain, "W-1")
    booked(plain, "W-01", "L")
    acts = {
        "stand_down": lambda one, why: moving.stand_down(one, key, why),
        "take_back": lambda one, why: moving.take_back(one, key, why),
        "postpone": lambda one, why: moving.postpone(one, key, date(2026, 12, 1), why),
        "withdraw": lambda one, why: moving.withdraw_consent(one, "W-1", why),
        "give": lambda one, why: moving.give_consent(one, "W-1", why),
        "merge": lambda one, why: moving.merge_numbers(one, "W-01", "W-1", why),
    }
    for act in acts.values():
        with pytest.raises(Refusal, match="needs a reason"):
            act(plain, "  ")
    register(plain, "Booker", Duty.BOOKING)
    register(plain, "Grader", Duty.DAY_ONE)
    register(plain, "Lead", Duty.DATA_LEAD)
    for name, act in acts.items():
        with pytest.raises(Refusal, match="needs the duty"):
            act(plain.acting("Grader"), "because")
        if name == "merge":
            with pytest.raises(Refusal, match="Data lead or People"):
                act(plain, "because")
    with pytest.raises(Refusal, match="needs the duty"):
        bookings.book(plain.acting("Grader"), record(), CaseKey("W-2", "R", date(2026, 11, 3)))
    before = plain.store.head().number
    for name in ("stand_down", "take_back", "withdraw", "postpone"):
        acts[name](plain, "because")
    acts["merge"](plain.acting("Lead"), "because")
    assert plain.store.head().number > before


# --- drafts ---


def test_a_draft_of_changes_goes_with_its_eye(plain: Session) -> None:
    key = booked(plain, "D-1")
    drafts.keep_draft(plain, Drafted({"nucleus_hardness": DraftAnswer(5)}, put_by=True), key=key, number=None)
    moved = moving.postpone(plain, key, date(2026, 12, 1), "ill")
    assert [one.key for one in drafts.booking_drafts(plain)] == [moved]
    booked(plain, "D-01", "L")
    moving.merge_numbers(plain, "D-1", "D-01", "one person")
    (draft,) = drafts.booking_drafts(plain)
    assert draft.key == CaseKey("D-01", "R", date(2026, 12, 1))
    assert draft.drafted.answers["nucleus_hardness"].value == 5


def test_an_eye_whose_sheet_is_being_written_stays_where_it_is(plain: Session) -> None:
    key = booked(plain, "D-2")
    booked(plain, "D-02", "L")
    sheet = plain.store.keep_draft(Draft("Halvorsen", "theatre", key, {}, NOW))
    for act in (
        lambda: moving.stand_down(plain, key, "ill"),
        lambda: moving.postpone(plain, key, date(2026, 12, 1), "ill"),
        lambda: moving.merge_numbers(plain, "D-2", "D-02", "one person"),
    ):
        with pytest.raises(Refusal, match="sheet of its operation is open"):
            act()
    assert sheet.draft_no is not None
    plain.store.drop_draft(sheet.draft_no)
    moving.stand_down(plain, key, "ill")


def test_what_a_crash_left_of_a_signed_sheet_holds_nobody_up(plain: Session) -> None:
    """The program may end between the signature and the forgetting of the draft."""
    key = booked(plain, "D-3")
    booked(plain, "D-03", "L")
    plain.store.keep_draft(Draft("Halvorsen", "theatre", key, {}, NOW))
    with plain.store.writing(by="Halvorsen", act="sign") as write:
        write.put_stage(key, StageRecord(Stage.THEATRE, {"us_time_s": 30.0}))
    moving.merge_numbers(plain, "D-3", "D-03", "one person")
    assert plain.store.case(CaseKey("D-03", "R", key.surgery_date)) is not None
