"""What has become of each planned step, as far as the sheet says: proposed, done, or done otherwise."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from clinic_app.domain.numbers import show
from clinic_app.domain.record import Row, Value
from models.codebook import BY_NAME, Kind


@dataclass(frozen=True, slots=True)
class Kept:
    """A planned step: the field of the sheet that shows it, and the answers that keep it."""

    field: str
    answers: frozenset[Value] = frozenset()


IN_THEATRE: Mapping[str, Kept] = MappingProxyType(
    {
        "coat_first": Kept("ovd_strategy", frozenset({"dispersive", "both_soft_shell", "viscoadaptive"})),
        "re_coat": Kept("dispersive_recoat", frozenset({"once", "more"})),
        "chop_no_grooves": Kept("technique", frozenset({"phaco_chop_horizontal", "phaco_chop_vertical", "prechop"})),
        "stay_in_bag": Kept("working_plane", frozenset({"bag"})),
        "low_infusion": Kept("iop_setting_mmhg"),
        "senior_surgeon": Kept("surgeon_grade", frozenset({"senior"})),
    }
)
"""Steps of the plan that the sheet answers; the others are of other days."""


def step_words(code: str, row: Row, proposed: Mapping[str, Value]) -> str:
    """What the sheet says of a planned step: `usual, to confirm`, `done: once`, `not done: no`; empty while open."""
    kept = IN_THEATRE.get(code)
    if kept is None:
        return ""
    value = row.get(kept.field)
    if value is None:
        usual = proposed.get(kept.field)
        if usual is None:
            return ""
        if not kept.answers:
            return f"{_words(kept.field, usual)}, usual"
        return "usual, to confirm" if usual in kept.answers else f"usual is {_words(kept.field, usual).lower()}"
    words = _words(kept.field, value)
    if not kept.answers:
        return words
    return f"{'done' if value in kept.answers else 'not done'}: {words[:1].lower()}{words[1:]}"


def _words(name: str, value: object) -> str:
    field = BY_NAME[name]
    if field.kind is Kind.NUMBER and isinstance(value, int | float):
        return f"{show(float(value))} {field.unit.replace('mm[Hg]', 'mmHg')}".strip()
    return field.choice_label(value)
