"""How a line of the history is said: which act, which field, from what to what, and why."""

from __future__ import annotations

import contextlib
import json
import re
from collections.abc import Mapping
from datetime import datetime

from clinic_app.desktop.words import day_words
from clinic_app.domain import halts
from clinic_app.domain.people import DUTY_WORDS, Duty
from clinic_app.domain.practice import HOUSE_STEPS
from clinic_app.domain.record import HistoryEntry
from clinic_app.domain.seal import OPENING, Secret
from models.codebook import BY_NAME, MISSING_CODES, Field, Kind, Stage

NOTHING = "nothing"
_WHOLE = re.compile(r"(?<=[0-9])\.0$")
"""What a whole number that stands as a fraction ends with."""
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}(T[0-9:.+Z-]+)?")
_CODE = re.compile(r"[a-z]+(_[a-z0-9]+)+")
"""What a code of several words looks like."""
ACTS: Mapping[str, str] = {
    "furnish": "fill the demo", "create": "begin the records", "upgrade": "bring the records up to date",
    "selftest": "self-test", "train": "fit a model", "adopt": "put a model in use", "shift": "shift the level",
}  # fmt: skip
"""Acts whose names do not speak for themselves."""
STAGES = {Stage.BOOKING: "Booking", Stage.THEATRE: "Theatre", Stage.DAY_ONE: "Day one", Stage.RECHECK: "Recheck"}
LABELS: Mapping[str, str] = {
    **{stage.value: words for stage, words in STAGES.items()},
    "us_energy_metric": "Metric", "end_screen": "End screen", "in_use": "In use", "depth_from": "Depth begins at",
    "on_call": "On call", "today": "A surgeon today", "now": "Call at once", "low": "Look for a leak",
    "quiet": "Quiet line", "lowered_today": "A surgeon today, lowered", "lowered_now": "Call at once, lowered",
    "planning_line_set": "Planning line", "hba1c_unit": "HbA1c in", "vision_notation": "Vision in",
    OPENING: "Seal opened", "what": "", "halt": "About", "check_again": "Look again", "first": "At first",
    "field": "Answer", "fields": "Answers", "value": "Now",
    "day_one_for_all": "Day-one visit for every eye", "surgeon_id": "Surgeon's code", "wait_until": "Waits until",
}  # fmt: skip
"""Names of values that are no fields of the record, where they do not speak for themselves; empty: the value alone."""
VALUES: Mapping[str, Mapping[str, str]] = {
    "what": {
        Secret.BOOKING_FORECAST: "booking forecast", Secret.PLAN: "plan", Secret.END_FORECAST: "end-of-case forecast",
        Secret.READINGS: "readings of the sheet",
    },
    "pressed": {"R": "right eye", "L": "left eye", "birth_day": "another birthday"},
    "page": LABELS,
    "stage": LABELS,
    "halt": {**halts.ABOUT, "separate_trays": "separate trays", "second_eye": "the second eye"},
}  # fmt: skip
"""Values that are codes of this program, in words."""
CODED = {"metric": "us_energy_metric", "motions": "us_motion", "depth_from": "acd_definition"}
"""Values of the practice that are codes of a field of the record."""


def label(name: str) -> str:
    """A name as people say it."""
    if name in LABELS:
        return LABELS[name]
    if name in HOUSE_STEPS:
        return name
    base = name.removesuffix("_missing")
    if base in BY_NAME:
        return BY_NAME[base].label
    return name.replace("_", " ").capitalize()


def said(name: str, value: object) -> str:
    """A value as people say it."""
    if value is None or value in ("", [], {}):
        return NOTHING
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mapping):
        return _forecast(value) if name == "forecast" else _body(value)
    if isinstance(value, list):
        return ", ".join(said(name, one) for one in value)
    text = _WHOLE.sub("", str(value))
    if text in VALUES.get(name, ()):
        return VALUES[name][text]
    if name == "duties" and text in set(Duty):
        return DUTY_WORDS[Duty(text)]
    if name in ("end_screen", "field", "fields") and text in BY_NAME:
        return BY_NAME[text].label
    if text in MISSING_CODES and name not in BY_NAME:
        return MISSING_CODES[text]
    field = BY_NAME.get(CODED.get(name, name))
    return _code(text) if field is None else _answer(field, text)


def _answer(field: Field, text: str) -> str:
    if field.kind is Kind.CHOICES:
        return ", ".join(field.choice_label(code) for code in text.split("|"))
    if field.choices:
        return field.choice_label(text)
    return text if field.kind in (Kind.TEXT, Kind.IDENTIFIER) else _code(text)


def _code(text: str) -> str:
    """A day in letters; a code of several words without the marks between them."""
    if _DAY.fullmatch(text):
        with contextlib.suppress(ValueError):
            at = datetime.fromisoformat(text)
            return f"{day_words(at.date())} {at:%H:%M}" if "T" in text else day_words(at.date())
    return text.replace("_", " ") if _CODE.fullmatch(text) else text


def _body(body: Mapping[str, object]) -> str:
    """What an event or a record holds; the reason stands in a column of its own."""
    about = str(body.get("field", ""))
    told = []
    for name, value in body.items():
        if name == "reason" or (value is None and name.endswith("missing")):
            continue
        of = about if name in ("value", "first") and about in BY_NAME else name
        told.append(f"{label(name)} {said(of, value)}".strip())
    return ", ".join(told)


def _forecast(body: Mapping[str, object]) -> str:
    """A stored forecast: cloudy in 100 with its limits, and the model; or why there is no number."""
    numbers = [body.get(name) for name in ("risk", "low", "high")]
    model = f"by {body['model_id']}" if body.get("model_id") else ""
    if not all(isinstance(one, int | float) for one in numbers):
        status = str(body.get("status", "")).replace("_", " ")
        return ", ".join(part for part in (f"no number ({status})", model) if part)
    risk, low, high = (f"{100 * float(str(one)):.1f}" for one in numbers)
    return f"{risk} in 100 ({low} to {high}), {model}".removesuffix(", ")


def read(name: str, text: str | None) -> str | None:
    """A value of the history, which stands there as JSON or as plain words."""
    if text is None:
        return None
    if text[:1] in ("[", "{") or text in ("true", "false", "null"):
        with contextlib.suppress(json.JSONDecodeError):
            return said(name, json.loads(text))
    return said(name, text)


def what_words(one: HistoryEntry) -> str:
    """Which field went from what to what."""
    name = one.field or ""
    old, new = read(name, one.old), read(name, one.new)
    if old is None and new is None:
        return label(name) if name else ""
    change = new if old is None else f"{old} → {new if new is not None else NOTHING}"
    return f"{label(name)}: {change}" if name else str(change)


def why_words(one: HistoryEntry) -> str:
    """The reason that was given; empty where none was."""
    if one.reason:
        return one.reason
    body = {}
    if one.new is not None and one.new.startswith("{"):
        with contextlib.suppress(json.JSONDecodeError):
            body = json.loads(one.new)
    return str(body.get("reason") or "")


def act_words(act: str) -> str:
    """An act as people say it."""
    return ACTS.get(act, act)
