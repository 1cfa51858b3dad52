"""What the seal covers, for whom, in which state; and who counts as blind."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from clinic_app.domain.people import EVERYTHING, Duty
from clinic_app.domain.record import Case, CaseEvent, CaseKey, StageRecord, StoredForecast, Written
from clinic_app.domain.seal import FIELDS, Door, Secret, blind, door, hidden_names, masked, sealed
from clinic_app.domain.states import STATES, state_of, state_of_row
from models.codebook import BY_NAME, Stage, fields_of

KEY = CaseKey("T0001", "R", date(2026, 3, 9))
AT = datetime(2026, 3, 9, 8, tzinfo=UTC)
BEFORE = {Secret.BOOKING_FORECAST, Secret.PLAN}
ALL = set(Secret)

# The table of the design: state -> (only day one, day one with booking or surgeon, without day one) -> what is hidden.
TABLE = {
    "Unfinished": (BEFORE, BEFORE, set()),
    "Booked": (BEFORE, BEFORE, set()),
    "Stood down": (BEFORE, BEFORE, set()),
    "Operated": (ALL, ALL, {Secret.END_FORECAST}),
    "No grade": (ALL, ALL, {Secret.END_FORECAST}),
    "Graded": (set(), set(), set()),
}


@pytest.mark.parametrize("state", STATES)
def test_what_is_hidden_follows_the_table(state: str) -> None:
    only, both, without = TABLE[state]
    assert sealed(state, {Duty.DAY_ONE}) == only
    assert sealed(state, {Duty.DAY_ONE, Duty.DATA_LEAD, Duty.PEOPLE}) == only
    for work in (Duty.BOOKING, Duty.SURGEON, Duty.SCRIBE):
        assert sealed(state, {Duty.DAY_ONE, work}) == both
        assert sealed(state, {work}) == without
    assert sealed(state, {Duty.DATA_LEAD}) == without
    assert sealed(state, EVERYTHING) == both
    assert sealed(state, ()) == ALL


def test_how_it_is_opened_follows_the_table() -> None:
    both = {Duty.DAY_ONE, Duty.SURGEON}
    assert {door("Booked", both, one) for one in BEFORE} == {Door.LOGGED}
    assert {door("Operated", both, one) for one in ALL} == {Door.REASON}
    assert {door("Booked", {Duty.DAY_ONE}, one) for one in BEFORE} == {Door.SHUT}
    assert {door("Operated", {Duty.DAY_ONE}, one) for one in ALL} == {Door.SHUT}
    assert door("Operated", {Duty.SURGEON}, Secret.END_FORECAST) is Door.SHUT
    assert door("Operated", {Duty.SURGEON}, Secret.READINGS) is Door.OPEN
    assert {door("Graded", {Duty.DAY_ONE}, one) for one in ALL} == {Door.OPEN}


def test_masking_takes_the_field_with_all_that_is_said_of_it() -> None:
    row = {
        "patient_id": "T0001", "protection_plan": ("recoat",), "us_time_s": 61.0, "us_time_s_typed": "61 s",
        "case_minutes_missing": "not_done", "pcr": "none", "glaucoma": "none", "irrigation_volume_ml_source": "A",
    }  # fmt: skip
    assert masked(row, frozenset(ALL)) == {"patient_id": "T0001", "pcr": "none", "glaucoma": "none"}
    assert masked(row, frozenset(BEFORE)) == {name: one for name, one in row.items() if name != "protection_plan"}
    assert masked(row, frozenset()) == row


def test_what_care_hangs_on_is_never_sealed() -> None:
    never = {
        "pcr",
        "descemet_detachment",
        "endothelial_touch",
        "iris_prolapse",
        "wound_burn",
        "vitrectomy",
        "stromal_hydration",
        "suture",
        "ovd_removal",
        "intracameral_drugs",
        "glaucoma",
        "prior_glaucoma_surgery",
        "preop_iop_mmhg",
        "cct_um",
        "prior_keratoplasty",
        "uveitis_history",
        "prior_angle_closure_attack",
        "only_seeing_eye",
        "lens_position",
    }
    assert never <= set(BY_NAME)
    assert hidden_names(frozenset(ALL)).isdisjoint(never)


def test_every_field_of_ultrasound_and_fluid_is_sealed_but_what_traces_a_batch_or_names_the_tip() -> None:
    groups = ("5 Ultrasound", "6 Fluid and time")
    there = {one.name for one in fields_of(Stage.THEATRE) if one.group in groups}
    assert there - set(FIELDS[Secret.READINGS]) == {"phaco_machine_id", "tip_code", "tip_bevel", "fluid_lot"}
    assert set(FIELDS[Secret.READINGS]) <= there


def forecast(risk: float | None) -> StoredForecast:
    return StoredForecast(KEY, "booking-1", "booking", AT, "Ito", "forecast", risk, None, None, {})


def opening(by: str, what: str = "booking_forecast") -> CaseEvent:
    return CaseEvent(KEY, "opening", {"what": what}, AT, by)


def test_blind_is_whoever_was_never_shown_the_number() -> None:
    assert blind([], [forecast(0.2)], "Berg")
    assert blind([opening("Ito")], [forecast(0.2)], "Berg")
    assert blind([CaseEvent(KEY, "action", {"halt": "M51"}, AT, "Berg")], [forecast(0.2)], "Berg")
    for what in Secret:
        assert not blind([opening("Berg", what)], [forecast(None), forecast(0.2)], "Berg")


def test_where_no_forecast_was_made_nobody_can_have_seen_one() -> None:
    assert blind([opening("Berg", "plan")], [], "Berg")
    assert blind([opening("Berg", "plan")], [forecast(None)], "Berg")


def written(stage: Stage, **values: object) -> tuple[Stage, Written]:
    return stage, Written(StageRecord(stage, values), 1, "Ito", AT)  # type: ignore[arg-type]


def test_states_of_a_case_and_of_its_flat_row_agree() -> None:
    booked = written(Stage.BOOKING, sex="male")
    operated = written(Stage.THEATRE, pcr="none")
    graded = written(Stage.DAY_ONE, edema_grade_central=0, visit_status="attended")
    missed = written(Stage.DAY_ONE, visit_status="did_not_attend")
    for parts, state in (
        ((booked,), "Booked"), ((booked, operated), "Operated"), ((booked, operated, graded), "Graded"),
        ((booked, operated, missed), "No grade"), ((booked, graded), "Graded"),
    ):  # fmt: skip
        case = Case(KEY, dict(parts))
        assert state_of(case) == state_of_row(case.row()) == state
        assert state_of(case, stood_down=True) == state_of_row(case.row(), True) == (
            "Stood down" if state == "Booked" else state
        )  # fmt: skip
    assert state_of_row({"edema_grade_central_missing": "not_possible"}) == "No grade"
