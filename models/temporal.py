"""Forward validation: each quarter's eyes forecast by a model made from earlier quarters only.

Source: Altman DG, Royston P. What do we mean by validating a prognostic model? Stat Med 2000;19:453-473 (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from models.card import Card
from models.errors import ModelError
from models.forecast import Forecast
from models.progress import Report, silent
from models.spec import Spec
from models.training import train

Row = Mapping[str, object]

RULE = (
    "The eyes of each quarter are forecast by a model made from earlier quarters only. Patients are kept whole: the "
    "earlier eyes of a patient who is judged in a quarter do not help to make its model."
)


@dataclass(frozen=True, slots=True)
class Forward:
    """What a model of the earlier quarters said of one eye.

    start: first day of the eye's quarter; only surgeries before it made the model. forecast: None when the earlier
    quarters could not carry a model.
    """

    start: date
    forecast: Forecast | None


def first_day(day: date) -> date:
    """The first day of the quarter of a day."""
    return date(day.year, 3 * ((day.month - 1) // 3) + 1, 1)


def forward_forecasts(
    rows: Sequence[Row], judged: Sequence[int], *, spec: Spec, report: Report = silent
) -> list[Forward]:
    """Forecasts of `rows[i]` for i in `judged`, in that order, each by the model of the quarters before the eye's own.

    rows: all eyes of the practice with their derived values, each with a `surgery_date`. Deterministic; the models are
    made without resamples, since only their forecasts are used.
    """
    starts = {i: first_day(_day(rows[i])) for i in judged}
    quarters = sorted(set(starts.values()))
    found: dict[int, Forward] = {}
    for place, start in enumerate(quarters):
        report(place / len(quarters), f"Working out the quarter from {start:%B %Y} with the eyes before it")
        chosen = [i for i in judged if starts[i] == start]
        card = card_as_it_stood(rows, start, {str(rows[i]["patient_id"]) for i in chosen}, spec)
        forecasts: Sequence[Forecast | None] = (
            [None] * len(chosen) if card is None else card.forecast([rows[i] for i in chosen])
        )
        found.update({i: Forward(start, forecast) for i, forecast in zip(chosen, forecasts, strict=True)})
    return [found[i] for i in judged]


def card_as_it_stood(rows: Sequence[Row], start: date, without: set[str], spec: Spec) -> Card | None:
    """The model of the surgeries before `start`, patients of `without` left out; None when they cannot carry one."""
    earlier = [row for row in rows if _day(row) < start and str(row["patient_id"]) not in without]
    try:
        return train(earlier, model=spec.model, spec=spec, weights=spec.weights, resamples=0).card
    except ModelError:
        return None


def _day(row: Row) -> date:
    day = row["surgery_date"]
    if not isinstance(day, date):
        raise ModelError(
            "The quarters cannot be worked out.",
            "An eye has no surgery date.",
            "Give every row its surgery date.",
        )
    return day
