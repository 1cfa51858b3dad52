"""Both eyes of one patient in one sitting: which came first, and what the second waits for."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from clinic_app.domain.record import CaseEvent, CaseKey, Row
from clinic_app.domain.theatre import happened

ACTION = "action"
SECOND_EYE, SEPARATE_TRAYS = "second_eye", "separate_trays"
"""What an action about a second eye is about: going on after an event in the first, trays and lots kept apart."""


@dataclass(frozen=True, slots=True)
class FirstEye:
    """The eye done first: its key, its answers so far, what happened in it, and whether going on was decided."""

    key: CaseKey
    row: Row
    acknowledged: bool

    @property
    def events(self) -> tuple[str, ...]:
        """What happened in it, in words."""
        return happened(self.row)

    @property
    def pauses(self) -> bool:
        """Whether the second eye waits for a surgeon's decision."""
        return bool(self.events) and not self.acknowledged


def fellow_of(key: CaseKey, keys: Iterable[CaseKey]) -> CaseKey | None:
    """The patient's other eye on the same day, among these."""
    return next(
        (
            one
            for one in keys
            if one.patient_id == key.patient_id and one.surgery_date == key.surgery_date and one.eye != key.eye
        ),
        None,
    )


def went_on(events: Iterable[CaseEvent]) -> bool:
    """Whether a surgeon went on with this eye as the second of its sitting."""
    return any(one.kind == ACTION and one.body.get("halt") == SECOND_EYE for one in events)


def acknowledged(events: Iterable[CaseEvent], happenings: tuple[str, ...]) -> bool:
    """Whether a surgeon decided to go on knowing of all these events of the first eye."""
    known: set[str] = set()
    for one in events:
        told = one.body.get("events")
        if one.kind == ACTION and one.body.get("halt") == SECOND_EYE and isinstance(told, list):
            known.update(str(event) for event in told)
    return set(happenings) <= known
