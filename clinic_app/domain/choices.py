"""Answers out of a list, grades, and yes or no."""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType

from clinic_app.domain.answers import Asked, Proposal, Refused, Taken
from clinic_app.domain.words import same_words
from models.codebook import FIELDS, Field

_YES, _NO = frozenset({"yes", "y", "true", "1", "1.0"}), frozenset({"no", "n", "false", "0", "0.0"})
_ROMAN: MappingProxyType[str, str] = MappingProxyType({"i": "1", "ii": "2", "iii": "3", "iv": "4", "v": "5", "vi": "6"})
_GRADE_WORD = re.compile(r"^(?:grade|gr\.?|g) ?(?=[0-9iv])", re.IGNORECASE)
_PART = re.compile(r"\s*[|]\s*")
_NONE_CODES = frozenset({"none", "none_needed"})


def _forms(field: Field) -> Mapping[str, str]:
    forms: dict[str, str] = {}
    for choice in field.choices:
        for words in (choice.code, choice.label, *choice.aliases, f"{choice.code}{choice.label}"):
            forms.setdefault(same_words(words), choice.code)
    return MappingProxyType(forms)


_FORMS: MappingProxyType[str, Mapping[str, str]] = MappingProxyType(
    {field.name: _forms(field) for field in FIELDS if field.choices}
)


def code_of(field: Field, text: str) -> str | None:
    """The code whose code, label or other word the text is, whatever its case, spaces and hyphens; else None."""
    forms = _FORMS[field.name]
    if text in forms:
        return forms[text]
    plain = same_words(text)
    code = forms.get(plain)
    if code is None and plain.endswith((".0", ",0")):
        code = forms.get(plain[:-2])
    return forms.get(plain.replace(",", ".")) if code is None else code


def _listed(field: Field) -> str:
    return ", ".join(
        one.code if same_words(one.code) == same_words(one.label) else f"{one.code} ({one.label})"
        for one in field.choices
    )


def _unknown(field: Field, text: str) -> Refused:
    return Refused(f"“{text}” is no answer to {field.label}.", f"Answers: {_listed(field)}.")


def read_choice(field: Field, text: str) -> Taken | Refused:
    """One code of the field's list."""
    code = code_of(field, text)
    return _unknown(field, text) if code is None else Taken(code)


def read_choices(field: Field, text: str) -> Taken | Refused:
    """Codes joined with `|`, as a tuple in the list's order. "None" beside another answer is refused."""
    parts = [part for part in _PART.split(text) if part]
    codes = [code_of(field, part) for part in parts]
    for part, code in zip(parts, codes, strict=True):
        if code is None:
            return _unknown(field, part)
    if not parts:
        return _unknown(field, text)
    chosen = set(codes)
    if len(chosen) > 1 and chosen & _NONE_CODES:
        return Refused(f"“{text}” says none and names something too.", "Leave one of the two out.")
    return Taken(tuple(code for code in field.codes if code in chosen))


def read_grade(field: Field, text: str) -> Taken | Asked | Refused:
    """A step of an ordered scale, by digit or by its words; Roman numerals are asked about."""
    bare = _GRADE_WORD.sub("", text, count=1).strip()
    code = code_of(field, bare)
    if code is not None:
        return Taken(int(code))
    digit = _ROMAN.get(bare.casefold())
    if digit in field.codes and digit is not None:
        label = field.choice_label(digit)
        return Asked(
            f"{text}: {field.label} {digit}, {label}?", (Proposal(digit, f"Use {digit}", int(digit)),), "roman_numeral"
        )
    return _unknown(field, text)


def read_yes_no(field: Field, text: str) -> Taken | Asked | Refused:
    """Yes or no; a mark alone is asked about."""
    plain = text.casefold()
    if plain in _YES:
        return Taken(True)
    if plain in _NO:
        return Taken(False)
    if plain in ("x", "+", "✓", "✔", "j", "ja", "si", "sí", "oui", "o"):
        return Asked(
            f"“{text}”: {field.label}, yes?", (Proposal("yes", "Yes", True), Proposal("no", "No", False)), "yes_no_mark"
        )
    return Refused(f"“{text}” is neither yes nor no.", "Write yes or no.")
