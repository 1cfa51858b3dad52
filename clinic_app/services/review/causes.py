"""Recorded facts that fit a mechanism, counted among cloudy and among clear eyes. Counts only: no verdict, no cause."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from clinic_app.domain.record import Row
from clinic_app.domain.reviewed import Causes, Fact
from clinic_app.services.review.eyes import Eye

FEWEST_CLOUDY = 5
NOTE = (
    "Facts on record, counted; an eye can stand in several lines. What caused a cloudy cornea is the surgeon's finding."
)
Answer = Callable[[Row], bool | None]


@dataclass(frozen=True, slots=True)
class Rule:
    """A mechanism, the fact in words, and how a row answers it (None: not recorded)."""

    mechanism: str
    fact: str
    answer: Answer


def _above(field: str, level: float) -> Answer:
    def answer(row: Row) -> bool | None:
        value = row.get(field)
        return value > level if isinstance(value, int | float) else None

    return answer


def _below(field: str, level: float) -> Answer:
    def answer(row: Row) -> bool | None:
        value = row.get(field)
        return value < level if isinstance(value, int | float) else None

    return answer


def _one_of(field: str, codes: tuple[object, ...]) -> Answer:
    def answer(row: Row) -> bool | None:
        value = row.get(field)
        if value is None:
            return None
        return any(one in codes for one in value) if isinstance(value, tuple) else value in codes

    return answer


RULES: tuple[Rule, ...] = (
    Rule("Pressure", "Pressure above 30 mmHg on day one", _above("iop_pod1_mmhg", 30)),
    Rule("Pressure", "Surface blisters", _one_of("edema_epithelial", (True,))),
    Rule("Pressure", "Viscoelastic left incomplete", _one_of("ovd_removal", ("incomplete",))),
    Rule("Endothelial load", "Worked in the iris plane or front chamber",
         _one_of("working_plane", ("iris_plane", "anterior_chamber", "mixed"))),
    Rule("Endothelial load", "No re-coat", _one_of("dispersive_recoat", ("no",))),
    Rule("Endothelial load", "Touch of the endothelium", _one_of("endothelial_touch", (True,))),
    Rule("Weak endothelium", "Guttae 3 or more", _above("guttae_grade", 2)),
    Rule("Weak endothelium", "Cell count below 1500", _below("ecd_per_mm2", 1500)),
    Rule("Weak endothelium", "Cell size spread above 40 %", _above("endo_cv_pct", 40)),
    Rule("Wound wrinkled", "Wrinkled often or view lost", _above("corneal_striae_intraop", 1)),
    Rule("Wound wrinkled", "Folds, five or more", _one_of("descemet_folds", ("5-9", "10+"))),
    Rule("Hydration spread", "Heavy hydration of the wounds", _above("stromal_hydration", 2)),
    Rule("Descemet detachment", "Detachment recorded in theatre",
         _one_of("descemet_detachment", ("incision_only", "under_quarter", "quarter_to_half", "over_half"))),
    Rule("Inflammation", "Cells 2+ or more", _one_of("ac_cells_sun", ("2", "3", "4"))),
    Rule("Inflammation", "Fibrin", _one_of("fibrin", (True,))),
)  # fmt: skip


def causes(eyes: Sequence[Eye]) -> Causes:
    """How often each fact was recorded among these cloudy and clear eyes; nothing below 5 cloudy eyes."""
    cloudy = [eye.row for eye in eyes if eye.cloudy]
    clear = [eye.row for eye in eyes if not eye.cloudy]
    if len(cloudy) < FEWEST_CLOUDY:
        return Causes(False, f"Fewer than {FEWEST_CLOUDY} cloudy eyes: look at each one instead.")
    facts = []
    for rule in RULES:
        with_it = [rule.answer(row) for row in cloudy]
        without = [rule.answer(row) for row in clear]
        fact = Fact(
            rule.mechanism,
            rule.fact,
            sum(one is True for one in with_it),
            sum(one is not None for one in with_it),
            sum(one is True for one in without),
            sum(one is not None for one in without),
        )
        if fact.cloudy_answered:
            facts.append(fact)
    return Causes(True, NOTE, tuple(facts))
