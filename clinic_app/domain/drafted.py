"""What a person typed and has not kept, as JSON and back: answers by kind, and texts that are no answer yet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time

from clinic_app.domain.record import Value
from models.codebook import BY_NAME, Kind


@dataclass(frozen=True, slots=True)
class DraftAnswer:
    """An answer of a draft: a value, or the code of a reason, or a text that still asks or was refused.

    `typed` is what was typed where that says more; `proposed` marks what nobody has confirmed yet.
    """

    value: Value | None = None
    missing: str | None = None
    typed: str | None = None
    proposed: bool = False
    text: str | None = None


@dataclass(frozen=True, slots=True)
class Drafted:
    """The answers of a draft by field. `put_by`: its writer meant to come back to it. `version`: of the booking that it
    changes, None for a new eye."""

    answers: Mapping[str, DraftAnswer] = field(default_factory=dict)
    put_by: bool = False
    version: int | None = None

    def body(self) -> dict[str, object]:
        """The draft as JSON values."""
        return {
            "answers": {name: _written(one) for name, one in self.answers.items()},
            "put_by": self.put_by,
            "version": self.version,
        }


def drafted(body: Mapping[str, object]) -> Drafted:
    """The draft of a body. Fields that the table of fields no longer has are left out; a value that is no longer one
    of its kind becomes a text, which the form reads anew."""
    answers, version = body.get("answers"), body.get("version")
    held = answers if isinstance(answers, Mapping) else {}
    return Drafted(
        {name: _read(name, one) for name, one in held.items() if name in BY_NAME and isinstance(one, Mapping)},
        put_by=body.get("put_by") is True,
        version=version if isinstance(version, int) else None,
    )


def _written(one: DraftAnswer) -> dict[str, object]:
    found: dict[str, object] = {
        "value": _plain(one.value), "missing": one.missing, "typed": one.typed, "proposed": one.proposed or None,
        "text": one.text,
    }  # fmt: skip
    return {name: value for name, value in found.items() if value is not None}


def _plain(value: Value | None) -> object:
    if isinstance(value, date | time):  # a moment is a day too
        return value.isoformat()
    return list(value) if isinstance(value, tuple) else value


def _read(name: str, one: Mapping[str, object]) -> DraftAnswer:
    text, value = _word(one.get("text")), one.get("value")
    read: Value | None = None
    if value is not None:
        try:
            read = _value(BY_NAME[name].kind, value)
        except ValueError:
            text = text or str(value)
    return DraftAnswer(read, _word(one.get("missing")), _word(one.get("typed")), one.get("proposed") is True, text)


def _word(value: object) -> str | None:
    return value if isinstance(value, str) else None


def _value(kind: Kind, value: object) -> Value:
    """The value of a kind; ValueError when it is none."""
    if kind is Kind.CHOICES:
        if isinstance(value, list):
            return tuple(str(one) for one in value)
    elif kind is Kind.YES_NO:
        if isinstance(value, bool):
            return value
    elif kind in (Kind.NUMBER, Kind.INTEGER, Kind.GRADE):
        if isinstance(value, int | float) and not isinstance(value, bool):
            return float(value) if kind is Kind.NUMBER else int(value)
    elif isinstance(value, str):
        if kind is Kind.DATE:
            return date.fromisoformat(value)
        if kind is Kind.TIME:
            return time.fromisoformat(value)
        return datetime.fromisoformat(value) if kind is Kind.MOMENT else value
    raise ValueError("not a value of its kind")
