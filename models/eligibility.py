"""Which eyes the models are not for: rules known before surgery, the same in training and when forecasting."""

from __future__ import annotations

from collections.abc import Mapping

from models.codebook import field

Row = Mapping[str, object]

REASONS: Mapping[str, str] = {
    "combined_planned": "combined surgery planned",
    "graft_eye": "a graft in this eye",
    "guttae_6": "guttae over 5 mm with a swollen cornea",
    "under_18": "a patient under 18",
    "consent_withdrawn": "no consent to audit and model",
    "second_operation": "a second operation on the same eye",
    "no_graded_visit": "no graded visit in the window",
}
"""Named rules that leave an eye out: code, words. The last one concerns the outcome and so only training."""

ELIGIBILITY_FIELDS = ("planned_combined", "prior_keratoplasty", "guttae_grade", "age_years", "consent_audit_model")
"""Fields that the rules read."""


OPERATED_BEFORE = "operated_before"
"""Key of a row that is True when this very eye was operated at an earlier date; told by whoever knows all rows."""


def left_out(row: Row) -> str | None:
    """The first rule known before surgery that leaves this eye out (a key of REASONS), or None."""
    if row.get(OPERATED_BEFORE) is True:
        return "second_operation"
    if row.get("planned_combined") not in (None, "none"):
        return "combined_planned"
    if row.get("prior_keratoplasty") not in (None, "none"):
        return "graft_eye"
    if row.get("guttae_grade") == 6:
        return "guttae_6"
    age = row.get("age_years")
    if isinstance(age, int | float) and age < 18.0:
        return "under_18"
    if row.get("consent_audit_model") == "no":
        return "consent_withdrawn"
    return None


def reason_words(rule: str, row: Row) -> str:
    """The rule in words, with the answer where there is a list of answers."""
    if rule == "graft_eye":
        return f"{REASONS[rule]} ({field('prior_keratoplasty').choice_label(row.get('prior_keratoplasty'))})"
    if rule == "combined_planned":
        answer = field("planned_combined").choice_label(row.get("planned_combined"))
        return f"{REASONS[rule]} ({answer.lower()})"
    return REASONS[rule]
