"""Which answers a form asks for, and which follow from others."""

from __future__ import annotations

from dataclasses import dataclass

from models.codebook import Field, Stage, fields_of

LEVELS = ("short", "full", "all")
LEVEL_WORDS = {"short": "Short", "full": "Full", "all": "Everything"}

WRITTEN_BY_PROGRAM = frozenset({"risk_shown_before_surgery"})
"""Nobody types these."""

COPIED = (
    "birth_date",
    "sex",
    "diabetes",
    "diabetes_years",
    "hypertension",
    "glaucoma",
    "alpha_blocker",
    "steroid_responder",
)
"""What belongs to the patient and is proposed from the fellow eye; measurements never are."""

NEEDED = ("patient_id", "birth_date", "eye", "surgery_date")
"""Without these an eye cannot be booked."""


@dataclass(frozen=True, slots=True)
class Follows:
    """When `field` is answered with `value`, or has the reason `value`, the `others` that are open have `reason`.

    An empty `reason` means the same reason.
    """

    field: str
    value: str
    others: tuple[str, ...]
    reason: str = ""


FOLLOWING: tuple[Follows, ...] = (
    *(
        Follows("ecd_per_mm2", code, ("endo_cv_pct", "endo_hex_pct"))
        for code in ("not_done", "not_possible", "not_recorded")
    ),
    Follows("diabetes", "none", ("diabetes_years", "hba1c_pct"), "not_applicable"),
    Follows("white_or_brunescent", "white_intumescent", ("nuclear_opalescence_no", "nuclear_color_nc"), "not_possible"),
)


def level_of(field: Field) -> str:
    """The smallest form that asks for the field."""
    return "short" if field.short else ("all" if field.folded else "full")


def in_form(field: Field) -> bool:
    """Whether the field stands on the form; the open ones of the plan stand beside the forecast instead."""
    return not field.derived and field.name not in WRITTEN_BY_PROGRAM and not in_plan(field)


def in_plan(field: Field) -> bool:
    """Whether the field stands on the plan's card."""
    return field.group == PLAN and not field.folded and not field.derived


PLAN = "Plan and consent"


def form_fields() -> tuple[Field, ...]:
    """The fields of the booking form, in order."""
    return tuple(field for field in fields_of(Stage.BOOKING) if in_form(field))


def plan_fields() -> tuple[Field, ...]:
    """The fields of the plan's card, in order."""
    return tuple(field for field in fields_of(Stage.BOOKING) if in_plan(field))
