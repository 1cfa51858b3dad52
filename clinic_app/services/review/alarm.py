"""The practice's alarm chart: forecasts beforehand in order of surgery, and a limit chosen for these forecasts.

Steiner SH, Cook RJ, Farewell VT, Treasure T. Biostatistics 2000;1:441.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from datetime import date, timedelta

from clinic_app.domain.reviewed import AlarmChart, AlarmPoint, AlarmSide
from clinic_app.errors import Refusal
from clinic_app.services.review.eyes import Eye
from models.alarm import cusum_year_limit
from models.card import Card
from models.errors import ModelError
from models.watching import SIGNAL_WORDS, watch

WORSE, BETTER = 2.0, 0.5
"""Odds ratios that the two sides of the chart look for."""
FALSE_ALARM = 0.2
"""Chance of a false alarm within a year, on each side."""
YEAR = timedelta(days=365)
FEWEST_EYES = 50
AFTERWARDS = "The alarm chart needs forecasts made beforehand."
TOO_FEW = f"Too few eyes with a forecast beforehand for an alarm chart (fewer than {FEWEST_EYES})."


def alarm_chart(eyes: Sequence[Eye], basis: str, card: Callable[[str], Card]) -> AlarmChart:
    """The chart of graded eyes in order of surgery; absent with its reason where it cannot be drawn.

    It starts anew with the first eye forecast by another model. The limit holds for the forecasts and the number of
    eyes of the last year, and takes in how far the level of the model in use may itself be off.
    """
    if basis != "beforehand":
        return AlarmChart(why=AFTERWARDS)
    if len(eyes) < FEWEST_EYES:
        return AlarmChart(why=TOO_FEW)
    restarts = _restarts(eyes)
    last_day = eyes[-1].key.surgery_date
    recent = [eye for eye in eyes if eye.key.surgery_date > last_day - YEAR]
    spanned = max((last_day - eyes[0].key.surgery_date).days + 1, 1)
    a_year = round(len(recent) * max(1.0, YEAR.days / spanned))
    level_error = _level_error(eyes[-1].model_id, card)
    try:
        sides = tuple(_side(eyes, recent, ratio, a_year, level_error or 0.0, restarts) for ratio in (WORSE, BETTER))
    except ModelError as refused:
        return AlarmChart(why=f"{refused.what} {refused.why}")
    worse, better = sides
    return AlarmChart(
        worse=worse,
        better=better,
        false_alarm=FALSE_ALARM,
        eyes_a_year=a_year,
        level_error=level_error,
        restarts=tuple(restarts),
        first_look=SIGNAL_WORDS,
    )


def _restarts(eyes: Sequence[Eye]) -> list[date]:
    """Days of surgery of the first eye of each model but the first."""
    begun: dict[str, date] = {}
    for eye in eyes:
        begun.setdefault(eye.model_id, eye.key.surgery_date)
    return sorted(begun.values())[1:]


def _level_error(model_id: str, card: Callable[[str], Card]) -> float | None:
    """Standard error of the model's average on the logit, 1/sqrt(n p (1 - p)) over the eyes it was made from.

    None where its card cannot be read.
    """
    try:
        made = card(model_id)
    except (ModelError, Refusal):
        return None
    n = int(made.training["n"])
    rate = made.cloudy / n
    return 1.0 / math.sqrt(n * rate * (1.0 - rate))


def _side(
    eyes: Sequence[Eye], recent: Sequence[Eye], ratio: float, a_year: int, level_error: float, restarts: list[date]
) -> AlarmSide:
    limit = cusum_year_limit(
        [eye.risk for eye in recent], odds_ratio=ratio, eyes=a_year, level_sd=level_error, false_alarm=FALSE_ALARM
    )
    days = [eye.key.surgery_date for eye in eyes]
    found = watch(
        [eye.risk for eye in eyes],
        [eye.seen for eye in eyes],
        odds_ratio=ratio,
        limit=limit,
        days=days,
        patients=[eye.key.patient_id for eye in eyes],
        restarts=restarts,
    )
    heights = found.path.tolist()
    charted = [days[one] for one in found.order.tolist()]
    ends = {day: place for place, day in enumerate(charted)}
    return AlarmSide(
        odds_ratio=ratio,
        limit=limit,
        points=tuple(AlarmPoint(day, place + 1, heights[place]) for day, place in ends.items()),
        signals=tuple(charted[place] for place in found.signals),
    )
