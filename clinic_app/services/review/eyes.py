"""The eyes of a review: which have a forecast, which a usable outcome, and why the others are left out."""

from __future__ import annotations

import contextlib
from bisect import bisect_right
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from clinic_app.domain.derived import complete
from clinic_app.domain.operated import first_operations
from clinic_app.domain.record import Case, CaseKey, Row, StoredForecast
from clinic_app.domain.reviewed import NOT_BLIND
from clinic_app.domain.seal import MODELS
from clinic_app.domain.states import STATES, state_of
from clinic_app.services.review.afterwards import REFUSALS, Number, worked_out
from clinic_app.session import Session
from models.card import Card
from models.codebook import Stage
from models.eligibility import REASONS, left_out
from models.errors import ModelError
from models.outcome import UNSEEN_WORDS, look
from models.progress import Report

DAYS_UNTIL_DUE_IS_PAST = 2
BASES = ("beforehand", "afterwards")
NO_VISIT_PLANNED = "no day-one visit planned"
SEALED = "sealed for you until graded"
FEWEST_SEALED = 5
"""A forecast that is sealed for the person acting stands in no count of fewer eyes without a grade."""
MISSING_BANDS = (0.0, 0.05, 0.10, 0.20, 1.0)
"""Chances between which eyes without a grade are counted together."""


@dataclass(frozen=True, slots=True)
class Eye:
    """An operated eye with a forecast. `cloudy` is None without a usable grade; `unseen` then says why.

    `own_records` is the chance by the own-records-only model that stands beside the eye's model.
    """

    key: CaseKey
    row: Row
    risk: float
    model_id: str
    own_records: float | None
    cloudy: bool | None
    unseen: str

    @property
    def seen(self) -> float:
        """1 cloudy, 0 clear."""
        return 1.0 if self.cloudy else 0.0


@dataclass(frozen=True, slots=True)
class Gathered:
    """Graded eyes in order of surgery, eyes without a usable grade, and the count of eyes left out by reason."""

    basis: str
    graded: tuple[Eye, ...]
    ungraded: tuple[Eye, ...]
    left_out: Mapping[str, int]
    first_operated: Mapping[tuple[str, str], date] = field(repr=False)
    surgeons: Mapping[str, str] = field(repr=False)
    examiners: Mapping[str, str] = field(repr=False)


def gather(
    session: Session, model: str, from_: date | None, to: date | None, basis: str | None, report: Report
) -> Gathered:
    """The eyes operated in the period with a forecast of the basis; see `Gathered`.

    Default filter: blind, in the window, not set aside. An eye that had no forecast before it was graded is blind
    whatever was ticked.
    """
    cut = session.outcome_cut
    report(0.0, "Reading the eyes")
    zone = session.settings.zone or None
    everything = sorted(session.store.cases(), key=lambda case: (case.key.surgery_date, case.key))
    rows = {case.key: complete(case.row(), zone=zone) for case in everything}
    first = first_operations(rows)
    forecasts = session.store.forecasts()
    locked = {one.key: one for one in forecasts if one.model == model and one.locked}
    forecast_before = {one.key for one in forecasts}
    inside = [case for case in everything if _between(case.key.surgery_date, from_, to)]
    left: Counter[str] = Counter()
    candidates = [case.key for case in inside if _counts(case, rows[case.key], first, session.today(), left)]
    chosen = basis or ("beforehand" if any(_number(locked.get(key)) for key in candidates) else "afterwards")
    closed = _sealed(session, model, inside)
    if chosen == "beforehand":
        numbers = _beforehand(session, candidates, locked, closed, left)
    else:
        left[SEALED] += len(closed.intersection(candidates))
        candidates = [key for key in candidates if key not in closed]
        numbers, refused = worked_out(rows, candidates, model, report, cut=cut)
        left.update(refused)
    graded: list[Eye] = []
    ungraded: list[Eye] = []
    for key in candidates:
        if key not in numbers:
            continue
        row = rows[key]
        found = look(row, cut)
        number = numbers[key]
        why = UNSEEN_WORDS.get(found.reason or "", "")
        eye = Eye(key, row, number.risk, number.model_id, number.own_records, found.cloudy, why)
        if row.get("visit_status") == "not_planned" and found.cloudy is None:
            left[NO_VISIT_PLANNED] += 1
        elif found.cloudy is None:
            ungraded.append(eye)
        elif row.get("blinded_to_prediction") is False and key in forecast_before:
            left[NOT_BLIND] += 1
        else:
            graded.append(eye)
    if not _many_enough(ungraded, closed):
        left[SEALED] += sum(eye.key in closed for eye in ungraded)
        ungraded = [eye for eye in ungraded if eye.key not in closed]
    return Gathered(
        chosen,
        tuple(graded),
        tuple(ungraded),
        {why: count for why, count in sorted(left.items()) if count},
        first,
        letters([row.get("surgeon_id") or row.get("booked_surgeon_id") for row in rows.values()]),
        letters([row.get("examiner_id") for row in rows.values()]),
    )


def _sealed(session: Session, model: str, cases: Sequence[Case]) -> set[CaseKey]:
    """Which eyes' forecasts are sealed for the person acting."""
    hidden = {state: MODELS[model] in session.hides(state) for state in STATES}
    return {case.key for case in cases if hidden[state_of(case)]}


def _many_enough(ungraded: Sequence[Eye], closed: Collection[CaseKey]) -> bool:
    """Whether every count of eyes without a grade that holds a sealed one holds at least five."""
    bands: dict[int, list[Eye]] = {}
    for eye in ungraded:
        bands.setdefault(band_of(eye.risk), []).append(eye)
    return all(
        len(band) >= FEWEST_SEALED for band in bands.values() if any(eye.key in closed for eye in band)
    )  # fmt: skip


def band_of(risk: float) -> int:
    """Number of the band of `MISSING_BANDS` in which a chance lies; each holds its lower edge, the last both."""
    return min(bisect_right(MISSING_BANDS, risk), len(MISSING_BANDS) - 1) - 1


def letters(people: Sequence[object]) -> dict[str, str]:
    """A letter for each person, in the order in which the practice first met them, so that it stays theirs."""
    found: dict[str, str] = {}
    for person in people:
        if person is not None and str(person) not in found:
            number = len(found)
            found[str(person)] = (chr(64 + number // 26) if number >= 26 else "") + chr(65 + number % 26)
    return found


def _counts(case: Case, row: Row, first: Mapping[tuple[str, str], date], today: date, left: Counter[str]) -> bool:
    if not (case.has(Stage.THEATRE) or case.has(Stage.DAY_ONE)):
        return False
    rule = left_out(row)
    if rule is not None:
        left[f"set aside: {REASONS[rule]}"] += 1
        return False
    if first[case.key.patient_id, case.key.eye] < case.key.surgery_date:
        left[f"set aside: {REASONS['second_operation']}"] += 1
        return False
    if case.key.surgery_date + timedelta(days=DAYS_UNTIL_DUE_IS_PAST) > today and not case.has(Stage.DAY_ONE):
        left["day one not yet past"] += 1
        return False
    return True


def _beforehand(
    session: Session,
    candidates: Sequence[CaseKey],
    locked: Mapping[CaseKey, StoredForecast],
    closed: Collection[CaseKey],
    left: Counter[str],
) -> dict[CaseKey, Number]:
    cards = _cards(session, {one.model_id for one in locked.values()})
    numbers: dict[CaseKey, Number] = {}
    for key in candidates:
        forecast = locked.get(key)
        if key in closed and not _number(forecast):
            left[SEALED] += 1  # that there is no number would tell as much as a number
        elif forecast is None:
            left["no forecast was locked beforehand"] += 1
        elif forecast.risk is None:
            left[f"no number was forecast: {REFUSALS.get(forecast.status, 'no model')}"] += 1
        else:
            card = cards.get(forecast.model_id)
            own = None if card is None else card.own_records_risk(forecast.inputs)
            numbers[key] = Number(forecast.risk, forecast.model_id, own)
    return numbers


def _cards(session: Session, used: Collection[str]) -> dict[str, Card]:
    """Those of the cards `used` that can be read here; a locked forecast stays what it was without its card."""
    found: dict[str, Card] = {}
    for entry in session.store.models():
        if entry.model_id in used:
            with contextlib.suppress(ModelError):
                found[entry.model_id] = session.card(entry.model_id)
    return found


def _number(forecast: StoredForecast | None) -> bool:
    return forecast is not None and forecast.risk is not None


def _between(day: date, from_: date | None, to: date | None) -> bool:
    return (from_ is None or day >= from_) and (to is None or day <= to)
