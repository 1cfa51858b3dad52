"""What a field of the record is: its kind, its stage, its role, and the words around it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from enum import StrEnum


class Kind(StrEnum):
    """How a field's text is read, stored and shown; everything else follows from it, never from the field's name."""

    IDENTIFIER = "identifier"
    """Names a person, a patient or a thing; text kept letter for letter."""
    TEXT = "text"
    """Free words; never used by arithmetic."""
    NUMBER = "number"
    """A measurement: float, in the field's unit."""
    INTEGER = "integer"
    """A count: int."""
    GRADE = "grade"
    """An ordered scale with whole-number codes: int."""
    CHOICE = "choice"
    """One code out of a list: str."""
    CHOICES = "choices"
    """Any of a list of codes: tuple of str in the list's order; in files joined with `|`."""
    YES_NO = "yes_no"
    """bool; in files `yes`, `no`."""
    DATE = "date"
    """A calendar day, `datetime.date`, ISO 8601."""
    TIME = "time"
    """A clock time of the practice, `datetime.time`, HH:MM."""
    MOMENT = "moment"
    """Day and clock time of the practice, `datetime.datetime` without zone, YYYY-MM-DDTHH:MM."""


class Stage(StrEnum):
    """The moments at which a case is written."""

    BOOKING = "booking"
    THEATRE = "theatre"
    DAY_ONE = "day_one"
    RECHECK = "recheck"


class Role(StrEnum):
    """What a field may be used for. Only the two predictor roles can ever enter a model."""

    IDENTIFIER = "identifier"
    CONTEXT = "context"
    BOOKING_PREDICTOR = "booking predictor"
    THEATRE_PREDICTOR = "end-of-case predictor"
    OUTCOME = "outcome side"


MISSING_CODES: dict[str, str] = {
    "not_done": "Not done",
    "not_possible": "Not possible",
    "not_recorded": "Not recorded",
    "not_applicable": "Does not apply",
}
"""Why an answer is missing: code in files, words on screens. Short forms typed by hand: nd, np, nr, na."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer of a list: its code in files, its words on screens, and other words read as the same answer."""

    code: str
    label: str
    aliases: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One row of the codebook.

    `hard` bounds are refused outside, `soft` bounds are asked about; both in `unit` (UCUM). `measured` fields may
    carry a device or observer and a day of their own (`<name>_source`, `<name>_at`). `derived` fields follow from
    others and are taken from a file only where those are absent. `group` is the heading on the form; `short` marks
    the answers of the short booking form, `folded` those shown only on demand.
    """

    name: str
    label: str
    kind: Kind
    stage: Stage
    role: Role
    unit: str = ""
    hard: tuple[float, float] | None = None
    soft: tuple[float, float] | None = None
    decimals: int = 0
    choices: tuple[Choice, ...] = ()
    aliases: tuple[str, ...] = ()
    help: str = ""
    source: str = "common practice, no source"
    group: str = ""
    measured: bool = False
    derived: bool = False
    short: bool = False
    folded: bool = False
    since: int = 1

    @property
    def codes(self) -> tuple[str, ...]:
        """The codes of the choices, in order."""
        return tuple(choice.code for choice in self.choices)

    @property
    def numeric(self) -> bool:
        """Whether the value is a number that arithmetic may use as it is."""
        return self.kind in (Kind.NUMBER, Kind.INTEGER, Kind.GRADE)

    def choice_label(self, code: object) -> str:
        """The words for `code`, or the code itself when the list does not hold it."""
        for choice in self.choices:
            if choice.code == str(code):
                return choice.label
        return str(code)

    @property
    def print(self) -> str:
        """Fingerprint of the field's meaning (kind, unit, codes): 16 hexadecimal digits.

        A card carries it for each field that it uses; a card whose field now means something else is refused.
        """
        meaning = "\x1f".join((self.name, self.kind.value, self.unit, *self.codes))
        return hashlib.sha256(meaning.encode()).hexdigest()[:16]
