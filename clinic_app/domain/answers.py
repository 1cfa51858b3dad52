"""What reading a piece of typed text can come to: taken, missing, blank, asked or refused."""

from __future__ import annotations

from dataclasses import dataclass

from clinic_app.domain.record import Value


@dataclass(frozen=True, slots=True)
class Taken:
    """A value was read. `typed` is the text as typed where it says more than the value (a unit, a mark, a notation)."""

    value: Value
    typed: str | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Missing:
    """There is no value, and the reason is known: a code of `MISSING_CODES`.

    `typed` is set when a text stands in place of a number, for instance "<1000" or "LP": the text is kept beside the
    reason code and no number is made of it.
    """

    code: str
    typed: str | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Blank:
    """Nothing was typed: what is stored stays as it is."""


@dataclass(frozen=True, slots=True)
class Proposal:
    """One answer to a question: the text it stands for, the words on its button, the value that choosing it gives.

    `value` is None where choosing gives a reason code; `text` then is the code's short form.
    """

    text: str
    label: str
    value: Value | None = None


@dataclass(frozen=True, slots=True)
class Asked:
    """A person has to say what was meant; nothing is stored until then. `rule` names the question."""

    question: str
    proposals: tuple[Proposal, ...]
    rule: str


@dataclass(frozen=True, slots=True)
class Refused:
    """The text cannot be this field's value: why, and what to do next. Whole sentences."""

    reason: str
    next: str


Answer = Taken | Missing | Blank | Asked | Refused
"""What `reading.read` returns."""
