"""How much better a model looks on the eyes it learnt from than on others: bootstrap over patients.

Harrell FE et al. Stat Med 1996;15:361; Steyerberg EW et al. J Clin Epidemiol 2001;54:774 (both from memory).

Optimism = figure on the eyes drawn - figure of that very fit on the original eyes; corrected = apparent - mean. Two
ways: *redone*, every resample learns yardsticks, blanks, knots, centring and fit anew, and the own-records-only model
its columns and penalty; *frozen*, the blanks stay as all eyes filled them and only the fit is redone, a thousand times
in the time of twenty. What resamples find is scored for many of them together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from models.arrays import BoolArray, FloatArray, IntArray, expit, logit
from models.blanks import Blanks
from models.dataset import Dataset
from models.errors import ModelError
from models.frozen import FrozenFits
from models.missing import Normal
from models.newton import newton
from models.penalty import OwnFit, fit_own, usable_columns
from models.prior_table import PriorTable
from models.progress import Report, silent
from models.recipe import EnergyColumn, Laid, Pass, averaged_log_odds, lay_out
from models.refit import alone, groups, in_groups
from models.resampling import drawn_patients
from models.scoring import Scores, score_many
from models.spec import Spec, TermKind

FIGURES = ("c_statistic", "brier", "calibration_in_the_large", "calibration_slope")

REDONE, FROZEN = "redone", "frozen"

Figures = dict[str, float | None]

_AT_ONCE = 8
"""Resamples with everything redone between two looks at whether to go on."""


@dataclass(frozen=True, eq=False)
class Study:
    """All that a resample needs: the data, the first answer to start from, and whether fields were linked by EM."""

    spec: Spec
    data: Dataset
    blanks: Blanks
    papers: PriorTable
    weights: FloatArray
    full: Pass
    linked: bool
    own: OwnFit | None
    seed: int


@dataclass(frozen=True, slots=True)
class Corrected:
    """Apparent figures and the same less the mean optimism, for the model and the own-records-only model.

    resamples: how many counted; failed: how many had no fit (too few cloudy eyes drawn, or no best fit); blanks: what
    the resamples did about them, `redone` or `frozen`. se: spread of the optimism over the resamples, per figure,
    divided by the root of their number: how far the mean itself may be off.
    """

    apparent: Figures
    corrected: Figures
    own_apparent: Figures | None
    own_corrected: Figures | None
    resamples: int
    failed: int
    blanks: str
    se: Figures


class _Gathered:
    """Optimism of each figure, resample by resample."""

    def __init__(self) -> None:
        self.differences: dict[str, list[float]] = {name: [] for name in FIGURES}

    def add(self, here: Scores, there: Scores) -> None:
        for name in FIGURES:
            away = getattr(here, name) - getattr(there, name)
            self.differences[name].extend(away[np.isfinite(away)].tolist())

    def less(self, apparent: Figures) -> Figures:
        """Apparent figures less the mean optimism; None where no resample had the figure."""
        return {
            name: None if value is None or not found else value - math.fsum(found) / len(found)
            for (name, value), found in zip(apparent.items(), self.differences.values(), strict=True)
        }

    def errors(self) -> Figures:
        return {
            name: float(np.std(found, ddof=1) / math.sqrt(len(found))) if len(found) > 1 else None
            for name, found in self.differences.items()
        }


def correct_optimism(
    study: Study, resamples: int, report: Report = silent, *, blanks: str = REDONE, threads: int | None = None
) -> Corrected:
    """Draw patients with replacement `resamples` times, refit, and take what the figures lose on the original eyes."""
    apparent = figures(study.full.risk, study.data.y, study.weights)
    own_risk = None if study.own is None else expit(own_log_odds(study.own, study.full))
    own_apparent = None if own_risk is None else figures(own_risk, study.data.y, study.weights)
    gathered, own_gathered = _Gathered(), _Gathered()
    if blanks == FROZEN:
        failed = _frozen(study, resamples, gathered, own_gathered, report, threads)
    else:
        failed = _redone(study, resamples, gathered, own_gathered, report)
    return Corrected(
        apparent,
        gathered.less(apparent),
        own_apparent,
        None if own_apparent is None else own_gathered.less(own_apparent),
        resamples - failed,
        failed,
        blanks,
        gathered.errors(),
    )


def figures(risk: FloatArray, y: FloatArray, weights: FloatArray) -> Figures:
    """The four figures of one forecast, None where one cannot be worked out."""
    (scores,) = score_many(logit(risk)[None, :], y, (weights,), exact=True)
    return {name: float(value) if math.isfinite(value) else None for name in FIGURES for value in getattr(scores, name)}


def own_log_odds(own: OwnFit, laid: Laid) -> FloatArray:
    """Log-odds [n] of the own-records-only model, averaged over the blanks like the other's."""
    slopes = np.zeros((1, laid.filled.values.shape[1]))
    slopes[0, own.used] = own.coefficients
    return np.asarray(own.linear_predictor(laid.filled.values) * laid.filled.shrinking(slopes)[0])


def yes_no_columns(spec: Spec) -> BoolArray:
    """Which base columns hold only 0 and 1, [q] bool."""
    return np.asarray([term.kind is TermKind.CODED for term in spec.base])


def _redone(study: Study, resamples: int, gathered: _Gathered, own_gathered: _Gathered, report: Report) -> int:
    data = study.data
    energy = EnergyColumn(study.spec, data)
    failed = 0
    for part in groups(resamples, _AT_ONCE):
        drawn = drawn_patients(part, data.patients, data.y, study.seed)[data.patients]
        found, own_found, kept, own_kept = [], [], [], []
        for k in range(part.stop - part.start):
            counts = drawn[:, k].astype(np.int64)
            table = energy.rescored(data.columns, counts)
            try:
                laid, log_odds = _redo(study, table, counts)
            except ModelError:
                failed += 1
                continue
            found.append(log_odds)
            kept.append(counts * study.weights)
            own = _own(study, table, laid, counts)
            if own is not None:
                own_found.append(own_log_odds(own, laid))
                own_kept.append(kept[-1])
        for into, those, weights in ((gathered, found, kept), (own_gathered, own_found, own_kept)):
            if those:
                into.add(*score_many(np.stack(those), data.y, (np.stack(weights), study.weights)))
        report(part.stop / resamples, f"{part.stop} of {resamples} resamples of the patients done.")
    return failed


def _frozen(
    study: Study, resamples: int, gathered: _Gathered, own_gathered: _Gathered, report: Report, threads: int | None
) -> int:
    data, weights = study.data, study.weights
    fits = FrozenFits(study.spec, study.full, data.y, weights, data.patients, study.own)

    def work(part: slice) -> list[tuple[_Gathered, Scores, Scores]]:
        found = []
        for both, counted in fits.resampled(part, study.seed):
            for into, odds in zip((gathered, own_gathered), both, strict=False):
                here, there = score_many(odds, data.y, (counted, weights))
                found.append((into, here, there))
        return found

    for _, answers in in_groups(work, resamples, report, threads):
        for into, here, there in answers:
            into.add(here, there)
    return 0


def _redo(study: Study, table: FloatArray, counts: IntArray) -> tuple[Laid, FloatArray]:
    """Everything again on the eyes drawn: how they are laid out, and the log-odds of all eyes."""
    weights = counts * study.weights
    if study.linked:
        normal = study.blanks.relearn(table, weights, study.full.normal)
    else:
        normal = Normal.independent(table, weights=weights)
    laid = lay_out(study.spec, study.blanks, table, normal, study.papers, weights=weights, counts=counts)
    cloudy = weights * study.data.y
    slopes = study.full.fit.coefficients
    start = np.concatenate([[study.full.fit.intercept + (laid.centre - study.full.centre) @ slopes], slopes])
    b = newton(laid.design, weights, cloudy, laid.prior, start)
    if b is None:
        b = alone(laid.design, weights, cloudy, laid.prior)
    return laid, averaged_log_odds(study.spec, laid, b[None, :])[0]


def _own(study: Study, table: FloatArray, laid: Laid, counts: IntArray) -> OwnFit | None:
    """The own-records-only model on the eyes drawn; None where they carry none."""
    used = usable_columns(table, counts.astype(np.float64), yes_no_columns(study.spec))
    if study.own is None or not used:
        return None
    data = study.data
    try:
        return fit_own(
            laid.filled.values, data.y, counts * study.weights, data.patients, used, seed=study.seed, exact=False
        )  # fmt: skip
    except ModelError:
        return None
