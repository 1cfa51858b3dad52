"""Alarm chart: has the practice moved away from its forecasts? More cloudy eyes above the line, fewer below it."""

from __future__ import annotations

from datetime import date

import numpy as np
from matplotlib.dates import date2num
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from clinic_app.domain.reviewed import AlarmChart, AlarmSide, Review
from clinic_app.figures.running_tally import mark_months
from clinic_app.figures.style import DASHES, DOTS, axes, below_key, key, label, line, points, sheet
from clinic_app.figures.tokens import Tokens


def draw(review: Review, theme: Tokens, width: float, height: float) -> Figure:
    """Heights of both sides (copper), their limits (dashed), and where the chart started anew (dotted)."""
    worse, better = review.alarm.worse, review.alarm.better
    if worse is None or better is None:
        raise ValueError("no alarm chart")
    figure = sheet(width, height, theme)
    signs = [
        (line(theme.seen, width=2.6), "seen against forecast"),
        (line(theme.ref, DASHES, 1.8), "alarm"),
        *([(line(theme.ink, DOTS, 1.3), "new model, begun anew")] if review.alarm.restarts else []),
        *([(_dot(theme, hollow=True), "alarm under an earlier model")] if _past(review.alarm) else []),
    ]
    made = axes(figure, theme, left=92, bottom=44, top=below_key(figure, signs, left=92))
    top = 1.2 * max(worse.limit, *(point.height for point in worse.points))
    bottom = 1.3 * max(better.limit, *(point.height for point in better.points))
    made.set_ylim(-bottom, top)
    made.axhline(0, color=theme.ref, lw=points(1.2), zorder=2)
    for side, sign in ((worse, 1.0), (better, -1.0)):
        x = np.array([date2num(point.day) for point in side.points])
        made.step(x, [sign * point.height for point in side.points], where="post", color=theme.seen, lw=points(2.4))
        made.axhline(sign * side.limit, color=theme.ref, lw=points(1.8), ls=DASHES, zorder=3)
        for day in side.signals:
            dot = _dot(theme, hollow=day in _past(review.alarm))
            dot.set_data([date2num(day)], [sign * _height(side, day)])
            made.add_line(dot)
    first, last = worse.points[0].day, worse.points[-1].day
    for day in review.alarm.restarts:
        made.axvline(float(date2num(day)), color=theme.ink, lw=points(1.3), ls=DOTS, zorder=1)
    made.set_xlim(float(date2num(first)), float(date2num(last)) + 1.0)
    made.set_yticks([-better.limit, 0, worse.limit], ["far fewer", "as forecast", "far more"])
    mark_months(made, figure, first, last)
    key(figure, theme, signs, left=92)
    for side, sign, words in ((worse, 1.0, "alarm: more cloudy"), (better, -1.0, "alarm: fewer cloudy")):
        up = "bottom" if sign > 0 else "top"
        x_left = float(date2num(first))
        label(made, x_left, sign * side.limit, words, theme.ink, theme, shift=(5, 4 * sign), up=up)
    return figure


def _past(chart: AlarmChart) -> set[date]:
    """The days of alarms under models before the one in use."""
    begun = max(chart.restarts, default=None)
    sides = [side for side in (chart.worse, chart.better) if side is not None]
    return {day for side in sides for day in side.signals if begun is not None and day < begun}


def _dot(theme: Tokens, *, hollow: bool) -> Line2D:
    """The mark of an alarm: filled for the model in use, hollow for an earlier one."""
    fill = theme.sheet if hollow else theme.seen
    return Line2D([], [], marker="o", ls="none", ms=points(10), color=fill, mec=theme.seen, mew=points(2.2), zorder=5)


def _height(side: AlarmSide, day: object) -> float:
    return next(point.height for point in side.points if point.day == day)
