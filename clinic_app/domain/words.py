"""Cleaning of typed text, words that mean the same whatever the field (errors, missing answers), counted nouns."""

from __future__ import annotations

import re
import unicodedata
from types import MappingProxyType

from clinic_app.domain.answers import Asked, Missing, Proposal, Refused
from models.codebook import MISSING_CODES

SHORT_FORMS: MappingProxyType[str, str] = MappingProxyType(
    {"nd": "not_done", "np": "not_possible", "nr": "not_recorded", "na": "not_applicable"}
)
"""Short form typed by hand -> reason code."""

_UNSEEN = re.compile("[\u200b\u200c\u200d\u2060\ufeff\u00ad]")
_SPACES = re.compile(r"\s+")
_GAPS = re.compile(r"[\s_]+")
_HYPHENS = re.compile("[\u2010-\u2015]")
_JOINS = re.compile(r"(?<![0-9])-|-(?![0-9])")
_ERROR = re.compile(
    r"#(N/A|NA|DIV/0!|VALUE!|REF!|NAME\?|NUM!|NULL!|SPILL!|CALC!|GETTING_DATA|FIELD!|BLOCKED!|CONNECT!|UNKNOWN!|#+)|Err:[0-9]+",
    re.IGNORECASE,
)
_DASHES = frozenset({"-", "--", "---", "–", "—", "?", "??", ".", "..", "...", "/", "n/a", "n.a.", "n. a.", "unknown",
                     "unk", "missing", "null", "nil", "none", "nan", "tbc", "pending"})  # fmt: skip


def counted(number: int, one: str, many: str) -> str:
    """A number with its noun: `1 cloudy eye`, `2 cloudy eyes`, `0 cloudy eyes`."""
    return f"{number} {one if number == 1 else many}"


def tidy(text: str) -> str:
    """The text in composed form (NFC), unseen characters out, every run of any kind of space as one plain space."""
    stripped = text.strip()
    if stripped.isascii() and stripped.isprintable() and " " not in stripped:
        return stripped
    return _SPACES.sub(" ", _UNSEEN.sub("", unicodedata.normalize("NFC", text))).strip()


def same_words(text: str) -> str:
    """The text without case, spaces, underscores and hyphens (except in "1-4"): answers are compared in this form."""
    return _JOINS.sub("", _HYPHENS.sub("-", _GAPS.sub("", text))).casefold()


def unreadable(text: str) -> Refused | None:
    """A refusal for what can be no answer to any field: spreadsheet errors, control characters, broken text."""
    if text.startswith(("#", "E", "e")) and _ERROR.fullmatch(text):
        return Refused(
            f"{text} is a spreadsheet's error, not a value.",
            "Mend the cell in the spreadsheet, or clear it if there is no value.",
        )
    if text.isprintable() and "\ufffd" not in text:
        return None
    if any(unicodedata.category(one) in ("Cc", "Cs", "Co", "Cn") or one == "\ufffd" for one in text):
        return Refused("The text holds characters that cannot be read.", "Type it again, or save the file as UTF-8.")
    return None


_CODES = {same_words(code): code for code in MISSING_CODES} | {same_words(w): code for code, w in MISSING_CODES.items()}
_REASONS: MappingProxyType[str, str] = MappingProxyType(_CODES)
_FIRST_LETTERS = frozenset(letter for word in (*_CODES, *SHORT_FORMS) for letter in (word[0], word[0].upper()))


def missing_of(text: str, *, short: bool = True) -> Missing | None:
    """The reason that the text gives for having no value, by code, by words, or (when `short`) by short form."""
    if text[0] not in _FIRST_LETTERS:
        return None
    plain = same_words(text)
    code = _REASONS.get(plain) or (SHORT_FORMS.get(plain) if short else None)
    return None if code is None else Missing(code)


def missing_asked(text: str) -> Asked | None:
    """A question for the reason when the text says that there is no value, but not why ("—", "n/a", "unknown")."""
    if text.casefold() not in _DASHES:
        return None
    proposals = tuple(Proposal(short, MISSING_CODES[code]) for short, code in SHORT_FORMS.items())
    return Asked(f"“{text}”: why is there no value?", proposals, "missing_reason")
