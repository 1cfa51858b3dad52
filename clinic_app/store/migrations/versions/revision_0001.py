"""The first schema: patients, cases, their moments and rechecks, models, forecasts, registers, events, drafts,
history.

Revision ID: 0001
"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """From nothing to schema 1.0."""
    op.create_table(
        "meta",
        sa.Column("meta_no", sa.INTEGER, primary_key=True, autoincrement=False),
        sa.Column("schema_major", sa.INTEGER, nullable=False),
        sa.Column("schema_minor", sa.INTEGER, nullable=False),
        sa.Column("store_id", sa.TEXT, nullable=False),
        sa.Column("least_program", sa.TEXT, nullable=False),
        sa.Column("shape", sa.TEXT, nullable=False),
        *_stamp(),
        sqlite_strict=True,
    )
    op.create_table(
        "patients",
        sa.Column("patient_no", sa.INTEGER, primary_key=True, autoincrement=False),
        sa.Column("patient_id", sa.TEXT, nullable=False),
        sa.Column("birth_date", sa.TEXT),
        sa.Column("sex", sa.TEXT),
        *_said(),
        *_stamp(),
        sa.UniqueConstraint("patient_id"),
        sqlite_strict=True,
    )
    op.create_table(
        "cases",
        sa.Column("case_no", sa.INTEGER, primary_key=True, autoincrement=False),
        sa.Column("patient_no", sa.INTEGER, sa.ForeignKey("patients.patient_no"), nullable=False),
        sa.Column("eye", sa.TEXT, nullable=False),
        sa.Column("surgery_date", sa.TEXT, nullable=False),
        sa.Column("postponed_from", sa.TEXT),
        sa.Column("stood_down", sa.INTEGER, nullable=False),
        *_stamp(),
        sa.UniqueConstraint("patient_no", "eye", "surgery_date"),
        sqlite_strict=True,
    )
    op.create_index("cases_by_date", "cases", ["surgery_date"])
    _moments()
    _models()
    _practice()
    _history()


def _stamp() -> list[sa.Column[object]]:
    return [
        sa.Column("version", sa.INTEGER, nullable=False),
        sa.Column("written_by", sa.TEXT, nullable=False),
        sa.Column("written_at", sa.TEXT, nullable=False),
        sa.Column("request_id", sa.TEXT, nullable=False),
        sa.Column("row_sum", sa.TEXT, nullable=False),
    ]


def _said() -> list[sa.Column[object]]:
    return [
        sa.Column("missing", sa.TEXT, nullable=False),
        sa.Column("typed", sa.TEXT, nullable=False),
        sa.Column("origin", sa.TEXT, nullable=False),
        sa.Column("signed", sa.INTEGER, nullable=False),
    ]


def _case_no() -> sa.Column[int]:
    return sa.Column(
        "case_no", sa.INTEGER, sa.ForeignKey("cases.case_no"), primary_key=True, autoincrement=False, nullable=False
    )


def _moments() -> None:
    op.create_table(
        "booking",
        _case_no(),
        sa.Column("surgery_time", sa.TEXT),
        sa.Column("age_years", sa.REAL),
        sa.Column("booked_surgeon_id", sa.TEXT),
        sa.Column("supervisor_id", sa.TEXT),
        sa.Column("guttae_grade", sa.INTEGER),
        sa.Column("cct_um", sa.REAL),
        sa.Column("ecd_per_mm2", sa.REAL),
        sa.Column("endo_cv_pct", sa.REAL),
        sa.Column("endo_hex_pct", sa.REAL),
        sa.Column("peripheral_corneal_degeneration", sa.INTEGER),
        sa.Column("corneal_haze", sa.INTEGER),
        sa.Column("morning_blur", sa.INTEGER),
        sa.Column("nucleus_hardness", sa.INTEGER),
        sa.Column("acd_mm", sa.REAL),
        sa.Column("acd_definition", sa.TEXT),
        sa.Column("acd_definition_source", sa.TEXT),
        sa.Column("axial_length_mm", sa.REAL),
        sa.Column("pupil_dilated_mm", sa.REAL),
        sa.Column("nuclear_opalescence_no", sa.REAL),
        sa.Column("nuclear_color_nc", sa.REAL),
        sa.Column("cortical_c", sa.REAL),
        sa.Column("psc_p", sa.REAL),
        sa.Column("white_or_brunescent", sa.TEXT),
        sa.Column("pseudoexfoliation", sa.TEXT),
        sa.Column("diabetes", sa.TEXT),
        sa.Column("diabetes_years", sa.REAL),
        sa.Column("hba1c_pct", sa.REAL),
        sa.Column("hba1c_mmol_mol", sa.REAL),
        sa.Column("hypertension", sa.INTEGER),
        sa.Column("glaucoma", sa.TEXT),
        sa.Column("prior_angle_closure_attack", sa.INTEGER),
        sa.Column("prior_glaucoma_surgery", sa.TEXT),
        sa.Column("prior_keratoplasty", sa.TEXT),
        sa.Column("uveitis_history", sa.TEXT),
        sa.Column("prior_refractive_surgery", sa.INTEGER),
        sa.Column("prior_vitrectomy", sa.INTEGER),
        sa.Column("only_seeing_eye", sa.INTEGER),
        sa.Column("alpha_blocker", sa.INTEGER),
        sa.Column("steroid_responder", sa.INTEGER),
        sa.Column("preop_va_raw", sa.TEXT),
        sa.Column("preop_va_logmar", sa.REAL),
        sa.Column("preop_va_chart", sa.TEXT),
        sa.Column("preop_va_correction", sa.TEXT),
        sa.Column("preop_iop_mmhg", sa.REAL),
        sa.Column("iop_method", sa.TEXT),
        sa.Column("planned_combined", sa.TEXT),
        sa.Column("consent_audit_model", sa.TEXT),
        sa.Column("protection_plan", sa.TEXT),
        sa.Column("patient_told", sa.INTEGER),
        sa.Column("risk_shown_before_surgery", sa.INTEGER),
        *_said(),
        *_stamp(),
        sqlite_strict=True,
    )
    op.create_table(
        "theatre",
        _case_no(),
        sa.Column("surgeon_id", sa.TEXT),
        sa.Column("surgeon_grade", sa.TEXT),
        sa.Column("supervised", sa.INTEGER),
        sa.Column("operator_by_step", sa.TEXT),
        sa.Column("take_over", sa.INTEGER),
        sa.Column("anaesthesia", sa.TEXT),
        sa.Column("ovd_strategy", sa.TEXT),
        sa.Column("ovd_lot", sa.TEXT),
        sa.Column("main_incision_mm", sa.REAL),
        sa.Column("incision_plane", sa.TEXT),
        sa.Column("incision_site", sa.TEXT),
        sa.Column("incision_tunnel_mm", sa.REAL),
        sa.Column("sideport_count", sa.INTEGER),
        sa.Column("corneal_striae_intraop", sa.INTEGER),
        sa.Column("dispersive_recoat", sa.TEXT),
        sa.Column("nucleus_hardness_theatre", sa.INTEGER),
        sa.Column("technique", sa.TEXT),
        sa.Column("femto_laser", sa.INTEGER),
        sa.Column("working_plane", sa.TEXT),
        sa.Column("phaco_machine_id", sa.TEXT),
        sa.Column("us_time_s", sa.REAL),
        sa.Column("us_mean_power_pct", sa.REAL),
        sa.Column("effective_phaco_time_s", sa.REAL),
        sa.Column("ept_origin", sa.TEXT),
        sa.Column("us_energy_value", sa.REAL),
        sa.Column("us_energy_metric", sa.TEXT),
        sa.Column("us_modality", sa.TEXT),
        sa.Column("us_motion", sa.TEXT),
        sa.Column("tip_code", sa.TEXT),
        sa.Column("tip_bevel", sa.TEXT),
        sa.Column("irrigation_volume_ml", sa.REAL),
        sa.Column("aspiration_time_s", sa.REAL),
        sa.Column("iop_setting_mmhg", sa.REAL),
        sa.Column("bottle_height_cm", sa.REAL),
        sa.Column("fluid_lot", sa.TEXT),
        sa.Column("case_minutes", sa.REAL),
        sa.Column("ovd_removal", sa.TEXT),
        sa.Column("stromal_hydration", sa.INTEGER),
        sa.Column("suture", sa.INTEGER),
        sa.Column("pcr", sa.TEXT),
        sa.Column("descemet_detachment", sa.TEXT),
        sa.Column("endothelial_touch", sa.INTEGER),
        sa.Column("iris_prolapse", sa.INTEGER),
        sa.Column("wound_burn", sa.INTEGER),
        sa.Column("iris_hooks_or_ring", sa.INTEGER),
        sa.Column("capsule_dye", sa.INTEGER),
        sa.Column("ctr", sa.INTEGER),
        sa.Column("vitrectomy", sa.INTEGER),
        sa.Column("lens_position", sa.TEXT),
        sa.Column("combined_procedure", sa.TEXT),
        sa.Column("intracameral_drugs", sa.TEXT),
        sa.Column("tray_id", sa.TEXT),
        *_said(),
        *_stamp(),
        sqlite_strict=True,
    )
    op.create_table(
        "day_one",
        _case_no(),
        sa.Column("visit_status", sa.TEXT),
        sa.Column("exam_at", sa.TEXT),
        sa.Column("hours_since_surgery", sa.REAL),
        sa.Column("examiner_id", sa.TEXT),
        sa.Column("examiner_is_surgeon", sa.INTEGER),
        sa.Column("blinded_to_prediction", sa.INTEGER),
        sa.Column("edema_grade_central", sa.INTEGER),
        sa.Column("edema_grade_peripheral", sa.INTEGER),
        sa.Column("edema_epithelial", sa.INTEGER),
        sa.Column("edema_extent", sa.TEXT),
        sa.Column("descemet_folds", sa.TEXT),
        sa.Column("descemet_folds_count", sa.INTEGER),
        sa.Column("cct_pod1_um", sa.REAL),
        sa.Column("cct_change_pct", sa.REAL),
        sa.Column("ucva_raw", sa.TEXT),
        sa.Column("ucva_logmar", sa.REAL),
        sa.Column("ucva_pinhole", sa.INTEGER),
        sa.Column("iop_pod1_mmhg", sa.REAL),
        sa.Column("iop_pod1_method", sa.TEXT),
        sa.Column("ac_cells_sun", sa.TEXT),
        sa.Column("ac_flare_sun", sa.TEXT),
        sa.Column("seidel", sa.TEXT),
        sa.Column("chamber_day_one", sa.TEXT),
        sa.Column("pain_0_10", sa.INTEGER),
        sa.Column("headache_or_nausea", sa.INTEGER),
        sa.Column("hypopyon", sa.INTEGER),
        sa.Column("fibrin", sa.INTEGER),
        sa.Column("hyphaema", sa.INTEGER),
        sa.Column("epithelial_defect", sa.INTEGER),
        sa.Column("retained_lens", sa.INTEGER),
        sa.Column("descemet_central_day_one", sa.INTEGER),
        sa.Column("iol_position", sa.TEXT),
        sa.Column("action_taken", sa.TEXT),
        *_said(),
        *_stamp(),
        sqlite_strict=True,
    )
    op.create_table(
        "rechecks",
        sa.Column("recheck_no", sa.INTEGER, primary_key=True, autoincrement=False),
        sa.Column("case_no", sa.INTEGER, sa.ForeignKey("cases.case_no"), nullable=False),
        sa.Column("recheck_at", sa.TEXT, nullable=False),
        sa.Column("recheck_kind", sa.TEXT),
        sa.Column("recheck_examiner_id", sa.TEXT),
        sa.Column("recheck_edema_grade_central", sa.INTEGER),
        sa.Column("recheck_cct_um", sa.REAL),
        sa.Column("recheck_va_raw", sa.TEXT),
        sa.Column("recheck_va_logmar", sa.REAL),
        sa.Column("recheck_iop_mmhg", sa.REAL),
        *_said(),
        *_stamp(),
        sa.UniqueConstraint("case_no", "recheck_at"),
        sqlite_strict=True,
    )


def _models() -> None:
    op.create_table(
        "models",
        sa.Column("model_id", sa.TEXT, primary_key=True, nullable=False),
        sa.Column("model", sa.TEXT, nullable=False),
        sa.Column("number", sa.INTEGER, nullable=False),
        sa.Column("state", sa.TEXT, nullable=False),
        sa.Column("card", sa.TEXT, nullable=False),
        sa.Column("made_at", sa.TEXT, nullable=False),
        sa.Column("made_by", sa.TEXT, nullable=False),
        sa.Column("decided_at", sa.TEXT),
        sa.Column("decided_by", sa.TEXT),
        sa.Column("reason", sa.TEXT),
        *_stamp(),
        sa.UniqueConstraint("model", "number"),
        sqlite_strict=True,
    )
    op.create_index("models_one_in_use", "models", ["model"], unique=True, sqlite_where=sa.text("state = 'in_use'"))
    op.create_table(
        "forecasts",
        sa.Column("forecast_id", sa.INTEGER, primary_key=True, autoincrement=False),
        sa.Column("case_no", sa.INTEGER, sa.ForeignKey("cases.case_no"), nullable=False),
        sa.Column("model_id", sa.TEXT, sa.ForeignKey("models.model_id"), nullable=False),
        sa.Column("model", sa.TEXT, nullable=False),
        sa.Column("made_at", sa.TEXT, nullable=False),
        sa.Column("made_by", sa.TEXT, nullable=False),
        sa.Column("status", sa.TEXT, nullable=False),
        sa.Column("risk", sa.REAL),
        sa.Column("low", sa.REAL),
        sa.Column("high", sa.REAL),
        sa.Column("inputs", sa.TEXT, nullable=False),
        sa.Column("note", sa.TEXT, nullable=False),
        sa.Column("locked", sa.INTEGER, nullable=False),
        sa.Column("seen_by", sa.TEXT, nullable=False),
        *_stamp(),
        sqlite_strict=True,
    )
    op.create_index("forecasts_by_case", "forecasts", ["case_no"])


def _practice() -> None:
    op.create_table(
        "register",
        sa.Column("register_no", sa.INTEGER, primary_key=True, autoincrement=False),
        sa.Column("kind", sa.TEXT, nullable=False),
        sa.Column("name", sa.TEXT, nullable=False),
        sa.Column("body", sa.TEXT, nullable=False),
        *_stamp(),
        sa.UniqueConstraint("kind", "name"),
        sqlite_strict=True,
    )
    op.create_table(
        "case_events",
        sa.Column("event_no", sa.INTEGER, primary_key=True, autoincrement=False),
        sa.Column("case_no", sa.INTEGER, sa.ForeignKey("cases.case_no"), nullable=False),
        sa.Column("kind", sa.TEXT, nullable=False),
        sa.Column("body", sa.TEXT, nullable=False),
        *_stamp(),
        sqlite_strict=True,
    )
    op.create_index("case_events_by_case", "case_events", ["case_no"])
    op.create_index("case_events_by_kind", "case_events", ["kind"])
    op.create_table(
        "drafts",
        sa.Column("draft_no", sa.INTEGER, primary_key=True, autoincrement=False),
        sa.Column("person", sa.TEXT, nullable=False),
        sa.Column("stage", sa.TEXT, nullable=False),
        sa.Column("patient_id", sa.TEXT),
        sa.Column("eye", sa.TEXT),
        sa.Column("surgery_date", sa.TEXT),
        sa.Column("body", sa.TEXT, nullable=False),
        sa.Column("kept_at", sa.TEXT, nullable=False),
        sa.Column("version", sa.INTEGER, nullable=False),
        sa.Column("row_sum", sa.TEXT, nullable=False),
        sqlite_strict=True,
    )
    op.create_index("drafts_by_person", "drafts", ["person"])
    forbid = "BEGIN SELECT RAISE(ABORT, 'events are append-only'); END"
    op.execute(
        "CREATE TRIGGER case_events_only_emptied BEFORE UPDATE ON case_events "
        "WHEN NOT (NEW.event_no = OLD.event_no AND NEW.case_no = OLD.case_no AND NEW.kind = OLD.kind "
        "AND NEW.body = '{}' AND NEW.version = OLD.version + 1 AND NEW.written_by = OLD.written_by "
        f"AND NEW.written_at = OLD.written_at AND NEW.request_id = OLD.request_id) {forbid}"
    )
    op.execute(f"CREATE TRIGGER case_events_no_delete BEFORE DELETE ON case_events {forbid}")


def _history() -> None:
    op.create_table(
        "history",
        sa.Column("number", sa.INTEGER, primary_key=True, autoincrement=False),
        sa.Column("at", sa.TEXT, nullable=False),
        sa.Column("person", sa.TEXT, nullable=False),
        sa.Column("act", sa.TEXT, nullable=False),
        sa.Column("subject", sa.TEXT, nullable=False),
        sa.Column("item", sa.TEXT),
        sa.Column("field", sa.TEXT),
        sa.Column("program", sa.TEXT, nullable=False),
        sa.Column("request_id", sa.TEXT, nullable=False),
        sa.Column("digest", sa.TEXT, nullable=False),
        sa.Column("hash", sa.TEXT, nullable=False),
        sqlite_strict=True,
    )
    op.create_index("history_by_subject", "history", ["subject"])
    op.create_table(
        "history_values",
        sa.Column("number", sa.INTEGER, sa.ForeignKey("history.number"), primary_key=True, autoincrement=False),
        sa.Column("salt", sa.TEXT),
        sa.Column("old", sa.TEXT),
        sa.Column("new", sa.TEXT),
        sa.Column("reason", sa.TEXT),
        sa.Column("item_sum", sa.TEXT),
        sa.Column("version", sa.INTEGER, nullable=False),
        sqlite_strict=True,
    )
    forbid = "BEGIN SELECT RAISE(ABORT, 'the history is append-only'); END"
    op.execute(f"CREATE TRIGGER history_no_update BEFORE UPDATE ON history {forbid}")
    op.execute(f"CREATE TRIGGER history_no_delete BEFORE DELETE ON history {forbid}")
    op.execute(
        "CREATE TRIGGER history_values_only_emptied BEFORE UPDATE ON history_values "
        "WHEN NOT (NEW.number = OLD.number AND NEW.version = OLD.version + 1 AND NEW.salt IS NULL "
        f"AND NEW.old IS NULL AND NEW.new IS NULL AND NEW.reason IS NULL AND NEW.item_sum IS NULL) {forbid}"
    )
    op.execute(f"CREATE TRIGGER history_values_no_delete BEFORE DELETE ON history_values {forbid}")
