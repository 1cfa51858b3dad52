"""Booking an eye: the list, the forecast that follows each answer, and the act itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from clinic_app.domain.derived import complete
from clinic_app.domain.facts import Facts, facts_to_weigh
from clinic_app.domain.operated import first_operations, marked
from clinic_app.domain.record import Case, CaseKey, Row, StageRecord, StoredForecast
from clinic_app.errors import Refusal
from clinic_app.session import Session
from models.card import Card
from models.codebook import KEY, Stage
from models.forecast import Forecast
from models.outcome import look

MOST_ASKED = 4
"""How many open answers the panel asks for at once."""


@dataclass(frozen=True, slots=True)
class BookedEye:
    """An eye on the list: its record laid flat, where it stands, its last forecast, its plan.

    `facts` are the published facts to weigh, worked out only while the practice has no model.
    """

    key: CaseKey
    row: Row
    state: str
    version: int | None
    forecast: StoredForecast | None
    plan: tuple[str, ...]
    facts: Facts | None


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


def state_of(case: Case) -> str:
    """Where the eye stands, in the words of the pages."""
    if case.has(Stage.DAY_ONE):
        graded = "edema_grade_central" in case.stages[Stage.DAY_ONE].record.values
        return "Graded" if graded else "No grade"
    return "Operated" if case.has(Stage.THEATRE) else "Booked"


def list_eyes(session: Session) -> list[BookedEye]:
    """The eyes that are booked and not yet operated, by surgery date and patient number."""
    gone = session.store.stood_down()
    unseen = session.store.cases(without=Stage.DAY_ONE)
    waiting = [case for case in unseen if not case.has(Stage.THEATRE) and case.key not in gone]
    last = _last_forecasts(session)
    return [_eye(session, case, last.get(case.key)) for case in sorted(waiting, key=_by_date)]


def open_eye(session: Session, key: CaseKey) -> BookedEye:
    """One eye of the practice; refuses when it is no longer there."""
    case = session.store.case(key)
    if case is None:
        raise Refusal(
            what="This eye cannot be opened.",
            why="The practice holds no booking for it any more.",
            next="Read the list again; the eye may have been moved to another date.",
        )
    found = session.store.forecasts(key=key, model="booking")
    return _eye(session, case, found[-1] if found else None)


def fellow(session: Session, patient_id: str, eye: str) -> dict[str, object] | None:
    """The latest record of the patient's other eye, laid flat, or None; its outcome is left out until it is graded."""
    others = [case for case in session.store.cases(patient_id=patient_id) if case.key.eye != eye]
    if not others:
        return None
    return complete(max(others, key=_by_date).row(), zone=session.settings.zone or None)


def forecast_for(session: Session, row: Row) -> PanelState:
    """What the panel shows for these answers. Nothing is stored; fast enough to follow each key."""
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
    """The foot of the panel: definition, range and model in one small print."""
    return (
        f"Cloudy: {card.outcome}. Range: 19 times in 20. "
        f"{model_id}: {card.training['n']} eyes, {card.cloudy} cloudy. "
        "A low number is no promise; a high one is a reason to plan, not to refuse."
    )


def book(
    session: Session,
    record: StageRecord,
    key: CaseKey,
    *,
    expect_version: int | None = None,
    reason: str | None = None,
) -> BookedEye:
    """Write the booking and its forecast, in one act.

    A change of an eye that is already booked needs a `reason`, and `expect_version` as it was read: a change by
    somebody else in the meantime is refused and nothing is lost. After theatre has been written the booking stays
    as it is.
    """
    before = session.store.case(key)
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
    with session.store.writing(by=session.person, act="book", reason=reason) as write:
        write.put_stage(key, record, merge=False, expect_version=expect_version)
        whole = _whole(session, {**record.row(), **_key_row(key)})
        write.add_forecasts(session.made("booking", {key: whole}))
    return open_eye(session, key)


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


def _eye(session: Session, case: Case, forecast: StoredForecast | None) -> BookedEye:
    row = complete(case.row(), zone=session.settings.zone or None)
    plan = row.get("protection_plan")
    booking = case.stages.get(Stage.BOOKING)
    return BookedEye(
        key=case.key,
        row=row,
        state=state_of(case),
        version=booking.version if booking else None,
        forecast=forecast,
        plan=plan if isinstance(plan, tuple) else (),
        facts=facts_to_weigh(row) if session.store.in_use("booking") is None else None,
    )
