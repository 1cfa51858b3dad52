"""The seal: whoever grades an eye on day one should not know beforehand what was forecast and planned for it.

What is sealed for whom follows from where the eye stands and from the person's duties. Never sealed, because care
hangs on it: complications, leaks, glaucoma, drops, pressure and thickness before surgery, viscoelastic left behind,
sutures, a past graft, uveitis or angle attack, an only seeing eye.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from enum import StrEnum
from functools import lru_cache
from types import MappingProxyType
from typing import TypeVar

from clinic_app.domain.moves import POSTPONED, STOOD_DOWN, TAKEN_BACK
from clinic_app.domain.people import Duty
from clinic_app.domain.plans import PLAN
from clinic_app.domain.record import Case, CaseEvent, Row, StageRecord, StoredForecast
from clinic_app.domain.states import GRADED, NO_GRADE, OPERATED

T = TypeVar("T")

OPENING = "opening"
"""Kind of the event that something sealed was shown; its body says `what`, and the `reason` where one was asked."""


class Secret(StrEnum):
    """What the seal covers; the value names it in the event of an opening."""

    BOOKING_FORECAST = "booking_forecast"
    PLAN = "plan"
    END_FORECAST = "end_of_case_forecast"
    READINGS = "sheet"


class Door(StrEnum):
    """How a person comes to see what is sealed."""

    OPEN = "open"
    """It is shown everywhere."""
    LOGGED = "logged"
    """Hidden in lists; opening the eye shows it, and is written down."""
    REASON = "reason"
    """Hidden; shown after a reason is given, which is written down."""
    SHUT = "shut"
    """Hidden until the eye is graded."""


FIELDS: Mapping[Secret, tuple[str, ...]] = MappingProxyType(
    {
        Secret.BOOKING_FORECAST: ("risk_shown_before_surgery",),
        Secret.PLAN: ("protection_plan", "patient_told"),
        Secret.END_FORECAST: (),
        Secret.READINGS: (
            "us_time_s",
            "us_mean_power_pct",
            "effective_phaco_time_s",
            "ept_origin",
            "us_energy_value",
            "us_energy_metric",
            "us_modality",
            "us_motion",
            "irrigation_volume_ml",
            "aspiration_time_s",
            "iop_setting_mmhg",
            "bottle_height_cm",
            "case_minutes",
        ),
    }
)
"""The fields of the record that each secret covers."""

MODELS: Mapping[str, Secret] = MappingProxyType(
    {"booking": Secret.BOOKING_FORECAST, "end_of_case": Secret.END_FORECAST}
)
"""Which secret a forecast of each kind of model is."""

CORRECTION = "correction"
"""Kind of the event that a signed or locked sheet was corrected."""
_REASONED = frozenset({OPENING, CORRECTION, POSTPONED, STOOD_DOWN, TAKEN_BACK})
_AT_WORK = frozenset({Duty.BOOKING, Duty.SURGEON, Duty.SCRIBE})
_COMPANIONS = ("", "_missing", "_typed", "_source", "_at")
_BEFORE_SURGERY = frozenset({Secret.BOOKING_FORECAST, Secret.PLAN})


def door(state: str, duties: Collection[Duty], secret: Secret) -> Door:
    """How somebody with these duties comes to see this of an eye in that state.

    An eye that got no grade can still become graded, and is sealed like an operated one. Whoever holds no duty sees
    nothing.
    """
    if not duties:
        return Door.SHUT
    if state == GRADED:
        return Door.OPEN
    operated = state in (OPERATED, NO_GRADE)
    if not operated and secret not in _BEFORE_SURGERY:
        return Door.OPEN  # there is none yet
    if Duty.DAY_ONE not in duties:
        return Door.SHUT if secret is Secret.END_FORECAST else Door.OPEN
    if _AT_WORK.isdisjoint(duties):
        return Door.SHUT
    return Door.REASON if operated else Door.LOGGED


def sealed(state: str, duties: Collection[Duty]) -> frozenset[Secret]:
    """What lists, files and counts hide of an eye in that state from somebody with these duties."""
    return frozenset(secret for secret in Secret if door(state, duties, secret) is not Door.OPEN)


@lru_cache
def hidden_names(secrets: frozenset[Secret]) -> frozenset[str]:
    """Names in a flat row that the secrets cover: the fields, their reasons, texts as typed, devices and days."""
    return frozenset(f"{name}{companion}" for one in secrets for name in FIELDS[one] for companion in _COMPANIONS)


def masked(row: Row, secrets: frozenset[Secret]) -> dict[str, object]:
    """The row without what the secrets cover."""
    names = hidden_names(secrets)
    return {name: value for name, value in row.items() if name not in names}


def masked_body(kind: str, body: Mapping[str, object], secrets: frozenset[Secret]) -> dict[str, object]:
    """The body of an event without what the secrets cover, at whatever depth.

    A reason given by somebody who knew goes too.
    """
    if not secrets:
        return dict(body)
    if kind == PLAN and Secret.PLAN in secrets:
        return {name: value for name, value in body.items() if name == "act"}
    names = hidden_names(secrets)
    if body.get("field") in names:
        return {name: value for name, value in body.items() if name in ("field", "stage")}
    untold = names | {"reason"} if kind in _REASONED and reasons_may_tell(secrets) else names
    return {name: _without(value, names) for name, value in body.items() if name not in untold}


def reasons_may_tell(secrets: frozenset[Secret]) -> bool:
    """Whether a reason that somebody typed could hold one of the secrets: before the grade nobody knows the end-of-case
    forecast, so that alone is in none."""
    return bool(secrets - {Secret.END_FORECAST})


def _without(value: object, names: frozenset[str]) -> object:
    if isinstance(value, Mapping):
        return {name: _without(one, names) for name, one in value.items() if name not in names}
    if isinstance(value, list):
        return [_without(one, names) for one in value]
    return value


def masked_event(event: CaseEvent, secrets: frozenset[Secret]) -> CaseEvent:
    """The event without what the secrets cover."""
    return replace(event, body=masked_body(event.kind, event.body, secrets)) if secrets else event


def masked_case(case: Case, secrets: frozenset[Secret]) -> Case:
    """The case without what the secrets cover."""
    names = hidden_names(secrets)
    if not names:
        return case
    stages = {
        stage: replace(written, record=_masked_record(written.record, names)) for stage, written in case.stages.items()
    }
    return replace(case, stages=stages)


def _masked_record(record: StageRecord, names: frozenset[str]) -> StageRecord:
    return StageRecord(
        record.stage,
        {name: one for name, one in record.values.items() if name not in names},
        {name: one for name, one in record.missing.items() if name not in names},
        {name: one for name, one in record.typed.items() if name not in names},
        {name: one for name, one in record.origin.items() if name not in names},
    )


def unseen_kept(before: StageRecord, after: StageRecord, secrets: frozenset[Secret]) -> StageRecord:
    """The record as somebody changed it, with what the secrets cover as it stood before."""
    names = hidden_names(secrets)

    def kept(was: Mapping[str, T], now: Mapping[str, T]) -> dict[str, T]:
        unseen = {name: one for name, one in was.items() if name in names}
        return {**{name: one for name, one in now.items() if name not in names}, **unseen}

    return StageRecord(
        after.stage,
        kept(before.values, after.values),
        kept(before.missing, after.missing),
        kept(before.typed, after.typed),
        kept(before.origin, after.origin),
    )


def blind(events: Iterable[CaseEvent], forecasts: Iterable[StoredForecast], person: str) -> bool:
    """Whether the person has not been shown what this eye's forecast, plan or sheet says.

    Follows from the openings written down, never from memory. While no forecast of the eye holds a number there is
    nothing that could have been seen.
    """
    if all(one.risk is None for one in forecasts):
        return True
    return not any(one.kind == OPENING and one.by == person for one in events)
