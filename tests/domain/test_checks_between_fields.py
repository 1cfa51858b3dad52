"""Checks between fields, between the eyes of a patient, and of the side named."""

from datetime import date, datetime, time

import pytest

from clinic_app.domain.checks import alike_identifiers, check, check_eye, check_fellow, check_other_eye
from clinic_app.domain.derived import complete

SOUND = {
    "patient_id": "P-1", "eye": "R", "surgery_date": date(2026, 11, 19), "surgery_time": time(9, 0),
    "birth_date": date(1951, 6, 2), "diabetes": "type2", "diabetes_years": 14.0, "cct_um": 540.0,
    "cct_um_at": date(2026, 11, 12), "cct_um_source": "oct", "acd_mm": 3.10, "axial_length_mm": 23.42,
    "white_or_brunescent": "none", "nuclear_opalescence_no": 3.2, "us_time_s": 60.0, "us_mean_power_pct": 20.0,
    "effective_phaco_time_s": 12.0, "us_energy_value": 8.0, "us_energy_metric": "console_cumulative",
    "iop_setting_mmhg": 60.0, "surgeon_id": "A", "examiner_id": "N", "visit_status": "attended",
    "exam_at": datetime(2026, 11, 20, 9, 30), "edema_grade_central": 2, "edema_extent": "central",
    "descemet_folds": "5-9", "cct_pod1_um": 600.0, "cct_pod1_um_source": "oct", "cct_pod1_um_at": date(2026, 11, 20),
}  # fmt: skip


def test_a_sound_row_raises_nothing():
    assert check(complete(SOUND)) == []


@pytest.mark.parametrize(
    ("change", "kind", "rule"),
    [
        ({"birth_date": date(2026, 12, 1)}, "refuse", "born_after_surgery"),
        ({"birth_date": date(1905, 1, 1)}, "refuse", "age_over_110"),
        ({"birth_date": date(2026, 6, 2)}, "ask", "birth_year_is_surgery_year"),
        ({"exam_at": datetime(2026, 11, 18, 9, 30)}, "refuse", "seen_before_surgery"),
        ({"exam_at": datetime(2026, 11, 19, 8, 30)}, "refuse", "seen_before_surgery"),
        ({"recheck_at": datetime(2026, 11, 18, 9, 30)}, "refuse", "seen_before_surgery"),
        ({"cct_um_at": date(2026, 11, 20)}, "refuse", "measured_after_surgery"),
        ({"acd_mm_at": date(2027, 1, 20)}, "refuse", "measured_after_surgery"),
        ({"cct_pod1_um_at": date(2026, 11, 18)}, "refuse", "measured_before_surgery"),
        ({"effective_phaco_time_s": 13.3}, "ask", "effective_time_differs"),
        ({"effective_phaco_time_s": 10.7}, "ask", "effective_time_differs"),
        ({"us_energy_metric": None}, "refuse", "energy_without_metric"),
        ({"bottle_height_cm": 90.0}, "refuse", "infusion_and_bottle"),
        ({"white_or_brunescent": "white_intumescent"}, "ask", "white_with_opalescence"),
        ({"diabetes": "none"}, "ask", "years_without_diabetes"),
        ({"diabetes_years": 76.0, "age_years": 75.0}, "refuse", "years_over_age"),
        ({"edema_extent": "wound_only"}, "ask", "wound_only_with_centre"),
        ({"edema_extent": "none"}, "ask", "no_extent_with_centre"),
        ({"edema_grade_central": 1}, "ask", "faint_with_many_folds"),
        ({"edema_grade_central": 1, "descemet_folds": None, "descemet_folds_count": 5}, "ask", "faint_with_many_folds"),
        ({"descemet_folds_count": 3}, "ask", "folds_differ"),
        ({"visit_status": "missed"}, "refuse", "grade_without_visit"),
        ({"visit_status": "remote_only"}, "refuse", "grade_without_visit"),
        ({"cct_pod1_um_source": "ultrasound"}, "note", "other_device"),
        ({"cct_pod1_um": 400.0}, "ask", "thickness_change"),
        ({"examiner_id": "A"}, "note", "own_case"),
        ({"hours_since_surgery": 41.0}, "note", "outside_window"),
    ],
)
def test_each_check(change, kind, rule):
    assert [(found.kind, found.rule) for found in check(SOUND | change)] == [(kind, rule)]


@pytest.mark.parametrize(
    "change",
    [
        {"effective_phaco_time_s": 13.1},
        {"effective_phaco_time_s": 10.9},
        {"us_time_s": 10.0, "effective_phaco_time_s": 2.45},
        {"us_energy_value": None},
        {"bottle_height_cm": 90.0, "iop_setting_mmhg": None},
        {"white_or_brunescent": "white_intumescent", "nuclear_opalescence_no": None},
        {"edema_grade_central": 1, "descemet_folds": "1-4"},
        {"edema_grade_central": 1, "descemet_folds": "1-4", "edema_extent": "wound_only"},
        {"visit_status": "missed", "edema_grade_central": None},
        {"exam_at": datetime(2026, 11, 20)},
        {"exam_at": datetime(2026, 11, 19)},
        {"cct_um_at": date(2026, 11, 19)},
        {"cct_pod1_um_source": None},
        {"hours_since_surgery": 12.0},
        {"hours_since_surgery": 36.0},
        {"surgery_date": None, "birth_date": None, "exam_at": None},
    ],
)
def test_what_is_in_order(change):
    assert check(SOUND | change) == []


def test_the_words_of_the_questions():
    wound = check(SOUND | {"edema_extent": "wound_only"})[0]
    assert wound.sentence == "Centre grade 2 with haze at the wound only. Is the haze inside the ring?"
    device = check(SOUND | {"cct_pod1_um_source": "ultrasound"})[0]
    assert device.sentence == "Baseline was measured on another device. The change in thickness is not worked out."
    late = check(SOUND | {"hours_since_surgery": 41.0})[0]
    assert late.sentence.startswith("41 h after surgery: outside 12–36 h.")


def test_refusals_stand_first():
    found = check(SOUND | {"examiner_id": "A", "edema_extent": "wound_only", "bottle_height_cm": 90.0})
    assert [one.kind for one in found] == ["refuse", "ask", "note"]


def test_measurements_equal_to_the_fellow_eyes():
    fellow = SOUND | {"eye": "L", "surgery_date": date(2026, 10, 22)}
    found = check_fellow(SOUND, fellow)
    assert [(one.kind, one.rule) for one in found] == [("note", "equal_to_fellow")]
    assert found[0].sentence == "All three measurements equal the fellow eye's. Same eye measured twice?"
    assert check_fellow(SOUND, fellow | {"acd_mm": 3.11}) == []
    assert check_fellow(SOUND, fellow | {"patient_id": "P-2"}) == []
    lone = {name: fellow[name] for name in ("patient_id", "eye", "surgery_date", "birth_date", "cct_um")}
    assert check_fellow(SOUND, lone) == []


def test_an_eye_operated_before():
    found = check_fellow(SOUND, SOUND | {"surgery_date": date(2026, 3, 2)})
    assert [one.rule for one in found] == ["eye_operated_before"]
    assert found[0].sentence == "This eye already has a surgery on 2 Mar 2026."
    assert check_fellow(SOUND, SOUND) == []


def test_two_birth_dates_for_one_number():
    found = check_fellow(SOUND, SOUND | {"eye": "L", "acd_mm": 3.2, "birth_date": date(1951, 6, 3)})
    assert [one.rule for one in found] == ["birth_dates_differ"]


def test_another_eye_than_booked_halts():
    assert check_eye("R", "R") is None
    found = check_eye("R", "L")
    assert found.kind == "refuse"
    assert found.sentence == "STOP. Booked: RIGHT eye. You pressed LEFT. Nothing has been opened."
    assert found.next == "Go back; check consent, mark and patient."


def test_another_eye_than_booked_in_a_file_is_asked_about():
    booked = [{"patient_id": "P-1", "eye": "R", "surgery_date": date(2026, 11, 19)}]
    row = {"patient_id": "P-1", "eye": "L", "surgery_date": date(2026, 11, 19)}
    found = check_other_eye(row, booked)
    assert (found.kind, found.rule) == ("ask", "other_eye_than_booked")
    assert found.sentence == "The row names the left eye; the right eye is booked."
    assert check_other_eye(row | {"eye": "R"}, booked) is None
    assert check_other_eye(row | {"surgery_date": date(2026, 12, 19)}, booked) is None
    assert check_other_eye(row, [{"patient_id": "P-1", "eye": "R"}]) is None
    assert check_other_eye(row, [*booked, row]) is None


def test_identifiers_that_may_be_one():
    assert alike_identifiers(["00123", "123", "P-7", "p-7", "124", "123"]) == [("00123", "123"), ("P-7", "p-7")]
    assert alike_identifiers(["1", "2"]) == []
