"""What a review found: plain figures, ready to be printed, drawn or written as JSON. No arithmetic is done here.

Chances are fractions 0..1; `low` and `high` are 95 % limits ("19 times in 20"), `low_998` and `high_998` those that 998
in 1000 stay within by chance. Counts of cloudy eyes are eyes.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

FEWEST_EYES_DRAWN = 50
NOT_BLIND = "graded by someone who had seen the forecast"
"""The reason of the eyes that are left out as Not blind."""
FEWEST_CLOUDY_DRAWN = 5
FEWEST_CLOUDY_JUDGED = 30
FEWEST_EYES_OF_A_SURGEON = 30


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure with its limits; None where it cannot be estimated."""

    value: float | None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Band:
    """Eyes with like chances: mean chance, share seen cloudy and its limits."""

    n: int
    mean_risk: float
    observed: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """A point of the smooth curve: chance, share seen cloudy and its band."""

    risk: float
    observed: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Benefit:
    """Net benefit per eye at a threshold: of the forecast, of planning for all, of planning for none."""

    threshold: float
    model: float
    all: float
    none: float


@dataclass(frozen=True, slots=True)
class Counted:
    """One set of eyes: cloudy forecast and seen, the exact limits of what chance allows, and what follows.

    `verdict` is `too_few` (fewer than 5 cloudy eyes expected), `inside`, `above` or `below` the 99.8 % limits.
    `ratio` is seen over forecast with exact Poisson limits, without a value when nothing is expected; `shrunken` the
    same drawn towards 1.
    """

    field: str
    field_label: str
    group: str
    n: int
    expected: float
    observed: int
    low: int
    high: int
    low_998: int
    high_998: int
    verdict: str
    ratio: Estimate
    shrunken: Estimate

    @property
    def outside_19_in_20(self) -> bool:
        """Enough expected to be judged, and outside the 95 % limits."""
        return self.verdict != "too_few" and not self.low <= self.observed <= self.high


@dataclass(frozen=True, slots=True)
class TallyPoint:
    """End of a day of surgery: eyes and cloudy eyes forecast so far, seen minus forecast, and chance's limits of it."""

    day: date
    eyes: int
    expected: float
    difference: float
    low: float
    high: float
    low_998: float
    high_998: float


@dataclass(frozen=True, slots=True)
class AlarmPoint:
    """End of a day of surgery: eyes so far and how high the chart stands."""

    day: date
    eyes: int
    height: float


@dataclass(frozen=True, slots=True)
class AlarmSide:
    """One side of the alarm chart: the odds ratio it looks for, its limit, its path, the days of its signals."""

    odds_ratio: float
    limit: float
    points: tuple[AlarmPoint, ...]
    signals: tuple[date, ...]


@dataclass(frozen=True, slots=True)
class AlarmChart:
    """Has the practice moved away from its forecasts? More cloudy eyes (`worse`) and fewer (`better`); or `why` not.

    The limits give a false alarm within a year of `eyes_a_year` eyes with the chance `false_alarm` on each side,
    averaged over the model's own `level_error` (logit; None where its card cannot be read). Both start anew on the
    `restarts`, when another model came.
    """

    worse: AlarmSide | None = None
    better: AlarmSide | None = None
    false_alarm: float | None = None
    eyes_a_year: int | None = None
    level_error: float | None = None
    restarts: tuple[date, ...] = ()
    first_look: str = ""
    why: str = ""


@dataclass(frozen=True, slots=True)
class BenefitLimits:
    """What 19 in 20 resamples of patients gave as the net benefit of the forecast at a threshold."""

    threshold: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Bar:
    """How many eyes had a forecast from `low` to below `high`."""

    low: float
    high: float
    n: int


@dataclass(frozen=True, slots=True)
class Bound:
    """Cloudy eyes seen and forecast, and seen over forecast; None when nothing is expected."""

    observed: int
    expected: float
    observed_expected: float | None


@dataclass(frozen=True, slots=True)
class BandMissing:
    """Missing grades among eyes with a like forecast."""

    low: float
    high: float
    eyes: int
    missing: int


@dataclass(frozen=True, slots=True)
class MissingGrades:
    """Eyes with a forecast whose day one is past and that have no usable grade, why, and what they could change.

    `graded` counts the graded eyes alone, which is what the rest of the review does.
    """

    eyes: int
    missing: int
    reasons: Mapping[str, int]
    graded: Bound
    best: Bound
    worst: Bound
    by_forecast: tuple[BandMissing, ...]


@dataclass(frozen=True, slots=True)
class Median:
    """Median of a reading in one quarter with the middle half; None below 10 eyes."""

    quarter: str
    n: int
    median: float | None
    lower_quarter: float | None
    upper_quarter: float | None


@dataclass(frozen=True, slots=True)
class Reading:
    """A theatre reading by quarter; `group` names machine, metric and motion where they may not be mixed."""

    field: str
    label: str
    unit: str
    group: str
    quarters: tuple[Median, ...]


@dataclass(frozen=True, slots=True)
class Happening:
    """How often something was recorded in a quarter, of the eyes for which it was answered."""

    quarter: str
    label: str
    recorded: int
    answered: int


@dataclass(frozen=True, slots=True)
class Theatre:
    """What was done in theatre, by quarter, and what to watch beside every saving of energy and fluid."""

    note: str
    readings: tuple[Reading, ...]
    beside: tuple[Happening, ...]


@dataclass(frozen=True, slots=True)
class Fact:
    """One recorded fact that fits a mechanism: how often among cloudy and among clear eyes."""

    mechanism: str
    fact: str
    cloudy: int
    cloudy_answered: int
    clear: int
    clear_answered: int


@dataclass(frozen=True, slots=True)
class Causes:
    """Recorded facts beside the cloudy eyes; a count, never a verdict."""

    available: bool
    why: str
    facts: tuple[Fact, ...] = ()


@dataclass(frozen=True, slots=True)
class Planning:
    """At the planning line: of 100 eyes, cloudy ones flagged, flagged in vain, and cloudy ones not flagged.

    `line` is in per cent; `gain` is the net benefit at the line.
    """

    line: float
    set_by: str
    flagged_cloudy: float
    flagged_in_vain: float
    cloudy_not_flagged: float
    gain: Benefit


@dataclass(frozen=True, slots=True)
class Performance:
    """Figures of a model on `n` eyes: C statistic, Brier score, calibration in the large and slope.

    What cannot be estimated is not among `figures`; `reasons` says why, `all` for every figure alike.
    """

    name: str
    n: int
    figures: Mapping[str, float]
    reasons: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class ModelPage:
    """A model in words, and its figures on the eyes that it was made from."""

    model_id: str
    lines: tuple[str, ...]
    performances: tuple[Performance, ...]


@dataclass(frozen=True, slots=True)
class Review:
    """Forecast beside seen over a period. `as_dict()` is the JSON form; pages, papers and plots read the same object.

    `basis` is `beforehand` (forecasts locked before the outcome was known) or `afterwards` (each quarter by a model
    made from earlier quarters only); the two are never mixed. `expected` is the sum of the forecasts of the `n` eyes,
    `events` the cloudy ones; `low` and `high` what chance allows of them when every forecast is right.
    `groups_outside_by_chance` is how many of the subgroups that can be judged chance puts outside their 95 % limits.
    """

    practice: str
    demo: bool
    made_on: date
    model: str
    model_id: str | None
    basis: str
    basis_words: str
    period: Mapping[str, str | None]
    definition: str
    filter_words: str
    left_out: Mapping[str, int]
    n: int
    events: int
    clusters: int | None
    expected: float
    low: int
    high: int
    c_statistic: Estimate | None
    brier: float | None
    scaled_brier: float | None
    observed_expected: Estimate | None
    calibration_in_the_large: Estimate | None
    calibration_slope: Estimate | None
    ici: float | None
    e50: float | None
    e90: float | None
    ici_if_perfect: Mapping[str, float] | None
    reasons: Mapping[str, str]
    groups: tuple[Band, ...]
    curve: tuple[CurvePoint, ...] | None
    net_benefit: tuple[Benefit, ...]
    net_benefit_band: tuple[BenefitLimits, ...]
    planning: Planning | None
    histogram: tuple[Bar, ...]
    tally: tuple[TallyPoint, ...]
    alarm: AlarmChart
    missing_day_one: MissingGrades
    by_quarter: tuple[Counted, ...]
    by_surgeon: tuple[Counted, ...]
    by_surgeon_note: str
    subgroups: tuple[Counted, ...]
    groups_outside_by_chance: float
    theatre: Theatre
    causes: Causes
    beside_own_records: tuple[Performance, ...]
    model_pages: tuple[ModelPage, ...] = field(default=())

    @property
    def too_few_to_draw(self) -> bool:
        """Fewer than 50 eyes or 5 cloudy ones: counts only."""
        return self.n < FEWEST_EYES_DRAWN or self.events < FEWEST_CLOUDY_DRAWN

    @property
    def too_few_to_judge(self) -> bool:
        """Fewer than 30 cloudy eyes: a gap within chance says nothing."""
        return self.events < FEWEST_CLOUDY_JUDGED

    @property
    def groups_looked_at(self) -> int:
        """How many groups were compared: those of the subgroup table and the surgeons."""
        return len(self.subgroups) + len(self.by_surgeon)

    def as_dict(self) -> dict[str, object]:
        """The JSON form: plain values only, a number that is not finite as None."""
        whole = {one.name: plain(getattr(self, one.name)) for one in dataclasses.fields(self)}
        whole["groups_looked_at"] = self.groups_looked_at
        return whole


def plain(value: object) -> object:
    """A value as JSON holds it: dataclasses and mappings as objects, tuples as lists, days as ISO text."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {one.name: plain(getattr(value, one.name)) for one in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [plain(one) for one in value]
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value
