"""What every act of day one asks first: the practice's own clock, who may do it, the case, its visits of late."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from clinic_app.domain.derived import complete
from clinic_app.domain.people import Duty
from clinic_app.domain.record import Case, CaseKey, Row
from clinic_app.errors import Refusal
from clinic_app.session import Session

MAY = (Duty.DAY_ONE, Duty.SURGEON)
"""Duties that may examine on day one."""
ACTION_DAYS = 14
"""Days for which halts whose action was never noted are said."""


def now_of(session: Session) -> datetime:
    """The time on the practice's wall, to the minute."""
    zone = ZoneInfo(session.settings.zone) if session.settings.zone else None
    return session.clock().astimezone(zone).replace(tzinfo=None, second=0, microsecond=0)


def case_of(session: Session, key: CaseKey) -> Case:
    """The case; refuses when it is no longer there."""
    case = session.store.case(key)
    if case is None:
        raise Refusal(
            what="This eye cannot be opened.",
            why="The practice holds no such eye on that day any more.",
            next="Read the list again; the eye may have been moved to another date.",
        )
    return case


def recent_visits(case: Case, now: datetime, zone: str | None) -> list[Row]:
    """The visits besides day one whose halts may still stand, laid flat, in their order."""
    rows = [complete(one.record.row(), zone=zone) for one in case.rechecks]
    dated = [(at, row) for row in rows if isinstance(at := row.get("recheck_at"), datetime)]
    return [row for at, row in sorted(dated, key=lambda one: one[0]) if (now - at).days <= ACTION_DAYS]
