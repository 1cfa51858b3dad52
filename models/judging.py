"""Forecast beside seen: every figure of the review with its interval, or the reason why there is none."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from types import MappingProxyType
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import FloatArray, IntArray, cluster_codes, has_logit, logit, outcomes, risks, row_weights
from models.calibration import (
    FEWEST_EVENTS_FOR_SLOPE,
    CurvePoint,
    Distance,
    Group,
    IfPerfect,
    calibration_in_the_large,
    calibration_slope,
    curve_with_band,
    distance,
    distance_if_perfect,
    grouped,
    level_and_slope,
    observed_expected,
    smooth,
)
from models.discrimination import FEWEST_CLOUDY, c_measure, c_statistic, fewest_units
from models.errors import ModelError
from models.measure import Measure
from models.usefulness import BenefitBand, Usefulness, net_benefit, net_benefit_band

THRESHOLDS = tuple(t / 100.0 for t in range(2, 41))
"""Thresholds of the net benefit, 2 to 40 %."""

Figure = TypeVar("Figure")


@dataclass(frozen=True, eq=False)
class Judgement:
    """How good a set of forecasts was. Figures are None where they cannot be estimated; `reasons` then says why.

    clusters: number of patients, None when eyes were taken as independent; intervals are by patient when given.
    ici, e50, e90: distance of the smooth curve from the ideal; ici_if_perfect: what a perfect model would score here,
    only an ICI above its 95th percentile says anything. groups, curve, net_benefit and its band: for the pictures.
    reasons also says why an interval is missing where the figure itself is there.
    """

    n: int
    events: int
    clusters: int | None
    c_statistic: Measure | None
    brier: float
    scaled_brier: float | None
    observed_expected: Measure | None
    calibration_in_the_large: Measure | None
    calibration_slope: Measure | None
    ici: float | None
    e50: float | None
    e90: float | None
    ici_if_perfect: IfPerfect | None
    groups: tuple[Group, ...]
    curve: tuple[CurvePoint, ...] | None
    net_benefit: Usefulness
    net_benefit_band: BenefitBand | None
    reasons: Mapping[str, str]

    @property
    def ici_beyond_chance(self) -> bool | None:
        """True when the ICI is larger than a perfect model would score 19 times in 20; None when unknown."""
        if self.ici is None or self.ici_if_perfect is None:
            return None
        return self.ici > self.ici_if_perfect.p95

    def as_dict(self) -> dict[str, object]:
        """The JSON form."""
        measures = ("c_statistic", "observed_expected", "calibration_in_the_large", "calibration_slope")
        written: dict[str, object] = {"n": self.n, "events": self.events, "clusters": self.clusters}
        for name in measures:
            figure: Measure | None = getattr(self, name)
            written[name] = None if figure is None else figure.as_dict()
        written.update(
            brier=self.brier,
            scaled_brier=self.scaled_brier,
            ici=self.ici,
            e50=self.e50,
            e90=self.e90,
            ici_if_perfect=None if self.ici_if_perfect is None else asdict(self.ici_if_perfect),
            groups=[asdict(group) for group in self.groups],
            curve=None if self.curve is None else [asdict(point) for point in self.curve],
            net_benefit=list(self.net_benefit.rows()),
            net_benefit_band=None if self.net_benefit_band is None else list(self.net_benefit_band.rows()),
            reasons=dict(self.reasons),
        )
        return written


@dataclass(frozen=True)
class Performance:
    """The four figures that are worked out again and again in resampling; None where one does not exist."""

    c_statistic: float | None
    brier: float
    calibration_in_the_large: float | None
    calibration_slope: float | None


def judge(
    risk: ArrayLike,
    outcome: ArrayLike,
    *,
    clusters: ArrayLike | None = None,
    resamples: int = 200,
    seed: int = 1,
    curve: bool = True,
) -> Judgement:
    """Judge forecasts `risk` [n] against `outcome` [n] 0/1, by patient when `clusters` [n] are given.

    resamples: draws of patients for the bands of the smooth curve and the net benefit. curve=False leaves out what
    takes long: the smooth curve, both bands, ICI, E50, E90 and the ICI of a perfect model.
    The same seed gives the same answer to the bit.
    """
    seen = outcomes(outcome)
    n = seen.shape[0]
    if n == 0:
        raise ModelError("Nothing can be judged.", "There are no eyes.", "Choose a longer period.")
    if resamples < 2:
        raise ModelError("The band cannot be drawn.", "Fewer than 2 resamples.", "Ask for 200.")
    chance = risks(risk, n)
    codes = None if clusters is None else cluster_codes(clusters, n)
    patients = None if codes is None else int(codes.max()) + 1
    reasons: dict[str, str] = {}
    events = int(seen.sum())
    open_questions = _Judging(chance, seen, codes, events, reasons)

    ranked = open_questions.c_statistic()
    large = open_questions.with_logit("calibration_in_the_large", calibration_in_the_large)
    steep = None
    if events < FEWEST_EVENTS_FOR_SLOPE:
        reasons["calibration_slope"] = f"Not estimable: fewer than {FEWEST_EVENTS_FOR_SLOPE} cloudy eyes."
    else:
        steep = open_questions.with_logit("calibration_slope", calibration_slope)
    ratio = open_questions.ratio()
    away, perfect, points, band = None, None, None, None
    if curve:
        away, perfect, points = open_questions.smooth_curve(resamples, seed)
        band = open_questions.benefit_band(resamples, seed)
    else:
        reasons["curve"] = reasons["net_benefit_band"] = "Not asked for."
    brier = float(((seen - chance) ** 2).mean())
    spread = float(seen.mean() * (1.0 - seen.mean()))
    if spread == 0.0:
        reasons["scaled_brier"] = _one_kind(events)
    return Judgement(
        n=n,
        events=events,
        clusters=patients,
        c_statistic=ranked,
        brier=brier,
        scaled_brier=None if spread == 0.0 else 1.0 - brier / spread,
        observed_expected=ratio,
        calibration_in_the_large=large,
        calibration_slope=steep,
        ici=None if away is None else away.ici,
        e50=None if away is None else away.e50,
        e90=None if away is None else away.e90,
        ici_if_perfect=perfect,
        groups=grouped(chance, seen),
        curve=points,
        net_benefit=net_benefit(chance, seen, THRESHOLDS),
        net_benefit_band=band,
        reasons=MappingProxyType(reasons),
    )


def performance(risk: ArrayLike, outcome: ArrayLike, *, weights: ArrayLike | None = None) -> Performance:
    """C statistic, Brier, calibration-in-the-large and slope without intervals; a weighted eye counts that often."""
    seen = outcomes(outcome)
    n = seen.shape[0]
    if n == 0:
        raise ModelError("Nothing can be judged.", "There are no eyes.", "Choose a longer period.")
    chance, weight = risks(risk, n), row_weights(weights, n)
    brier = float(weight @ (seen - chance) ** 2 / weight.sum())
    if not (weight[seen == 1.0].any() and weight[seen == 0.0].any()):
        return Performance(None, brier, None, None)
    ranked = c_statistic(chance, seen, weight)
    if not has_logit(chance):
        return Performance(ranked, brier, None, None)
    large, slope = level_and_slope(logit(chance), seen, weight)
    return Performance(ranked, brier, large, slope)


@dataclass(frozen=True, eq=False)
class _Judging:
    chance: FloatArray
    seen: FloatArray
    codes: IntArray | None
    events: int
    reasons: dict[str, str]

    @property
    def one_kind(self) -> bool:
        return self.events in (0, self.seen.shape[0])

    def c_statistic(self) -> Measure | None:
        if self.one_kind:
            self.reasons["c_statistic"] = _one_kind(self.events)
            return None
        found = c_measure(self.chance, self.seen, self.codes)
        if found.se is None:
            if min(self.events, self.seen.shape[0] - self.events) < FEWEST_CLOUDY:
                why = f"fewer than {FEWEST_CLOUDY} cloudy or clear eyes"
            elif fewest_units(self.seen, self.codes) < 2:
                why = "all cloudy or all clear eyes are of one patient"
            else:
                why = "the ranking is perfect"
            self.reasons["c_statistic"] = f"No interval: {why}."
        return found

    def with_logit(
        self, name: str, figure: Callable[[FloatArray, FloatArray, IntArray | None], Measure]
    ) -> Measure | None:
        if self.one_kind:
            self.reasons[name] = _one_kind(self.events)
            return None
        if not has_logit(self.chance):
            self.reasons[name] = "Not estimable: a chance is exactly 0 or 1 and has no log-odds."
            return None
        return self._by_patient(name, figure)

    def ratio(self) -> Measure | None:
        return self._by_patient("observed_expected", observed_expected)

    def benefit_band(self, resamples: int, seed: int) -> BenefitBand | None:
        def work() -> BenefitBand:
            return net_benefit_band(
                self.chance, self.seen, THRESHOLDS, clusters=self.codes, resamples=resamples, seed=seed
            )

        return _attempt(self.reasons, "net_benefit_band", work)

    def _by_patient(
        self, name: str, figure: Callable[[FloatArray, FloatArray, IntArray | None], Measure]
    ) -> Measure | None:
        """The figure; without its interval when one patient has all eyes, as nothing then tells patients apart."""
        single = self.codes is not None and self.codes.max() == 0
        codes = None if single else self.codes
        found = _attempt(self.reasons, name, lambda: figure(self.chance, self.seen, codes))
        if found is None or not single:
            return found
        self.reasons[name] = "No interval: all eyes are of one patient."
        return Measure(found.value, None, None, None)

    def smooth_curve(
        self, resamples: int, seed: int
    ) -> tuple[Distance | None, IfPerfect | None, tuple[CurvePoint, ...] | None]:
        why = None
        if min(self.events, self.seen.shape[0] - self.events) < FEWEST_CLOUDY:
            why = f"Not estimable: fewer than {FEWEST_CLOUDY} cloudy or clear eyes."
        elif not has_logit(self.chance):
            why = "Not estimable: a chance is exactly 0 or 1 and has no log-odds."
        fitted = None if why else _attempt(self.reasons, "curve", lambda: smooth(self.chance, self.seen))
        if fitted is None:
            self.reasons.setdefault("curve", why or "Not estimable.")
            for name in ("ici", "e50", "e90"):
                self.reasons[name] = self.reasons["curve"]
            return None, None, None
        codes = np.arange(self.seen.shape[0], dtype=np.int64) if self.codes is None else self.codes
        return (
            distance(fitted, self.chance),
            distance_if_perfect(fitted, self.chance, seed=seed),
            curve_with_band(fitted, self.chance, self.seen, codes, resamples=resamples, seed=seed),
        )


def _attempt(reasons: dict[str, str], name: str, work: Callable[[], Figure]) -> Figure | None:
    try:
        return work()
    except ModelError as error:
        reasons[name] = f"Not estimable: {error.why}"
        return None


def _one_kind(events: int) -> str:
    return f"Not estimable: all eyes are {'clear' if events == 0 else 'cloudy'}."
