"""Does the model in use still hold, and may another take its place?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammaincc

from models.arrays import BoolArray, FloatArray, cluster_codes, has_logit, logit, matrix, outcomes, risks
from models.calibration import calibration_in_the_large, observed_expected
from models.errors import ModelError
from models.fit import fit_logistic
from models.measure import Measure

SHIFT_SD = 0.3
"""Prior SD of a shift of the practice's average within a year, on the logit; own simulations, no published source."""

FEWEST_EVENTS_FOR_SHIFT = 50
FEWEST_EVENTS_TO_TEST = 50
FEWEST_NEW_EVENTS = 10
QUARTERS = 4
MOST_MOVED = 3.0


@dataclass(frozen=True)
class ClosedTest:
    """Closed test of the model in use against three updates of it, on eyes it has not seen.

    log_likelihoods: kept as it is, average moved, average and spread moved, refitted (None: not tried).
    statistics, p_values: of the three steps, each against the largest update tried; None where a step falls away.
    choice: keep | intercept | intercept_and_slope | refit. level_moved: shift of the average on the logit;
    spread: calibration slope.
    """

    log_likelihoods: tuple[float | None, ...]
    statistics: tuple[float | None, ...]
    p_values: tuple[float | None, ...]
    choice: str
    level_moved: float
    spread: float

    @property
    def words(self) -> str:
        """What changed, in words."""
        if self.choice == "keep":
            return "No sign of change."
        if self.choice == "intercept":
            return f"The overall level moved by {self.level_moved:+.2f} in log-odds."
        if self.choice == "intercept_and_slope":
            return f"The spread of risks changed: the slope is {self.spread:.2f}."
        return "The pattern changed."


def closed_test(X: ArrayLike, y: ArrayLike, risk_in_use: ArrayLike, *, level: float = 0.05) -> ClosedTest:
    """Closed test on eyes X [n, p], y [n] with the chances that the model in use gave them beforehand.

    Columns that are constant among these eyes are not counted in p. With fewer than 5 (p + 1) cloudy eyes, or where a
    refit has no best fit, the refit stage falls away: the steps then test against moving average and spread.
    Vergouwe Y et al. Stat Med 2017;36:4529. It words what changed; it does not decide.
    """
    if not 0.0 < level < 1.0:
        raise ModelError("The test cannot be done.", "The level lies outside 0 to 1.", "Ask for 0.05.")
    outcome = outcomes(y)
    n = outcome.shape[0]
    table = matrix(X, "columns")
    if table.shape[0] != n or n == 0:
        raise ModelError(
            "The test cannot be done.", "Columns and outcomes differ in length, or are empty.", "Give the same eyes."
        )
    chance = risks(risk_in_use, n)
    if not has_logit(chance):
        raise ModelError(
            "The test cannot be done.", "A chance is exactly 0 or 1 and has no log-odds.", "Leave those eyes out."
        )
    table = table[:, table.min(axis=0) < table.max(axis=0)]
    p = table.shape[1]
    log_odds = logit(chance)
    kept = float((outcome * log_odds - np.logaddexp(0.0, log_odds)).sum())
    moved = fit_logistic(np.empty((n, 0)), outcome, offset=log_odds)
    stretched = fit_logistic(log_odds[:, None], outcome)
    refitted: float | None = None
    if p > 0 and outcome.sum() >= 5 * (p + 1):
        try:
            refitted = fit_logistic(table, outcome).log_likelihood
        except ModelError:
            refitted = None

    smaller = [kept, moved.log_likelihood, stretched.log_likelihood]
    names = ["keep", "intercept", "intercept_and_slope", "refit"]
    if refitted is None:
        largest, degrees, names = stretched.log_likelihood, [2, 1], names[:3]
    else:
        largest, degrees = refitted, [p + 1, p, p - 1]
    statistics: list[float | None] = [None, None, None]
    p_values: list[float | None] = [None, None, None]
    choice = names[-1]
    for step in reversed(range(len(degrees))):
        ratio = max(0.0, 2.0 * (largest - smaller[step]))
        chance_of_it = float(gammaincc(degrees[step] / 2.0, ratio / 2.0)) if degrees[step] > 0 else 1.0
        statistics[step], p_values[step] = ratio, chance_of_it
    for step in range(len(degrees)):
        found = p_values[step]
        if found is not None and found >= level:
            choice = names[step]
            break
    return ClosedTest(
        (kept, moved.log_likelihood, stretched.log_likelihood, refitted),
        tuple(statistics),
        tuple(p_values),
        choice,
        moved.intercept,
        float(stretched.coefficients[0]),
    )


def eyes_to_test(quarters: ArrayLike, outcome: ArrayLike) -> BoolArray | None:
    """Which eyes [n] the closed test takes: the last four quarters, or more until they hold 50 cloudy eyes.

    quarters: [n] labels that sort in time. None where too few are there to say what changed: fewer than four quarters
    with fewer than 50 cloudy eyes, a single quarter, or eyes of one kind only.
    """
    seen = outcomes(outcome)
    when = np.asarray(quarters)
    if when.shape != seen.shape:
        raise ModelError("The test cannot be done.", "An eye has no quarter.", "Give every eye one.")
    labels = np.unique(when)
    taken = min(QUARTERS, labels.shape[0])
    while taken < labels.shape[0] and seen[np.isin(when, labels[-taken:])].sum() < FEWEST_EVENTS_TO_TEST:
        taken += 1
    chosen = np.isin(when, labels[labels.shape[0] - taken :])
    cloudy, eyes = int(seen[chosen].sum()), int(chosen.sum())
    enough = taken >= QUARTERS or (taken > 1 and cloudy >= FEWEST_EVENTS_TO_TEST)
    return chosen if enough and 0 < cloudy < eyes else None


@dataclass(frozen=True)
class Shift:
    """Shift of the average on the logit: what the eyes say, its standard error, and what is applied of it."""

    applied: float
    estimate: float | None
    se: float | None
    events: int


def level_shift(risk: ArrayLike, outcome: ArrayLike, *, clusters: ArrayLike | None = None) -> Shift:
    """Shrunken shift a* = a 0.09 / (0.09 + se^2) of the average from the last quarters' eyes.

    Nothing is applied with fewer than 50 cloudy eyes.
    """
    seen = outcomes(outcome)
    chance = risks(risk, seen.shape[0])
    events = int(seen.sum())
    if events < FEWEST_EVENTS_FOR_SHIFT or events == seen.shape[0] or not has_logit(chance):
        return Shift(0.0, None, None, events)
    codes = None if clusters is None else cluster_codes(clusters, seen.shape[0])
    found = calibration_in_the_large(chance, seen, codes)
    se = found.se or 0.0
    return Shift(found.value * SHIFT_SD**2 / (SHIFT_SD**2 + se**2), found.value, se, events)


def log_loss(risk: ArrayLike, outcome: ArrayLike) -> FloatArray:
    """Minus log-likelihood of each eye, [n]; chances must lie strictly between 0 and 1."""
    seen = outcomes(outcome)
    chance = risks(risk, seen.shape[0])
    if not has_logit(chance):
        raise ModelError("The loss cannot be worked out.", "A chance is exactly 0 or 1.", "Leave those eyes out.")
    return np.asarray(-(seen * np.log(chance) + (1.0 - seen) * np.log1p(-chance)))


@dataclass(frozen=True)
class Verdict:
    """The program's verdict on a candidate; a person decides.

    word: stop | keep | adopt_may_be_considered, with reasons. difference: mean loss in use less mean loss of the
    candidate over the eyes compared (above 0: the candidate is nearer), se by patient. mean_change: mean absolute
    change of the chance on the last quarter's eyes.
    """

    word: str
    reasons: tuple[str, ...]
    difference: float
    se: float
    quarters: int
    n: int
    events: int
    patients: int
    observed_expected_in_use: Measure
    observed_expected_candidate: Measure
    mean_change: float


def forward_verdict(
    risk_in_use: ArrayLike,
    risk_candidate: ArrayLike,
    outcome: ArrayLike,
    *,
    quarters: ArrayLike,
    patients: ArrayLike,
    new_quarters: int,
    new_events: int,
    moved: Mapping[str, float] | None = None,
    explained: Sequence[str] = (),
    stops: Sequence[str] = (),
) -> Verdict:
    """Candidate against the model in use on eyes that neither had seen, over the last four quarters given.

    risk_in_use, risk_candidate: [n], the candidate's as it stood before the eye's quarter; quarters: [n] labels that
    sort in time; patients: [n]. new_quarters, new_events: whole quarters and cloudy eyes since the model in use was
    made. moved: {term: change of its coefficient in posterior SDs of the model in use}; explained: terms whose move has
    an explanation. stops: reasons of the caller's why the data cannot carry a refit at all.

    Stop: no new quarter, fewer than 10 new cloudy eyes, or a reason in `stops`. Keep: the candidate is farther off by
    more than one standard error, its seen over forecast excludes 1 and is no nearer to 1, or a term moved more than 3
    posterior SDs without an explanation. Else adoption may be considered. The rule comes from own simulations.
    """
    seen = outcomes(outcome)
    n = seen.shape[0]
    in_use, candidate = risks(risk_in_use, n), risks(risk_candidate, n)
    when = np.asarray(quarters)
    if n == 0 or when.shape != (n,):
        raise ModelError("The models cannot be compared.", "There are no eyes with a quarter.", "Give every eye one.")
    codes = cluster_codes(patients, n)
    last = np.unique(when)[-QUARTERS:]
    chosen = np.isin(when, last)
    in_use, candidate, seen = in_use[chosen], candidate[chosen], seen[chosen]
    codes = cluster_codes(codes[chosen], int(chosen.sum()))
    latest = when[chosen] == last[-1]

    gain = log_loss(in_use, seen) - log_loss(candidate, seen)
    difference = float(gain.mean())
    size = int(codes.max()) + 1
    by_patient = np.bincount(codes, weights=gain - difference)
    se = math.sqrt(float(by_patient @ by_patient) * size / max(size - 1, 1)) / gain.shape[0]
    ratio_in_use = observed_expected(in_use, seen, codes)
    ratio_candidate = observed_expected(candidate, seen, codes)

    stopping = list(stops)
    if new_quarters < 1:
        stopping.append("No quarter has been completed since the model in use was made.")
    if new_events < FEWEST_NEW_EVENTS:
        stopping.append(f"There are {new_events} new cloudy eyes; {FEWEST_NEW_EVENTS} are needed.")
    keeping = []
    if difference < -se or (se == 0.0 and difference < 0.0):
        keeping.append("The candidate was farther off by more than one standard error.")
    if not _level_holds(ratio_in_use, ratio_candidate):
        keeping.append("Seen over forecast of the candidate excludes 1 and is no nearer to 1 than that in use.")
    for term, sds in (moved or {}).items():
        if abs(sds) > MOST_MOVED and term not in explained:
            keeping.append(f"{term} moved by {abs(sds):.1f} standard errors without an explanation.")
    word = "stop" if stopping else "keep" if keeping else "adopt_may_be_considered"
    reasons = stopping + keeping or ["The candidate was not farther off by more than one standard error."]
    return Verdict(
        word,
        tuple(reasons),
        difference,
        se,
        int(last.shape[0]),
        int(seen.shape[0]),
        int(seen.sum()),
        size,
        ratio_in_use,
        ratio_candidate,
        float(np.abs(candidate - in_use)[latest].mean()),
    )


def _level_holds(in_use: Measure, candidate: Measure) -> bool:
    if candidate.low is not None and candidate.high is not None and candidate.low <= 1.0 <= candidate.high:
        return True
    if candidate.value <= 0.0 or in_use.value <= 0.0:
        return abs(candidate.value - 1.0) < abs(in_use.value - 1.0)
    return abs(math.log(candidate.value)) < abs(math.log(in_use.value))
