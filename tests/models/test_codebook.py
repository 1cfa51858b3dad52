"""The table of fields: complete, consistent, and the only source of names."""

from __future__ import annotations

import dataclasses
import subprocess
import sys
from pathlib import Path

import pytest

from models import codebook
from models.codebook import BY_NAME, CODINGS, FIELDS, Kind, Role, Stage, fields_of, may_predict

ROOT = Path(__file__).resolve().parents[2]

BOOKING = [
    "eye",
    "age_years",
    "sex",
    "guttae_grade",
    "nuclear_opalescence_no",
    "nuclear_color_nc",
    "cortical_c",
    "psc_p",
    "nucleus_hardness",
    "white_or_brunescent",
    "acd_mm",
    "acd_definition",
    "cct_um",
    "ecd_per_mm2",
    "endo_cv_pct",
    "endo_hex_pct",
    "axial_length_mm",
    "pupil_dilated_mm",
    "pseudoexfoliation",
    "diabetes",
    "diabetes_years",
    "hba1c_pct",
    "hba1c_mmol_mol",
    "hypertension",
    "glaucoma",
    "prior_angle_closure_attack",
    "prior_glaucoma_surgery",
    "prior_keratoplasty",
    "uveitis_history",
    "peripheral_corneal_degeneration",
    "preop_va_logmar",
    "preop_va_raw",
    "preop_va_chart",
    "preop_va_correction",
    "preop_iop_mmhg",
    "iop_method",
    "prior_refractive_surgery",
    "prior_vitrectomy",
    "patient_id",
    "surgery_date",
    "birth_date",
    "surgery_time",
    "only_seeing_eye",
    "morning_blur",
    "corneal_haze",
    "alpha_blocker",
    "steroid_responder",
    "supervisor_id",
    "consent_audit_model",
    "planned_combined",
]
THEATRE = [
    "surgeon_id",
    "surgeon_grade",
    "anaesthesia",
    "ovd_strategy",
    "dispersive_recoat",
    "main_incision_mm",
    "incision_plane",
    "incision_site",
    "incision_tunnel_mm",
    "sideport_count",
    "technique",
    "femto_laser",
    "us_time_s",
    "us_mean_power_pct",
    "effective_phaco_time_s",
    "ept_origin",
    "us_energy_value",
    "us_energy_metric",
    "phaco_machine_id",
    "us_modality",
    "us_motion",
    "tip_bevel",
    "working_plane",
    "irrigation_volume_ml",
    "aspiration_time_s",
    "iop_setting_mmhg",
    "bottle_height_cm",
    "case_minutes",
    "ovd_removal",
    "stromal_hydration",
    "corneal_striae_intraop",
    "endothelial_touch",
    "pcr",
    "descemet_detachment",
    "iris_prolapse",
    "wound_burn",
    "iris_hooks_or_ring",
    "capsule_dye",
    "ctr",
    "vitrectomy",
    "intracameral_drugs",
    "combined_procedure",
    "suture",
    "lens_position",
    "take_over",
    "fluid_lot",
    "ovd_lot",
    "tray_id",
]
DAY_ONE = [
    "exam_at",
    "hours_since_surgery",
    "examiner_id",
    "examiner_is_surgeon",
    "blinded_to_prediction",
    "edema_grade_central",
    "edema_grade_peripheral",
    "edema_epithelial",
    "edema_extent",
    "descemet_folds",
    "cct_pod1_um",
    "cct_change_pct",
    "ucva_logmar",
    "ucva_raw",
    "iop_pod1_mmhg",
    "iop_pod1_method",
    "ac_cells_sun",
    "ac_flare_sun",
    "seidel",
    "pain_0_10",
    "headache_or_nausea",
    "iol_position",
    "retained_lens",
    "hyphaema",
    "epithelial_defect",
    "hypopyon",
    "fibrin",
    "visit_status",
    "action_taken",
]


@pytest.mark.parametrize(
    ("stage", "names"), [(Stage.BOOKING, BOOKING), (Stage.THEATRE, THEATRE), (Stage.DAY_ONE, DAY_ONE)]
)
def test_every_field_of_the_record_stands_at_its_stage(stage: Stage, names: list[str]) -> None:
    assert set(names) <= {one.name for one in fields_of(stage)}


def test_names_are_unique_and_prints_tell_fields_apart() -> None:
    assert len({one.name for one in FIELDS}) == len(FIELDS)
    assert len({one.print for one in FIELDS}) == len(FIELDS)


def test_every_field_has_words_and_a_source() -> None:
    for one in FIELDS:
        assert all((one.label, one.source, one.group)), one.name
        assert one.help.endswith((".", "?")), one.name


def test_soft_ranges_lie_inside_hard_ones_and_grades_inside_their_codes() -> None:
    for one in FIELDS:
        if one.soft is not None and one.hard is not None:
            assert one.hard[0] <= one.soft[0] < one.soft[1] <= one.hard[1], one.name
        if one.kind is Kind.GRADE:
            assert one.hard == (int(one.codes[0]), int(one.codes[-1])), one.name
        if one.kind in (Kind.CHOICE, Kind.CHOICES, Kind.GRADE):
            assert len(set(one.codes)) == len(one.codes) >= 2, one.name
        if one.kind is Kind.NUMBER and one.role is not Role.CONTEXT and not one.derived:
            assert one.hard is not None, one.name


def test_the_print_follows_meaning_and_nothing_else() -> None:
    depth = BY_NAME["acd_mm"]
    assert dataclasses.replace(depth, label="Other words", help="Other words.").print == depth.print
    assert dataclasses.replace(depth, unit="um").print != depth.print
    grade = BY_NAME["guttae_grade"]
    assert dataclasses.replace(grade, choices=grade.choices[:-1]).print != grade.print


@pytest.mark.parametrize("model", ["booking", "end_of_case"])
def test_only_what_is_known_in_time_may_predict(model: str) -> None:
    for one in FIELDS:
        allowed = may_predict(one.name, model)
        if one.stage in (Stage.DAY_ONE, Stage.RECHECK):
            assert not allowed, one.name
        if one.stage is Stage.THEATRE and model == "booking":
            assert not allowed, one.name
        if one.kind in (Kind.IDENTIFIER, Kind.TEXT, Kind.DATE, Kind.TIME, Kind.MOMENT):
            assert not allowed, one.name
    assert may_predict("acd_mm", model)
    assert may_predict("us_time_s", "end_of_case")
    assert not may_predict("nucleus_hardness_theatre", "end_of_case")
    assert not may_predict("no such field", model)


def test_codings_speak_of_every_answer_of_their_field() -> None:
    for term, coding in CODINGS.items():
        field = BY_NAME[coding.field]
        codes = {int(code) for code in field.codes} if field.kind is Kind.GRADE else set(field.codes)
        assert coding.one | coding.zero | coding.missing == codes, term
        assert not coding.one & coding.zero, term
        assert not coding.missing & (coding.one | coding.zero), term
    assert "OHT" in CODINGS["glaucoma"].zero
    assert "suspect" in CODINGS["pseudoexfoliation"].one
    assert "mixed" in CODINGS["plane_iris"].one
    assert CODINGS["junior"].one == {"trainee", "junior"}
    assert "zonular_dialysis" in CODINGS["capsule_rupture"].zero


def test_the_manual_holds_the_table_as_it_is() -> None:
    assert (ROOT / "clinic_app" / "manual" / "fields.md").read_text(encoding="utf-8") == codebook.as_markdown()


def test_the_codebook_needs_only_the_standard_library() -> None:
    probe = (
        "import sys, models.codebook; print([m for m in ('numpy', 'scipy', 'sklearn', 'PySide6') if m in sys.modules])"
    )
    found = subprocess.run([sys.executable, "-c", probe], cwd=ROOT, capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"
