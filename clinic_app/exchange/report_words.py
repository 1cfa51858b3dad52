"""Words and tables of the report that belong to no chart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from clinic_app.domain.reviewed import Median, Reading, Review
from clinic_app.figures.tables import Table

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
    rows = [(label, *(found.get((label, quarter), "") for quarter in quarters)) for label in labels]
    return _table(("Recorded", *quarters), rows)


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


def _table(headings: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> Table:
    return Table(headings, tuple(rows), (False, *(True for _ in headings[1:])))


def _name(reading: Reading) -> str:
    unit = "" if reading.unit in SAID_BY_THE_LABEL else f", {reading.unit}"
    return f"{reading.label}{unit}" + (f" (machine {reading.group})" if reading.group else "")


def _median(one: Median) -> tuple[str, str, str]:
    if one.median is None:
        return str(one.n), "too few", ""
    return str(one.n), f"{one.median:.1f}", f"{one.lower_quarter:.1f} to {one.upper_quarter:.1f}"
