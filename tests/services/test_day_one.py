"""Day one: blind until the lock, opened by it, corrected with a reason, not seen, noted, read again."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest

from clinic_app.domain.answers import Missing
from clinic_app.domain.people import Duty, Person, body_of
from clinic_app.domain.record import CaseKey, Origin, StageRecord, StoredForecast
from clinic_app.domain.seal import OPENING
from clinic_app.errors import Refusal
from clinic_app.services import bookings, clearing, day_one, moving
from clinic_app.services.day_one import Group
from clinic_app.session import Session, open_session
from clinic_app.settings import Settings, write_settings
from clinic_app.store.store import Store
from models.codebook import Stage

DAY = date(2026, 11, 12)
RIGHT, LEFT = CaseKey("P-20361", "R", DAY), CaseKey("P-20361", "L", DAY)
OTHER = CaseKey("P-20388", "L", DAY)
GRADED = {"edema_grade_central": 1, "descemet_folds": "1-4", "anything_else": ("none",), "iop_pod1_mmhg": 15.0}


@dataclass
class Wall:
    """The clock on the wall."""

    now: datetime = datetime(2026, 11, 13, 9, 4, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now

    def go(self, **later: float) -> None:
        self.now += timedelta(**later)


@pytest.fixture
def wall() -> Wall:
    return Wall()


@pytest.fixture
def session(tmp_path: Path, wall: Wall) -> Iterator[Session]:
    """A practice with four people, a forecast beforehand for one operated eye, and two other operated eyes."""
    folder = tmp_path / "practice"
    folder.mkdir()
    write_settings(folder, Settings(practice_name="Invented practice", demo=True, zone="UTC"))
    with open_session(folder, person="Osei", clock=wall) as opened:
        with opened.store.writing(by="Osei", act="people") as write:
            for person in (
                Person("Osei", frozenset({Duty.BOOKING, Duty.PEOPLE})),
                Person("Okafor", frozenset({Duty.DAY_ONE})),
                Person("Mbeki", frozenset({Duty.SURGEON, Duty.DAY_ONE}), surgeon_id="MB"),
                Person("Lind", frozenset({Duty.DATA_LEAD})),
            ):
                write.put_register("person", person.name, body_of(person))
        booked = {"birth_date": date(1953, 1, 17), "sex": "male", "surgery_time": time(9, 0), "glaucoma": "none",
                  "preop_iop_mmhg": 15.0, "cct_um": 541.0, "preop_va_raw": "6/18",
                  "protection_plan": ("coat_first",), "risk_shown_before_surgery": True}  # fmt: skip
        operated = {"surgeon_id": "MB", "pcr": "none", "us_time_s": 61.5, "ovd_removal": ("standard",)}
        with opened.store.writing(by="Osei", act="book") as write:
            for key in (LEFT, RIGHT, OTHER):
                write.put_stage(key, StageRecord(Stage.BOOKING, booked))  # type: ignore[arg-type]
            for model in ("booking", "end_of_case"):
                write.add_model(model, '{"card": "invented"}')
        with opened.store.writing(by="Mbeki", act="sign") as write:
            write.add_forecasts([forecast("booking", 0.12, 0.06, 0.21)])
            for key in (LEFT, RIGHT, OTHER):
                write.put_stage(key, StageRecord(Stage.THEATRE, operated))  # type: ignore[arg-type]
            write.add_forecasts([forecast("end_of_case", 0.09, 0.04, 0.17)])
        yield opened.acting("Okafor")


def forecast(model: str, risk: float, low: float, high: float) -> StoredForecast:
    return StoredForecast(
        key=LEFT, model_id=f"{model}-1", model=model, made_at=datetime(2026, 11, 1, 9, 0, tzinfo=UTC), made_by="Osei",
        status="forecast", risk=risk, low=low, high=high, inputs={},
    )  # fmt: skip


def locked(session: Session, key: CaseKey) -> dict[str, object]:
    case = session.store.case(key)
    assert case is not None
    return dict(case.stages[Stage.DAY_ONE].record.values)


# --- the seal ---------------------------------------------------------------------------------------------------------


def test_nothing_of_forecast_plan_or_sheet_reaches_the_page_before_the_lock(session: Session) -> None:
    eye = day_one.open_eye(session, LEFT)
    told = repr(eye)
    for secret in ("0.12", "0.21", "0.09", "0.17", "coat_first", "61.5", "protection_plan", "booking-1"):
        assert secret not in told
    assert ("Surgery", "Uneventful") in eye.know
    assert ("Pressure before", "15 mmHg") in eye.know
    assert ("Fellow eye", "Right, operated the same day") in eye.know
    assert ("Fellow eye", "Right, not operated") in day_one.open_eye(session, OTHER).know
    listed = repr(day_one.day_list(session))
    assert "0.12" not in listed
    assert "coat_first" not in listed
    assert day_one.opened(session, LEFT) is None


def test_the_lock_writes_the_sheet_locks_the_end_of_case_forecast_and_opens_both(session: Session) -> None:
    assert not any(one.locked for one in session.store.forecasts(key=LEFT, model="end_of_case"))
    found = day_one.lock(session, LEFT, GRADED, side="L")
    assert found is not None
    assert found.booking is not None
    assert found.end_of_case is not None
    assert (found.booking.risk, found.booking.low, found.booking.high) == (0.12, 0.06, 0.21)
    assert (found.end_of_case.risk, found.end_of_case.low, found.end_of_case.high) == (0.09, 0.04, 0.17)
    assert found.end_of_case.locked
    assert (found.grade, found.cloudy, found.cut) == (1, False, 2)
    values = locked(session, LEFT)
    assert values["visit_status"] == "attended"
    assert values["exam_at"] == datetime(2026, 11, 13, 9, 4)
    assert values["examiner_id"] == "Okafor"
    assert values["blinded_to_prediction"] is True
    assert values["examiner_is_surgeon"] is False
    assert values["hypopyon"] is False
    assert values["iol_position"] == "centred"
    whole = next(row for row in session.rows() if row["eye"] == "L" and row["patient_id"] == "P-20361")
    assert whole["hours_since_surgery"] == pytest.approx(24 + 4 / 60, abs=1e-9)
    openings = session.store.events(key=LEFT, kind=OPENING)
    assert [one.body["what"] for one in openings] == ["booking_forecast", "end_of_case_forecast"]
    assert {one.by for one in openings} == {"Okafor"}
    again = day_one.opened(session, LEFT)
    assert again is not None
    assert again.booking == found.booking


def test_an_eye_without_a_forecast_looks_alike_before_and_says_so_after(session: Session) -> None:
    one, other = day_one.open_eye(session, RIGHT), day_one.open_eye(session, LEFT)
    assert type(one) is type(other)
    assert one.blind
    assert other.blind
    found = day_one.lock(session, RIGHT, GRADED, side="R")
    assert found is not None
    assert (found.booking, found.end_of_case) == (None, None)
    assert session.store.events(key=RIGHT, kind=OPENING) == []
    assert locked(session, RIGHT)["blinded_to_prediction"] is True


def test_who_was_shown_the_forecast_grades_not_blind_and_examiners_alone_cannot_be_shown(session: Session) -> None:
    with pytest.raises(Refusal, match="neither books nor operates"):
        day_one.show_anyway(session, LEFT, "curious")
    surgeon = session.acting("Mbeki")
    with pytest.raises(Refusal, match="needs a reason"):
        day_one.show_anyway(surgeon, LEFT, " ")
    shown = day_one.show_anyway(surgeon, LEFT, "patient asks")
    assert [one.risk for one in shown] == [0.12, 0.09]
    assert not day_one.open_eye(surgeon, LEFT).blind
    assert day_one.open_eye(session, LEFT).blind  # the other examiner saw nothing
    day_one.lock(surgeon, LEFT, GRADED, side="L")
    values = locked(session, LEFT)
    assert values["blinded_to_prediction"] is False
    assert values["examiner_is_surgeon"] is True


def test_the_surgeon_of_the_eye_grades_an_own_case_and_not_blind(session: Session) -> None:
    eye = day_one.open_eye(session.acting("Mbeki"), LEFT)
    assert eye.own_case
    assert not eye.blind
    assert day_one.open_eye(session.acting("Mbeki"), OTHER).blind  # nothing was forecast, so nothing could be seen


def test_whoever_booked_with_the_number_on_the_page_is_not_blind(session: Session) -> None:
    with session.store.writing(by="Osei", act="people") as write:
        write.put_register("person", "Osei", body_of(Person("Osei", frozenset({Duty.DAY_ONE}))))
    assert not day_one.open_eye(session.acting("Osei"), LEFT).blind


def test_a_surgeon_to_whom_the_list_shows_the_number_is_not_blind(session: Session) -> None:
    with session.store.writing(by="Osei", act="people") as write:
        write.put_register("person", "Ruiz", body_of(Person("Ruiz", frozenset({Duty.SURGEON}), surgeon_id="RZ")))
        key = CaseKey("P-1", "L", DAY)
        write.put_stage(key, StageRecord(Stage.BOOKING, {"birth_date": date(1953, 1, 17)}))
        write.add_forecasts([dataclasses.replace(forecast("booking", 0.31, 0.2, 0.4), key=key)])
    surgeon = session.acting("Ruiz")
    (shown,) = bookings.list_eyes(surgeon)
    assert shown.forecast is not None
    assert (shown.key, shown.forecast.risk) == (key, 0.31)
    assert session.store.events(key=key, kind=OPENING) == []  # a list is no opening
    with session.store.writing(by="Mbeki", act="sign") as write:
        write.put_stage(key, StageRecord(Stage.THEATRE, {"surgeon_id": "MB"}))
    assert not day_one.open_eye(surgeon, key).blind
    assert day_one.open_eye(surgeon, OTHER).blind  # nothing was forecast for it
    day_one.lock(surgeon, key, GRADED, side="L")
    assert locked(session, key)["blinded_to_prediction"] is False


def test_while_nobody_is_registered_openings_alone_tell_whether_a_grade_is_blind(tmp_path: Path, wall: Wall) -> None:
    folder = tmp_path / "alone"
    folder.mkdir()
    write_settings(folder, Settings(practice_name="Invented practice", zone="UTC"))
    with open_session(folder, person="Ito", clock=wall) as alone:
        with alone.store.writing(by="Osei", act="book") as write:
            write.put_stage(LEFT, StageRecord(Stage.BOOKING, {"birth_date": date(1953, 1, 17)}))
            write.add_model("booking", '{"card": "invented"}')
            write.add_forecasts([forecast("booking", 0.12, 0.06, 0.21)])
        assert day_one.open_eye(alone, LEFT).blind
        bookings.open_eye(alone, LEFT)
        assert not day_one.open_eye(alone, LEFT).blind


# --- the lock ---------------------------------------------------------------------------------------------------------


def test_another_side_than_booked_locks_nothing(session: Session) -> None:
    with pytest.raises(Refusal, match="not the eye of this row"):
        day_one.lock(session, LEFT, GRADED, side="R")
    day_one.note_wrong_eye(session, LEFT, "R")
    (event,) = session.store.events(key=LEFT, kind="wrong_eye")
    assert event.body == {"page": "day_one", "pressed": "R"}
    case = session.store.case(LEFT)
    assert case is not None
    assert not case.has(Stage.DAY_ONE)


def test_a_lock_needs_an_answer_about_the_centre(session: Session) -> None:
    with pytest.raises(Refusal, match="centre has no grade"):
        day_one.lock(session, LEFT, {"pain_0_10": 1}, side="L")


def test_a_centre_that_cannot_be_graded_opens_nothing_and_can_be_graded_later(session: Session) -> None:
    assert day_one.lock(session, LEFT, {"edema_grade_central_missing": "not_possible"}, side="L") is None
    assert session.store.events(key=LEFT, kind=OPENING) == []
    eye = day_one.open_eye(session, LEFT)
    assert eye.state == "No grade"
    found = day_one.lock(session, LEFT, GRADED, side="L", expect_version=eye.version)
    assert found is not None
    assert found.end_of_case is not None


def test_a_grade_is_locked_once_and_a_change_in_between_is_refused(session: Session) -> None:
    day_one.lock(session, LEFT, GRADED, side="L")
    with pytest.raises(Refusal, match="locked already"):
        day_one.lock(session, LEFT, GRADED, side="L")
    day_one.not_seen(session, RIGHT, "missed", DAY + timedelta(days=1))
    with pytest.raises(Refusal):
        day_one.lock(session, RIGHT, GRADED, side="R", expect_version=0)


def test_what_stands_against_the_answers_is_refused(session: Session) -> None:
    with pytest.raises(Refusal, match="before the start of the surgery"):
        day_one.lock(session, LEFT, GRADED, side="L", seen_at=datetime(2026, 11, 12, 8, 0))


def test_a_visit_off_the_window_is_kept_and_is_no_outcome(session: Session, wall: Wall) -> None:
    wall.go(hours=17)
    found = day_one.lock(session, LEFT, GRADED, side="L")
    assert found is not None
    assert found.grade == 1
    assert found.cloudy is None


def test_thickness_with_another_device_gives_no_change(session: Session) -> None:
    with session.store.writing(by="Osei", act="import") as write:
        source = {"cct_um": 541.0, "birth_date": date(1953, 1, 17)}
        write.put_stage(OTHER, StageRecord(Stage.BOOKING, source, origin={"cct_um": origin("OCT")}))  # type: ignore[arg-type]
    answers = {**GRADED, "cct_pod1_um": 572.0}
    day_one.lock(session, OTHER, answers, side="L", same_device=False)
    row = next(row for row in session.rows() if row["patient_id"] == OTHER.patient_id)
    assert row.get("cct_change_pct") is None
    day_one.lock(session, LEFT, answers, side="L")
    row = next(row for row in session.rows() if row["patient_id"] == "P-20361" and row["eye"] == "L")
    assert row["cct_change_pct"] == pytest.approx(100 * 31 / 541, abs=1e-9)


def origin(device: str) -> Origin:
    return Origin(device)


def test_people_without_the_duty_are_refused(session: Session) -> None:
    for name in ("Lind", "Osei", "Somebody"):
        with pytest.raises(Refusal):
            day_one.day_list(session.acting(name))
        with pytest.raises(Refusal):
            day_one.open_eye(session.acting(name), LEFT)
        with pytest.raises(Refusal):
            day_one.lock(session.acting(name), LEFT, GRADED, side="L")


# --- after the lock ---------------------------------------------------------------------------------------------------


def test_a_correction_needs_a_reason_keeps_the_first_value_and_reviews_use_the_first(session: Session) -> None:
    day_one.lock(session, LEFT, GRADED, side="L")
    with pytest.raises(Refusal, match="only with a reason"):
        day_one.correct(session, LEFT, {"edema_grade_central": 2}, reason=" ")
    day_one.correct(session, LEFT, {"edema_grade_central": 2}, reason="looked again with a thin beam")
    (event,) = session.store.events(key=LEFT, kind="correction")
    assert event.body == {
        "stage": "day_one", "field": "edema_grade_central", "first": 1, "first_missing": None, "value": 2,
        "missing": None, "reason": "looked again with a thin beam",
    }  # fmt: skip
    eye = day_one.open_eye(session, LEFT)
    assert eye.answers["edema_grade_central"] == 2
    found = day_one.opened(session, LEFT)
    assert found is not None
    assert (found.grade, found.cloudy, found.changed) == (1, False, True)
    assert locked(session, LEFT)["edema_grade_central"] == 1
    row = next(row for row in session.rows() if row["patient_id"] == "P-20361" and row["eye"] == "L")
    assert row["edema_grade_central"] == 1


def test_a_correction_outside_the_range_is_refused(session: Session) -> None:
    day_one.lock(session, LEFT, GRADED, side="L")
    with pytest.raises(Refusal, match="outside 0 to 80"):
        day_one.correct(session, LEFT, {"pain_0_10": 3, "iop_pod1_mmhg": 99.0}, reason="typed wrongly")
    assert session.store.events(key=LEFT, kind="correction") == []
    with pytest.raises(Refusal, match="not locked"):
        day_one.correct(session, RIGHT, {"iop_pod1_mmhg": 20.0}, reason="typed wrongly")
    day_one.correct(session, LEFT, {"iop_pod1_mmhg": Missing("not_possible")}, reason="the cornea was too swollen")
    assert day_one.open_eye(session, LEFT).answers["iop_pod1_mmhg_missing"] == "not_possible"


# --- not seen, from afar, read again, noted ---------------------------------------------------------------------------


def test_an_eye_not_seen_never_counts_as_clear_and_can_still_be_graded(session: Session) -> None:
    day_one.not_seen(session, LEFT, "missed", DAY + timedelta(days=1))
    row = next(row for row in session.rows() if row["patient_id"] == "P-20361" and row["eye"] == "L")
    assert row["visit_status"] == "missed"
    assert "edema_grade_central" not in row
    assert day_one.open_eye(session, LEFT).state == "No grade"
    assert session.store.events(key=LEFT, kind="not_seen")[0].body == {"reason": "missed", "on": "2026-11-13"}
    assert day_one.lock(session, LEFT, GRADED, side="L", expect_version=1) is not None
    with pytest.raises(Refusal, match="was examined"):
        day_one.not_seen(session, LEFT, "missed", DAY + timedelta(days=1))
    with pytest.raises(Refusal, match="before the surgery"):
        day_one.not_seen(session, RIGHT, "missed", DAY - timedelta(days=1))


def test_who_did_not_attend_stays_on_the_list_until_reached(session: Session, wall: Wall) -> None:
    day_one.not_seen(session, LEFT, "missed", DAY + timedelta(days=1))
    wall.go(days=40)
    (eye,) = (one for one in day_one.day_list(session).eyes if one.key == LEFT)
    assert eye.group is Group.OVERDUE
    assert eye.missed
    day_one.note_action(session, LEFT, "missed", "the patient, by telephone", "comes tomorrow", "09:00")
    assert all(one.key != LEFT for one in day_one.day_list(session).eyes)


def test_no_visit_planned_is_for_practices_that_do_not_see_every_eye(session: Session) -> None:
    with pytest.raises(Refusal, match="missing grade"):
        day_one.not_planned(session, [LEFT])
    some = session.with_settings(Settings(zone="UTC", day_one_for_all=False))
    day_one.lock(session, RIGHT, GRADED, side="R")
    assert day_one.not_planned(some, [LEFT, RIGHT, OTHER]) == 2
    assert locked(session, LEFT) == {"visit_status": "not_planned"}
    assert all(one.key not in (LEFT, OTHER) for one in day_one.day_list(session).eyes)


def test_a_remote_sheet_is_never_a_grade_and_has_the_same_halts(session: Session) -> None:
    day_one.remote(session, LEFT, {"pain_0_10": 6, "vision_against_yesterday": "worse", "redness": False})
    assert locked(session, LEFT) == {"visit_status": "remote_only", "pain_0_10": 6}
    (eye,) = (one for one in day_one.day_list(session).eyes if one.key == LEFT)
    assert eye.group is Group.ACTION
    assert [halt.code for halt in eye.to_note] == ["M57", "M58"]
    with pytest.raises(Refusal, match="no answer"):
        day_one.remote(session, RIGHT, {})
    day_one.lock(session, RIGHT, GRADED, side="R")
    day_one.remote(session, RIGHT, {"pain_0_10": 1})
    assert locked(session, RIGHT)["edema_grade_central"] == 1  # asking later takes nothing away


def test_pressures_read_again_are_events_and_the_first_stays(session: Session) -> None:
    day_one.lock(session, LEFT, {**GRADED, "iop_pod1_mmhg": 44.0}, side="L")
    assert [one.code for one in group(session, LEFT).to_note] == ["M51"]
    day_one.read_again(session, LEFT, 41.0, "rebound")
    eye = day_one.open_eye(session, LEFT)
    assert [one.code for one in day_one.sheet_state(session, eye, eye.answers).halts] == ["M51"]
    day_one.read_again(session, LEFT, 22.0, "rebound")
    eye = day_one.open_eye(session, LEFT)
    (halt,) = day_one.sheet_state(session, eye, eye.answers).open_actions
    assert "within the hour" in halt.sentence
    assert locked(session, LEFT)["iop_pod1_mmhg"] == 44.0
    with pytest.raises(Refusal, match="outside"):
        day_one.read_again(session, LEFT, 90.0, None)


def group(session: Session, key: CaseKey) -> day_one.ListedEye:
    return next(one for one in day_one.day_list(session).eyes if one.key == key)


def test_an_action_is_asked_for_until_it_is_noted(session: Session) -> None:
    day_one.lock(session, LEFT, {**GRADED, "hypopyon": True, "anything_else": ("hypopyon",)}, side="L")
    eye = group(session, LEFT)
    assert eye.group is Group.ACTION
    assert [halt.code for halt in eye.to_note] == ["M54"]
    with pytest.raises(Refusal, match="who was reached"):
        day_one.note_action(session, LEFT, "M54", "", "tap and inject")
    day_one.note_action(session, LEFT, "M54", "Dr Mbeki", "tap and inject", "10:30")
    assert session.store.events(key=LEFT, kind="action")[0].body == {
        "halt": "M54", "reached": "Dr Mbeki", "decided": "tap and inject", "check_again": "10:30",
    }  # fmt: skip
    assert all(one.key != LEFT for one in day_one.day_list(session).eyes)


def test_a_call_that_becomes_due_after_an_action_asks_for_another_one(session: Session) -> None:
    day_one.lock(session, LEFT, {**GRADED, "headache_or_nausea": True}, side="L")
    (halt,) = group(session, LEFT).to_note
    day_one.note_action(session, LEFT, [halt], "Dr Mbeki", "pressure read: 15")
    assert all(one.key != LEFT for one in day_one.day_list(session).eyes)
    day_one.correct(session, LEFT, {"pain_0_10": 8}, reason="the patient says so now")
    (halt,) = group(session, LEFT).to_note
    assert halt.sentence == "Pain 8 of 10. Call the surgeon on call now."
    day_one.note_action(session, LEFT, [halt], "Dr Mbeki", "comes")
    assert all(one.key != LEFT for one in day_one.day_list(session).eyes)


def test_an_examination_without_a_grade_and_its_halts_outlast_a_call_and_a_note_that_nobody_came(
    session: Session, wall: Wall
) -> None:
    seen = {"edema_grade_central_missing": "not_possible", "iop_pod1_mmhg": 46.0, "anything_else": ("hypopyon",)}
    day_one.lock(session, OTHER, seen, side="L")
    before = locked(session, OTHER)
    wall.go(hours=3)
    day_one.remote(session, OTHER, {"pain_0_10": 8})
    assert locked(session, OTHER) == before
    assert [halt.code for halt in group(session, OTHER).to_note] == ["M51", "M54", "M57"]
    for reason in ("missed", "seen_elsewhere"):
        with pytest.raises(Refusal, match="was examined"):
            day_one.not_seen(session, OTHER, reason, DAY + timedelta(days=1))
    assert locked(session, OTHER) == before
    assert [halt.code for halt in group(session, OTHER).to_note] == ["M51", "M54", "M57"]


def test_a_second_call_takes_nothing_of_the_first_away(session: Session) -> None:
    day_one.remote(session, OTHER, {"pain_0_10": 8, "vision_against_yesterday": "worse"})
    day_one.remote(session, OTHER, {"headache_or_nausea": False})
    assert [halt.code for halt in group(session, OTHER).to_note] == ["M57", "M58"]
    assert locked(session, OTHER) == {"visit_status": "remote_only", "pain_0_10": 8, "headache_or_nausea": False}
    day_one.not_seen(session, OTHER, "seen_elsewhere", DAY + timedelta(days=1))
    assert [halt.code for halt in group(session, OTHER).to_note] == ["M57", "M58"]


@pytest.mark.parametrize("rise", ["read again", "corrected"])
def test_a_pressure_that_rises_after_its_action_was_noted_asks_again_on_the_list(session: Session, rise: str) -> None:
    day_one.lock(session, OTHER, {**GRADED, "iop_pod1_mmhg": 41.0}, side="L")
    (halt,) = group(session, OTHER).to_note
    day_one.note_action(session, OTHER, [halt], "Dr Mbeki", "tablet")
    assert all(one.key != OTHER for one in day_one.day_list(session).eyes)
    if rise == "corrected":
        day_one.correct(session, OTHER, {"iop_pod1_mmhg": 61.0}, reason="a slip of the pen")
    else:
        day_one.read_again(session, OTHER, 61.0, "rebound")
    (halt,) = group(session, OTHER).to_note
    assert halt.sentence.startswith("61 mmHg. Call")
    eye = day_one.open_eye(session, OTHER)
    assert [one.code for one in day_one.sheet_state(session, eye, eye.answers).open_actions] == ["M51"]


def test_several_halts_are_noted_in_one_act(session: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    day_one.lock(session, OTHER, {**GRADED, "iop_pod1_mmhg": 41.0, "anything_else": ("hypopyon",)}, side="L")
    writing, acts = type(session.store).writing, []

    def counted(store: Store, **act: str) -> object:
        acts.append(act["act"])
        return writing(store, **act)

    monkeypatch.setattr(type(session.store), "writing", counted)
    found = group(session, OTHER).to_note
    day_one.note_action(session, OTHER, found, "Dr Mbeki", "comes", "10:30")
    bodies = [one.body for one in session.store.events(key=OTHER, kind="action")]
    assert [(body["halt"], body["urgency"]) for body in bodies] == [("M51", "call now"), ("M54", "call now")]
    assert all(body["check_again"] == "10:30" for body in bodies)
    assert acts == ["note an action"]
    assert all(one.key != OTHER for one in day_one.day_list(session).eyes)


# --- the list ---------------------------------------------------------------------------------------------------------


def test_the_list_is_by_appointment_then_start_and_number(session: Session) -> None:
    found = day_one.day_list(session)
    assert [(one.key, one.group) for one in found.eyes] == [(LEFT, Group.DUE), (RIGHT, Group.DUE), (OTHER, Group.DUE)]
    assert found.eyes[0].hours == "24 h after surgery"
    assert found.eyes[0].pair == RIGHT
    assert found.eyes[2].pair is None
    assert (found.graded, found.of) == (0, 3)
    day_one.appoint(session, OTHER, datetime(2026, 11, 12, 8, 0) + timedelta(hours=12))
    assert next(iter(day_one.day_list(session).eyes)).key == OTHER
    with pytest.raises(Refusal, match="before the surgery"):
        day_one.appoint(session, OTHER, datetime(2026, 11, 11, 8, 0))


def test_groups_follow_the_clock(session: Session, wall: Wall) -> None:
    wall.now = datetime(2026, 11, 12, 12, 0, tzinfo=UTC)
    found = day_one.day_list(session)
    assert {one.group for one in found.eyes} == {Group.LATER}
    assert all(one.same_day for one in found.eyes)
    assert found.next_due == datetime(2026, 11, 12, 21, 0)
    wall.go(days=2)
    assert {one.group for one in day_one.day_list(session).eyes} == {Group.OVERDUE}
    wall.go(days=60)
    found = day_one.day_list(session)
    assert found.eyes == ()
    assert found.older == 3
    assert day_one.find(session, " P-20361 ") == [RIGHT, LEFT]


def test_a_postponed_eye_has_no_appointment_any_more(session: Session, wall: Wall) -> None:
    with session.store.writing(by="Osei", act="book") as write:
        write.put_stage(CaseKey("P-1", "R", DAY), StageRecord(Stage.BOOKING, {"birth_date": date(1953, 1, 17)}))
    day_one.appoint(session, CaseKey("P-1", "R", DAY), datetime(2026, 11, 13, 9, 20))
    later = moving.postpone(session.acting("Osei"), CaseKey("P-1", "R", DAY), date(2026, 11, 14), "a cold")
    wall.go(days=2)
    assert group(session, later).appointment is None


def test_two_unusual_eyes_on_one_list_are_said_until_somebody_was_told(session: Session) -> None:
    day_one.lock(session, LEFT, {**GRADED, "anything_else": ("hypopyon",)}, side="L")
    assert day_one.day_list(session).clusters == ()
    day_one.lock(session, OTHER, {**GRADED, "edema_grade_central": 3}, side="L")
    ((day, halt),) = day_one.day_list(session).clusters
    assert day == DAY
    assert halt.sentence.startswith("2 unusual eyes on the list of 12 Nov 2026.")
    day_one.note_action(session, OTHER, [halt], "Dr Mbeki", "trays held back")
    assert day_one.day_list(session).clusters == ()
    day_one.lock(session, RIGHT, {**GRADED, "edema_grade_central": 4}, side="R")
    ((_, third),) = day_one.day_list(session).clusters  # one more eye: whoever was told must hear of it
    assert third.sentence.startswith("3 unusual eyes")
    day_one.note_action(session, RIGHT, [third], "Dr Mbeki", "list stopped")
    assert day_one.day_list(session).clusters == ()


def test_the_second_eye_of_the_day_shows_the_halt_of_the_first_and_not_its_grade(session: Session) -> None:
    day_one.lock(session, LEFT, {**GRADED, "edema_grade_central": 4}, side="L")
    eye = day_one.open_eye(session, RIGHT)
    assert eye.pair is not None
    assert [halt.code for halt in eye.pair.halts] == ["M55"]
    assert "4" not in eye.pair.halts[0].sentence
    assert "edema_grade_central" not in eye.row


def test_the_second_eye_shows_the_halts_of_a_sheet_not_locked_yet_and_of_a_check_on_the_day(
    session: Session, wall: Wall
) -> None:
    wall.now = datetime(2026, 11, 12, 13, 0, tzinfo=UTC)
    clearing.keep_visit(session, LEFT, {"recheck_iop_mmhg": 52.0}, side="L", same_day=True)
    assert of_pair(session) == ["Other eye: 52 mmHg. Call the surgeon on call now. Do not wait for this program."]
    wall.go(minutes=30)
    clearing.keep_visit(session, LEFT, {"recheck_iop_mmhg": 21.0}, side="L", same_day=True)
    assert of_pair(session) == []
    wall.go(hours=20)
    draft = {"anything_else": ("hypopyon",), "iop_pod1_mmhg": 50.0}
    day_one.keep_sheet(session, LEFT, draft, began=day_one.open_eye(session, LEFT).began)
    told = of_pair(session)
    assert told == [
        "Other eye: 50 mmHg. Call the surgeon on call now. Do not wait for this program.",
        "Other eye: Call the surgeon on call now: infection or toxic reaction until shown otherwise.",
    ]
    assert of_pair(session.acting("Mbeki")) == []  # another's half-written sheet leans on nobody


def test_a_check_on_the_day_says_nothing_more_once_the_eye_was_examined(session: Session, wall: Wall) -> None:
    wall.now = datetime(2026, 11, 12, 13, 0, tzinfo=UTC)
    clearing.keep_visit(session, LEFT, {"recheck_iop_mmhg": 52.0}, side="L", same_day=True)
    wall.go(hours=20)
    day_one.lock(session, LEFT, GRADED, side="L")
    assert of_pair(session) == []


def of_pair(session: Session) -> list[str]:
    eye = day_one.open_eye(session, RIGHT)
    assert eye.pair is not None
    return [halt.sentence for halt in eye.pair.halts]


# --- drafts -----------------------------------------------------------------------------------------------------------


def test_a_draft_comes_back_whole_and_is_its_writers_alone(session: Session) -> None:
    answers = {**GRADED, "anything_else": ("fibrin",), "pain_0_10": 2, "ac_cells_sun_missing": "not_possible"}
    began = datetime(2026, 11, 13, 9, 1)
    number = day_one.keep_sheet(session, LEFT, answers, began=began, texts={"cct_pod1_um": "57"})
    assert day_one.keep_sheet(session, LEFT, answers, began=began, texts={"cct_pod1_um": "57"}, number=number) == number
    found = day_one.drafts(session)[LEFT]
    assert found.began == began
    assert {name: found.answers[name] for name in answers} == answers
    assert found.texts == {"cct_pod1_um": "57"}
    assert day_one.drafts(session.acting("Mbeki")) == {}
    day_one.drop_sheet(session, number)
    assert day_one.drafts(session) == {}


# --- clearing ---------------------------------------------------------------------------------------------------------


def test_a_cloudy_eye_keeps_its_clearing_line_until_it_is_clear(session: Session, wall: Wall) -> None:
    day_one.lock(session, OTHER, {**GRADED, "edema_grade_central": 2}, side="L")
    eye = group(session, OTHER)
    assert eye.group is Group.CLEARING
    wall.go(days=2)
    found = clearing.keep_visit(
        session, OTHER, {"recheck_edema_grade_central": 2, "recheck_iop_mmhg": 18.0}, side="L",
        next_on=date(2026, 11, 19), drops="one more drop a day",
    )  # fmt: skip
    assert found is not None
    assert not found.clear
    assert found.next_on == date(2026, 11, 19)
    assert ("Drops", "one more drop a day") in day_one.open_eye(session, OTHER).know
    eye = group(session, OTHER)
    assert eye.clearing is not None
    assert eye.clearing.visits == 1
    wall.go(days=4)
    found = clearing.keep_visit(session, OTHER, {"recheck_edema_grade_central": 1}, side="L")
    assert found is not None
    assert found.days_to_clear == 7
    assert all(one.key != OTHER for one in day_one.day_list(session).eyes)


def test_the_check_on_the_day_is_a_visit_of_its_own_with_the_same_halts(session: Session, wall: Wall) -> None:
    wall.now = datetime(2026, 11, 12, 13, 0, tzinfo=UTC)
    eye = day_one.open_eye(session, LEFT)
    state = clearing.visit_state(session, LEFT, eye.row, {"recheck_iop_mmhg": 41.0}, eye.began)
    assert [halt.code for halt in state.open_actions] == ["M51"]
    assert clearing.keep_visit(session, LEFT, {"recheck_iop_mmhg": 41.0}, side="L", same_day=True) is None
    assert [halt.code for halt in group(session, LEFT).to_note] == ["M51"]
    assert group(session, LEFT).same_day
    wall.go(minutes=5)
    day_one.note_action(session, LEFT, "M51", "Dr Mbeki", "chamber decompressed", "14:00")
    assert group(session, LEFT).group is Group.LATER
    case = session.store.case(LEFT)
    assert case is not None
    assert not day_one.day_list(session).clusters
    (visit,) = case.rechecks
    assert visit.record.values["recheck_kind"] == "same_day"
    assert visit.record.values["recheck_examiner_id"] == "Okafor"
    assert not case.has(Stage.DAY_ONE)
    wall.go(days=1)
    with pytest.raises(Refusal, match="does not fit"):
        clearing.keep_visit(session, LEFT, {"recheck_iop_mmhg": 20.0}, side="L", same_day=True)
    with pytest.raises(Refusal, match="not the eye of this row"):
        clearing.keep_visit(session, LEFT, {"recheck_iop_mmhg": 20.0}, side="R")
    with pytest.raises(Refusal, match="no answer"):
        clearing.keep_visit(session, LEFT, {}, side="L")


def test_a_check_keeps_its_halt_when_a_later_one_did_not_read_the_pressure(session: Session, wall: Wall) -> None:
    wall.now = datetime(2026, 11, 12, 12, 0, tzinfo=UTC)
    clearing.keep_visit(session, LEFT, {"recheck_iop_mmhg": 52.0}, side="L", same_day=True)
    wall.go(minutes=90)
    clearing.keep_visit(session, LEFT, {"recheck_va_raw": "6/12"}, side="L", same_day=True)
    (halt,) = group(session, LEFT).to_note
    assert halt.sentence.startswith("52 mmHg. Call")
    day_one.note_action(session, LEFT, [halt], "Dr Mbeki", "chamber decompressed")
    assert group(session, LEFT).group is Group.LATER


def test_what_was_noted_of_the_check_on_the_day_does_not_do_for_day_one(session: Session, wall: Wall) -> None:
    wall.now = datetime(2026, 11, 12, 13, 0, tzinfo=UTC)
    clearing.keep_visit(session, LEFT, {"recheck_iop_mmhg": 52.0}, side="L", same_day=True)
    day_one.note_action(session, LEFT, group(session, LEFT).to_note, "Dr Mbeki", "chamber decompressed")
    wall.go(hours=20)
    eye = day_one.open_eye(session, LEFT)
    high = {**GRADED, "iop_pod1_mmhg": 44.0}
    assert [one.code for one in day_one.sheet_state(session, eye, high).open_actions] == ["M51"]
    day_one.lock(session, LEFT, high, side="L")
    assert [halt.sentence[:7] for halt in group(session, LEFT).to_note] == ["44 mmHg"]
