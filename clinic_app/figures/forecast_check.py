"""Forecast check: how many of the eyes with a given forecast were seen cloudy."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure

from clinic_app.domain.reviewed import Review
from clinic_app.figures.style import DASHES, axes, below_key, box, key, label, line, mark, name_axes, points, sheet
from clinic_app.figures.tokens import Tokens

_STRIP = 0.13


def draw(review: Review, theme: Tokens, width: float, height: float) -> Figure:
    """Smooth curve with band (forecast), groups with intervals (seen), diagonal, and a strip of how many eyes."""
    figure = sheet(width, height, theme)
    signs: list[tuple[Artist, str]] = []
    if review.curve:
        signs.append((line(theme.forecast), "seen, smoothed"))
        signs.append((box(theme.forecast_mid, theme.forecast, 0.5), "19 times in 20"))
    signs.append((mark(theme.seen, theme), f"seen, {len(review.groups)} groups of eyes"))
    signs.append((line(theme.ref, DASHES, 1.5), "seen = forecast"))
    made = axes(figure, theme, left=60, top=below_key(figure, signs, left=60))
    top = _top(review)
    floor = -_STRIP * top
    made.set_xlim(0, top)
    made.set_ylim(floor, top)
    made.plot([0, top], [0, top], color=theme.ref, lw=points(1.5), ls=DASHES, zorder=2)
    if review.curve:
        _smooth(made, review, theme)
    _groups(made, review, theme)
    _strip(made, review, theme, top)
    step = _step(top)
    marks = np.arange(0, top + step / 2, step)
    made.set_xticks(marks)
    made.set_yticks(marks)
    name_axes(made, theme, "forecast, cloudy in 100", "seen, cloudy in 100")
    label(made, top, -0.42 * _STRIP * top, "eyes with each forecast", theme.faint, theme, across="right")
    key(figure, theme, signs, left=60)
    return figure


def _smooth(made: Axes, review: Review, theme: Tokens) -> None:
    points_of = review.curve or ()
    x = [100 * point.risk for point in points_of]
    low = [100 * point.low for point in points_of]
    high = [100 * point.high for point in points_of]
    made.fill_between(x, low, high, color=theme.forecast_mid, alpha=0.38, lw=0, zorder=3)
    for edge in (low, high):
        made.plot(x, edge, color=theme.forecast, lw=points(1.1), zorder=4)
    made.plot(x, [100 * point.observed for point in points_of], color=theme.forecast, lw=points(2.8), zorder=5)


def _groups(made: Axes, review: Review, theme: Tokens) -> None:
    made.vlines(
        [100 * band.mean_risk for band in review.groups],
        [100 * band.low for band in review.groups],
        [100 * band.high for band in review.groups],
        color=theme.seen,
        lw=points(1.8),
        zorder=6,
    )
    made.plot(
        [100 * band.mean_risk for band in review.groups],
        [100 * band.observed for band in review.groups],
        color=theme.seen,
        marker="o",
        ls="none",
        ms=points(9),
        mec=theme.sheet,
        mew=points(1.5),
        zorder=7,
    )


def _strip(made: Axes, review: Review, theme: Tokens, top: float) -> None:
    most = max((bar.n for bar in review.histogram), default=1)
    room = _STRIP * top
    boxes = []
    for bar in review.histogram:
        if 100 * bar.low < top:
            up = 0.82 * room * bar.n / most - room
            gap = 7 * (bar.high - bar.low)
            left, right = 100 * bar.low + gap, 100 * bar.high - gap
            boxes.append([(left, -room), (left, up), (right, up), (right, -room)])
    made.add_collection(PolyCollection(boxes, facecolor=theme.ref, alpha=0.6, lw=0), autolim=False)


def _top(review: Review) -> float:
    """End of both axes: room for nearly all eyes and groups, in tens, at least 20 in 100."""
    curve = max((100 * point.risk for point in review.curve or ()), default=0.0)
    dots = max((100 * max(band.mean_risk, band.observed) for band in review.groups), default=0.0)
    whiskers = max((100 * band.high for band in review.groups), default=0.0)
    wanted = max(curve, dots, min(whiskers, 1.35 * max(curve, dots)), 15.0)
    return min(100.0, 10.0 * math.ceil((wanted + 1.0) / 10.0))


def _step(top: float) -> float:
    return 5.0 if top <= 20 else 10.0 if top <= 60 else 20.0
