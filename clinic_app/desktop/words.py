"""How the window writes days and answers."""

from __future__ import annotations

from datetime import date, datetime, time

from models.codebook import Field, Kind

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_LONG = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
NEAR = 400
"""Days from today within which the weekday is said."""


def day_words(day: date, today: date | None = None) -> str:
    """A day with the month in letters, and its weekday when it is near."""
    words = f"{day.day} {_MONTHS[day.month - 1]} {day.year}"
    return f"{_DAYS[day.weekday()]} {words}" if today is not None and abs((day - today).days) <= NEAR else words


def list_day(day: date, today: date) -> str:
    """A day as a heading of a list: without the year when it is this one."""
    words = f"{_DAYS[day.weekday()]} {day.day} {_LONG[day.month - 1]}"
    return words if day.year == today.year else f"{words} {day.year}"


def number_words(value: float, decimals: int, mark: str = ".") -> str:
    """A number with its field's decimals, or more when it has more."""
    text = f"{value:.{decimals}f}"
    if abs(float(text) - value) > 1e-9:
        text = f"{value:.10g}"
    return text.replace(".", mark or ".")


def answer_words(field: Field, value: object, *, today: date | None = None, mark: str = ".") -> str:
    """A value in words, without its unit."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "Yes" if value else "No"
    if isinstance(value, tuple):
        return ", ".join(field.choice_label(code) for code in value)
    if isinstance(value, datetime):
        return f"{day_words(value.date(), today)} {value:%H:%M}"
    if isinstance(value, date):
        return day_words(value, today)
    if isinstance(value, time):
        return f"{value:%H:%M}"
    if field.choices:
        return field.choice_label(value)
    if isinstance(value, int | float) and field.kind is not Kind.TEXT:
        return number_words(float(value), field.decimals, mark)
    return str(value)


def eyes_words(count: int) -> str:
    """A number of eyes."""
    return f"{count} eye" if count == 1 else f"{count} eyes"
