"""Days, clock times and moments as people and spreadsheets write them."""

from __future__ import annotations

import re
from datetime import date, datetime, time, timedelta
from itertools import permutations
from types import MappingProxyType

from clinic_app.domain.answers import Asked, Proposal, Refused, Taken
from clinic_app.domain.record import Value

ORDERS: tuple[str, ...] = ("ymd", "dmy", "mdy")
"""The order in which a practice writes the parts of a day in digits."""

FIRST_YEAR, LAST_YEAR = 1900, 2100

_MONTHS = ("january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
           "december")  # fmt: skip
_MONTH_OF: MappingProxyType[str, int] = MappingProxyType(
    {word: n for n, name in enumerate(_MONTHS, start=1) for word in {name, name[:3], name[:4]}}
)
_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_WEEKDAY = re.compile(r"(mon|tues?|wed(?:nes)?|thu(?:rs)?|fri|sat(?:ur)?|sun)(?:day)?\.?,? +", re.IGNORECASE)
_ISO = re.compile(r"([0-9]{4})([-/.])([0-9]{1,2})\2([0-9]{1,2})")
_PACKED = re.compile(r"([0-9]{4})([0-9]{2})([0-9]{2})")
_DIGITS = re.compile(r"([0-9]{1,2})([-/. ]+)([0-9]{1,2})\2([0-9]{4}|[0-9]{2})")
_SHORT = re.compile(r"([0-9]{1,2})[-/. ]+([0-9]{1,2})\.?")
_DAY_FIRST = re.compile(r"([0-9]{1,2})(?:st|nd|rd|th|\.)?[- ]*([a-z]{3,9})\.?[-, ]*([0-9]{4}|[0-9]{2})", re.IGNORECASE)
_MONTH_FIRST = re.compile(r"([a-z]{3,9})\.?[- ]*([0-9]{1,2})(?:st|nd|rd|th)?[-, ]+([0-9]{4}|[0-9]{2})", re.IGNORECASE)
_SERIAL = re.compile(r"[0-9]{1,5}(?:\.0+)?")
_CLOCK = re.compile(r"([0-9]{1,2}):([0-9]{2})(?::([0-9]{2})(?:\.0+)?)?(?: ?([ap])\.?m\.?)?", re.IGNORECASE)
_LOOSE_CLOCK = re.compile(r"([0-9]{1,2})[.h ]?([0-9]{2})(?: ?h| ?uhr)?", re.IGNORECASE)
_MOMENT = re.compile(r"(.+?)(?:T|,? +)([0-9]{1,2}:[0-9]{2}(?::[0-9]{2}(?:\.0+)?)?(?: ?[ap]\.?m\.?)?)", re.IGNORECASE)
_ZONED = re.compile(r".*[0-9]:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]+)?)?(?:Z|[+\-][0-9]{2}:?[0-9]{2})", re.IGNORECASE)
_NEXT = "Write it as 2026-11-19 or 19 Nov 2026."
_NEXT_CLOCK = "Write it as 09:30."


def in_letters(day: date) -> str:
    """A day with the month in letters: "19 Nov 2026"."""
    return f"{day.day} {_MONTHS[day.month - 1][:3].capitalize()} {day.year}"


def from_serial(serial: int, *, base_1904: bool = False) -> date | None:
    """The day that a spreadsheet's number stands for; None for a number that is no day.

    60 is no day: 29 February 1900, which the 1900 count holds, never was. Numbers before it count from 31 December
    1899, after it one day earlier. The 1904 count starts with 1904-01-01 as 0.
    """
    if base_1904:
        return date(1904, 1, 1) + timedelta(days=serial) if 0 <= serial < 72000 else None
    if serial < 1 or serial == 60 or serial > 73415:
        return None
    return date(1899, 12, 31 if serial < 60 else 30) + timedelta(days=serial)


def _day(year: int, month: int, day: int) -> date | None:
    try:
        made = date(year, month, day)
    except ValueError:
        return None
    return made if FIRST_YEAR <= year <= LAST_YEAR else None


def _ask(text: str, days: list[date], rule: str) -> Asked:
    proposals = tuple(Proposal(day.isoformat(), f"Use {in_letters(day)}", day) for day in days)
    return Asked(f"{text}: {' or '.join(in_letters(day) for day in days)}?", proposals, rule)


def _never(text: str) -> Refused:
    return Refused(f"There is no day {text}, or it lies outside {FIRST_YEAR} to {LAST_YEAR}.", _NEXT)


def _years(text: str) -> tuple[int, ...]:
    return (int(text),) if len(text) == 4 else (1900 + int(text), 2000 + int(text))


def _settle(text: str, days: list[date], *, short_year: bool) -> Taken | Asked | Refused:
    unlike = sorted(set(days))
    if not unlike:
        return _never(text)
    if short_year:
        return _ask(text, unlike, "short_year")
    if len(unlike) > 1:
        return _ask(text, unlike, "day_or_month_first")
    return Taken(unlike[0])


def _in_digits(text: str, first: int, second: int, year: str, order: str) -> Taken | Asked | Refused:
    pairs = {"dmy": ((second, first),), "mdy": ((first, second),)}.get(order, ((second, first), (first, second)))
    days = [made for y in _years(year) for month, day in pairs if (made := _day(y, month, day))]
    if not days and order in ("dmy", "mdy"):
        others = [made for y in _years(year) if (made := _day(y, pairs[0][1], pairs[0][0]))]
        return _ask(text, others, "other_order") if others else _never(text)
    short = len(year) == 2
    if short and order == "ymd" and (not days or "-" in text):
        days += [made for y in _years(f"{first:02d}") if (made := _day(y, second, int(year)))]
    return _settle(text, days, short_year=short)


def _in_letters(text: str, day: str, month: str, year: str, weekday: str | None) -> Taken | Asked | Refused:
    number = _MONTH_OF.get(month.casefold())
    if number is None:
        return Refused(f"“{month}” names no month that we know.", _NEXT)
    days = [made for y in _years(year) if (made := _day(y, number, int(day)))]
    settled = _settle(text, days, short_year=len(year) == 2)
    if weekday and isinstance(settled, Taken) and days[0].weekday() != _WEEKDAYS.index(weekday[:3].casefold()):
        return _ask(text, days, "weekday_differs")
    return settled


def _without_year(text: str, order: str, today: date) -> Taken | Asked | Refused | None:
    short = _SHORT.fullmatch(text)
    if short is None:
        return None
    first, second = int(short[1]), int(short[2])
    pair = (second, first) if order == "dmy" else (first, second)
    days = [made for year in (today.year, today.year + 1) if (made := _day(year, *pair)) and made >= today]
    return Taken(days[0], text, (f"Read as {in_letters(days[0])}.",)) if days else _never(text)


def read_date(text: str, order: str = "ymd", today: date | None = None) -> Taken | Asked | Refused:
    """The day that a tidied text writes. `order` says how the practice writes days in digits.

    In order `ymd`, a day such as 03/04/2026 is asked about; a day over 12 decides by itself. Two-digit years and bare
    spreadsheet numbers are asked about. With `today`, a day and month without a year is the next such day.
    """
    if iso := _ISO.fullmatch(text):
        made = _day(int(iso[1]), int(iso[3]), int(iso[4]))
        return Taken(made) if made else _never(text)
    weekday = _WEEKDAY.match(text)
    bare = text[weekday.end() :] if weekday else text
    moment = _MOMENT.fullmatch(bare)
    if moment and isinstance(read_time(moment[2]), Taken):
        inner = read_date(moment[1], order, today)
        midnight = re.fullmatch(r"0?0:00(?::00(?:\.0+)?)?", moment[2])
        return (
            Taken(inner.value, text, ("The clock time is left out.",))
            if isinstance(inner, Taken) and not midnight
            else inner
        )
    if packed := _PACKED.fullmatch(bare):
        made = _day(int(packed[1]), int(packed[2]), int(packed[3]))
        return Taken(made) if made else _never(text)
    if digits := _DIGITS.fullmatch(bare):
        return _in_digits(text, int(digits[1]), int(digits[3]), digits[4], order)
    if letters := _DAY_FIRST.fullmatch(bare):
        return _in_letters(text, letters[1], letters[2], letters[3], weekday and weekday[1])
    if letters := _MONTH_FIRST.fullmatch(bare):
        return _in_letters(text, letters[2], letters[1], letters[3], weekday and weekday[1])
    if today is not None and (found := _without_year(bare, order, today)):
        return found
    if _SERIAL.fullmatch(bare):
        return _of_serial(text, int(float(bare)))
    return Refused(f"“{text}” is no day that we can read.", _NEXT)


def read_birth(text: str, order: str = "ymd", today: date | None = None) -> Taken | Asked | Refused:
    """A birth date as a tidied text writes it: always with its year; with `today` none in the future is offered."""
    answer = read_date(text, order)
    if today is None or not isinstance(answer, Asked):
        return answer
    days = [one.value for one in answer.proposals if isinstance(one.value, date) and one.value <= today]
    return _ask(text, days, answer.rule) if days else Refused(f"The birth date {text} lies in the future.", _NEXT)


def _of_serial(text: str, serial: int) -> Asked | Refused:
    day = from_serial(serial)
    if day is None or day.year < FIRST_YEAR:
        return Refused(f"{text} is a spreadsheet's number of no day.", _NEXT)
    return _ask(text, [day], "spreadsheet_number")


def read_time(text: str) -> Taken | Asked | Refused:
    """The clock time that a tidied text writes: HH:MM, seconds and am/pm if written; loose forms are asked about."""
    if clock := _CLOCK.fullmatch(text):
        hour, minute, second, half = int(clock[1]), int(clock[2]), int(clock[3] or 0), (clock[4] or "").casefold()
        if half:
            hour = hour % 12 + (12 if half == "p" else 0) if 1 <= hour <= 12 else 99
        if hour > 23 or minute > 59 or second > 59:
            return Refused(f"There is no clock time {text}.", _NEXT_CLOCK)
        return Taken(time(hour, minute, second))
    if (loose := _LOOSE_CLOCK.fullmatch(text)) and int(loose[1]) < 24 and int(loose[2]) < 60:
        meant = time(int(loose[1]), int(loose[2]))
        shown = meant.isoformat("minutes")
        return Asked(f"{text}: {shown}?", (Proposal(shown, f"Use {shown}", meant),), "loose_clock")
    return Refused(f"“{text}” is no clock time that we can read.", _NEXT_CLOCK)


def read_moment(text: str, order: str = "ymd") -> Taken | Asked | Refused:
    """Day and clock time of the practice. A day alone is taken as its midnight with a note: no clock time is known."""
    if _ZONED.fullmatch(text):
        return Refused(f"“{text}” carries a time zone.", "Write the clock time of the practice: 2026-11-20T09:10.")
    moment = _MOMENT.fullmatch(text)
    day = read_date(moment[1] if moment else text, order)
    if isinstance(day, Refused):
        return day
    clock = read_time(moment[2]) if moment else Taken(time(0, 0))
    if not isinstance(clock, Taken):
        return clock
    if isinstance(day, Asked):
        made = [_at(proposal.value, clock.value) for proposal in day.proposals]
        proposals = tuple(
            Proposal(one.isoformat(timespec="minutes"), f"Use {in_letters(one)} {one:%H:%M}", one) for one in made
        )
        return Asked(day.question, proposals, day.rule)
    notes = day.notes if moment else (*day.notes, "No clock time: kept as the day alone.")
    return Taken(_at(day.value, clock.value), day.typed if moment else text, notes)


def _at(day: Value | None, clock: Value) -> datetime:
    if not isinstance(day, date) or not isinstance(clock, time):
        raise TypeError("a day and a clock time make a moment")
    return datetime.combine(day, clock)


def alternatives(text: str) -> tuple[str, ...]:
    """The orders in which a day in digits can be read, so that one clear day of a column decides for all of it."""
    digits = _DIGITS.fullmatch(text)
    if digits is None or len(digits[4]) != 4:
        return ()
    pair = (int(digits[1]), int(digits[3]))
    orders = []
    for order, (day, month) in zip(("dmy", "mdy"), permutations(pair), strict=True):
        if _day(int(digits[4]), month, day):
            orders.append(order)
    return tuple(orders)
