"""Invented rows for a card's test vectors; none of them is a patient's."""

from __future__ import annotations

from models.formula import Formula

USUAL: dict[str, object] = {
    "age_years": 73.0, "sex": "female", "guttae_grade": 0, "nucleus_hardness": 3, "acd_mm": 3.1,
    "acd_definition": "epithelium", "cct_um": 545.0, "ecd_per_mm2": 2450.0, "diabetes": "none", "glaucoma": "none",
    "pseudoexfoliation": "no", "axial_length_mm": 23.5,
}  # fmt: skip
HARD: dict[str, object] = {
    "age_years": 81.5, "sex": "male", "guttae_grade": 2, "nucleus_hardness": 4, "acd_mm": 2.15,
    "acd_definition": "endothelium", "cct_um": 560.0, "ecd_per_mm2": 2100.0, "diabetes": "type2",
    "glaucoma": "open_angle", "pseudoexfoliation": "suspect", "axial_length_mm": 22.6,
}  # fmt: skip
USUAL_THEATRE: dict[str, object] = {
    "irrigation_volume_ml": 60.0, "case_minutes": 11.0, "working_plane": "bag", "pcr": "none",
    "technique": "phaco_chop_horizontal", "surgeon_grade": "senior", "ovd_strategy": "both_soft_shell",
}  # fmt: skip
HARD_THEATRE: dict[str, object] = {
    "irrigation_volume_ml": 110.0, "case_minutes": 24.0, "working_plane": "mixed", "pcr": "none",
    "technique": "divide_conquer", "surgeon_grade": "junior", "ovd_strategy": "dispersive",
}  # fmt: skip
_UNANSWERED = ("ecd_per_mm2", "acd_mm", "irrigation_volume_ml")


def synthetic_rows(formula: Formula) -> list[dict[str, object]]:
    """A usual eye, a hard one, the hard one with blanks, two that leave most open, with the answers that are read."""
    usual, hard = dict(USUAL), dict(HARD)
    if formula.spec.model == "end_of_case":
        usual.update(USUAL_THEATRE, **_energy(formula, 6.5))
        hard.update(HARD_THEATRE, **_energy(formula, 21.0))
    blank = {name: value for name, value in hard.items() if name not in _UNANSWERED}
    return [usual, hard, blank, {"age_years": 68.0, "nucleus_hardness": 2}, {"age_years": 68.0, "sex": "female"}]


def _energy(formula: Formula, reading: float) -> dict[str, object]:
    """A reading of the first machine that the model knows, in the metric that it knows."""
    if formula.energy is None:
        return {}
    machine, metric, motion = next(iter(formula.energy.yardsticks))
    row: dict[str, object] = {"phaco_machine_id": machine}
    if motion:
        row["us_motion"] = motion
    if metric == "effective_time_s":
        row["effective_phaco_time_s"] = reading
    else:
        row.update(us_energy_value=reading, us_energy_metric=metric)
    return row
