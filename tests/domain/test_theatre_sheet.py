"""The sheet on paper: its steps, what may be proposed, what a signature needs, what follows from its readings."""

from __future__ import annotations

import pytest

from clinic_app.domain import theatre
from clinic_app.domain.practice import PROPOSABLE, Machine
from clinic_app.domain.record import CaseEvent, CaseKey, StageRecord
from clinic_app.domain.sitting import FirstEye, acknowledged, fellow_of
from clinic_app.domain.theatre_draft import SheetDraft, body_of, draft_of
from clinic_app.domain.theatre_plan import step_words
from models.codebook import BY_NAME, Stage
from tests.services.test_theatre import DAY, NO_EVENTS

NEVER_PROPOSED = {
    "ovd_removal", "working_plane", "stromal_hydration", "corneal_striae_intraop", "dispersive_recoat",
    "nucleus_hardness_theatre", "us_time_s", "us_mean_power_pct", "effective_phaco_time_s", "us_energy_value",
    "irrigation_volume_ml", "aspiration_time_s", "case_minutes", *theatre.EVENT_FIELDS,
}  # fmt: skip


def test_eight_house_steps_then_events_then_the_team_and_every_field_once() -> None:
    assert [step.number for step in theatre.STEPS] == [*"12345678", "", ""]
    assert [step.name for step in theatre.STEPS[-2:]] == ["Events", "Team"]
    names = [field.name for field in theatre.sheet_fields()]
    assert len(set(names)) == len(names)
    assert set(names) | theatre.BY_PROGRAM == {one.name for one in BY_NAME.values() if one.stage is Stage.THEATRE}


def test_what_feeds_the_causes_and_every_reading_is_never_proposed() -> None:
    proposed = {name for step in theatre.STEPS for name in step.proposed}
    assert proposed == set(PROPOSABLE)
    assert proposed & NEVER_PROPOSED == set()
    usual = {"ovd_strategy": "cohesive", "working_plane": "bag", "pcr": "none", "us_time_s": 40.0}
    assert theatre.proposals(usual, None) == {"ovd_strategy": "cohesive"}  # type: ignore[arg-type]


def test_the_machine_is_proposed_with_its_only_motion_and_never_beside_what_is_given() -> None:
    machine = Machine("B", motions=("torsional",))
    usual = {"iop_setting_mmhg": 55.0, "bottle_height_cm": 70.0, "us_motion": "longitudinal"}
    assert theatre.proposals(usual, machine, surgeon_id="Halvorsen") == {
        "surgeon_id": "Halvorsen", "iop_setting_mmhg": 55.0, "us_motion": "torsional", "phaco_machine_id": "B",
    }  # fmt: skip
    assert "iop_setting_mmhg" not in theatre.proposals(usual, machine, ("bottle_height_cm",))


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({}, ("case minutes", "events")),
        ({"case_minutes_missing": "not_recorded", **NO_EVENTS}, ()),
        ({"case_minutes": 12.0, **NO_EVENTS, "ctr": None}, ("events",)),
        ({"case_minutes": 12.0, **NO_EVENTS, "ctr": None, "ctr_missing": "not_recorded"}, ()),
    ],
)
def test_minutes_or_a_reason_and_every_event_are_needed(row: dict[str, object], words: tuple[str, ...]) -> None:
    assert theatre.to_go(row) == words


def test_a_second_eye_needs_its_own_tray_and_lots() -> None:
    whole = {"case_minutes": 12.0, **NO_EVENTS}
    assert theatre.to_go(whole, second_eye=True) == ("separate tray and lots",)
    assert theatre.to_go(whole, second_eye=True, separate=True) == ()
    assert theatre.same_things({"tray_id": "T", "fluid_lot": "1"}, {"tray_id": "T", "fluid_lot": "2"}) == ("tray",)


@pytest.mark.parametrize(("minutes", "stopped"), [(1.9, True), (2.0, False), (240.0, False), (241.0, True)])
def test_hard_ranges_stop_at_their_ends(minutes: float, stopped: bool) -> None:
    assert bool(theatre.stops({"case_minutes": minutes, **NO_EVENTS})) is stopped


def test_a_refusal_about_the_booking_does_not_stop_a_sheet() -> None:
    assert theatre.stops({"diabetes_years": 90.0, "age_years": 60.0}) == []


# 41 s at 14 % of full power are 5.74 s (time x mean power / 100); 62 mL through 0.5 mL are 124 fillings.
@pytest.mark.parametrize(
    ("motion", "words", "label"),
    [
        ("longitudinal", "5.7 s at full power", "Full-power seconds"),
        ("torsional", "5.7 s time x power, this machine", "Time x power, this machine"),
        ("combined", "5.7 s time x power, this machine", "Time x power, this machine"),
        (None, "5.7 s time x power, this machine", "Time x power, this machine"),
    ],
)
def test_only_lengthwise_motion_is_called_full_power(motion: str | None, words: str, label: str) -> None:
    row = {"us_time_s": 41.0, "us_mean_power_pct": 14.0, "us_motion": motion, "irrigation_volume_ml": 62.0}
    assert theatre.energy_words(row) == words
    assert theatre.energy_label(motion) == label
    assert theatre.fluid_words(row) == "124 chamber turnovers of 0.5 mL"
    assert theatre.energy_words({"us_time_s": 41.0}) == ""


def test_the_sheet_asks_for_what_the_machine_shows() -> None:
    usual = {"us_time_s", "us_mean_power_pct", "irrigation_volume_ml"}
    assert theatre.screen_fields(None) == usual
    assert theatre.screen_fields(Machine("A")) == usual
    assert theatre.screen_fields(Machine("B", end_screen=("us_energy_value",))) == {
        "us_energy_value", "irrigation_volume_ml",
    }  # fmt: skip


def test_events_and_the_lines_before_a_signature_are_said_in_words() -> None:
    row = {
        **NO_EVENTS, "pcr": "PCR+vitreous", "descemet_detachment": "under_quarter", "endothelial_touch": True,
        "technique": "phaco_chop_vertical", "working_plane": "iris_plane", "case_minutes": 14.0, "us_time_s": 41.0,
        "us_mean_power_pct": 14.0, "us_motion": "longitudinal",
    }  # fmt: skip
    events = ("Rupture with vitreous", "Descemet detachment: under a quarter", "Touch")
    assert theatre.happened(row) == events
    assert theatre.sign_lines(row) == (
        "Vertical chop, mostly in iris plane", "5.7 s at full power", f"14 min. Events: {', '.join(events)}",
    )  # fmt: skip
    assert theatre.sign_lines(NO_EVENTS) == ("Division not answered", "No ultrasound reading", "Events: none")


def test_a_draft_reads_back_what_it_was_and_drops_what_no_field_knows() -> None:
    answers = {"case_minutes": 12.0, "ovd_removal": ("standard", "angle_sweep"), "ctr": True, "sideport_count": 2}
    record = StageRecord(Stage.THEATRE, answers, {"us_time_s": "not_recorded"}, {"case_minutes": "12 min"})
    draft = SheetDraft(record, {"irrigation_volume_ml": "6000"}, separate=True)
    assert draft_of(body_of(draft)) == draft
    assert draft.open() == ("fluid", "events")
    body = body_of(draft)
    body["answers"] = {"technique": {"value": "gone"}, "eye": {"value": "R"}, "pcr": {"value": "none"}}
    assert dict(draft_of(body).record.values) == {"pcr": "none"}
    assert SheetDraft(StageRecord(Stage.THEATRE, {})).empty


@pytest.mark.parametrize(
    ("code", "row", "proposed", "words"),
    [
        ("coat_first", {}, {"ovd_strategy": "dispersive"}, "usual, to confirm"),
        ("coat_first", {}, {"ovd_strategy": "cohesive"}, "usual is cohesive"),
        ("coat_first", {"ovd_strategy": "both_soft_shell"}, {}, "done: both, layered"),
        ("stay_in_bag", {"working_plane": "mixed"}, {}, "not done: mixed"),
        ("low_infusion", {"iop_setting_mmhg": 40.0}, {"iop_setting_mmhg": 55.0}, "40 mmHg"),
        ("low_infusion", {}, {"iop_setting_mmhg": 55.0}, "55 mmHg, usual"),
        ("re_coat", {}, {}, ""),
        ("endothelial_opinion", {}, {}, ""),
    ],
)
def test_each_planned_step_says_what_became_of_it(
    code: str, row: dict[str, object], proposed: dict[str, str | float], words: str
) -> None:
    assert step_words(code, row, proposed) == words


def test_the_other_eye_of_the_day_is_the_fellow_and_only_known_events_are_acknowledged() -> None:
    left, right = CaseKey("P", "L", DAY), CaseKey("P", "R", DAY)
    later = CaseKey("P", "R", DAY.replace(day=8))
    assert fellow_of(left, [left, later, right]) == right
    assert fellow_of(left, [left, later, CaseKey("Q", "R", DAY)]) is None
    told = CaseEvent(right, "action", {"halt": "second_eye", "events": ["Rupture"]}, None, "Osei")  # type: ignore[arg-type]
    assert acknowledged([told], ("Rupture",))
    assert not acknowledged([told], ("Rupture", "Touch"))
    assert FirstEye(left, {**NO_EVENTS, "ctr": True}, acknowledged=False).pauses
    assert not FirstEye(left, NO_EVENTS, acknowledged=False).pauses
