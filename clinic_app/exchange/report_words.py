"""Words and tables of the report that belong to no chart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from clinic_app.domain.reviewed import Estimate, Median, Performance, Reading, Review
from clinic_app.domain.words import counted
from clinic_app.figures.tables import Table, per_100
from clinic_app.figures.words import NOTHING_YET

MEASURES: tuple[tuple[str, str, str], ...] = (
    ("observed_expected", "How many cloudy, seen against forecast? 1 is right.", "observed over expected"),
    ("calibration_in_the_large", "Is the average right? 0 is right, in log-odds.", "calibration in the large"),
    ("calibration_slope", "Do high and low forecasts spread as they should? 1 is right.", "calibration slope"),
    (
        "c_statistic",
        "How often does a cloudy eye get the higher number than a clear one? 0.5 is a coin.",
        "C statistic",
    ),
)
"""Key of the JSON, the question in words, the statistic's name."""

SAID_BY_THE_LABEL = ("s", "min")
"""Units that the reading's name already says."""

DEFINITIONS: Mapping[str, str] = MappingProxyType(
    {
        "Forecast": "The chance of a cloudy centre on day one that the model gave this eye; a sum of chances is the "
        "number of cloudy eyes forecast.",
        "Seen": "Cloudy by the definition above, graded by a person. Unknown is never counted as clear.",
        "19 times in 20": "95 % limits. By patient for the figures of the forecast, so that two eyes of one patient "
        "do not count as two witnesses; for counts of a group, the exact distribution of the number of cloudy eyes "
        "when every forecast is right, each eye with its own chance.",
        "998 in 1000": "99.8 % limits of the same distribution. Only a count outside them is said to stand apart.",
        "Seen over forecast": "Cloudy eyes seen for each one forecast. In tables of groups its limits are exact "
        "Poisson limits of the number seen, 19 times in 20, each eye taken on its own.",
        "Drawn to 1": "Seen over forecast with 11.1 eyes of prior evidence added to both, so that a small group "
        "does not look extreme by luck.",
        "Smoothed": "Logistic regression of what was seen on a restricted cubic spline of the forecast's log-odds; "
        "band from 200 resamples of patients; drawn from the 2nd to the 98th percentile of the forecasts.",
        "Gain": "Net benefit: cloudy eyes planned for, less those planned for in vain weighed by the odds of the "
        "line, in 100 eyes.",
        "Distance from the ideal": "Mean, median and 90th percentile of the gap between smoothed line and dashed "
        "line over the eyes (ICI, E50, E90). A perfect model does not score 0 on a sample; its own expected score "
        "stands beside.",
    }
)


def readings_table(review: Review) -> Table | None:
    """Medians of theatre readings by quarter, under the reading's name. None when there is nothing to show."""
    if not review.theatre.readings:
        return None
    rows = [
        (_name(reading), one.quarter, *_median(one)) for reading in review.theatre.readings for one in reading.quarters
    ]
    headings = ("Reading", "Quarter", "Eyes", "Median", "Middle half")
    return Table(headings, tuple(rows), (False, False, True, True, True))


def happenings_table(review: Review) -> Table | None:
    """What to watch beside every saving: recorded of answered, by quarter."""
    beside = [one for one in review.theatre.beside if one.answered]
    if not beside:
        return None
    quarters = sorted({one.quarter for one in review.theatre.beside})
    labels = list(dict.fromkeys(one.label for one in beside))
    found = {(one.label, one.quarter): f"{one.recorded} of {one.answered}" for one in review.theatre.beside}
    rows = [(quarter, *(found.get((label, quarter), "") for label in labels)) for quarter in quarters]
    return _table(("Quarter", *labels), rows)


def causes_table(review: Review) -> Table | None:
    """Facts by mechanism among cloudy and clear eyes."""
    if not review.causes.facts:
        return None
    rows = [
        (
            one.mechanism,
            one.fact,
            f"{one.cloudy} of {one.cloudy_answered}",
            f"{one.clear} of {one.clear_answered}",
        )
        for one in review.causes.facts
    ]
    return Table(("Mechanism", "Fact on record", "Cloudy eyes", "Clear eyes"), tuple(rows), (False, False, True, True))


FIGURES: Mapping[str, tuple[str, int]] = MappingProxyType(
    {
        "c_statistic": ("C statistic", 3),
        "brier": ("Brier score", 4),
        "calibration_in_the_large": ("Calibration in the large", 3),
        "calibration_slope": ("Calibration slope", 3),
    }
)
"""Figure of a model, its name and how many decimals are shown."""


def performances_table(rows: Sequence[Performance]) -> Table | None:
    """Figures of models side by side; a model without any figure is left to `why_absent`."""
    shown = [
        (
            one.name,
            str(one.n),
            *(f"{one.figures[key]:.{places}f}" if key in one.figures else "–" for key, (_, places) in FIGURES.items()),
        )
        for one in rows
        if one.figures
    ]
    return _table(("Model", "Eyes", *(name for name, _ in FIGURES.values())), shown) if shown else None


def why_absent(rows: Sequence[Performance]) -> list[str]:
    """A sentence for each reason: whose figures, or which figure of whom, cannot be given."""
    whose: dict[str, list[str]] = {}
    for one in rows:
        for key, why in one.reasons.items():
            name = one.name if key == "all" else f"{FIGURES[key][0]} of {one.name[0].lower()}{one.name[1:]}"
            whose.setdefault(why, []).append(name)
    return [f"{'; '.join(names)}: not given. {why}" for why, names in whose.items()]


def missing_table(review: Review) -> Table:
    """Seen over forecast as it is told, and were every missing grade clear or cloudy."""
    found = review.missing_day_one
    cases = (
        ("graded eyes alone", found.eyes - found.missing, found.graded),
        ("every missing grade clear", found.eyes, found.best),
        ("every missing grade cloudy", found.eyes, found.worst),
    )
    rows = [
        (
            name,
            str(eyes),
            str(one.observed),
            f"{one.expected:.1f}",
            "none forecast" if one.observed_expected is None else f"{one.observed_expected:.2f}",
        )
        for name, eyes, one in cases
    ]
    return _table(("Counted", "Eyes", "Cloudy", "Forecast", "Seen over forecast"), rows)


def missing_bands_table(review: Review) -> Table:
    """Missing grades among eyes with like forecasts."""
    rows = [
        (f"{per_100(one.low, 0)} to {per_100(one.high, 0)}", str(one.eyes), str(one.missing))
        for one in review.missing_day_one.by_forecast
    ]
    return _table(("Forecast in 100", "Eyes", "Without a grade"), rows)


def figures_heading(review: Review) -> str:
    """Rule: average and spread are each right within chance when their 95 % limits hold 1."""
    if not review.n:
        return NOTHING_YET
    if review.too_few_to_draw:
        return f"{counted(review.n, 'eye', 'eyes')}, {review.events} cloudy: too few for figures to say much"
    average = _side(review.observed_expected, "average too high", "average right within chance", "average too low")
    spread = _side(review.calibration_slope, "spread too wide", "spread right within chance", "spread too narrow")
    said = "; ".join(part for part in (average, spread) if part) or "No figure can be estimated"
    few = ": too few to judge" if review.too_few_to_judge else ""
    return f"{said[0].upper()}{said[1:]}{few}"


def _side(one: Estimate | None, below: str, inside: str, above: str) -> str:
    if one is None or one.low is None or one.high is None:
        return ""
    return below if one.high < 1 else above if one.low > 1 else inside


def theatre_heading(review: Review) -> str:
    """Rule: the first reading's median in the first and the last quarter that have one."""
    for reading in review.theatre.readings:
        known = [one for one in reading.quarters if one.median is not None]
        if len(known) > 1:
            first, last = known[0], known[-1]
            return (
                f"{_name(reading)}: median {first.median:.1f} in {first.quarter}, {last.median:.1f} in {last.quarter}"
            )
    return "Too few readings to compare quarters" if review.n else NOTHING_YET


def causes_heading(review: Review) -> str:
    """How many cloudy eyes there are to look at."""
    if not review.events:
        return "No cloudy eye to look at"
    return f"What is on record for {counted(review.events, 'cloudy eye', 'cloudy eyes')}"


def beside_heading(review: Review) -> str:
    """Rule: the C statistics of both models on the same eyes."""
    ranked = [one.figures["c_statistic"] for one in review.beside_own_records if "c_statistic" in one.figures]
    if len(ranked) == 2:
        return f"C statistic {ranked[0]:.2f} with published evidence, {ranked[1]:.2f} from own records only"
    return "The model, and the one from own records only"


def _table(headings: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> Table:
    return Table(headings, tuple(rows), (False, *(True for _ in headings[1:])))


def _name(reading: Reading) -> str:
    unit = "" if reading.unit in SAID_BY_THE_LABEL else f", {reading.unit}"
    return f"{reading.label}{unit}" + (f" (machine {reading.group})" if reading.group else "")


def _median(one: Median) -> tuple[str, str, str]:
    if one.median is None:
        return str(one.n), "too few", ""
    return str(one.n), f"{one.median:.1f}", f"{one.lower_quarter:.1f} to {one.upper_quarter:.1f}"
