"""Locking the grade: the sheet is written, its forecast locked and opened."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from clinic_app.domain import day_one
from clinic_app.domain.checks import check
from clinic_app.domain.derived import complete
from clinic_app.domain.record import CaseKey, Origin, Row, StageRecord, StoredForecast
from clinic_app.domain.seal import MODELS, OPENING, Door, door
from clinic_app.domain.states import GRADED, state_of
from clinic_app.errors import Refusal
from clinic_app.services.day_one.eyes import operated_by, seen_nothing
from clinic_app.services.day_one.moment import MAY, case_of, now_of
from clinic_app.session import Session
from models.codebook import CENTRE_GRADE, Stage
from models.outcome import look
from models.words import shown_range

ANOTHER_DEVICE = "another device"


@dataclass(frozen=True, slots=True)
class Opened:
    """What the lock opened: the forecasts that count (None where none was made), the grade first locked, and whether
    that is cloudy by the practice's definition (None when it cannot be used as an outcome). `cut`: cloudy from that
    grade on. `locked_at` is on the practice's clock. `changed`: an answer was changed after the opening."""

    booking: StoredForecast | None
    end_of_case: StoredForecast | None
    grade: int | None
    cloudy: bool | None
    cut: int
    locked_at: datetime
    changed: bool = False


def lock(
    session: Session,
    key: CaseKey,
    answers: Row,
    *,
    side: str,
    typed: Mapping[str, str] | None = None,
    seen_at: datetime | None = None,
    same_device: bool | None = None,
    expect_version: int = 0,
) -> Opened | None:
    """Write the sheet of one eye and lock its grade; returns what that opened, None when the centre was not graded.

    `answers` are laid flat as on the sheet (`anything_else` for the findings); `side` is the eye as the examiner said
    it before the sheet opened; `seen_at` the clock time of the examination (now, unless typed); `same_device` whether
    the thickness was measured with the device used before surgery. Whether the grade is blind and whether it is the
    examiner's own case are worked out from what is written down. Refused: another side than booked, a sheet locked
    already or changed meanwhile, no answer about the centre, what stands against the answers.
    """
    session.need(*MAY, act="Locking a grade")
    if side != key.eye:
        raise Refusal(
            "Nothing was locked.", "The eye that was examined is not the eye of this row.", "Open the other row."
        )
    case = case_of(session, key)
    if state_of(case) == GRADED:
        raise Refusal(
            "Nothing was locked.",
            "The grade of this eye is locked already.",
            "Correct an answer with a reason; the first value stays.",
        )
    if answers.get(CENTRE_GRADE) is None and answers.get(f"{CENTRE_GRADE}_missing") is None:
        raise Refusal(
            "Nothing was locked.",
            "The centre has no grade yet.",
            "Grade the centre, or say that it is not possible; who was not seen is noted with Not seen.",
        )
    at = seen_at or now_of(session)
    events = tuple(session.store.events(key=key))
    own_case = operated_by(case, session.me)
    record = day_one.record_of(
        answers,
        typed or {},
        {
            "visit_status": "attended",
            "exam_at": at,
            "examiner_id": session.person,
            "examiner_is_surgeon": own_case,
            "blinded_to_prediction": seen_nothing(session, case, events, session.store.forecasts(key=key)),
        },
    )
    record = _with_origin(record, at, case.row().get("cct_um_source"), same_device)
    whole = complete({**day_one.without_sheet(case.row()), **record.row()}, zone=session.settings.zone or None)
    refused = [one for one in check(whole) if one.kind == "refuse"]
    if refused:
        raise Refusal("Nothing was locked.", refused[0].sentence, refused[0].next)
    graded = CENTRE_GRADE in record.values
    with session.store.writing(by=session.person, act="lock the grade") as write:
        write.put_stage(key, record, merge=False, expect_version=expect_version)
        if graded:
            for one in _that_count(session, key).values():
                write.add_event(key, OPENING, {"what": MODELS[one.model].value})
                if one.forecast_id is not None:
                    write.seen_by(one.forecast_id)
    return opened(session, key) if graded else None


def opened(session: Session, key: CaseKey) -> Opened | None:
    """What the lock of a graded eye opened; None while the eye is not graded."""
    session.need(*MAY, act="Reading an opened forecast")
    case = case_of(session, key)
    if state_of(case) != GRADED:
        return None
    count = _that_count(session, key)
    row = complete(case.row(), zone=session.settings.zone or None)
    grade, cut = row.get(CENTRE_GRADE), session.outcome_cut
    written = case.stages[Stage.DAY_ONE]
    zone = ZoneInfo(session.settings.zone) if session.settings.zone else None
    return Opened(
        booking=count.get("booking"),
        end_of_case=count.get("end_of_case"),
        grade=grade if isinstance(grade, int) else None,
        cloudy=look(row, cut).cloudy,
        cut=cut,
        locked_at=written.at.astimezone(zone).replace(tzinfo=None),
        changed=day_one.changed_after_opening(session.store.events(key=key)),
    )


def forecast_words(forecast: StoredForecast) -> str:
    """A forecast in short: `12 in 100 (6 to 21)`, or why it holds no number."""
    if forecast.risk is None or forecast.low is None or forecast.high is None:
        return f"no number: {forecast.note.rstrip('.')}" if forecast.note else "no number was given"
    low, high = shown_range(forecast.risk, forecast.low, forecast.high)
    return f"{round(100 * forecast.risk)} in 100 ({low} to {high})"


def show_anyway(session: Session, key: CaseKey, reason: str) -> list[StoredForecast]:
    """The forecasts of an eye not graded yet, to somebody whose duties allow it; written down, with its reason.

    Whoever was shown them may still grade; the grade is then not blind. Refused for those who only examine.
    """
    session.need(*MAY, act="Opening a forecast")
    if not reason.strip():
        raise Refusal("Nothing was opened.", "Opening a forecast before the grade needs a reason.", "Give the reason.")
    case = case_of(session, key)
    state, duties = state_of(case), session.me.duties
    if any(door(state, duties, MODELS[one]) is Door.SHUT for one in MODELS):
        raise Refusal(
            "Nothing was opened.",
            "Whoever examines on day one and neither books nor operates sees the forecast once the grade is locked.",
            "Grade the eye first.",
        )
    last = {one.model: one for one in session.store.forecasts(key=key)}
    with session.store.writing(by=session.person, act="open the forecast", reason=reason.strip()) as write:
        for secret in MODELS.values():
            write.add_event(key, OPENING, {"what": secret.value, "reason": reason.strip()})
        for one in last.values():
            if one.forecast_id is not None:
                write.seen_by(one.forecast_id)
    return list(last.values())


def _that_count(session: Session, key: CaseKey) -> dict[str, StoredForecast]:
    """The forecast of each model that counts as made beforehand: the locked one, else the last one."""
    found: dict[str, StoredForecast] = {}
    for one in session.store.forecasts(key=key):
        if not (one.model in found and found[one.model].locked):
            found[one.model] = one
    return found


def _with_origin(record: StageRecord, at: datetime, before: object, same_device: bool | None) -> StageRecord:
    """The record with the day of its measurements, and the device of the thickness as far as it is known."""
    origin = {name: Origin(at=at.date()) for name in ("cct_pod1_um", day_one.PRESSURE) if name in record.values}
    if "cct_pod1_um" in origin and same_device is not None and isinstance(before, str):
        origin["cct_pod1_um"] = Origin(before if same_device else ANOTHER_DEVICE, at.date())
    return dataclasses.replace(record, origin=origin)
