"""The sheet of day one: order, findings spread and gathered, what is worth knowing, corrections."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from clinic_app.domain import day_one
from clinic_app.domain.record import CaseEvent, CaseKey
from clinic_app.domain.seal import Secret, hidden_names
from models.codebook import Stage, fields_of

KEY = CaseKey("P-1", "L", date(2026, 11, 12))


def event(kind: str, **body: object) -> CaseEvent:
    return CaseEvent(KEY, kind, body, datetime(2026, 11, 13, 9, 0, tzinfo=UTC), "Okafor")


def test_the_sheet_follows_the_examination() -> None:
    names = [field.name for field in day_one.sheet_fields() if not field.folded]
    assert names == [
        "pain_0_10", "headache_or_nausea", "ucva_raw", "cct_pod1_um", "edema_grade_central", "edema_grade_peripheral",
        "descemet_folds", "edema_extent", "edema_epithelial", "ac_cells_sun", "ac_flare_sun", "seidel",
        "chamber_day_one", "iop_pod1_mmhg", "iop_pod1_method", "anything_else",
    ]  # fmt: skip


def test_every_field_of_day_one_is_on_the_sheet_or_the_programs_own() -> None:
    on_sheet = {field.name for field in day_one.sheet_fields()} | {*day_one.FINDINGS, "iol_position"}
    derived = {field.name for field in fields_of(Stage.DAY_ONE) if field.derived}
    assert {field.name for field in fields_of(Stage.DAY_ONE)} == (on_sheet - {"anything_else"}) | derived | set(
        day_one.BY_PROGRAM
    )


@pytest.mark.parametrize(
    ("ticks", "kept"),
    [
        (("none",), {"hypopyon": False, "hyphaema": False, "iol_position": "centred"}),
        (("hypopyon", "lens_decentred"), {"hypopyon": True, "fibrin": False, "iol_position": "decentred"}),
        (("fibrin", "not_possible"), {"fibrin": True, "hypopyon_missing": "not_possible",
                                      "iol_position_missing": "not_possible"}),
    ],
)  # fmt: skip
def test_ticks_are_kept_as_findings_and_come_back(ticks: tuple[str, ...], kept: dict[str, object]) -> None:
    row = day_one.with_findings({"anything_else": ticks, "pain_0_10": 1})
    assert row["pain_0_10"] == 1
    assert "anything_else" not in row
    assert {name: row[name] for name in kept} == kept
    assert set(day_one.ticks_of(row)["anything_else"]) == set(ticks)  # type: ignore[call-overload]


def test_a_reason_for_no_findings_goes_to_each_of_them_and_comes_back() -> None:
    row = day_one.with_findings({"anything_else_missing": "not_done"})
    assert all(row[f"{name}_missing"] == "not_done" for name in day_one.FINDINGS)
    assert day_one.ticks_of(row)["anything_else_missing"] == "not_done"
    assert "anything_else" not in day_one.ticks_of({"pain_0_10": 1})


def test_what_is_worth_knowing_holds_what_is_never_sealed_and_nothing_that_is() -> None:
    row = {
        "pcr": "PCR+vitreous", "endothelial_touch": True, "suture": True, "ovd_removal": ("standard", "incomplete"),
        "glaucoma": "open_angle", "prior_keratoplasty": "DMEK", "uveitis_history": "past",
        "prior_angle_closure_attack": True, "only_seeing_eye": True, "preop_iop_mmhg": 15.0, "cct_um": 541.0,
        "cct_um_source": "OCT", "preop_va_raw": "6/18", "us_time_s": 777.0, "protection_plan": ("coat_first",),
        "case_minutes": 99.0,
    }  # fmt: skip
    told = dict(day_one.to_know(row, signed=True, drops="Practice protocol 3"))
    assert told == {
        "Surgery": "Rupture with vitreous, Touch",
        "Viscoelastic": "Left incomplete",
        "Wound": "Sutured",
        "Glaucoma": "Open angle",
        "Past of this eye": "Graft, DMEK, Uveitis, past, Angle attack",
        "Only seeing eye": "Yes: lower levels",
        "Pressure before": "15 mmHg",
        "Thickness before": "541 µm, OCT",
        "Vision before": "6/18",
        "Drops": "Practice protocol 3",
        "Allergies": "See the patient's chart",
    }
    sealed = hidden_names(frozenset(Secret))
    without = {name: value for name, value in row.items() if name not in sealed}
    assert dict(day_one.to_know(without, signed=True, drops="Practice protocol 3")) == told


def test_without_a_sheet_nothing_is_called_uneventful() -> None:
    assert dict(day_one.to_know({}, signed=False))["Surgery"] == "Sheet not signed yet"
    assert dict(day_one.to_know({}, signed=True))["Surgery"] == "Events not recorded"
    assert dict(day_one.to_know({"pcr": "none"}, signed=True))["Surgery"] == "Uneventful"


def test_corrections_stand_in_place_of_the_first_values_for_those_who_ask_what_is_known_now() -> None:
    row = {"edema_grade_central": 1, "pain_0_10": 2}
    events = [
        event("correction", stage="day_one", field="edema_grade_central", value=2),
        event("correction", stage="day_one", field="pain_0_10", missing="not_recorded"),
        event("correction", stage="theatre", field="us_time_s", value=3),
    ]
    assert day_one.corrected(row, events) == {"edema_grade_central": 2, "pain_0_10_missing": "not_recorded"}
    assert row["edema_grade_central"] == 1
    assert day_one.changed_after_opening(events)
    assert not day_one.changed_after_opening(events[2:])


def test_an_examination_outweighs_what_was_said_from_afar_before_it_and_not_what_is_said_after_it() -> None:
    asked = [event("remote", vision_against_yesterday="worse", pain_0_10=6)]
    for status in ("remote_only", "missed"):
        assert day_one.as_known({"visit_status": status}, asked, "UTC")["vision_against_yesterday"] == "worse"
    later = {"visit_status": "attended", "exam_at": datetime(2026, 11, 13, 10, 0), "pain_0_10_missing": "not_done"}
    assert day_one.as_known(later, asked, "UTC") == later
    earlier = {**later, "exam_at": datetime(2026, 11, 13, 8, 0)}
    known = day_one.as_known(earlier, asked, "UTC")
    assert (known["vision_against_yesterday"], known["pain_0_10"]) == ("worse", 6)
    assert "pain_0_10_missing" not in known
    assert day_one.as_known(earlier, asked, "Pacific/Honolulu") == earlier  # 09:00 UTC is the evening before there


def test_what_was_said_from_afar_stays_known_when_the_next_call_does_not_ask_it() -> None:
    asked = [event("remote", pain_0_10=8, vision_against_yesterday="worse"), event("remote", headache_or_nausea=False)]
    known = day_one.as_known({"visit_status": "remote_only"}, asked)
    assert (known["pain_0_10"], known["vision_against_yesterday"], known["headache_or_nausea"]) == (8, "worse", False)
    better = day_one.as_known({"visit_status": "remote_only"}, [*asked, event("remote", pain_0_10=1)])
    assert better["pain_0_10"] == 1


def test_repeats_are_pressures_alone_in_the_order_read() -> None:
    events = [
        event("reading", field="iop_pod1_mmhg", value=38),
        event("reading", field="cct_pod1_um", value=570),
        event("reading", field="iop_pod1_mmhg", value=21.5),
    ]
    assert day_one.repeats(events) == (38.0, 21.5)


def test_what_was_noted_of_a_pressure_counts_no_longer_once_it_rose_again() -> None:
    note = event("action", halt="M51", reached="Mbeki", decided="tablet")
    other = event("action", halt="M54", reached="Mbeki", decided="tap")

    def read(value: float) -> CaseEvent:
        return event("reading", field="iop_pod1_mmhg", value=value)

    def fix(first: float, value: float | None) -> CaseEvent:
        return event("correction", stage="day_one", field="iop_pod1_mmhg", first=first, value=value)

    assert set(day_one.noted([note, other])) == {"M51", "M54"}
    assert set(day_one.noted([note, other, read(41)], 44.0)) == {"M51", "M54"}  # it falls: nobody is called anew
    assert set(day_one.noted([note, other, read(46)], 44.0)) == {"M54"}
    assert set(day_one.noted([note, other, read(12), read(45)], 44.0)) == {"M54"}
    assert set(day_one.noted([note, other, read(46), note], 44.0)) == {"M51", "M54"}
    assert set(day_one.noted([note, other, fix(44, 46)], 44.0)) == {"M54"}
    assert set(day_one.noted([note, other, fix(44, 46)], 46.0)) == {"M54"}  # the caller may know the new one alone
    assert set(day_one.noted([note, other, fix(44, 41)], 44.0)) == {"M51", "M54"}
    assert set(day_one.noted([fix(41, 61), note, other], 41.0)) == {"M51", "M54"}
    assert set(day_one.noted([fix(41, 61), note, fix(41, 66)], 41.0)) == set()
    assert set(day_one.noted([read(12), note, fix(44, 41), read(14)], 44.0)) == set()  # the newest reading rose
    assert set(day_one.noted([note, fix(44, None)], 44.0)) == {"M51"}
    low = event("action", halt="M52", reached="Mbeki", decided="bandage lens")
    assert set(day_one.noted([low, read(5)], 4.0)) == {"M52"}
    assert set(day_one.noted([low, read(3)], 4.0)) == set()


def test_what_was_noted_does_not_do_for_what_the_patient_says_later() -> None:
    note = event("action", halt="M57", reached="Mbeki", decided="tablet")
    assert set(day_one.noted([note, event("remote", headache_or_nausea=False)])) == {"M57"}
    assert set(day_one.noted([note, event("remote", pain_0_10=8)])) == set()
    assert set(day_one.noted([event("remote", pain_0_10=8), note])) == {"M57"}
