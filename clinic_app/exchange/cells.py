"""Values of the record as the cells of our own files, and back: nothing lost, nothing that a spreadsheet would run."""

from __future__ import annotations

import math
import re
from datetime import date, datetime, time
from decimal import Decimal

from clinic_app.domain.record import Value
from models.codebook import Field, Kind

Cell = str | float
"""A cell as read: text, or a number that a spreadsheet held as a number."""

_RUNNABLE = frozenset("=+-@|%＝＋－＠｜％\t\r")
_UNSEEN = " \t\r\n\f\v\u00a0\u00ad\u061c\u200b\u200c\u200d\u200e\u200f\u2060\u202a\u202b\u202c\u202d\u202e\u3000\ufeff"
_NUMBER = re.compile(r"[+-]?\d+(?:[.,]\d+)?\Z", re.ASCII)
_PLAIN_NUMBER = re.compile(r"-?\d{1,15}(?:\.\d+)?\Z", re.ASCII)
_LIKE_THOUSANDS = re.compile(r"-?\d{1,3}\.\d{3}\Z", re.ASCII)


def needs_mark(text: str) -> bool:
    """Whether a spreadsheet could run this text as a formula, or it begins with the mark itself.

    Plain numbers stay numbers: `-0.10` needs none.
    """
    if not text:
        return False
    if text[0] == "'" or text[0] in "\t\r":
        return True
    seen = text.lstrip(_UNSEEN)
    return bool(seen) and seen[0] in _RUNNABLE and not _NUMBER.match(text)


def mark(text: str) -> str:
    """The text with `'` before it where it needs the mark; `unmark` takes it off again, letter for letter."""
    return "'" + text if needs_mark(text) else text


def unmark(text: str) -> str:
    """What `mark` was given. Text that begins with `'` for another reason stays as it is."""
    return text[1:] if text[:1] == "'" and needs_mark(text[1:]) else text


def number_text(number: float) -> str:
    """The shortest decimal that reads back as this number bit for bit, never with an exponent.

    Three decimals get a fourth, so that `1.234` can never be taken for one thousand two hundred and thirty-four.
    """
    if math.isnan(number) or math.isinf(number):
        raise ValueError("a record holds finite numbers only")
    text = format(Decimal(repr(number)), "f")
    text = text.removesuffix(".0")
    return text + "0" if _LIKE_THOUSANDS.match(text) else text


def cell_text(value: object) -> str:
    """A value of the record as text: ISO days and times, decimal point, `yes` and `no`, answers joined with `|`."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return number_text(value)
    if isinstance(value, datetime | time):
        whole = value.second == 0 and value.microsecond == 0
        return value.isoformat(timespec="minutes" if whole else "auto")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, tuple):
        return "|".join(str(one) for one in value)
    return str(value)


def plain_value(field: Field, text: str) -> Value | None:
    """Read text that `cell_text` wrote, without guessing; None when it is no such text or outside the hard range."""
    try:
        return _plain_value(field, text)
    except ValueError:
        return None


def _plain_value(field: Field, text: str) -> Value | None:
    kind = field.kind
    if kind in (Kind.NUMBER, Kind.INTEGER, Kind.GRADE):
        if not _PLAIN_NUMBER.match(text) or (kind is not Kind.NUMBER and "." in text):
            return None
        number = float(text)
        if field.hard is not None and not field.hard[0] <= number <= field.hard[1]:
            return None
        return number if kind is Kind.NUMBER else int(number)
    if kind is Kind.CHOICE:
        return text if text in field.codes else None
    if kind is Kind.CHOICES:
        parts = tuple(text.split("|"))
        return parts if all(part in field.codes for part in parts) else None
    if kind is Kind.YES_NO:
        return {"yes": True, "no": False}.get(text)
    if kind is Kind.DATE:
        return date.fromisoformat(text)
    if kind is Kind.TIME:
        return time.fromisoformat(text)
    if kind is Kind.MOMENT:
        return datetime.fromisoformat(text)
    return text


def number_cell_text(number: float) -> str:
    """The text of a cell that a spreadsheet held as a number; with an exponent where the sheet has lost digits."""
    return number_text(number) if abs(number) < 1e15 else repr(number)
