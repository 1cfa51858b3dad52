"""The alarm chart: a cumulative sum that takes each eye's own chance into account, and where its limit belongs.

Steiner SH, Cook RJ, Farewell VT, Treasure T. Monitoring surgical performance using risk-adjusted cumulative sum charts.
Biostatistics 2000;1:441.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq
from scipy.special import expit

from models.arrays import FloatArray, frozen, has_logit, logit, outcomes, risks
from models.errors import ModelError

_STATES = 800
_YEAR_STATES = 400
_FEWEST_STATES = 20
_HIGHEST = 20.0
_LEVELS = 9
"""Points of the normal distribution over which the level error of a model is averaged."""


@dataclass(frozen=True, eq=False)
class Cusum:
    """Per eye: the weight it adds and the height of the chart after it, never below 0."""

    weights: FloatArray
    path: FloatArray


def cusum(risk: ArrayLike, outcome: ArrayLike, *, odds_ratio: float) -> Cusum:
    """Weights y ln R - ln(1 - p + R p) and path S = max(0, S + w), in the order given.

    odds_ratio R: the change that the chart looks for; above 1 more cloudy eyes, below 1 fewer.
    """
    _refuse_ratio(odds_ratio)
    seen = outcomes(outcome)
    chance = risks(risk, seen.shape[0])
    weights = seen * math.log(odds_ratio) - np.log1p((odds_ratio - 1.0) * chance)
    path = np.empty_like(weights)
    height = 0.0
    for t, weight in enumerate(weights.tolist()):
        height = max(0.0, height + weight)
        path[t] = height
    return Cusum(frozen(weights), frozen(path))


def cusum_run_length(
    risks: ArrayLike, *, odds_ratio: float, limit: float, true_odds_ratio: float = 1.0, states: int = _STATES
) -> float:
    """Average number of eyes until the chart reaches `limit` when eyes come at random from these chances.

    true_odds_ratio: how far the true odds are from the forecast; 1 gives the run to a false alarm. Solves the chart's
    Markov chain with heights interpolated linearly between `states` equally spaced ones.
    """
    chance = _chances(risks)
    _refuse_ratio(odds_ratio)
    _refuse_limit(limit)
    if not (np.isfinite(true_odds_ratio) and true_odds_ratio > 0.0):
        raise _refusal("The true odds ratio must be above 0.")
    if states < _FEWEST_STATES or int(states) != states:
        raise _refusal(f"The chain needs {_FEWEST_STATES} heights or more.")
    return _run_length(chance, odds_ratio, limit, true_odds_ratio, states)


def cusum_limit(risks: ArrayLike, *, odds_ratio: float, run_length: float, seed: int = 1) -> float:
    """The limit at which a false alarm comes once in `run_length` eyes on average, found on the chain (Brent's method).

    The chain needs no random numbers: any `seed` gives the same limit. It stands in the call for whoever finds the
    limit by simulation instead.
    """
    chance = _chances(risks)
    _refuse_ratio(odds_ratio)
    if not (np.isfinite(run_length) and run_length > 1.0):
        raise _refusal("The run length must be above one eye.")

    def beyond(limit: float) -> float:
        return math.log(_run_length(chance, odds_ratio, limit, 1.0, _STATES) / run_length)

    return _limit(beyond, 1e-6, "So long a run cannot be promised with these chances.")


def cusum_false_alarm(risks: ArrayLike, *, odds_ratio: float, limit: float, eyes: int, level_sd: float = 0.0) -> float:
    """Chance that a running chart reaches `limit` within a year of `eyes` eyes although nothing changed.

    1 - exp(-eyes / run length), for a chart that has run for a while; in the first year after a start at 0 it is a
    little less. level_sd: standard error of the model's own average on the logit; the chance is averaged over that
    error, taken as normal, since a model that runs a little low alarms more often.
    """
    chance = _chances(risks)
    _refuse_ratio(odds_ratio)
    _refuse_limit(limit)
    _refuse_year(eyes, level_sd)
    return _within(chance, odds_ratio, limit, eyes, level_sd)


def cusum_year_limit(
    risks: ArrayLike, *, odds_ratio: float, eyes: int, level_sd: float = 0.0, false_alarm: float = 0.2
) -> float:
    """The limit at which a false alarm within a year of `eyes` eyes has the chance `false_alarm`.

    Averaged over the model's own level error as in `cusum_false_alarm`. To be worked out anew for each model.
    """
    chance = _chances(risks)
    _refuse_ratio(odds_ratio)
    _refuse_year(eyes, level_sd)
    if not 0.0 < false_alarm < 1.0:
        raise _refusal("The chance of a false alarm must lie between 0 and 1.")

    def beyond(limit: float) -> float:
        return false_alarm - _within(chance, odds_ratio, limit, eyes, level_sd)

    return _limit(beyond, 1e-4, "So rare an alarm cannot be promised with these chances.")


def _limit(beyond: Callable[[float], float], near: float, why_not: str) -> float:
    """The limit from which `beyond`, rising with it, is no longer below 0; within `near`."""
    low, high = 1e-6, 1.0
    if beyond(low) >= 0.0:
        return low
    while beyond(high) < 0.0:
        low, high = high, high + 1.0
        if high > _HIGHEST:
            raise _refusal(why_not)
    return float(brentq(beyond, low, high, xtol=near))


def _within(chance: FloatArray, odds_ratio: float, limit: float, eyes: int, level_sd: float) -> float:
    points, shares = np.polynomial.hermite_e.hermegauss(_LEVELS if level_sd > 0.0 else 1)
    lengths = [
        _run_length(chance, odds_ratio, limit, math.exp(level_sd * point), _YEAR_STATES) for point in points.tolist()
    ]
    return float(-shares @ np.expm1(-eyes / np.asarray(lengths)) / shares.sum())


def _run_length(chance: FloatArray, odds_ratio: float, limit: float, true_odds_ratio: float, states: int) -> float:
    true = expit(logit(chance) + math.log(true_odds_ratio))
    down = -np.log1p((odds_ratio - 1.0) * chance)
    steps = np.concatenate([down, down + math.log(odds_ratio)])
    shares = np.concatenate([1.0 - true, true]) / chance.shape[0]
    # A step of so many gaps lands between two heights and is shared between them in proportion.
    gap = limit / (states - 1)
    gaps = np.clip(np.floor(steps / gap), -states, states).astype(np.int64)
    part = np.clip(steps / gap - gaps, 0.0, 1.0)
    to_lower = np.bincount(gaps + states, shares * (1.0 - part), minlength=2 * states + 1)
    to_upper = np.bincount(gaps + states, shares * part, minlength=2 * states + 1)
    place = np.arange(states)
    lower = place[None, :] - place[:, None] + states
    moves = to_lower[lower]
    moves[:, 1:] += to_upper[lower[:, :-1]]
    # The last height is the limit from below: who lands at or above it has raised the alarm.
    moves[:, -1] -= to_lower[lower[:, -1]]
    moves[:, 0] += np.cumsum(to_lower + to_upper)[states - 1 - place]
    return float(np.linalg.solve(np.eye(states) - moves, np.ones(states))[0])


def _chances(values: ArrayLike) -> FloatArray:
    chance = risks(values)
    if chance.shape[0] == 0 or not has_logit(chance):
        raise _refusal("There are no chances, or one is exactly 0 or 1.")
    return chance


def _refuse_ratio(odds_ratio: float) -> None:
    if not (np.isfinite(odds_ratio) and odds_ratio > 0.0 and odds_ratio != 1.0):
        raise _refusal("The odds ratio must be above 0 and not 1.")


def _refuse_limit(limit: float) -> None:
    if not (np.isfinite(limit) and limit > 0.0):
        raise _refusal("The limit must be above zero.")


def _refuse_year(eyes: int, level_sd: float) -> None:
    if not (eyes >= 1 and int(eyes) == eyes):
        raise _refusal("The year needs one eye or more, counted whole.")
    if not (np.isfinite(level_sd) and level_sd >= 0.0):
        raise _refusal("The level error must be zero or more.")


def _refusal(why: str) -> ModelError:
    return ModelError("The alarm chart cannot be drawn.", why, "Correct the figures.")
