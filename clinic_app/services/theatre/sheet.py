"""The sheet of one eye: opened after the eye was said again, kept as a draft, shown with its plan and forecast."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum

from clinic_app.domain.derived import complete
from clinic_app.domain.people import Duty
from clinic_app.domain.plans import PLAN, PlanState, plan_of
from clinic_app.domain.practice import MACHINE, STEPS, USUAL, Machine, machines_of, steps_of, usual_of
from clinic_app.domain.record import Case, CaseKey, Draft, Row, StageRecord, Value
from clinic_app.domain.seal import OPENING, Door, Secret, door, masked
from clinic_app.domain.sitting import ACTION, SECOND_EYE, FirstEye, fellow_of
from clinic_app.domain.states import STOOD_DOWN, state_of
from clinic_app.domain.theatre import proposals
from clinic_app.domain.theatre_draft import STAGE, SheetDraft, body_of, draft_of
from clinic_app.errors import Refusal
from clinic_app.services.theatre.eyes import WRITERS, drafts_by_key, first_eye, local
from clinic_app.session import Session
from models.card import Card
from models.codebook import Stage
from models.errors import ModelError
from models.words import chance_sentence

GRACE = timedelta(minutes=10)
"""How long whoever signed a sheet may open it again without a reason."""
SIDE_WORDS = {"R": "RIGHT", "L": "LEFT"}


class Reopening(StrEnum):
    """How a signed sheet may be changed by the person acting."""

    GRACE = "grace"
    """Signed by this person, a surgeon, a moment ago: no reason is asked."""
    REASON = "reason"
    """By a surgeon, with a reason."""
    NEVER = "never"
    """Not by this person."""


@dataclass(frozen=True, slots=True)
class BookingNumber:
    """The booking forecast as it was made, chances in 100 (None where none was given), with its sentence."""

    sentence: str
    risk: float | None = None
    low: float | None = None
    high: float | None = None
    our_average: float | None = None
    planning_line: float | None = None


@dataclass(frozen=True, slots=True)
class Sheet:
    """An open sheet.

    `row` is the booking (and the signed sheet) laid flat with what follows from it, without what is `hidden` from the
    person acting. `draft` holds the answers typed so far. `proposed` are answers to show dashed. `machines` are those
    of the practice, `end_model` whether an end-of-case model is in use, `end_unread` whether its card cannot be read,
    `seen_machines` those that it learnt from (None where it asks for none), `wording` the practice's own words of the
    house steps. Moments are local.
    """

    key: CaseKey
    row: Row
    state: str
    version: int
    hidden: frozenset[Secret]
    checked_at: datetime
    draft: SheetDraft
    draft_no: int | None
    draft_at: datetime | None
    proposed: Mapping[str, Value]
    machines: tuple[Machine, ...]
    end_model: bool
    end_unread: bool
    seen_machines: frozenset[str] | None
    wording: Mapping[str, str]
    plan: tuple[str, ...]
    planned: PlanState
    forecast: BookingNumber | None
    first: FirstEye | None
    fellow: CaseKey | None
    signed_by: str
    signed_at: datetime | None
    reopening: Reopening

    @property
    def signed(self) -> bool:
        """Whether the sheet has been signed."""
        return self.version > 0

    def machine(self, name: object) -> Machine | None:
        """The machine of that name as the practice declared it."""
        return next((one for one in self.machines if one.name == name), None)


def open_sheet(session: Session, key: CaseKey, side: str) -> Sheet:
    """Open the sheet of the eye that lies on the table: `side` is what was pressed.

    The opening is written down. Refused: without the duty, another side than booked (written down too, nothing is
    opened), an eye that is no longer booked or stands down.
    """
    session.need(*WRITERS, act="Opening a sheet")
    case = _case(session, key)
    if side != key.eye:
        note_wrong(session, key, side)
        raise Refusal(
            what=f"STOP. Booked: {SIDE_WORDS[key.eye]} eye. You pressed {SIDE_WORDS.get(side, 'another')}.",
            why="Nothing has been opened.",
            next="Go back; check consent, mark and patient.",
        )
    if key in session.store.stood_down() and not case.has(Stage.THEATRE):
        raise Refusal(
            what="The sheet was not opened.",
            why="The surgery of this eye was stood down.",
            next="Book it again on Bookings if it is to go ahead.",
        )
    return _opened(session, case, with_reason=None)


def show_anyway(session: Session, key: CaseKey, reason: str) -> Sheet:
    """Open what is sealed of an operated eye for a person who also grades; a reason is needed and written down."""
    session.need(*WRITERS, act="Showing what is sealed")
    if not reason.strip():
        raise Refusal(
            what="Nothing was shown.",
            why="Whoever grades this eye would no longer be blind; that needs a reason.",
            next="Give the reason in a few words.",
        )
    return _opened(session, _case(session, key), with_reason=reason.strip())


def note_wrong(session: Session, key: CaseKey, pressed: str) -> None:
    """Write down that another eye was pressed than is booked, or another birthday said; nothing was opened."""
    if session.store.read_only:
        return
    with session.store.writing(by=session.person, act="wrong eye") as write:
        write.add_event(key, "wrong_eye", {"page": "theatre", "pressed": pressed})


def keep(session: Session, key: CaseKey, draft: SheetDraft, draft_no: int | None) -> Draft | None:
    """Keep what is typed, on the disk when this returns. An empty sheet is not kept (None), and its draft goes."""
    session.need(*WRITERS, act="Writing a sheet")
    if draft.empty:
        if draft_no is not None:
            session.store.drop_draft(draft_no)
        return None
    made = Draft(session.person, STAGE, key, body_of(draft), session.clock(), draft_no)
    return session.store.keep_draft(made)


def throw_away(session: Session, key: CaseKey) -> None:
    """Forget what was typed on the eye's unsigned sheet, by whomever; the eye can be moved or stood down again."""
    session.need(*WRITERS, act="Throwing a sheet away")
    for one in session.store.drafts():
        if one.stage == STAGE and one.key == key and one.draft_no is not None:
            session.store.drop_draft(one.draft_no)


def acknowledge(session: Session, sheet: Sheet, decided: str) -> Sheet:
    """Note that a surgeon knows what happened in the first eye and goes on with the second."""
    session.need(Duty.SURGEON, act="Going on with the second eye")
    if sheet.first is None:
        return sheet
    with session.store.writing(by=session.person, act="second eye") as write:
        body = {"halt": SECOND_EYE, "decided": decided, "events": list(sheet.first.events)}
        write.add_event(sheet.key, ACTION, body)
    return replace(sheet, first=replace(sheet.first, acknowledged=True))


def proposals_for(
    session: Session, surgeon: str | None, machine: str | None, given: Collection[str]
) -> dict[str, Value]:
    """Answers to show dashed for that operator: their usual ones, the practice's only machine; none of `given`."""
    machines = machines_of(session.store.register(MACHINE))
    usual = usual_of(session.store.register(USUAL), surgeon) if surgeon else {}
    wanted = machine or usual.get("phaco_machine_id")
    chosen = next((one for one in machines if one.name == wanted), None)
    if chosen is None and wanted is None and len(machines) == 1:
        chosen = machines[0]
    return proposals(usual, chosen, given, surgeon_id=surgeon)


# --- what a sheet is made of -----------------------------------------------------------------------------------------


def _case(session: Session, key: CaseKey) -> Case:
    case = session.store.case(key)
    if case is None or not case.has(Stage.BOOKING):
        raise Refusal(
            what="The sheet was not opened.",
            why="This eye is no longer booked on that day.",
            next="Read the list again; the eye may have been moved to another date.",
        )
    return case


def _opened(session: Session, case: Case, *, with_reason: str | None) -> Sheet:
    key, state = case.key, state_of(case)
    how = reopening_of(session, case)
    shown = _shown(session, state, with_reason, how)
    checked = session.clock()
    hidden = session.hides(state)
    if not session.store.read_only:
        hidden -= shown
        with session.store.writing(by=session.person, act="open a sheet", reason=with_reason) as write:
            for secret in _told(hidden, shown):
                told = {"what": secret.value} | ({"reason": with_reason} if with_reason else {})
                write.add_event(key, OPENING, told)
    return _sheet(session, case, state, hidden, checked, how)


def _told(hidden: frozenset[Secret], shown: frozenset[Secret]) -> tuple[Secret, ...]:
    """What this opening writes down: the sheet itself unless it stays sealed, and what it showed of the rest."""
    sheet = () if Secret.READINGS in hidden else (Secret.READINGS,)
    return tuple(dict.fromkeys((*sheet, *sorted(shown))))


def _shown(session: Session, state: str, with_reason: str | None, how: Reopening) -> frozenset[Secret]:
    """What this opening shows of what lists hide; the end-of-case forecast never before the grade."""
    duties, wanted = session.me.duties, {Door.LOGGED}
    if with_reason is not None or how is Reopening.GRACE:
        wanted.add(Door.REASON)
    hidden = session.hides(state) - {Secret.END_FORECAST}
    return frozenset(one for one in hidden if door(state, duties, one) in wanted)


def reopening(session: Session, key: CaseKey) -> Reopening:
    """How the person acting may change that signed sheet now."""
    return reopening_of(session, _case(session, key))


def reopening_of(session: Session, case: Case) -> Reopening:
    """The same of a case that was read."""
    written = case.stages.get(Stage.THEATRE)
    if written is None:
        return Reopening.NEVER
    if not session.may(Duty.SURGEON):
        return Reopening.NEVER
    if written.by == session.person and session.clock() - written.at <= GRACE and not case.has(Stage.DAY_ONE):
        return Reopening.GRACE
    return Reopening.REASON


def _sheet(
    session: Session, case: Case, state: str, hidden: frozenset[Secret], checked: datetime, how: Reopening
) -> Sheet:
    drafts = drafts_by_key(session)
    written = case.stages.get(Stage.THEATRE)
    row = complete(case.row(), zone=session.settings.zone or None)
    kept = drafts.get(case.key) if written is None else None
    draft = SheetDraft(StageRecord(Stage.THEATRE, {})) if kept is None else draft_of(kept.body)
    given = {**draft.record.values, **draft.record.missing}
    surgeon = str(given.get("surgeon_id") or row.get("booked_surgeon_id") or session.me.surgeon_id or "") or None
    machine = given.get("phaco_machine_id")
    plan = row.get("protection_plan") if Secret.PLAN not in hidden else None
    end = session.store.in_use("end_of_case")
    card = None if end is None else _card(session, end.model_id)
    return Sheet(
        key=case.key,
        row=masked(row, hidden),
        state=STOOD_DOWN if case.key in session.store.stood_down() and written is None else state,
        version=0 if written is None else written.version,
        hidden=hidden,
        checked_at=local(session, checked),
        draft=draft,
        draft_no=None if kept is None else kept.draft_no,
        draft_at=None if kept is None else local(session, kept.kept_at),
        proposed={} if written else proposals_for(session, surgeon, str(machine) if machine else None, given),
        machines=machines_of(session.store.register(MACHINE), gone=written is not None),
        end_model=end is not None,
        end_unread=end is not None and card is None,
        seen_machines=_seen_machines(card),
        wording=steps_of(session.store.register(STEPS)),
        plan=tuple(code for code in plan if not code.startswith("none")) if isinstance(plan, tuple) else (),
        planned=_planned(session, case.key),
        forecast=None if Secret.BOOKING_FORECAST in hidden else _number(session, case.key),
        first=first_eye(session, case, drafts),
        fellow=fellow_of(case.key, session.store.keys(patient_id=case.key.patient_id)),
        signed_by="" if written is None else written.by,
        signed_at=None if written is None else local(session, written.at),
        reopening=how,
    )


def _card(session: Session, model_id: str) -> Card | None:
    """The model's card; None where it cannot be read: a sheet opens all the same."""
    try:
        return session.card(model_id)
    except ModelError:
        return None


def _seen_machines(card: Card | None) -> frozenset[str] | None:
    energy = None if card is None else card.formula.energy
    return None if energy is None else frozenset(energy.machines)


def _planned(session: Session, key: CaseKey) -> PlanState:
    found = plan_of(session.store.events(key=key, kind=PLAN))
    return replace(
        found,
        proposed_at=None if found.proposed_at is None else local(session, found.proposed_at),
        confirmed_at=None if found.confirmed_at is None else local(session, found.confirmed_at),
    )


def _number(session: Session, key: CaseKey) -> BookingNumber:
    found = session.store.forecasts(key=key, model="booking")
    last = next((one for one in reversed(found) if one.locked), found[-1] if found else None)
    if last is None:
        return BookingNumber("No forecast was made for this eye.")
    if last.risk is None or last.low is None or last.high is None:
        return BookingNumber(last.note or "No forecast was made for this eye.")
    card = _card(session, last.model_id)
    if card is None:
        return BookingNumber(f"The forecast of this eye is not shown: its model {last.model_id} cannot be read.")
    return BookingNumber(
        sentence=chance_sentence(last.risk, last.low, last.high, card.cloudy),
        risk=100.0 * last.risk,
        low=100.0 * last.low,
        high=100.0 * last.high,
        our_average=100.0 * card.cloudy / int(card.training["n"]),
        planning_line=session.settings.planning_line,
    )
