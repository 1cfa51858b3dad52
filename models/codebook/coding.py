"""How answers become numbers for a model: one table, so that a term means the same wherever it is used."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True, slots=True)
class Coding:
    """A yes-or-no term read from a choice field: codes that count as 1, as 0, and as missing.

    `not_possible` says what a *not possible* answer counts as; None means missing, as for every number.
    """

    field: str
    one: frozenset[object]
    zero: frozenset[object]
    missing: frozenset[object] = frozenset()
    not_possible: int | None = None


def _coding(field: str, one: tuple[object, ...], zero: tuple[object, ...], missing: tuple[object, ...] = ()) -> Coding:
    return Coding(field, frozenset(one), frozenset(zero), frozenset(missing))


CODINGS: MappingProxyType[str, Coding] = MappingProxyType(
    {
        "female": _coding("sex", ("female",), ("male",), ("other", "unknown")),
        "guttae_1_2": _coding("guttae_grade", (1, 2), (0, 3, 4, 5, 6)),
        "guttae_3_up": _coding("guttae_grade", (3, 4, 5, 6), (0, 1, 2)),
        "diabetes": _coding("diabetes", ("type1", "type2", "other"), ("none",)),
        "glaucoma": _coding("glaucoma", ("open_angle", "angle_closure", "other"), ("none", "OHT")),
        "pseudoexfoliation": _coding("pseudoexfoliation", ("yes", "suspect"), ("no",)),
        "plane_iris": _coding("working_plane", ("iris_plane", "mixed"), ("bag", "anterior_chamber")),
        "plane_anterior_chamber": _coding("working_plane", ("anterior_chamber",), ("bag", "iris_plane", "mixed")),
        "capsule_rupture": _coding("pcr", ("PCR", "PCR+vitreous"), ("none", "zonular_dialysis")),
        "divide_and_conquer": _coding(
            "technique",
            ("divide_conquer",),
            (
                "phaco_chop_horizontal",
                "phaco_chop_vertical",
                "stop_chop",
                "prechop",
                "femto_fragment",
                "supracapsular",
                "aspiration_only",
                "manual_SICS",
                "other",
            ),
        ),
        "junior": _coding("surgeon_grade", ("trainee", "junior"), ("senior",)),
        "soft_shell": _coding(
            "ovd_strategy", ("both_soft_shell",), ("dispersive", "cohesive", "viscoadaptive", "other", "none")
        ),
    }
)
"""Term name -> how it is read. Ocular hypertension is not glaucoma; a suspected pseudoexfoliation counts as one;
mixed plane counts as iris plane; trainee or junior is junior; rupture with or without vitreous, not zonular dialysis."""
