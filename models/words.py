"""Numbers and answers in the words that people read; no arithmetic of the model here."""

from __future__ import annotations

import math
from collections.abc import Mapping

from models.codebook import BY_NAME, Kind

Row = Mapping[str, object]

UNITS: Mapping[str, str] = {"um": "µm", "/mm2": "per mm²", "a": "years", "mm[Hg]": "mmHg", "{logMAR}": "logMAR"}
"""Units as read, where they differ from their code."""

FEW_CLOUDY = 30
"""Cloudy eyes behind a model under which the range is said first."""

WIDE = 25
"""Points of width from which the range is said first."""


def value_words(name: str, value: object) -> str:
    """An answer as people read it, with its unit."""
    field = BY_NAME[name]
    if isinstance(value, bool):
        return "yes" if value else "no"
    if field.choices:
        words = field.choice_label(value)
        return f"{value} ({words})" if field.kind is Kind.GRADE and words != str(value) else words
    if isinstance(value, int | float):
        return f"{number_words(name, float(value))}{unit_words(name)}"
    return str(value)


def number_words(name: str, value: float) -> str:
    """A number with the decimals of its field."""
    return f"{value:.{BY_NAME[name].decimals}f}"


def unit_words(name: str) -> str:
    """The unit with a space before it, or nothing."""
    unit = BY_NAME[name].unit
    return f" {UNITS.get(unit, unit)}" if unit else ""


def label_words(name: str, row: Row) -> str:
    """Field and answer of a row: `Chamber depth 2.40 mm`, `Diabetes: Type 2`."""
    field = BY_NAME[name]
    answer = value_words(name, row.get(name))
    return f"{field.label} {answer}" if field.numeric else f"{field.label}: {answer}"


def effect_words(effect: float) -> str:
    """A difference in log-odds in words, by the bounds 0.25, 0.5 and 1; it says what goes together, not what causes."""
    size = abs(effect)
    how = "slightly " if size < 0.25 else "a little " if size < 0.5 else "" if size <= 1.0 else "a lot "
    return f"goes with {how}{'more' if effect > 0.0 else 'fewer'}"


def shown_range(risk: float, low: float, high: float) -> tuple[int, int]:
    """The range in whole points of 100, never narrower than one point to either side of the chance."""
    middle = round(100.0 * risk)
    return (
        max(0, min(math.floor(100.0 * low + 0.5), middle - 1)),
        min(100, max(math.floor(100.0 * high + 0.5), middle + 1)),
    )


def chance_sentence(risk: float, low: float, high: float, cloudy: int) -> str:
    """The sentence of a forecast; with a wide range, or few cloudy eyes behind the model, the range comes first."""
    bottom, top = shown_range(risk, low, high)
    least = "fewer than 1" if bottom < 1 else str(bottom)
    alike = "in 100 eyes like this, treated as we usually treat them, had a cloudy centre on day one"
    if top - bottom > WIDE or cloudy < FEW_CLOUDY:
        return f"Between {least} and {top} {alike}; our records cannot say more closely."
    points = round(100.0 * risk)
    about = "Fewer than 1" if risk < 0.01 else "More than 60" if points > 60 else f"About {points}"
    return f"{about} {alike}. Most likely between {least} and {top}."


def listed(words: list[str]) -> str:
    """`a, b and c`."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
