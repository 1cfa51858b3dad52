"""Facts to weigh before a model exists: what published findings say of an eye, and what they cannot say.

They are never added up: findings differ in outcome and in people.
"""

from __future__ import annotations

from dataclasses import dataclass

from clinic_app.domain.published import RULES, Fact, Unknown
from clinic_app.domain.record import Row
from models.codebook import MISSING_CODES, field

__all__ = ["Fact", "Facts", "facts_to_weigh"]


@dataclass(frozen=True, slots=True)
class Facts:
    """What there is to weigh for one eye; what cannot be judged and why; what was looked at without a finding."""

    facts: tuple[Fact, ...]
    cannot_judge: tuple[tuple[str, str], ...]
    nothing: tuple[str, ...]


def _applies(name: str, row: Row) -> bool:
    """Whether the field has something to say for this eye at all: years of diabetes only with diabetes."""
    if name == "diabetes_years":
        return row.get("diabetes") != "none"
    return row.get(f"{name}_missing") != "not_applicable"


def _why(name: str, row: Row) -> str:
    code = row.get(f"{name}_missing")
    return MISSING_CODES[str(code)].lower() if code in MISSING_CODES else "not yet answered"


def facts_to_weigh(row: Row) -> Facts:
    """The published findings that bear on this eye, from what is known at booking.

    `cannot_judge` pairs a field with the reason: its own missing code, or the other field that the finding needs.
    There is no total: findings differ in outcome and people and do not add up.
    """
    facts: list[Fact] = []
    unknown: list[tuple[str, str]] = []
    nothing: list[str] = []
    for name, rule in RULES:
        if not _applies(name, row):
            continue
        if row.get(name) is None:
            unknown.append((name, _why(name, row)))
            continue
        found = rule(row)
        if isinstance(found, Unknown):
            unknown.append((name, f"{field(found.field).label}: {_why(found.field, row)}"))
        elif found:
            facts.extend(found)
        else:
            nothing.append(name)
    return Facts(tuple(facts), tuple(unknown), tuple(nothing))
