"""What the lines of the history say: of which kind they are, on which page it was done, and what is left unsaid."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

from clinic_app.domain.moves import CONSENT_GIVEN, CONSENT_WITHDRAWN, MERGED, POSTPONED, STOOD_DOWN, TAKEN_BACK
from clinic_app.domain.plans import PLAN
from clinic_app.domain.record import PATIENT_FIELDS, HistoryEntry
from clinic_app.domain.seal import CORRECTION, MODELS, OPENING, Secret, hidden_names, masked_body, reasons_may_tell
from models.codebook import FIELDS, KEY, Kind

SEALED = "sealed"
"""What stands in place of a value that is sealed for the reader."""
LEFT_OUT = "left out"
"""What stands in place of a value that would name a patient."""

OPENED, SHOWN_ANYWAY, CORRECTED, TAKEN_OUT, SET_BACK, MOVED, ELSE = (
    "seal opened", "show anyway", "correction", "export", "set back", "moved", "other",
)  # fmt: skip
KINDS = (OPENED, SHOWN_ANYWAY, CORRECTED, TAKEN_OUT, SET_BACK, MOVED, ELSE)
"""Kinds of lines that somebody may look for."""

PAGES: Mapping[str, frozenset[str]] = MappingProxyType(
    {
        "Bookings": frozenset({
            "book", "open an eye", "confirm plan", "postpone", "stand down", "take back", "consent withdrawn",
            "consent given", "merge numbers", "forecast",
        }),
        "Theatre": frozenset({"open a sheet", "sign", "correct a sheet", "second eye", "wrong eye"}),
        "Day one": frozenset({
            "lock the grade", "open the forecast", "correct", "pressure read again", "note an action", "appointment",
            "remote sheet", "not seen", "no visit planned", "check on the day", "recheck", "wrong eye",
        }),
        "Model": frozenset({"train", "adopt", "keep", "shift", "set back"}),
        "Practice": frozenset({
            "register", "change duties", "leave", "come back", "set PIN", "reset PIN", "wrong PIN", "sign in",
            "settings", "levels", "machine", "device", "usual answers", "house steps", "drops", "import", "export",
            "create", "upgrade",
        }),
    }
)  # fmt: skip
"""Page -> the acts that are done there. An act may be done on two of them."""

_EVENTS_OF_MOVES = frozenset({POSTPONED, STOOD_DOWN, TAKEN_BACK, CONSENT_WITHDRAWN, CONSENT_GIVEN, MERGED})
_FREE = ("case", "from", "to", "reason", "decided", "reached", "words")
"""Names of lines and of values of events that hold a patient's number or free text."""
_TEXTS = tuple(one.name for one in FIELDS if one.kind is Kind.TEXT)
_NAMING = frozenset(f"{name}{end}" for name in (KEY[0], *PATIENT_FIELDS, *_TEXTS) for end in ("", "_typed")) | {*_FREE}
"""Names of values that could tell who the patient is: number, birth date, sex, and free texts."""


def kind_of(line: HistoryEntry) -> str:
    """Which of `KINDS` the line is."""
    if line.field == OPENING:
        return SHOWN_ANYWAY if line.reason or '"reason"' in (line.new or "") else OPENED
    if line.field == CORRECTION or (line.old is not None and line.reason and line.about.startswith("case:")):
        return MOVED if line.field in ("surgery_date", "stood_down", "patient_id") else CORRECTED
    if line.field in _EVENTS_OF_MOVES:
        return MOVED
    return {"export": TAKEN_OUT, "set back": SET_BACK}.get(line.act, ELSE)


def masked_line(line: HistoryEntry, secrets: frozenset[Secret]) -> HistoryEntry:
    """The line without what the secrets cover; nor is a reason shown that may tell it."""
    if not secrets:
        return line
    return replace(
        line,
        old=_masked(line.field, line.old, secrets),
        new=_masked(line.field, line.new, secrets),
        reason=line.reason and (SEALED if reasons_may_tell(secrets) else line.reason),
    )


def _masked(field: str | None, text: str | None, secrets: frozenset[Secret]) -> str | None:
    if text is None or field is None:
        return text
    if field in hidden_names(secrets):
        return SEALED
    body = _json(text)
    if body is None:
        return text
    if field == "forecast":
        model = str(body.get("model_id", "")).rpartition("-")[0]
        return SEALED if MODELS.get(model, Secret.BOOKING_FORECAST) in secrets else text
    told = masked_body(field, body, secrets)
    if told == body:
        return text
    return json.dumps({**told, SEALED: True} if field != PLAN else {**told, "steps": SEALED}, ensure_ascii=False)


def without_names(line: HistoryEntry) -> HistoryEntry:
    """The line without what could tell who the patient is: the case by its number in the record, no reason."""
    if not line.about.startswith(("case:", "patient:")):
        return line
    return replace(
        line,
        subject=line.about.replace(":", " "),
        old=_nameless(line.field, line.old),
        new=_nameless(line.field, line.new),
        reason=line.reason and LEFT_OUT,
    )


def _nameless(field: str | None, text: str | None) -> str | None:
    if text is None:
        return None
    if field in _NAMING:
        return LEFT_OUT
    body = _json(text)
    if body is None:
        return text
    return json.dumps(_without_naming(body), ensure_ascii=False)


def _without_naming(value: object) -> object:
    if isinstance(value, dict):
        return {name: _without_naming(one) for name, one in value.items() if name not in _NAMING}
    if isinstance(value, list):
        return [_without_naming(one) for one in value]
    return value


def _json(text: str) -> dict[str, object] | None:
    """The object that the text says in JSON; None for a plain value."""
    if not text.startswith("{"):
        return None
    try:
        found = json.loads(text)
    except ValueError:
        return None
    return found if isinstance(found, dict) else None
