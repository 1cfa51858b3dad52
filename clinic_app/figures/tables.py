"""The numbers behind each chart as a table: what a screen reader reads and Ctrl+T shows. Same numbers as the JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from clinic_app.domain.reviewed import Benefit, Counted, Estimate, Review
from clinic_app.figures.words import day_words

VERDICTS = {
    "too_few": "too few to judge",
    "inside": "could be chance",
    "above": "more than chance explains",
    "below": "fewer than chance explains",
}


@dataclass(frozen=True, slots=True)
class Table:
    """Headings and rows of text; `numeric` tells which columns stand to the right."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numeric: tuple[bool, ...]


def _table(headings: tuple[str, ...], rows: Sequence[tuple[str, ...]], words: int = 1) -> Table:
    return Table(headings, tuple(rows), tuple(place >= words for place in range(len(headings))))


def per_100(share: float | None, places: int = 1) -> str:
    """A fraction as a number in 100."""
    return "" if share is None else f"{100 * share:.{places}f}"


def forecast_check(review: Review) -> Table:
    """Groups of like forecasts."""
    rows = [
        (
            f"group {k}",
            str(one.n),
            per_100(one.mean_risk),
            per_100(one.observed),
            f"{per_100(one.low)} to {per_100(one.high)}",
        )
        for k, one in enumerate(review.groups, start=1)
    ]
    return _table(("Eyes alike", "Eyes", "Forecast in 100", "Seen in 100", "19 times in 20"), rows)


ALARM_HEADINGS = ("To", "Eyes", "More cloudy, of its limit", "Fewer cloudy, of its limit", "In this month")


def running_tally(review: Review) -> Table:
    """The tally at the end of each month of surgery."""
    last = {(point.day.year, point.day.month): point for point in review.tally}
    rows = [
        (
            day_words(point.day.isoformat()),
            str(point.eyes),
            f"{point.expected:.1f}",
            f"{point.expected + point.difference:.0f}",
            f"{point.difference:+.1f}",
            f"{point.low:+.1f} to {point.high:+.1f}",
            f"{point.low_998:+.1f} to {point.high_998:+.1f}",
        )
        for point in last.values()
    ]
    headings = ("To", "Eyes", "Forecast", "Seen", "Seen less forecast", "19 times in 20", "998 in 1000")
    return _table(headings, rows)


def alarm(review: Review) -> Table:
    """How high both sides of the alarm chart stood at the end of each month of surgery, and their alarms."""
    sides = review.alarm.worse, review.alarm.better
    if sides[0] is None or sides[1] is None:
        return _table(ALARM_HEADINGS, [])
    worse, better = ({(point.day.year, point.day.month): point for point in side.points} for side in sides if side)
    signals = {(day.year, day.month) for side in sides if side for day in side.signals}
    rows = [
        (
            day_words(point.day.isoformat()),
            str(point.eyes),
            f"{point.height:.2f} of {sides[0].limit:.2f}",
            f"{better[month].height:.2f} of {sides[1].limit:.2f}",
            "alarm" if month in signals else "",
        )
        for month, point in worse.items()
    ]
    return _table(ALARM_HEADINGS, rows)


def counted(rows: Sequence[Counted], heading: str) -> Table:
    """Quarters or surgeons: forecast and seen with exact limits, both ratios, verdict words."""
    return Table((heading, *_COUNTED), tuple((row.group, *_cells(row)) for row in rows), (False, *_COUNTED_NUMERIC))


def groups(review: Review) -> Table:
    """The subgroup table."""
    rows = tuple((row.field_label, row.group, *_cells(row)) for row in review.subgroups)
    return Table(("By", "Group", *_COUNTED), rows, (False, False, *_COUNTED_NUMERIC))


_COUNTED = (
    "Eyes", "Forecast", "Seen", "19 times in 20", "998 in 1000", "Seen over forecast", "Drawn to 1", "Reading",
)  # fmt: skip
_COUNTED_NUMERIC = (*(True for _ in _COUNTED[1:]), False)


def _cells(row: Counted) -> tuple[str, ...]:
    return (
        str(row.n),
        f"{row.expected:.1f}",
        str(row.observed),
        f"{row.low} to {row.high}",
        f"{row.low_998} to {row.high_998}",
        _with_limits(row.ratio),
        _with_limits(row.shrunken),
        VERDICTS[row.verdict],
    )


def _with_limits(ratio: Estimate) -> str:
    return "" if ratio.value is None else f"{ratio.value:.2f} ({ratio.low:.2f} to {ratio.high:.2f})"


def usefulness(review: Review) -> Table:
    """Net benefit at every second threshold, and at the planning line wherever that lies."""
    rows = [_gain(one, f"{100 * one.threshold:.0f}") for one in review.net_benefit[::2]]
    plan = review.planning
    if plan is not None:
        before = sum(100 * one.threshold < plan.line - 1e-9 for one in review.net_benefit[::2])
        same = before < len(rows) and abs(100 * review.net_benefit[2 * before].threshold - plan.line) < 1e-9
        rows[before : before + same] = [_gain(plan.gain, f"{plan.line:g}, the planning line")]
    return _table(("Plan from, in 100", "By the forecast", "For every eye", "For none"), rows, words=0)


def _gain(one: Benefit, line: str) -> tuple[str, ...]:
    return line, per_100(one.model, 2), per_100(one.all, 2), per_100(one.none, 2)
