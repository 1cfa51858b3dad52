"""Units typed with a value, and what turns them into the unit that the field is kept in."""

from __future__ import annotations

import re
from collections.abc import Callable
from types import MappingProxyType

from clinic_app.domain import derived
from models.codebook import Field

Convert = Callable[[float], float]


def _times(factor: float) -> Convert:
    return lambda value: value * factor


def _over(divisor: float) -> Convert:
    return lambda value: value / divisor


def _same(value: float) -> float:
    return value


_SHOWN: MappingProxyType[str, str] = MappingProxyType(
    {"um": "µm", "mm[Hg]": "mmHg", "/mm2": "/mm²", "{logMAR}": "logMAR", "a": "years"}
)
_MICRON = ("um", "µm", "μm", "micron", "microns", "micrometer", "micrometers", "micrometre", "micrometres")
_MILLI = ("mm", "millimeter", "millimeters", "millimetre", "millimetres")
_PERCENT = ("%", "percent", "pct", "per cent")
_MMOL = ("mmol/mol",)
_WAYS: tuple[tuple[str, tuple[str, ...], Convert], ...] = (
    ("um", _MICRON, _same), ("um", _MILLI, _times(1000.0)),
    ("mm", _MILLI, _same), ("mm", _MICRON, _over(1000.0)), ("mm", ("cm",), _times(10.0)),
    ("/mm2", ("/mm2", "/mm²", "/mm^2", "cells/mm2", "cells/mm²", "cells/mm^2", "per mm2", "cells"), _same),
    ("%", _PERCENT, _same),
    ("mmol/mol", _MMOL, _same), ("mmol/mol", _PERCENT, derived.hba1c_mmol_of_pct),
    ("mm[Hg]", ("mmhg", "mm hg", "mm[hg]", "torr"), _same), ("mm[Hg]", ("kpa",), derived.mmhg_of_kpa),
    ("mm[Hg]", ("cmh2o", "cm h2o", "cm[h2o]"), derived.mmhg_of_bottle),
    ("s", ("s", "sec", "secs", "second", "seconds"), _same), ("s", ("min", "mins", "minute", "minutes"), _times(60.0)),
    ("min", ("min", "mins", "minute", "minutes"), _same), ("min", ("s", "sec", "secs", "seconds"), _over(60.0)),
    ("min", ("h", "hr", "hrs", "hour", "hours"), _times(60.0)),
    ("h", ("h", "hr", "hrs", "hour", "hours"), _same), ("h", ("min", "mins", "minutes"), _over(60.0)),
    ("h", ("d", "day", "days"), _times(24.0)),
    ("mL", ("ml", "cc", "cm3", "cm³"), _same), ("mL", ("l", "liter", "liters", "litre", "litres"), _times(1000.0)),
    ("cm", ("cm",), _same), ("cm", ("mm",), _over(10.0)), ("cm", ("m",), _times(100.0)),
    ("a", ("a", "y", "yr", "yrs", "year", "years"), _same), ("a", ("month", "months"), _over(12.0)),
    ("{logMAR}", ("logmar",), _same),
)  # fmt: skip
_TABLE: MappingProxyType[tuple[str, str], Convert] = MappingProxyType(
    {(unit, word): convert for unit, words, convert in _WAYS for word in words}
)
_BY_FIELD: MappingProxyType[tuple[str, str], Convert] = MappingProxyType(
    {("hba1c_pct", "mmol/mol"): derived.hba1c_pct_of_mmol}
)
"""Ways that hold for one field alone: no other percentage can be written in mmol/mol."""


def unit_words(unit: str) -> str:
    """The unit as it stands on screens and in sentences."""
    return _SHOWN.get(unit, unit)


def with_unit(text: str, field: Field) -> str:
    """A number's text with the field's unit behind it."""
    words = unit_words(field.unit)
    return f"{text} {words}" if words else text


def conversion(field: Field, unit: str) -> Convert | None:
    """What turns a value in `unit` (as typed) into the field's own unit; None when the field knows no such unit."""
    word = re.sub(r"\s+", " ", unit.casefold().strip().rstrip("."))
    return _BY_FIELD.get((field.name, word)) or _TABLE.get((field.unit, word))
