"""What each heading of a table means: a field, a companion of a field, or nothing that we know."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping as Mapped
from dataclasses import dataclass
from difflib import get_close_matches
from enum import StrEnum

from clinic_app.exchange.guard import refused
from models.codebook import BY_NAME, FIELDS, KEY, Field

WHY = "why_left_out"
"""The last column of a file of refused rows; ignored when it comes back."""
CONFIRMED = "confirmed"
"""Fields and rules, joined with `|`, that a person confirmed for the row: what would be asked there is taken."""
SUFFIXES = ("_missing", "_source", "_at", "_typed")

MISSPELT = 0.85
"""How like a field's name a heading must be to be taken for a slip of the pen; it is asked for, never assumed."""


class Part(StrEnum):
    """What of a field a column holds."""

    VALUE = "value"
    MISSING = "_missing"
    SOURCE = "_source"
    AT = "_at"
    TYPED = "_typed"
    CONFIRMED = "confirmed"


@dataclass(frozen=True, slots=True)
class Column:
    """A column that is understood: its place from 0, its heading as it stands in the file, and what it holds."""

    place: int
    heading: str
    field: Field | None
    part: Part
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Columns:
    """The columns of one table, and the headings nobody knows with a hint for each."""

    known: tuple[Column, ...]
    unknown: tuple[tuple[str, str], ...]

    def has(self, *names: str) -> bool:
        """Whether there is a value column for each of the fields."""
        return set(names) <= {one.field.name for one in self.known if one.field and one.part is Part.VALUE}


def meaning(name: str) -> tuple[Field | None, Part] | None:
    """The field and part that a canonical column name stands for; None when it is no such name."""
    if name == CONFIRMED:
        return None, Part.CONFIRMED
    if name in BY_NAME:
        return BY_NAME[name], Part.VALUE
    for part in (Part.MISSING, Part.SOURCE, Part.AT, Part.TYPED):
        base = name.removesuffix(part.value)
        if base != name and base in BY_NAME and base not in KEY:
            field = BY_NAME[base]
            if part in (Part.MISSING, Part.TYPED) or field.measured:
                return field, part
    return None


def columns_of(
    headings: tuple[str, ...], named: Mapped[str, tuple[str | None, str]], file: str, constants: tuple[str, ...] = ()
) -> Columns:
    """Match headings with names. `named` is a mapping file's heading (lower case) -> (column name or None, unit).

    Raises `Refusal` when a heading stands there twice, or two columns mean the same.
    """
    seen: dict[str, str] = {}
    known: list[Column] = []
    unknown: list[tuple[str, str]] = []
    plain = [heading.lower() for heading in headings]
    for place, heading in enumerate(headings):
        low = plain[place]
        if not low or low == WHY:
            continue
        if plain.count(low) > 1:
            raise refused(
                f"{file} has the heading {heading!r} {plain.count(low)} times, so it is unclear which column is meant.",
                "Give each column a heading of its own and import again.",
            )
        name, unit = named.get(low, (low, ""))
        if name is None:
            continue
        found = meaning(name)
        if found is None:
            unknown.append((heading, _hint(heading)))
            continue
        if name in seen or name in constants:
            other = (
                f"the columns {seen[name]!r} and {heading!r}"
                if name in seen
                else f"a constant and the column {heading!r}"
            )
            raise refused(
                f"In {file} {other} both mean {name}.", "Leave one of them out, in the file or in the mapping."
            )
        seen[name] = heading
        known.append(Column(place, heading, found[0], found[1], unit))
    return Columns(tuple(known), tuple(unknown))


def _words(text: str) -> str:
    bare = unicodedata.normalize("NFKD", text.split("(", maxsplit=1)[0].split("[", maxsplit=1)[0]).lower()
    return " ".join(
        "".join(letter if letter.isalnum() else " " for letter in bare if not unicodedata.combining(letter)).split()
    )


def _hint(heading: str) -> str:
    words = _words(heading)
    for field in FIELDS:
        if words and words in {_words(name) for name in (field.name, field.label, *field.aliases)}:
            return field.name
    near = get_close_matches(heading.strip().lower(), [field.name for field in FIELDS], n=1, cutoff=MISSPELT)
    return near[0] if near else ""
