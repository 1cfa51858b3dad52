"""Figures of the review that are not a judgement: running tally, strip of forecasts, missing grades, planning line."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from itertools import groupby, pairwise

from clinic_app.domain.reviewed import (
    Band,
    BandMissing,
    Bar,
    Benefit,
    BenefitLimits,
    Bound,
    CurvePoint,
    Estimate,
    MissingGrades,
    Planning,
    TallyPoint,
)
from clinic_app.services.review.eyes import MISSING_BANDS, Eye, band_of
from clinic_app.settings import Settings
from models.judging import Judgement
from models.measure import Measure
from models.monitor import running_tally
from models.usefulness import net_benefit

BAR_WIDTH_PER_CENT = 1


def tally(eyes: Sequence[Eye]) -> tuple[TallyPoint, ...]:
    """The running sum of seen minus forecast at the end of each day of surgery; `eyes` in order of surgery."""
    if not eyes:
        return ()
    found = running_tally([eye.risk for eye in eyes], [eye.seen for eye in eyes])
    points: list[TallyPoint] = []
    expected = 0.0
    last = -1
    for day, same_day in groupby(eyes, key=lambda eye: eye.key.surgery_date):
        risks = [eye.risk for eye in same_day]
        last += len(risks)
        expected += sum(risks)
        points.append(
            TallyPoint(
                day=day,
                eyes=last + 1,
                expected=expected,
                difference=-float(found.path[last]),
                low=float(found.low[last]),
                high=float(found.high[last]),
                low_998=float(found.low_998[last]),
                high_998=float(found.high_998[last]),
            )
        )
    return tuple(points)


def histogram(eyes: Sequence[Eye]) -> tuple[Bar, ...]:
    """How many eyes had each forecast, in steps of 1 in 100; empty steps left out."""
    steps = Counter(min(int(100 * eye.risk) // BAR_WIDTH_PER_CENT, 99) for eye in eyes)
    return tuple(Bar(step / 100, (step + BAR_WIDTH_PER_CENT) / 100, steps[step]) for step in sorted(steps))


def missing_grades(graded: Sequence[Eye], ungraded: Sequence[Eye]) -> MissingGrades:
    """Eyes without a usable grade, why, and seen over forecast were all of them clear or all cloudy."""
    both = [*graded, *ungraded]
    expected = sum(eye.risk for eye in both)
    cloudy = sum(bool(eye.cloudy) for eye in graded)
    bands = tuple(
        BandMissing(
            low,
            high,
            sum(band_of(eye.risk) == band for eye in both),
            sum(band_of(eye.risk) == band for eye in ungraded),
        )
        for band, (low, high) in enumerate(pairwise(MISSING_BANDS))
    )
    return MissingGrades(
        eyes=len(both),
        missing=len(ungraded),
        reasons=dict(sorted(Counter(eye.unseen for eye in ungraded).items())),
        graded=_bound(cloudy, sum(eye.risk for eye in graded)),
        best=_bound(cloudy, expected),
        worst=_bound(cloudy + len(ungraded), expected),
        by_forecast=bands,
    )


def _bound(observed: int, expected: float) -> Bound:
    return Bound(observed, expected, observed / expected if expected > 0 else None)


def planning(eyes: Sequence[Eye], settings: Settings) -> Planning | None:
    """What planning from the practice's line upwards would have flagged among these eyes, in 100 of them."""
    line = settings.planning_line
    if line is None or not eyes:
        return None
    flagged = [eye for eye in eyes if eye.risk >= line / 100.0]
    found = sum(bool(eye.cloudy) for eye in flagged)
    cloudy = sum(bool(eye.cloudy) for eye in eyes)
    per = 100.0 / len(eyes)
    (gain,) = net_benefit([eye.risk for eye in eyes], [eye.seen for eye in eyes], [line / 100.0]).rows()
    return Planning(
        line=line,
        set_by=settings.planning_line_set,
        flagged_cloudy=per * found,
        flagged_in_vain=per * (len(flagged) - found),
        cloudy_not_flagged=per * (cloudy - found),
        gain=_benefit(gain),
    )


def estimate(measure: Measure | None) -> Estimate | None:
    """A measure of the library as the review holds it."""
    return None if measure is None else Estimate(measure.value, measure.low, measure.high)


def bands(judgement: Judgement) -> tuple[Band, ...]:
    """Groups of like chances."""
    return tuple(Band(one.n, one.mean_risk, one.observed, one.low, one.high) for one in judgement.groups)


def curve(judgement: Judgement) -> tuple[CurvePoint, ...] | None:
    """Points of the smooth curve."""
    if judgement.curve is None:
        return None
    return tuple(CurvePoint(one.risk, one.observed, one.low, one.high) for one in judgement.curve)


def benefits(judgement: Judgement) -> tuple[Benefit, ...]:
    """Net benefit at each threshold."""
    return tuple(_benefit(row) for row in judgement.net_benefit.rows())


def benefit_band(judgement: Judgement) -> tuple[BenefitLimits, ...]:
    """The band of the net benefit; empty where it could not be worked out."""
    found = judgement.net_benefit_band
    if found is None:
        return ()
    return tuple(BenefitLimits(row["threshold"], row["low"], row["high"]) for row in found.rows())


def _benefit(row: Mapping[str, float]) -> Benefit:
    return Benefit(row["threshold"], row["model"], row["all"], row["none"])
