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
from models.groups import groups, in_groups
from models.missing import Normal
from models.newton import newton
from models.penalty import OwnFit, fit_own, usable_columns
from models.prior_table import PriorTable
from models.progress import Report, silent
from models.recipe import EnergyColumn, Laid, Pass, averaged_log_odds, lay_out
from models.refit import alone
from models.resampling import counted_draws
from models.scoring import Scores, score_many
from models.spec import Spec, TermKind
from models.stability import Movement, Stability

FIGURES = ("c_statistic", "brier", "calibration_in_the_large", "calibration_slope")

REDONE, FROZEN = "redone", "frozen"

Figures = dict[str, float | None]

STABILITY_FROM = 200
"""Resamples, in whole groups, from which the stability of forecasts is taken: more would tell nothing new."""
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
    divided by the root of their number: how far the mean itself may be off. counted, own_counted: in how many resamples
    each figure could be worked out; redrawn: draws of only cloudy or only clear eyes, drawn anew. stability: how far
    the resamples' models move each eye's forecast, from `STABILITY_FROM` resamples at most.
    """

    apparent: Figures
    corrected: Figures
    own_apparent: Figures | None
    own_corrected: Figures | None
    resamples: int
    failed: int
    blanks: str
    se: Figures
    counted: dict[str, int]
    own_counted: dict[str, int]
    redrawn: int
    stability: Stability | None


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

    def counted(self) -> dict[str, int]:
        return {name: len(found) for name, found in self.differences.items()}

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
    gathered, own_gathered, moved = _Gathered(), _Gathered(), Movement(study.full.risk)
    if blanks == FROZEN:
        failed, redrawn = _frozen(study, resamples, gathered, own_gathered, moved, report, threads)
    else:
        failed, redrawn = _redone(study, resamples, gathered, own_gathered, moved, report)
    return Corrected(
        apparent,
        gathered.less(apparent),
        own_apparent,
        None if own_apparent is None else own_gathered.less(own_apparent),
        resamples - failed,
        failed,
        blanks,
        gathered.errors(),
        gathered.counted(),
        own_gathered.counted(),
        redrawn,
        moved.found(),
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


def _redone(
    study: Study,
    resamples: int,
    gathered: _Gathered,
    own_gathered: _Gathered,
    moved: Movement,
    report: Report,
) -> tuple[int, int]:
    """How many resamples had no fit, and how many draws were drawn anew."""
    data = study.data
    energy = EnergyColumn(study.spec, data)
    failed, redrawn = 0, 0
    for part in groups(resamples, _AT_ONCE):
        by_patient, anew = counted_draws(part, data.patients, data.y, study.seed)
        drawn, redrawn = by_patient[data.patients], redrawn + anew
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
        if found and part.start < STABILITY_FROM:
            moved.add(moved.of(np.stack(found)), len(found))
        for into, those, weights in ((gathered, found, kept), (own_gathered, own_found, own_kept)):
            if those:
                into.add(*score_many(np.stack(those), data.y, (np.stack(weights), study.weights)))
        report(part.stop / resamples, f"{part.stop} of {resamples} resamples of the patients done.")
    return failed, redrawn


def _frozen(
    study: Study,
    resamples: int,
    gathered: _Gathered,
    own_gathered: _Gathered,
    moved: Movement,
    report: Report,
    threads: int | None,
) -> tuple[int, int]:
    data, weights = study.data, study.weights
    fits = FrozenFits(study.spec, study.full, data.y, weights, data.patients, study.own)
    alike = bool((weights == 1.0).all())
    once = np.ones(data.n, dtype=np.uint8) if alike else weights

    def work(part: slice) -> tuple[list[tuple[_Gathered, Scores, Scores]], list[tuple[FloatArray, int]]]:
        found, changes = [], []
        for both, counted in fits.resampled(part, study.seed):
            if part.start < STABILITY_FROM:
                changes.append((moved.of(both[0]), both[0].shape[0]))
            for into, odds in zip((gathered, own_gathered), both, strict=False):
                here, there = score_many(odds, data.y, (counted, once))
                found.append((into, here, there))
        return found, changes

    for _, (answers, changes) in in_groups(work, resamples, report, threads):
        for into, here, there in answers:
            into.add(here, there)
        for summed, some in changes:
            moved.add(summed, some)
    return 0, fits.redrawn


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
