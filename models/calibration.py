"""Are forecast and seen the same on average, at every level of the forecast? Calibration with its uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array
from scipy.special import expit, gammaincinv

from models.adequacy import wilson
from models.arrays import FloatArray, IntArray, frozen, logit
from models.cells import cells
from models.errors import ModelError
from models.fit import LogisticFit, fit_logistic
from models.groups import groups
from models.measure import Z95, Measure
from models.prior import Prior
from models.refit import refit_many, refit_once, refit_outcomes
from models.resampling import drawn_patients
from models.spline import quantile_knots, restricted_cubic

FEWEST_EVENTS_FOR_SLOPE = 20
"""Below this many cloudy eyes the calibration slope is printed as not estimable; common practice, no source."""

NULL_SIMULATIONS = 400
_GRID = 60

_AT_ONCE = 16
"""Resamples drawn together, so that ten million eyes need no more than a few hundred MB."""


def calibration_in_the_large(risk: FloatArray, outcome: FloatArray, codes: IntArray | None = None) -> Measure:
    """Intercept a of logit(cloudy) = a + logit(risk), 0 when the average is right.

    Cox DR. Biometrika 1958;45:562; Van Calster B et al. BMC Med 2019;17:230. Standard error by patient when given.
    """
    fit = fit_logistic(np.empty((risk.shape[0], 0)), outcome, offset=logit(risk), clusters=codes)
    return Measure.symmetric(fit.intercept, float(_errors(fit)[0]))


def calibration_slope(risk: FloatArray, outcome: FloatArray, codes: IntArray | None = None) -> Measure:
    """Slope b of logit(cloudy) = a + b logit(risk), 1 when the spread of the chances is right. Sources as above."""
    fit = fit_logistic(logit(risk)[:, None], outcome, clusters=codes)
    return Measure.symmetric(float(fit.coefficients[0]), float(_errors(fit)[1]))


def level_and_slope(log_odds: FloatArray, outcome: FloatArray, weight: FloatArray) -> tuple[float, float | None]:
    """Calibration-in-the-large and slope alone, fast; the slope is None where it has no best fit."""
    events, level, step = float(weight @ outcome), 0.0, 1.0
    while abs(step) > 1e-10:
        risk = expit(log_odds + level)
        information = max(float(weight @ (risk * (1.0 - risk))), 1e-300)
        # The sum of chances rises steadily with the level; steps of 1 at most cannot run away.
        step = min(max((float(weight @ risk) - events) / information, -1.0), 1.0)
        level -= step
    try:
        return level, float(refit_once(log_odds[:, None], outcome, weight)[1])
    except ModelError:
        return level, None


def observed_expected(risk: FloatArray, outcome: FloatArray, codes: IntArray | None = None) -> Measure:
    """Cloudy eyes seen over cloudy eyes forecast.

    Independent eyes: exact Poisson limits of the number seen. With patients: var(O) = sum over patients of
    (sum of (y - p))^2, limits symmetric on the log scale; exact Poisson limits where none was seen.
    """
    observed, expected = float(outcome.sum()), float(risk.sum())
    if expected <= 0.0:
        raise ModelError("Seen over forecast cannot be worked out.", "No cloudy eye was forecast.", "Give chances.")
    value = observed / expected
    if codes is not None and observed > 0.0:
        spread = np.bincount(codes, weights=outcome - risk)
        se = math.sqrt(float(spread @ spread))
        factor = math.exp(Z95 * se / observed)
        return Measure(value, se / expected, value / factor, value * factor)
    low, high = poisson_limits(observed)
    return Measure(value, math.sqrt(observed) / expected, low / expected, high / expected)


def poisson_limits(count: float, level: float = 0.95) -> tuple[float, float]:
    """Exact limits of a Poisson mean when `count` was seen. Garwood F. Biometrika 1936;28:437 (from memory)."""
    tail = (1.0 - level) / 2.0
    low = float(gammaincinv(count, tail)) if count > 0.0 else 0.0
    return low, float(gammaincinv(count + 1.0, 1.0 - tail))


@dataclass(frozen=True)
class Group:
    """Eyes with like chances: how many, mean chance, share seen cloudy with its Wilson interval."""

    n: int
    mean_risk: float
    observed: float
    low: float
    high: float


def grouped(risk: FloatArray, outcome: FloatArray) -> tuple[Group, ...]:
    """Quantile groups of the chance, max(2, min(10, cloudy // 8)) of them; fewer where many chances are equal."""
    number = max(2, min(10, int(outcome.sum()) // 8))
    edges = np.quantile(risk, np.linspace(0.0, 1.0, number + 1)[1:-1])
    place = np.searchsorted(edges, risk, side="left")
    found = []
    for k in np.unique(place):
        within = place == k
        n, seen = int(within.sum()), float(outcome[within].sum())
        low, high = wilson(seen, n)
        found.append(Group(n, float(risk[within].mean()), seen / n, low, high))
    return tuple(found)


@dataclass(frozen=True, eq=False)
class SmoothFit:
    """The fitted curve logit(cloudy) = spline(logit(risk)): its knots, coefficients and the curve at each eye."""

    knots: FloatArray
    coefficients: FloatArray
    at_eyes: FloatArray

    def basis(self, log_odds: FloatArray) -> FloatArray:
        """Spline columns of log-odds [m]."""
        return restricted_cubic(log_odds, self.knots)


@dataclass(frozen=True)
class CurvePoint:
    """One point of the smooth curve: chance, share seen, pointwise 95 % band."""

    risk: float
    observed: float
    low: float
    high: float


@dataclass(frozen=True)
class Distance:
    """How far the smooth curve lies from the ideal over the eyes: mean (ICI), median (E50), 90th percentile (E90).

    Austin PC, Steyerberg EW. Stat Med 2019;38:4051.
    """

    ici: float
    e50: float
    e90: float


@dataclass(frozen=True)
class IfPerfect:
    """ICI that a perfect model would score on as many eyes with these chances: mean and 95th percentile."""

    mean: float
    p95: float


def smooth(risk: FloatArray, outcome: FloatArray, *, knots: int | None = None) -> SmoothFit:
    """Restricted cubic spline of the log-odds; 3 knots below 100 cloudy eyes, else 5 (3 where equal chances leave
    no room for 5).

    Austin PC, Steyerberg EW. Stat Med 2014;33:517 (from memory). Raises ModelError where the chances are too few or
    too equal for a curve, Separation where the curve has no best fit.
    """
    log_odds = logit(risk)
    number = knots or (3 if outcome.sum() < 100 else 5)
    try:
        at = quantile_knots(log_odds, number)
    except ModelError:
        # Scores with few different values: their outer fifths may be one value where their tenths are not.
        at = quantile_knots(log_odds, 3)
    basis = restricted_cubic(log_odds, at)
    fit = fit_logistic(basis, outcome)
    return SmoothFit(at, np.concatenate([[fit.intercept], fit.coefficients]), fit.predict(basis))


def distance(curve: SmoothFit, risk: FloatArray) -> Distance:
    """ICI, E50 and E90 of a curve over the eyes it was fitted to."""
    away = np.abs(curve.at_eyes - risk)
    return Distance(float(away.mean()), float(np.median(away)), float(np.quantile(away, 0.9)))


def curve_with_band(
    curve: SmoothFit, risk: FloatArray, outcome: FloatArray, codes: IntArray, *, resamples: int, seed: int
) -> tuple[CurvePoint, ...]:
    """The curve between the 2nd and 98th percentile of the chance, with a pointwise 95 % band.

    The band comes from refits on `resamples` draws of patients with replacement (knots kept); each is held, very
    loosely, near the curve so that none runs away. Draws without a cloudy or a clear eye are drawn anew. Beyond 2048
    eyes those drawn are counted and the curves refitted cell by cell.
    """
    ends = logit(np.quantile(risk, [0.02, 0.98]))
    at = np.linspace(ends[0], ends[1], _GRID)
    alike = cells(logit(risk), outcome)
    basis = curve.basis(alike.log_odds)
    centre, loose = _loosely_near(curve, basis, alike.eyes)
    columns = (basis - centre[0]) / centre[1]
    # How many eyes of each cell each patient has: the product with the draws counts the eyes drawn of each cell.
    whose = csr_array((np.ones(codes.shape[0], dtype=np.int32), (alike.of, codes)))
    drawn = np.concatenate(
        [
            (whose @ drawn_patients(part, codes, outcome, seed).astype(np.int32)).T
            for part in groups(resamples, _AT_ONCE)
        ]
    )
    drawn = drawn.astype(np.min_scalar_type(drawn.max()))
    refits = refit_many(columns, alike.mean(outcome), drawn, prior=loose)
    new = np.column_stack([np.ones(_GRID), (curve.basis(at) - centre[0]) / centre[1]])
    low, high = np.quantile(expit(refits @ new.T), [0.025, 0.975], axis=0)
    middle = expit(np.column_stack([np.ones(_GRID), curve.basis(at)]) @ curve.coefficients)
    rows = zip(expit(at), middle, np.minimum(low, middle), np.maximum(high, middle), strict=True)
    return tuple(CurvePoint(*map(float, row)) for row in rows)


def distance_if_perfect(
    curve: SmoothFit, risk: FloatArray, *, seed: int, simulations: int = NULL_SIMULATIONS
) -> IfPerfect:
    """What the ICI comes to when every chance is exactly right: outcomes drawn from the chances, curves refitted.

    Curves have the knots of `curve`; each refit is held, very loosely, near the ideal so that none runs away. Beyond
    2048 eyes outcomes are drawn, curves refitted and distances averaged cell by cell.
    """
    rng = np.random.default_rng(seed)
    alike = cells(logit(risk))
    chance = alike.mean(risk)
    basis = curve.basis(alike.log_odds)
    ideal = SmoothFit(curve.knots, np.concatenate([[0.0, 1.0], np.zeros(basis.shape[1] - 1)]), risk)
    centre, loose = _loosely_near(ideal, basis, alike.eyes)
    columns = (basis - centre[0]) / centre[1]
    drawn = np.stack([_drawn(rng, chance, alike.eyes) for _ in range(simulations)])
    refits = refit_outcomes(columns, drawn, eyes=alike.eyes, prior=loose)
    design = np.column_stack([np.ones(columns.shape[0]), columns])
    scores = np.abs(expit(refits @ design.T) - chance) @ alike.eyes / risk.shape[0]
    return IfPerfect(float(scores.mean()), float(np.quantile(scores, 0.95)))


def _drawn(rng: np.random.Generator, chance: FloatArray, eyes: FloatArray) -> IntArray:
    """Cloudy eyes [m] of cells of `eyes` [m] with these chances [m]; some are cloudy and some are not."""
    while True:
        if eyes.max() == 1.0:
            drawn = (rng.random(chance.shape[0]) < chance).astype(np.int64)
        else:
            drawn = rng.binomial(eyes.astype(np.int64), chance)
        if 0 < drawn.sum() < eyes.sum():
            return drawn


def _loosely_near(curve: SmoothFit, basis: FloatArray, eyes: FloatArray) -> tuple[tuple[FloatArray, FloatArray], Prior]:
    """Centre and scale of the basis [m, k] of cells of `eyes` [m], and a prior at the curve whose widths are ten times
    its standard errors."""
    centre = eyes @ basis / eyes.sum()
    scale = np.sqrt(eyes @ (basis - centre) ** 2 / eyes.sum())
    columns = (basis - centre) / scale
    eta = np.column_stack([np.ones(basis.shape[0]), basis]) @ curve.coefficients
    risk = expit(eta)
    information = (columns * (eyes * risk * (1.0 - risk))[:, None]).T @ columns
    return (centre, scale), Prior(curve.coefficients[1:] * scale, information / 100.0)


def _errors(fit: LogisticFit) -> FloatArray:
    robust = fit.robust_standard_errors
    return frozen(fit.standard_errors if robust is None else robust)
