"""The clock of an invented practice: it begins on a day on which something is to do, whenever it is opened."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

MORNING = time(7, 40)
"""When a day of the invented practice begins, on its own wall."""


class DemoClock:
    """Tells `begins` (aware) at first and goes on from there at the pace of the real clock."""

    def __init__(self, begins: datetime, zone: str = "") -> None:
        self._zone = ZoneInfo(zone) if zone else UTC
        self._ahead = begins - datetime.now(UTC)

    def __call__(self) -> datetime:
        return datetime.now(UTC) + self._ahead

    def next_morning(self) -> None:
        """Go on to the morning of the next day."""
        here = self().astimezone(self._zone)
        morning = datetime.combine(here.date() + timedelta(days=1), MORNING, self._zone)
        self._ahead += morning - here
