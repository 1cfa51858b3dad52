"""Booking an eye: the list, the forecast that follows each answer, and the act itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

from clinic_app.domain.derived import complete
from clinic_app.domain.facts import Facts, facts_to_weigh
from clinic_app.domain.moves import POSTPONED, STOOD_DOWN
from clinic_app.domain.operated import first_operations, marked
from clinic_app.domain.people import Duty
from clinic_app.domain.plans import PLAN, PROPOSED, plan_body
from clinic_app.domain.record import Case, CaseKey, ModelEntry, Row, StageRecord, StoredForecast
from clinic_app.domain.seal import OPENING, Door, Secret, door, masked, unseen_kept
from clinic_app.domain.states import BOOKED, GRADED, state_of
from clinic_app.errors import Refusal
from clinic_app.session import Session
from models.card import Card
from models.codebook import BY_NAME, KEY, Stage
from models.forecast import Forecast
from models.outcome import look

NEW_FOR = timedelta(days=14)
"""How long the page says that the model was changed."""
STOOD_DOWN_FOR = timedelta(days=92)
"""How long after its day an eye that was stood down stays on the list."""
MOST_ASKED = 4
"""How many open answers the panel asks for at once."""


@dataclass(frozen=True, slots=True)
class BookedEye:
    """An eye on the list: its record laid flat, where it stands, its last forecast, its plan.

    `facts` are the published facts to weigh, worked out only while the practice has no model. `moved_from` is the day
    from which the eye was postponed last; `stood_down_for` the reason why its surgery will not happen. `hidden` says
    what of the eye is sealed for the person acting: `row`, `forecast`, `plan` and `facts` are then without it.
    """

    key: CaseKey
    row: Row
    state: str
    version: int | None
    forecast: StoredForecast | None
    plan: tuple[str, ...]
    facts: Facts | None
    moved_from: date | None = None
    stood_down_for: str = ""
    hidden: frozenset[Secret] = frozenset()


@dataclass(frozen=True, slots=True)
class Counts:
    """What the practice has so far."""

    graded: int
    cloudy: int


@dataclass(frozen=True, slots=True)
class Figures:
    """A forecast with its range, and what stands beside it (chances in per cent)."""

    forecast: Forecast
    model_id: str
    our_average: float
    planning_line: float | None
    card_words: str
    definition: str


@dataclass(frozen=True, slots=True)
class TooMuchMissing:
    """The model gives no number: too much is unanswered. `ask`: the open answers that would tell most."""

    forecast: Forecast
    facts: Facts
    ask: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Unlike:
    """No forecast: the eye is unlike the practice's own."""

    forecast: Forecast
    facts: Facts


@dataclass(frozen=True, slots=True)
class NoModel:
    """No forecast yet: the practice has no model."""

    counts: Counts
    facts: Facts


PanelState = Figures | TooMuchMissing | Unlike | NoModel


def list_eyes(session: Session) -> list[BookedEye]:
    """The eyes that are booked and not yet operated, by surgery date and patient number."""
    return _listed(session, stood_down=False)


def stood_down_eyes(session: Session) -> list[BookedEye]:
    """The eyes whose surgery will not happen, by the date for which they were booked; they can be taken back.

    Those booked for a day long past are left out: they are found by their number.
    """
    since = session.today() - STOOD_DOWN_FOR
    return [eye for eye in _listed(session, stood_down=True) if eye.key.surgery_date >= since]


def _listed(session: Session, *, stood_down: bool) -> list[BookedEye]:
    session.need(Duty.BOOKING, Duty.SURGEON, act="The list of bookings")
    hidden = session.hides(BOOKED)  # an eye stood down is sealed like a booked one
    gone = session.store.stood_down()
    unseen = session.store.cases(without=Stage.DAY_ONE)
    found = [case for case in unseen if not case.has(Stage.THEATRE) and (case.key in gone) is stood_down]
    last = _last_forecasts(session)
    moves = _moves(session)
    return [
        _eye(session, case, last.get(case.key), moves, hidden, stood_down=stood_down)
        for case in sorted(found, key=_by_date)
    ]


def open_eye(session: Session, key: CaseKey, *, unseal: bool = True) -> BookedEye:
    """One eye of the practice; refuses when it is no longer there.

    Somebody who also grades is shown the forecast and the plan of an eye that waits for its operation, unless told
    not to `unseal`. That a number was shown is written down, for everybody: once a person, eye and day.
    """
    session.need(Duty.BOOKING, Duty.SURGEON, act="Opening a booking")
    case = session.store.case(key)
    if case is None:
        raise Refusal(
            what="This eye cannot be opened.",
            why="The practice holds no booking for it any more.",
            next="Read the list again; the eye may have been moved to another date.",
        )
    found = session.store.forecasts(key=key, model="booking")
    stood_down = key in session.store.stood_down()
    state = state_of(case, stood_down)
    hidden = _still_hidden(session, state) if unseal else session.hides(state)
    eye = _eye(
        session, case, found[-1] if found else None, _moves(session, key), hidden, stood_down=stood_down,
    )  # fmt: skip
    if state != GRADED and eye.forecast is not None and eye.forecast.risk is not None:
        session.note_opening(key, Secret.BOOKING_FORECAST)
    return eye


def _still_hidden(session: Session, state: str) -> frozenset[Secret]:
    """What opening the eye on this page leaves hidden. What cannot be written down is not shown."""
    hidden = session.hides(state)
    if session.store.read_only:
        return hidden
    return frozenset(one for one in hidden if door(state, session.me.duties, one) is not Door.LOGGED)


def fellow(session: Session, patient_id: str, eye: str) -> dict[str, object] | None:
    """The latest record of the patient's other eye, laid flat, or None; its outcome is left out until it is graded."""
    session.need(Duty.BOOKING, Duty.SURGEON, act="Reading the other eye")
    others = [case for case in session.store.cases(patient_id=patient_id) if case.key.eye != eye]
    if not others:
        return None
    latest = max(others, key=_by_date)
    hidden = session.hides(state_of(latest))
    return masked(complete(latest.row(), zone=session.settings.zone or None), hidden)


def newly_adopted(session: Session) -> ModelEntry | None:
    """The booking model in use, where it took the place of an earlier one within the last fortnight."""
    entry = session.store.in_use("booking")
    if entry is None or entry.number == 1 or entry.decided_at is None:
        return None
    return entry if session.clock() - entry.decided_at < NEW_FOR else None


def others_of(session: Session, patient_id: str) -> list[dict[str, object]]:
    """Every record of the patient, laid flat, for the checks between eyes and between operations."""
    session.need(Duty.BOOKING, Duty.SURGEON, act="Reading the patient's other records")
    zone = session.settings.zone or None
    return [
        masked(complete(case.row(), zone=zone), session.hides(state_of(case)))
        for case in session.store.cases(patient_id=patient_id)
    ]


def forecast_for(session: Session, row: Row) -> PanelState:
    """What the panel shows for these answers. Nothing is stored; fast enough to follow each key."""
    session.need(Duty.BOOKING, Duty.SURGEON, act="A forecast")
    whole = _whole(session, row)
    entry = session.store.in_use("booking")
    if entry is None:
        return NoModel(_counts(session), facts_to_weigh(whole))
    card = session.card(entry.model_id)
    (forecast,) = card.forecast([whole])
    if forecast.status == "refused_unlike_ours":
        return Unlike(forecast, facts_to_weigh(whole))
    if forecast.status == "refused_missing":
        return TooMuchMissing(forecast, facts_to_weigh(whole), _to_ask(forecast, whole))
    return Figures(
        forecast=forecast,
        model_id=entry.model_id,
        our_average=100.0 * card.cloudy / int(card.training["n"]),
        planning_line=session.settings.planning_line,
        card_words=card_words(card, entry.model_id),
        definition=f"Cloudy: {card.outcome}.",
    )


def _to_ask(forecast: Forecast, whole: Row) -> tuple[str, ...]:
    """The answers still open that would tell most, as the form asks for them."""
    born = whole.get("birth_date") is not None
    instead = {"age_years": "surgery_date" if born else "birth_date"}
    open_ = (name for name in forecast.missing if not whole.get(f"{name}_missing"))
    return tuple(instead.get(name, name) for name in open_)[:MOST_ASKED]


def _counts(session: Session) -> Counts:
    """Graded and cloudy eyes; counted anew only when the number of records changed, since it follows each key."""
    counts = session.store.counts()
    state = (counts.cases, counts.graded)
    if state not in session.counted:
        zone, cut = session.settings.zone or None, session.outcome_cut
        seen = [look(complete(row, zone=zone), cut).cloudy for row in session.store.rows()]
        session.counted[state] = sum(one is True for one in seen)
    return Counts(counts.graded, session.counted[state])


def card_words(card: Card, model_id: str) -> str:
    """The foot of the panel: model, range and what a number is for in one small print."""
    return (
        f"{model_id}: {card.training['n']} eyes, {card.cloudy} cloudy. Range: 19 times in 20. "
        "A low number is no promise; a high one is a reason to plan, not to refuse."
    )


def book(
    session: Session,
    record: StageRecord,
    key: CaseKey,
    *,
    expect_version: int | None = None,
    reason: str | None = None,
    hidden: frozenset[Secret] = frozenset(),
) -> BookedEye:
    """Write the booking and its forecast, in one act.

    `record` says everything that the form asks for; what a file brought beside it (device and day of a measurement that
    stays as it was, text as typed, values that follow from others) is kept. A change of an eye that is already booked
    needs a `reason`, and `expect_version` as it was read: a change by
    somebody else in the meantime is refused and nothing is lost. After theatre has been written the booking stays
    as it is. What was `hidden` from the person who wrote stays as it is stored, and is hidden still.
    """
    session.need(Duty.BOOKING, Duty.SURGEON, act="Booking an eye")
    before = session.store.case(key)
    if key in session.store.stood_down():
        raise Refusal(
            what="The change was not kept.",
            why="This eye is stood down; its booking stays as it was.",
            next="Take it back first, then change it.",
        )
    if before is not None and before.has(Stage.BOOKING) and not (reason or "").strip():
        raise Refusal(
            what="The change was not kept.",
            why="This eye is already booked, and a change of a booking needs a reason.",
            next="Give the reason in a few words; your answers are still on the page.",
        )
    if before is not None and (before.has(Stage.THEATRE) or before.has(Stage.DAY_ONE)):
        raise Refusal(
            what="The change was not kept.",
            why="This eye has been operated or seen; its booking stays as it was on the day.",
            next="Note a correction with the eye's history.",
        )
    if before is not None and (stored := _booked(before)) is not None:
        record = unseen_kept(stored, _carried(stored, record), hidden)
    with session.store.writing(by=session.person, act="book", reason=reason) as write:
        write.put_stage(key, record, merge=False, expect_version=expect_version)
        steps = _steps(record)
        if steps and steps != _steps(None if before is None else _booked(before)):
            write.add_event(key, PLAN, plan_body(PROPOSED, steps))
        whole = _whole(session, {**record.row(), **_key_row(key)})
        made = session.made("booking", {key: whole})
        write.add_forecasts(made)
        shown = Secret.BOOKING_FORECAST not in hidden and any(
            one.risk is not None for one in made
        )  # on the panel, while the eye was booked
        if shown and not session.opened_today(key, Secret.BOOKING_FORECAST):
            write.add_event(key, OPENING, {"what": Secret.BOOKING_FORECAST.value})
    return open_eye(session, key, unseal=not hidden)


def _whole(session: Session, row: Row) -> dict[str, object]:
    """The row with its derived values, and the mark where this very eye has an earlier operation."""
    whole = complete(row, zone=session.settings.zone or None)
    patient, eye, day = (whole.get(name) for name in KEY)
    if not (isinstance(patient, str) and isinstance(eye, str) and isinstance(day, date)):
        return whole
    return marked(whole, CaseKey(patient, eye, day), first_operations(session.store.keys(patient_id=patient)))


def _key_row(key: CaseKey) -> dict[str, object]:
    return {"patient_id": key.patient_id, "eye": key.eye, "surgery_date": key.surgery_date}


def _by_date(case: Case) -> tuple[date, str, str]:
    return (case.key.surgery_date, case.key.patient_id, case.key.eye)


def _last_forecasts(session: Session) -> Mapping[CaseKey, StoredForecast]:
    return {one.key: one for one in session.store.forecasts(model="booking", locked=False)}


def _booked(case: Case) -> StageRecord | None:
    written = case.stages.get(Stage.BOOKING)
    return None if written is None else written.record


def _carried(before: StageRecord, after: StageRecord) -> StageRecord:
    """The record after a change, with what belongs to the answers that did not change and what no form asks for."""

    def same(name: str) -> bool:
        return after.values.get(name) == before.values.get(name) and after.missing.get(name) == before.missing.get(name)

    derived = {name: one for name, one in before.values.items() if BY_NAME[name].derived and name not in after.missing}
    typed = {name: one for name, one in before.typed.items() if same(name) or name in derived}
    origin = {name: one for name, one in before.origin.items() if same(name) or name in derived}
    return replace(
        after,
        values={**derived, **after.values},
        typed={**typed, **after.typed},
        origin={**origin, **after.origin},
    )


def _steps(record: StageRecord | None) -> tuple[str, ...]:
    held = None if record is None else record.values.get("protection_plan")
    return held if isinstance(held, tuple) else ()


@dataclass(frozen=True, slots=True)
class _Moves:
    """What was said when eyes were moved: the day from which each was postponed last, why each was stood down last."""

    postponed: Mapping[CaseKey, date]
    stood_down: Mapping[CaseKey, str]


def _moves(session: Session, key: CaseKey | None = None) -> _Moves:
    postponed = session.store.events(key=key, kind=POSTPONED)
    stood_down = session.store.events(key=key, kind=STOOD_DOWN)
    return _Moves(
        {one.key: date.fromisoformat(str(one.body["from"])) for one in postponed},
        {one.key: str(one.body.get("reason") or "") for one in stood_down},
    )


def _eye(
    session: Session,
    case: Case,
    forecast: StoredForecast | None,
    moves: _Moves,
    hidden: frozenset[Secret],
    *,
    stood_down: bool,
) -> BookedEye:
    row = masked(complete(case.row(), zone=session.settings.zone or None), hidden)
    unseen = Secret.BOOKING_FORECAST in hidden
    plan = row.get("protection_plan")
    booking = case.stages.get(Stage.BOOKING)
    return BookedEye(
        key=case.key,
        row=row,
        state=state_of(case, stood_down),
        version=booking.version if booking else None,
        forecast=None if unseen else forecast,
        plan=plan if isinstance(plan, tuple) else (),
        facts=facts_to_weigh(row) if not unseen and session.store.in_use("booking") is None else None,
        moved_from=moves.postponed.get(case.key),
        stood_down_for=moves.stood_down.get(case.key, "") if stood_down else "",
        hidden=hidden,
    )
