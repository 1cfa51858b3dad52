"""Values of the record as cells of the database and back, by kind: exact both ways."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, time
from math import isfinite
from types import MappingProxyType

from clinic_app.domain.record import Value
from models.codebook import Kind

Cell = str | int | float
"""What a cell holds: text, whole number or real number; an empty cell is NULL and never one of these."""

LARGEST = 2**63 - 1


def wrong(kind: Kind, value: object) -> TypeError:
    """The error for a value that is not of its kind, without the value."""
    return TypeError(f"a field of kind {kind.value} cannot hold a {type(value).__name__}")


def _clean(text: str) -> str:
    if "\0" in text:
        raise ValueError("a text of the record holds a NUL")
    return text


def _clock(value: time | datetime) -> str:
    return value.isoformat() if value.second or value.microsecond else value.isoformat(timespec="minutes")


def _text(value: object) -> Cell | None:
    return _clean(value) if isinstance(value, str) else None


def _number(value: object) -> Cell | None:
    if not isinstance(value, float | int) or isinstance(value, bool):
        return None
    number = value + 0.0  # the database keeps no negative zero
    if not isfinite(number):
        raise ValueError("a number of the record must be finite")
    return number


def _whole(value: object) -> Cell | None:
    if not isinstance(value, int) or isinstance(value, bool):
        return None
    if abs(value) > LARGEST:
        raise ValueError("a whole number of the record is too large")
    return value


def _yes_no(value: object) -> Cell | None:
    return int(value) if isinstance(value, bool) else None


def _choices(value: object) -> Cell | None:
    if isinstance(value, tuple) and all(isinstance(code, str) and code and "|" not in code for code in value):
        return _clean("|".join(value))
    return None


def _date(value: object) -> Cell | None:
    return value.isoformat() if isinstance(value, date) and not isinstance(value, datetime) else None


def _time(value: object) -> Cell | None:
    return _clock(value) if isinstance(value, time) and value.tzinfo is None else None


def _moment(value: object) -> Cell | None:
    return _clock(value) if isinstance(value, datetime) and value.tzinfo is None else None


TO_CELL: MappingProxyType[Kind, Callable[[object], Cell | None]] = MappingProxyType(
    {
        Kind.IDENTIFIER: _text,
        Kind.TEXT: _text,
        Kind.CHOICE: _text,
        Kind.NUMBER: _number,
        Kind.INTEGER: _whole,
        Kind.GRADE: _whole,
        Kind.YES_NO: _yes_no,
        Kind.CHOICES: _choices,
        Kind.DATE: _date,
        Kind.TIME: _time,
        Kind.MOMENT: _moment,
    }
)
"""Kind -> how a value becomes a cell; None when the value is not of the kind."""


def to_cell(kind: Kind, value: object) -> Cell:
    """The cell for a value; TypeError or ValueError (without the value in it) when the value is not of the kind."""
    cell = TO_CELL[kind](value)
    if cell is None:
        raise wrong(kind, value)
    return cell


def from_cell(kind: Kind, cell: object) -> Value:
    """The value of a cell."""
    if kind is Kind.YES_NO:
        return cell == 1
    if kind is Kind.CHOICES:
        return tuple(str(cell).split("|")) if cell else ()
    if kind is Kind.DATE:
        return date.fromisoformat(str(cell))
    if kind is Kind.TIME:
        return time.fromisoformat(str(cell))
    if kind is Kind.MOMENT:
        return datetime.fromisoformat(str(cell))
    if isinstance(cell, str | int | float):
        return cell
    raise wrong(kind, cell)


def text_of(kind: Kind, cell: Cell) -> str:
    """The cell as the history and files show it."""
    if kind is Kind.YES_NO:
        return "yes" if cell else "no"
    return str(cell)
