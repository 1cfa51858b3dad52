"""The protection plan of an eye: the booking clinician proposes it with the booking, the operating surgeon confirms."""

from __future__ import annotations

from clinic_app.domain.people import Duty
from clinic_app.domain.plans import CONFIRMED, PLAN, PlanState, plan_body, plan_of
from clinic_app.domain.record import CaseKey
from clinic_app.domain.seal import Door, Secret, door
from clinic_app.domain.states import BOOKED, state_of
from clinic_app.errors import Refusal
from clinic_app.session import Session
from models.codebook import Stage


def plan_state(session: Session, key: CaseKey) -> PlanState:
    """Who proposed the eye's plan and who confirmed it; nobody for whom the plan is sealed learns it."""
    case = session.store.case(key)
    state = BOOKED if case is None else state_of(case)
    shut = Secret.PLAN in session.hides(state) and door(state, session.me.duties, Secret.PLAN) is not Door.LOGGED
    return PlanState() if shut else plan_of(session.store.events(key=key, kind=PLAN))


def confirm_plan(session: Session, key: CaseKey) -> PlanState:
    """Confirm the steps as they stand; needs the duty Surgeon. Refused where no steps are proposed."""
    session.need(Duty.SURGEON, act="Confirming a plan")
    case = session.store.case(key)
    booking = case.stages.get(Stage.BOOKING) if case is not None else None
    steps = booking.record.values.get("protection_plan") if booking is not None else None
    if not isinstance(steps, tuple) or not steps:
        raise Refusal(
            what="The plan was not confirmed.",
            why="No steps are proposed for this eye.",
            next="Tick the steps on Bookings and keep them, then confirm.",
        )
    with session.store.writing(by=session.person, act="confirm plan") as write:
        write.add_event(key, PLAN, plan_body(CONFIRMED, steps))
    return plan_state(session, key)
