"""A measured number as typed: its marks, its unit, slips, and the limits of its field."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from clinic_app.domain.answers import Asked, Missing, Proposal, Refused, Taken
from clinic_app.domain.eyes import names_eye
from clinic_app.domain.numbers import LEADING, Number, foreign_digits, holds_two, parse, show
from clinic_app.domain.slips import slip_of
from clinic_app.domain.units import Convert, conversion, unit_words, with_unit
from clinic_app.domain.vision import Vision, read_vision
from models.codebook import Field, Kind

Soft = Literal["ask", "note"]
Measure = Taken | Missing | Asked | Refused

_ABOUT = re.compile(
    r"(?:<=|>=|=<|=>|[<>≤≥~≈±]|ca\.?|approx\.?|about|around|circa|under|over|below|above)\s*[0-9].*", re.IGNORECASE
)
_AFTER = re.compile(r"[0-9][0-9.,]*\s*(?:\+/-|±).*")
_CLOCK = re.compile(r"([0-9]{1,3}):([0-9]{2})(?::([0-9]{2}))?")
_MIN_S = re.compile(r"([0-9]{1,3}) ?(?:m|min|mins|') ?([0-9]{1,2}) ?(?:s|sec|secs|\"|'')?", re.IGNORECASE)
_MARKS = re.compile(r"[^\w\s%/<>=.,;:|()\[\]-]+")


@dataclass(frozen=True, slots=True)
class Manner:
    """How numbers of a file or of the practice are written; see `reading.read`."""

    decimal: str | None = None
    soft: Soft = "ask"
    unit: str | None = None
    duration: str | None = None


def within(field: Field, value: float) -> bool:
    """Whether the value lies inside the field's hard range."""
    return field.hard is None or field.hard[0] <= value <= field.hard[1]


def _range(bounds: tuple[float, float]) -> str:
    return f"{show(bounds[0])}–{show(bounds[1])}"


def _stored(field: Field, value: float) -> float | int:
    return int(value) if field.kind is Kind.INTEGER else value


def _use(field: Field, value: float) -> Proposal:
    shown = show(value)
    return Proposal(shown, f"Use {shown}", _stored(field, value))


def _proposals(field: Field, typed: float, meant: tuple[float, ...]) -> tuple[Proposal, ...]:
    offered = [_use(field, value) for value in meant if within(field, value)]
    if within(field, typed):
        offered.append(Proposal(show(typed), f"Keep {show(typed)}", _stored(field, typed)))
    return tuple(offered)


def settle(
    field: Field, text: str, value: float, manner: Manner, *, unit_written: bool, converted: bool, note: str | None
) -> Measure:
    """What comes of a value in the field's own unit: slips are asked about first, then the limits speak."""
    slip = slip_of(field.name, value, unit_written=unit_written)
    shown = with_unit(show(value), field)
    asked = text if converted else shown
    if slip is not None and within(field, slip.mend(value)):
        return Asked(f"{asked}? {slip.guess}", _proposals(field, value, (slip.mend(value),)), f"slip_{slip.rule}")
    if field.kind is Kind.INTEGER and value != int(value):
        return Refused(f"{field.label} is a count; {show(value)} is none.", "Write a whole number.")
    if field.hard is not None and not within(field, value):
        return Refused(
            f"{field.label} {shown} is outside what can be ({_range(field.hard)} {unit_words(field.unit)}".rstrip()
            + ").",
            "Correct the value, or say why there is none: nd, np, nr, na.",
        )
    notes = () if note is None else (note,)
    if field.soft is not None and not field.soft[0] <= value <= field.soft[1]:
        unusual = f"{field.label} {shown} is unusual (usual {_range(field.soft)})."
        if manner.soft == "ask":
            return Asked(f"{unusual} Correct?", (Proposal(show(value), "Yes", _stored(field, value)),), "unusual")
        notes = (*notes, unusual)
    return Taken(_stored(field, value), text if converted or note is not None else None, notes)


def _by_marks(
    field: Field, text: str, number: Number, manner: Manner, convert: Convert | None, *, unit_written: bool
) -> Measure:
    def own(value: float) -> float:
        return value if convert is None else round(convert(value), 6)

    value, converted = own(number.value), convert is not None and own(number.value) != number.value
    if number.other is not None:
        other = own(number.other)
        likely = manner.decimal is not None and within(field, value)
        if within(field, other) and not likely:
            meant = (value, other) if within(field, value) else (other,)
            words = " or ".join(show(one) for one in meant)
            return Asked(f"{text}? {words}?", tuple(_use(field, one) for one in meant), "thousands_or_decimals")
    return settle(field, text, value, manner, unit_written=unit_written, converted=converted, note=number.note)


def _of_clock(field: Field, text: str, manner: Manner) -> Measure | None:
    if field.unit not in ("s", "min"):
        return None
    seconds_in = 1.0 if field.unit == "s" else 60.0
    if worded := _MIN_S.fullmatch(text):
        total = 60.0 * int(worded[1]) + int(worded[2])
        return settle(field, text, total / seconds_in, manner, unit_written=True, converted=True, note=None)
    clock = _CLOCK.fullmatch(text)
    if clock is None:
        return None
    first, second, third = int(clock[1]), int(clock[2]), clock[3]
    if second > 59 or (third and int(third) > 59):
        return Refused(
            f"“{text}” is no length of time.", f"Write the number of {'seconds' if field.unit == 's' else 'minutes'}."
        )
    if third and not (first > 0 and int(third) == 0):
        total = 3600.0 * first + 60.0 * second + int(third)
        return settle(field, text, total / seconds_in, manner, unit_written=True, converted=True, note=None)
    as_min_s, as_h_min = (60.0 * first + second) / seconds_in, (3600.0 * first + 60.0 * second) / seconds_in
    if manner.duration in ("m:s", "h:m"):
        value = as_min_s if manner.duration == "m:s" else as_h_min
        return settle(field, text, value, manner, unit_written=True, converted=True, note=None)
    proposals = tuple(_use(field, round(value, 6)) for value in (as_min_s, as_h_min) if within(field, value))
    question = f"{text}: {60 * first + second} s or {60 * first + second} min?"
    if not proposals:
        return Refused(
            f"{question} Neither can be for {field.label}.", f"Write the number of {unit_words(field.unit)}."
        )
    return Asked(question, proposals, "clock_like")


def _two_values(text: str) -> Refused:
    return Refused(f"“{text}” holds two values.", "Write one value a cell.")


def _refused_outright(field: Field, text: str) -> Refused | None:
    if text.startswith("="):
        return Refused(f"“{text}” is a formula, not a value.", "Put the value itself into the cell.")
    if text.casefold() in ("true", "false"):
        return Refused(f"“{text}” is a yes or no, not a number.", f"Write {field.label} as a number.")
    if foreign_digits(re.sub("[²³½]", "", text)):
        return Refused(f"“{text}” is not written in the digits 0 to 9.", "Type it again with plain digits.")
    return None


def _with_tail(field: Field, text: str, manner: Manner) -> Measure:
    head = LEADING.match(text)
    number = parse(head[0], manner.decimal) if head else None
    if head is None or number is None:
        if holds_two(text):
            return _two_values(text)
        return Refused(
            f"“{text}” is not a number.", f"Write {field.label} as a number, or say why there is none: nd, np, nr, na."
        )
    tail = text[head.end() :].strip()
    convert = conversion(field, tail)
    if convert is not None:
        return _by_marks(field, text, number, manner, convert, unit_written=True)
    if _MARKS.fullmatch(tail):
        return Asked(f"{text}: what does “{tail}” mean?", _proposals_of_mark(field, number.value), "mark")
    if holds_two(text):
        return _two_values(text)
    unit = unit_words(field.unit)
    known = f"{field.label} is kept in {unit}." if unit else f"{field.label} has no unit."
    return Refused(f"“{tail}” behind {head[0]} is no unit that we know for it. {known}", "Write the number alone.")


def _proposals_of_mark(field: Field, value: float) -> tuple[Proposal, ...]:
    return (_use(field, value),) if within(field, value) else ()


def _of_vision(field: Field, text: str) -> Measure | None:
    seen = read_vision(text, "logmar") if field.unit == "{logMAR}" else None
    if not isinstance(seen, Vision):
        return None
    if seen.logmar is None:
        return Missing("not_possible", text, ("No number follows from it.",))
    note = f"{seen.category} counts as logMAR {seen.logmar:.2f}." if seen.category in ("CF", "HM") else None
    return Taken(seen.logmar, text, () if note is None else (note,))


def read_measure(field: Field, text: str, manner: Manner) -> Measure:
    """The number of a field of kind number or integer from its tidied text."""
    number = parse(text, manner.decimal)
    if number is not None:
        doubled = re.fullmatch(r"([0-9]+) ([0-9]+)", text)
        if doubled and not within(field, number.value) and all(within(field, float(part)) for part in doubled.groups()):
            return _two_values(text)
        convert = None if manner.unit is None else conversion(field, manner.unit)
        return _by_marks(field, text, number, manner, convert, unit_written=convert is not None)
    if (refused := _refused_outright(field, text)) or (refused := names_eye(text)):
        return _two_values(text) if holds_two(text) and not text.startswith("=") else refused
    if _ABOUT.fullmatch(text) or _AFTER.fullmatch(text):
        return Missing("not_recorded", text, ("Kept as typed; no number is made of it.",))
    return _of_clock(field, text, manner) or _of_vision(field, text) or _with_tail(field, text, manner)
