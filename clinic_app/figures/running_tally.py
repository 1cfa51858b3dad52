"""Running tally: cloudy eyes seen minus forecast, eye after eye, inside what chance allows."""

from __future__ import annotations

from datetime import date

import numpy as np
from matplotlib.axes import Axes
from matplotlib.dates import date2num
from matplotlib.figure import Figure

from clinic_app.domain.reviewed import Review
from clinic_app.figures.style import DOTS, axes, below_key, box, is_narrow, key, label, line, points, sheet
from clinic_app.figures.tokens import Tokens
from clinic_app.figures.words import in_eyes

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def draw(review: Review, theme: Tokens, width: float, height: float) -> Figure:
    """Steps of what was seen (copper), chance 19 times in 20 (grey), 998 in 1000 (dotted)."""
    figure = sheet(width, height, theme)
    narrow = is_narrow(figure)
    signs = [
        (line(theme.seen, width=2.6), "seen less forecast"),
        (box(theme.ref_wash, theme.ref), "19 times in 20 by chance"),
        (line(theme.ref, DOTS, 1.4), "998 in 1000 by chance"),
    ]
    made = axes(figure, theme, left=92, bottom=44, top=below_key(figure, signs, left=92))
    path = review.tally
    x = np.array([date2num(point.day) for point in path])
    low, high = [point.low for point in path], [point.high for point in path]
    made.fill_between(x, low, high, color=theme.ref_wash, lw=0, zorder=1)
    for edge in (low, high):
        made.plot(x, edge, color=theme.ref, lw=points(1.2), zorder=2)
    for edge in ([point.low_998 for point in path], [point.high_998 for point in path]):
        made.plot(x, edge, color=theme.ref, lw=points(1.4), ls=DOTS, zorder=2)
    made.axhline(0, color=theme.ref, lw=points(1.2), zorder=2)
    last = path[-1]
    made.step(x, [point.difference for point in path], where="post", color=theme.seen, lw=points(2.6), zorder=4)
    made.plot([x[-1]], [last.difference], marker="o", ms=points(9), color=theme.seen, zorder=5, clip_on=False)
    reach = max(*(abs(point.high_998) for point in path), *(abs(point.difference) for point in path), 2.0)
    made.set_ylim(-1.08 * reach, 1.08 * reach)
    made.set_xlim(x[0], x[-1] + max(1.0, 0.01 * (x[-1] - x[0])))
    _eyes_axis(made, reach, narrow=narrow)
    mark_months(made, figure, path[0].day, last.day)
    key(figure, theme, signs, left=92)
    below = last.difference < 0
    label(
        made,
        float(x[-1]),
        last.difference,
        in_eyes(last.difference),
        theme.seen,
        theme,
        bold=True,
        across="right",
        up="top" if below else "bottom",
        shift=(-4, -9 if below else 9),
        size=13,
    )
    return figure


def _eyes_axis(made: Axes, reach: float, *, narrow: bool) -> None:
    step = next(
        s for s in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000) if reach / s <= (2.6 if narrow else 3.6)
    )
    steps = int(reach // step)
    places = [k * step for k in range(-steps, steps + 1)]
    made.set_yticks(places, [_place(place) for place in places])


def _place(place: int) -> str:
    if place == 0:
        return "as forecast"
    return f"{abs(place)} {'more' if place > 0 else 'fewer'}"


def mark_months(made: Axes, figure: Figure, first: date, last: date) -> None:
    """Ticks at first days of months, few enough to be read; the year where it begins or changes."""
    most = 3 if is_narrow(figure) else 5
    months = [
        date(year, month, 1)
        for year in range(first.year, last.year + 1)
        for month in range(1, 13)
        if first <= date(year, month, 1) <= last
    ]
    step = next((s for s in (1, 2, 3, 6, 12, 24, 60) if len(months) / s <= most), 120)
    shown = [day for day in months if (12 * day.year + day.month - 1) % step == 0] or [first]
    names = [
        f"{MONTHS[day.month - 1]}\n{day.year}" if k == 0 or day.year != shown[k - 1].year else MONTHS[day.month - 1]
        for k, day in enumerate(shown)
    ]
    made.set_xticks([float(date2num(day)) for day in shown], names)
