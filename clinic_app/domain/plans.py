"""Who proposed a protection plan and who confirmed it: read from the events of a case."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from clinic_app.domain.record import CaseEvent

PLAN = "plan"
"""Kind of the event that a plan was proposed or confirmed; its body says which, and the steps of that moment."""
PROPOSED, CONFIRMED = "proposed", "confirmed"


@dataclass(frozen=True, slots=True)
class PlanState:
    """Who stands behind the steps of an eye's plan as they are now; empty where nobody does yet."""

    proposed_by: str = ""
    proposed_at: datetime | None = None
    confirmed_by: str = ""
    confirmed_at: datetime | None = None


def plan_body(act: str, steps: Iterable[str]) -> dict[str, object]:
    """The body of a plan's event."""
    return {"act": act, "steps": list(steps)}


def plan_of(events: Iterable[CaseEvent]) -> PlanState:
    """The state of the plan after these events, which are in order: a new proposal needs a new confirmation."""
    proposed: CaseEvent | None = None
    confirmed: CaseEvent | None = None
    for one in events:
        if one.kind != PLAN:
            continue
        if one.body.get("act") == PROPOSED:
            proposed, confirmed = one, None
        elif proposed is not None and _steps(one.body) == _steps(proposed.body):
            confirmed = one
    return PlanState(
        proposed_by=proposed.by if proposed else "",
        proposed_at=proposed.at if proposed else None,
        confirmed_by=confirmed.by if confirmed else "",
        confirmed_at=confirmed.at if confirmed else None,
    )


def _steps(body: Mapping[str, object]) -> set[str]:
    steps = body.get("steps")
    return {str(one) for one in steps} if isinstance(steps, list | tuple) else set()
