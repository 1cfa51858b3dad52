"""Typed text to a value of the record, by the field's kind: strict, and asking rather than guessing."""

from __future__ import annotations

import re
from datetime import date

from clinic_app.domain.answers import Answer, Asked, Blank, Missing, Proposal, Refused, Taken
from clinic_app.domain.choices import read_choice, read_choices, read_grade, read_yes_no
from clinic_app.domain.dates import read_birth, read_date, read_moment, read_time
from clinic_app.domain.derived import VISIONS
from clinic_app.domain.eyes import read_eye
from clinic_app.domain.measures import Manner, Soft, read_measure
from clinic_app.domain.vision import Vision, read_vision
from clinic_app.domain.words import missing_asked, missing_of, tidy, unreadable
from models.codebook import Field, Kind
from models.codebook import field as field_of

__all__ = ["Answer", "Asked", "Blank", "Missing", "Proposal", "Refused", "Taken", "read"]

LONGEST_TEXT = 4000
LONGEST_IDENTIFIER = 80
_VISION_FIELDS = frozenset(raw for raw, _ in VISIONS)
_EXPONENT = re.compile(r"[0-9](?:[.,][0-9]+)?[eE][+\-]?[0-9]+")
_WHOLE_FLOAT = re.compile(r"([0-9]+)[.,]0+")


def _read_identifier(field: Field, text: str) -> Answer:
    if _EXPONENT.fullmatch(text):
        return Refused(
            f"{field.label} {text}: the spreadsheet dropped digits.",
            "Format the column as text and type the number again.",
        )
    if text.startswith("="):
        return Refused(f"“{text}” is a formula, not a value.", "Put the value itself into the cell.")
    if len(text) > LONGEST_IDENTIFIER:
        return Refused(
            f"{field.label} is longer than {LONGEST_IDENTIFIER} characters.", "Write the practice's own short code."
        )
    if whole := _WHOLE_FLOAT.fullmatch(text):
        meant = (Proposal(whole[1], f"Use {whole[1]}", whole[1]), Proposal(text, f"Keep {text}", text))
        return Asked(f"{field.label} {text}: a number from a spreadsheet?", meant, "identifier_decimals")
    return Taken(text)


def _read_text(field: Field, text: str) -> Answer:
    if len(text) > LONGEST_TEXT:
        return Refused(f"{field.label} is longer than {LONGEST_TEXT} characters.", "Shorten it.")
    return Taken(text)


def _read_vision_text(text: str, notation: str | None) -> Answer:
    seen = read_vision(text, notation)
    if isinstance(seen, Asked):
        return seen
    if isinstance(seen, Refused):
        return Taken(text, None, (f"{seen.reason} The text is kept; no number follows from it.",))
    explicit = _explicit(seen)
    return Taken(text) if explicit is None or explicit == text else Taken(explicit, text)


def _explicit(seen: Vision) -> str | None:
    """A bare number with its notation behind it, so that it means the same when the practice's notation changes."""
    if (
        seen.logmar is None
        or any(one.isalpha() for one in seen.raw)
        or seen.category not in ("decimal", "logmar", "letters")
    ):
        return None
    number = seen.raw.replace(",", ".")
    return f"{number} {'logMAR' if seen.category == 'logmar' else seen.category}"


def _read_kind(field: Field, text: str, date_order: str, today: date | None) -> Answer:
    answers = {Kind.CHOICE: read_choice, Kind.CHOICES: read_choices, Kind.GRADE: read_grade, Kind.YES_NO: read_yes_no}
    if field.kind is Kind.DATE:
        return (read_birth if field.name == "birth_date" else read_date)(text, date_order, today)
    if field.kind is Kind.TIME:
        return read_time(text)
    if field.kind is Kind.MOMENT:
        return read_moment(text, date_order)
    return read_eye(text) if field.name == "eye" else answers[field.kind](field, text)


def _read_words(field: Field, text: str, notation: str | None) -> Answer:
    if not any(character.isalnum() for character in text) and (asked := missing_asked(text)):
        return asked
    if field.kind is Kind.IDENTIFIER:
        return _read_identifier(field, text)
    return _read_vision_text(text, notation) if field.name in _VISION_FIELDS else _read_text(field, text)


def read(
    field: Field | str,
    text: str,
    *,
    decimal: str | None = None,
    date_order: str = "ymd",
    soft: Soft = "ask",
    unit: str | None = None,
    notation: str | None = None,
    duration: str | None = None,
    today: date | None = None,
) -> Answer:
    """What a typed text is as the field's value.

    `decimal` is the file's own decimal mark; None (typing in the window) takes both marks as decimal and asks where
    thousands could be meant. `date_order` is the practice's order of digits (`ymd`: unclear days are asked about).
    `soft` says what becomes of a value outside the usual range: "ask", or "note" (taken, with a note). `unit` is the
    unit meant where none is typed (a column's, or the practice's for HbA1c). `notation` says what a bare vision is
    (`vision.NOTATIONS`), `duration` what "1:05" is ("m:s" or "h:m"). With `today` a day without a year is the next
    one. An answer in words of the missing codes is Missing; a comparator ("<1000", "~540") is Missing not_recorded
    with the text kept. Nothing raises: what cannot be is Refused.
    """
    one = field_of(field) if isinstance(field, str) else field
    text = tidy(text)
    if not text:
        return Blank()
    if refused := unreadable(text):
        return refused
    if one.kind in (Kind.NUMBER, Kind.INTEGER):
        words = None if text[0].isdigit() else missing_of(text) or missing_asked(text)
        return words or read_measure(one, text, Manner(decimal, soft, unit, duration))
    if missing := missing_of(text, short=one.kind is not Kind.IDENTIFIER):
        return missing
    if one.kind in (Kind.IDENTIFIER, Kind.TEXT):
        return _read_words(one, text, notation)
    answer = _read_kind(one, text, date_order, today)
    return missing_asked(text) or answer if isinstance(answer, Refused) else answer
