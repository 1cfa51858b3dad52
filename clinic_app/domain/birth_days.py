"""Whether the person in the chair is the one on the row: day and month of birth as they are said, not the year."""

from __future__ import annotations

import re
from datetime import date

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_PACKED = re.compile(r"([0-9]{2})([0-9]{2})")
_DIGITS = re.compile(r"([0-9]{1,2})[-/. ]+([0-9]{1,2})\.?")
_DAY_FIRST = re.compile(r"([0-9]{1,2})(?:st|nd|rd|th|\.)?[- ]*([a-z]{3,9})\.?")
_MONTH_FIRST = re.compile(r"([a-z]{3,9})\.?[- ]*([0-9]{1,2})(?:st|nd|rd|th)?")


def day_and_month(text: str, order: str = "dmy") -> tuple[int, int] | None:
    """Day and month of "17 Jan", "17 1", "17/1" or "1701"; None for what is neither.

    `order` is how the practice writes a day in digits (`dmy`, `mdy`, `ymd`). Digits that are no day in that order are
    read the other way round: only one reading is then possible.
    """
    said = text.strip().lower()
    if found := _DAY_FIRST.fullmatch(said):
        return _checked(int(found[1]), _month(found[2]))
    if found := _MONTH_FIRST.fullmatch(said):
        return _checked(int(found[2]), _month(found[1]))
    found = _PACKED.fullmatch(said) or _DIGITS.fullmatch(said)
    if found is None:
        return None
    one, two = int(found[1]), int(found[2])
    readings = (_checked(one, two), _checked(two, one))
    first, other = readings if order == "dmy" else readings[::-1]
    return first or other


def born_that_day(text: str, born: date, order: str = "dmy") -> bool | None:
    """Whether the words name the day and month of `born`; None when they name no day."""
    said = day_and_month(text, order)
    return None if said is None else said == (born.day, born.month)


def _month(word: str) -> int:
    return _MONTHS.index(word[:3]) + 1 if word[:3] in _MONTHS else 0


def _checked(day: int, month: int) -> tuple[int, int] | None:
    try:
        date(2000, month, day)  # a leap year: 29 February is a day of birth
    except ValueError:
        return None
    return day, month
