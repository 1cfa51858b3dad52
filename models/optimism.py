"""How much better a model looks on the eyes it learnt from than on others: bootstrap over patients, everything redone.

Harrell FE et al. Stat Med 1996;15:361; Steyerberg EW et al. J Clin Epidemiol 2001;54:774 (both from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from models.arrays import FloatArray, IntArray, expit
from models.blanks import Blanks
from models.dataset import Dataset
from models.discrimination import c_statistic
from models.errors import ModelError
from models.missing import Normal, averaged_risk
from models.penalty import OwnFit, fit_own, usable_columns
from models.prior_table import PriorTable
from models.progress import Report, silent
from models.recipe import EnergyColumn, Pass, one_pass
from models.spec import Spec, TermKind

FIGURES = ("c_statistic", "brier", "calibration_in_the_large", "calibration_slope")

Figures = dict[str, float | None]

_ROUNDS = 50
_RUNAWAY = 50.0


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

    resamples: how many counted; failed: how many had no fit (too few cloudy eyes drawn, or no best fit).
    """

    apparent: Figures
    corrected: Figures
    own_apparent: Figures | None
    own_corrected: Figures | None
    resamples: int
    failed: int


def correct_optimism(study: Study, resamples: int, report: Report = silent) -> Corrected:
    """Draw patients with replacement `resamples` times; redo yardsticks, EM, knots, centring and fit each time.

    Optimism = figure on the eyes drawn - figure of that very fit on the original eyes; corrected = apparent - mean.
    """
    data = study.data
    energy = EnergyColumn(study.spec, data)
    size = data.patient_count
    draws = np.random.default_rng(study.seed)
    apparent = figures(study.full.risk, data.y, study.weights)
    own_risk = None if study.own is None else own_chance(study.own, study.full)
    own_apparent = None if own_risk is None else figures(own_risk, data.y, study.weights)
    gathered: dict[str, list[float]] = {name: [] for name in FIGURES}
    own_gathered: dict[str, list[float]] = {name: [] for name in FIGURES}
    failed = 0
    for done in range(resamples):
        counts = np.bincount(draws.integers(0, size, size), minlength=size)[data.patients]
        try:
            drawn = _redo(study, energy, counts)
        except ModelError:
            failed += 1
            continue
        _gather(gathered, drawn.risk, study, counts)
        if study.own is not None:
            own = _own(study, energy.rescored(data.columns, counts), drawn, counts)
            if own is not None:
                _gather(own_gathered, own_chance(own, drawn), study, counts)
        report((done + 1) / resamples, f"{done + 1} of {resamples} resamples of the patients done.")
    return Corrected(
        apparent,
        _less(apparent, gathered),
        own_apparent,
        None if own_apparent is None else _less(own_apparent, own_gathered),
        resamples - failed,
        failed,
    )


def figures(risk: FloatArray, y: FloatArray, weights: FloatArray) -> Figures:
    """The four figures of `judging.performance`, without its checks: it is asked for hundreds of times."""
    total, cloudy = float(weights.sum()), float(weights @ y)
    found: Figures = dict.fromkeys(FIGURES)
    found["brier"] = float(weights @ (y - risk) ** 2 / total)
    if not 0.0 < cloudy < total:
        return found
    found["c_statistic"] = c_statistic(risk, y, weights)
    log_odds = np.log(risk) - np.log1p(-risk)
    fits = (("calibration_in_the_large", False), ("calibration_slope", True))
    for name, sloped in fits:
        found[name] = _recalibrated(log_odds, y, weights, sloped=sloped)
    return found


def own_chance(own: OwnFit, passed: Pass) -> FloatArray:
    """Chances [n] of the own-records-only model, averaged over the blanks like the other's."""
    slopes = np.zeros(passed.filled.values.shape[1])
    slopes[list(own.used)] = own.coefficients
    return averaged_risk(own.linear_predictor(passed.filled.values), passed.filled.variance(slopes))


def yes_no_columns(spec: Spec) -> FloatArray:
    """Which base columns hold only 0 and 1, [q] bool."""
    return np.asarray([term.kind is TermKind.CODED for term in spec.base])


def _redo(study: Study, energy: EnergyColumn, counts: IntArray) -> Pass:
    weights = counts * study.weights
    table = energy.rescored(study.data.columns, counts)
    if study.linked:
        normal = study.blanks.relearn(table, weights, study.full.normal)
    else:
        normal = Normal.independent(table, weights=weights)
    return one_pass(
        study.spec, study.data, study.blanks, table, normal, study.papers, weights=weights, counts=counts
    )  # fmt: skip


def _own(study: Study, table: FloatArray, drawn: Pass, counts: IntArray) -> OwnFit | None:
    used = usable_columns(table, counts.astype(np.float64), yes_no_columns(study.spec) > 0)
    if not used:
        return None
    data = study.data
    return fit_own(
        drawn.filled.values, data.y, counts * study.weights, data.patients, used, seed=study.seed, exact=False
    )  # fmt: skip


def _gather(gathered: Mapping[str, list[float]], risk: FloatArray, study: Study, counts: IntArray) -> None:
    here = figures(risk, study.data.y, counts * study.weights)
    there = figures(risk, study.data.y, study.weights)
    for name in FIGURES:
        on_drawn, on_all = here[name], there[name]
        if on_drawn is not None and on_all is not None and math.isfinite(on_drawn - on_all):
            gathered[name].append(on_drawn - on_all)


def _recalibrated(log_odds: FloatArray, y: FloatArray, weights: FloatArray, *, sloped: bool) -> float | None:
    """Intercept at slope 1, or the slope, of the outcome on the log-odds, by Newton's method; None without one."""
    a, b = 0.0, 1.0
    for _ in range(_ROUNDS):
        risk = expit(a + b * log_odds)
        residual, v = weights * (y - risk), weights * risk * (1.0 - risk)
        g0, h00 = float(residual.sum()), float(v.sum())
        if not sloped:
            da, db = g0 / h00 if h00 > 0.0 else math.inf, 0.0
        else:
            g1, h01, h11 = float(residual @ log_odds), float(v @ log_odds), float(v @ log_odds**2)
            det = h00 * h11 - h01 * h01
            if det <= 1e-14 * max(h00 * h11, 1e-300):
                break
            da, db = (h11 * g0 - h01 * g1) / det, (h00 * g1 - h01 * g0) / det
        if abs(da) > _RUNAWAY or abs(db) > _RUNAWAY:
            break
        a, b = a + da, b + db
        if abs(da) < 1e-10 and abs(db) < 1e-10:
            return b if sloped else a
    return None


def _less(apparent: Figures, gathered: Mapping[str, list[float]]) -> Figures:
    return {
        name: None if value is None or not gathered[name] else value - float(np.mean(gathered[name]))
        for name, value in apparent.items()
    }
