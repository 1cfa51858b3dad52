"""Who works here and what each may do."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from types import MappingProxyType

from clinic_app.domain.record import RegisterEntry

PERSON, PIN = "person", "pin"
"""Kinds of register entries: a person, named by the name that signs; the salted hash of that person's PIN."""


class Duty(StrEnum):
    """What a person does here; one person may hold several."""

    BOOKING = "booking"
    SURGEON = "surgeon"
    SCRIBE = "scribe"
    DAY_ONE = "day_one"
    DATA_LEAD = "data_lead"
    PEOPLE = "people"


DUTY_WORDS: Mapping[Duty, str] = MappingProxyType(
    {
        Duty.BOOKING: "Booking",
        Duty.SURGEON: "Surgeon",
        Duty.SCRIBE: "Scribe",
        Duty.DAY_ONE: "Day one",
        Duty.DATA_LEAD: "Data lead",
        Duty.PEOPLE: "People",
    }
)
"""Each duty as pages and refusals name it, in the order in which they are listed."""

EVERYTHING: frozenset[Duty] = frozenset(Duty)
CARE: frozenset[Duty] = EVERYTHING - {Duty.PEOPLE}
"""Duties that deal with eyes; looking after people alone does not."""


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who works here.

    `surgeon_id` is the code under which the person operates; from the day `left` on no duty counts.
    """

    name: str
    duties: frozenset[Duty]
    surgeon_id: str | None = None
    has_pin: bool = False
    left: date | None = None

    def may(self, *duties: Duty) -> bool:
        """Whether the person holds at least one of the duties."""
        return not self.duties.isdisjoint(duties)


def duties_words(duties: Iterable[Duty]) -> str:
    """Duties in words: "Booking, Day one"; "none" when there is none."""
    held = frozenset(duties)
    return ", ".join(words for duty, words in DUTY_WORDS.items() if duty in held) or "none"


def people_of(entries: Iterable[RegisterEntry], pins: Iterable[RegisterEntry] = ()) -> tuple[Person, ...]:
    """The people of the register by name, those who left included; `pins` are the entries of their PINs."""
    with_pin = {entry.name for entry in pins if entry.kind == PIN and entry.body.get("hash")}
    return tuple(_person(entry, entry.name in with_pin) for entry in entries if entry.kind == PERSON)


def _person(entry: RegisterEntry, has_pin: bool) -> Person:
    duties, surgeon_id, left = (entry.body.get(name) for name in ("duties", "surgeon_id", "left"))
    held = duties if isinstance(duties, list | tuple) else ()
    return Person(
        name=entry.name,
        duties=frozenset(Duty(one) for one in held if one in set(Duty)),
        surgeon_id=str(surgeon_id) if surgeon_id else None,
        has_pin=has_pin,
        left=date.fromisoformat(str(left)) if left else None,
    )


def acting(people: Iterable[Person], name: str, day: date) -> Person:
    """The person of that name as of that day.

    While nobody is registered everybody holds every duty. Afterwards an unknown name holds none, and neither does
    somebody who has left.
    """
    known = {one.name: one for one in people}
    if not known:
        return Person(name, EVERYTHING)
    found = known.get(name, Person(name, frozenset()))
    if found.left is not None and found.left <= day:
        return Person(found.name, frozenset(), found.surgeon_id, found.has_pin, found.left)
    return found


def body_of(person: Person) -> dict[str, object]:
    """The person as the body of a register entry."""
    return {
        "duties": [duty.value for duty in DUTY_WORDS if duty in person.duties],
        "surgeon_id": person.surgeon_id,
        "left": None if person.left is None else person.left.isoformat(),
    }
