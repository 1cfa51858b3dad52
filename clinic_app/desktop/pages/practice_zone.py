"""Reading a time zone: its name, or a city of it; what only resembles some is asked about, the rest refused."""

from __future__ import annotations

from functools import lru_cache
from zoneinfo import available_timezones

from clinic_app.domain.answers import Answer, Asked, Blank, Proposal, Refused, Taken

AREAS = (
    "Africa", "America", "Antarctica", "Arctic", "Asia", "Atlantic", "Australia", "Europe", "Indian", "Pacific",
)  # fmt: skip
OFFERED = 4
"""Zones that are offered at most for a text that fits several."""
NEXT = "Type a city of the zone, such as London or Kolkata."


@lru_cache(maxsize=1)
def zones() -> tuple[str, ...]:
    """The zones that are named after a city."""
    return tuple(sorted(one for one in available_timezones() if one.split("/", maxsplit=1)[0] in AREAS))


def city(zone: str) -> str:
    """The city in a zone's name."""
    return zone.rpartition("/")[2].replace("_", " ")


def zone_words() -> tuple[str, ...]:
    """What can be typed: cities and whole names."""
    return tuple({*zones(), *(city(one) for one in zones())})


def read_zone(text: str) -> Answer:
    """The zone that a text names; several that fit are asked about."""
    said = " ".join(text.replace("_", " ").casefold().split())
    if not said:
        return Blank()
    named = [one for one in available_timezones() if one.replace("_", " ").casefold() == said]
    found = named or [one for one in zones() if city(one).casefold() == said]
    if len(found) == 1:
        return Taken(found[0])
    begin = [one for one in zones() if city(one).casefold().startswith(said)]
    fits = found or begin or [one for one in zones() if said in one.replace("_", " ").casefold()]
    if fits:
        offered = tuple(Proposal(one, one, one) for one in fits[:OFFERED])
        return Asked(f"{text.strip()} is not the name of one time zone. Which is meant?", offered, "zone")
    return Refused(f"No time zone is called {text.strip()}.", NEXT)
