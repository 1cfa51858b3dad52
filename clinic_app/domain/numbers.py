"""Numbers as people and spreadsheets write them, by a pattern of ASCII digits; nothing else is a number here."""

from __future__ import annotations

import re
import struct
from dataclasses import dataclass
from decimal import Decimal

MINUS = "\u2212"
_PLAIN = re.compile(r"[+\-]?[0-9]+")
_ONE_MARK = re.compile(r"([+\-]?)([0-9]*)([.,])([0-9]+)")
_GROUPED_BY_SPACE = re.compile(r"([+\-]?[0-9]{1,3}(?:[ '’][0-9]{3})+)(?:[.,]([0-9]+))?")
_GROUPED = re.compile(r"([+\-]?[0-9]{1,3}(?:([.,])[0-9]{3})(?:\2[0-9]{3})*)(?:([.,])([0-9]+))?")
_NUMBER = r"[0-9]+(?:[.,][0-9]+)*"
_TWO = re.compile(rf".*{_NUMBER}\D*?[\s/;|&+\-–±,a-zA-Z]+\D*?{_NUMBER}.*")
LEADING = re.compile(r"[+\-]?(?:[0-9]{1,3}(?:[ '’][0-9]{3})+(?:[.,][0-9]+)?|[0-9]*(?:[.,][0-9]+)+|[0-9]+)")
"""A number at the start of a text, whatever its marks."""


@dataclass(frozen=True, slots=True)
class Number:
    """What a text can mean as a number.

    `value` is the reading that the decimal mark in force gives, `other` the second possible reading (thousands
    against decimals) or None, `note` a sentence when the mark was not the one in force.
    """

    value: float
    other: float | None = None
    note: str | None = None


def _exact(text: str) -> float:
    value = float(text)
    _, _, digits = text.partition(".")
    if len(digits) < 6:
        return value
    # A single-precision number printed with all its digits (3.0999999046) is the short number it came from.
    short = float(f"{value:.6g}")
    if abs(short) < 1e30 and short != value:
        single = struct.unpack("f", struct.pack("f", short))[0]
        if abs(single - value) <= 0.5 * 10.0 ** -len(digits):
            return short
    return value


def parse(text: str, decimal: str | None = None) -> Number | None:
    """The number that `text` (already tidied) writes, or None when it writes none.

    `decimal` is the mark in force ("." or ","), None when both count as decimal marks. Digits may be grouped by a
    space or an apostrophe. Full-width and other scripts' digits, underscores, exponents, "inf" and "nan" are none.
    """
    text = text.replace(MINUS, "-")
    if _PLAIN.fullmatch(text):
        return Number(float(text)) if len(text) < 40 else None
    if len(text) > 60:
        return None
    if one := _ONE_MARK.fullmatch(text):
        return _one_mark(one, decimal)
    if spaced := _GROUPED_BY_SPACE.fullmatch(text):
        whole = re.sub(r"[ '’]", "", spaced[1])
        return Number(_exact(f"{whole}.{spaced[2]}" if spaced[2] else whole))
    if grouped := _GROUPED.fullmatch(text):
        mark, last = grouped[2], grouped[3]
        if last == mark:
            return None
        whole = grouped[1].replace(mark, "")
        value = _exact(f"{whole}.{grouped[4]}" if last else whole)
        against = (decimal is not None) and (mark == decimal)
        return Number(value, note=f"Read “{mark}” as a mark of thousands.") if against else Number(value)
    return None


def _one_mark(match: re.Match[str], decimal: str | None) -> Number:
    sign, whole, mark, digits = match.groups()
    as_decimal = _exact(f"{sign}{whole or '0'}.{digits}")
    may_group = len(digits) == 3 and 1 <= len(whole) <= 3 and not whole.startswith("0")
    if not may_group:
        differs = decimal is not None and mark != decimal
        return Number(as_decimal, note=f"Read “{mark}” as the decimal mark." if differs else None)
    as_thousands = float(f"{sign}{whole}{digits}")
    if decimal is not None and mark != decimal:
        return Number(as_thousands, as_decimal)
    return Number(as_decimal, as_thousands)


def holds_two(text: str) -> bool:
    """Whether the text holds two numbers ("540/545", "R 540 L 552")."""
    return _TWO.fullmatch(text) is not None


def foreign_digits(text: str) -> bool:
    """Whether the text holds digits of another script or full-width digits."""
    return any(character.isnumeric() and not character.isascii() for character in text)


def show(value: float, decimals: int | None = None) -> str:
    """The shortest text that reads back as the same number, without exponent; rounded when `decimals` is given."""
    if decimals is not None:
        value = round(value, decimals) + 0.0
    if value == int(value) and abs(value) < 1e15:
        return str(int(value))
    return format(Decimal(repr(float(value))), "f")
