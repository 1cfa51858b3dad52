"""Cloudy eyes seen beside forecast, quarter by quarter, with the exact limits of what chance allows."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from clinic_app.domain.reviewed import Counted, Review
from clinic_app.figures.style import DOTS, axes, below_key, box, is_narrow, key, line, mark, name_axes, points, sheet
from clinic_app.figures.tokens import Tokens
from clinic_app.figures.words import axis_top

MOST_NARROW = 5
MOST_WIDE = 10


def draw(review: Review, theme: Tokens, width: float, height: float) -> Figure:
    """Per quarter: forecast (blue line), seen (copper dot), chance 19 times in 20 (grey) and 998 in 1000 (dotted)."""
    figure = sheet(width, height, theme)
    narrow = is_narrow(figure)
    signs = [
        (line(theme.forecast), "forecast"),
        (mark(theme.seen, theme), "seen"),
        (box(theme.ref_wash, theme.ref), "19 times in 20 by chance"),
        (line(theme.ref, DOTS, 1.4), "998 in 1000 by chance"),
    ]
    made = axes(figure, theme, left=60, bottom=66, top=below_key(figure, signs, left=60))
    rows = [row for row in review.by_quarter if row.n > 0]
    top = axis_top(rows)
    for place, row in enumerate(rows):
        limits(made, place, row, theme, share(row, 0), 0.30)
        forecast, seen = 100 * row.expected / row.n, 100 * row.observed / row.n
        beyond(made, place, row, theme, top)
        made.plot([place - 0.34, place + 0.34], [forecast, forecast], color=theme.forecast, lw=points(2.8), zorder=4)
        made.plot(
            [place], [seen], marker="o", ms=points(9), color=theme.seen, mec=theme.sheet, mew=points(1.5), zorder=5
        )
    made.set_ylim(0, top)
    made.set_xlim(-0.7, len(rows) - 0.3)
    every = -(-len(rows) // (MOST_NARROW if narrow else MOST_WIDE))
    shown = [k for k in range(len(rows)) if (len(rows) - 1 - k) % every == 0]
    made.set_xticks(shown, [_tick(rows, k) for k in shown])
    made.tick_params(axis="x", length=0)
    made.locator_params(axis="y", nbins=5, integer=True)
    name_axes(made, theme, y="cloudy in 100 eyes")
    key(figure, theme, signs, left=60)
    return figure


def beyond(made: Axes, place: float, row: Counted, theme: Tokens, top: float) -> None:
    """An arrowhead at the upper edge where the limits go on beyond it, another one where the dot does."""
    for count, colour, shift in ((row.high_998, theme.ref, 0.0), (row.observed, theme.seen, 0.22)):
        if 100 * count / row.n > top:
            made.plot([place + shift], [0.965 * top], marker="^", ms=points(9), color=colour, mec=theme.sheet, zorder=6)


def share(row: Counted, base: float) -> tuple[float, float, float, float]:
    """The row's four limits per 100 eyes, less `base`: low, high, low 99.8, high 99.8."""
    counts = (row.low, row.high, row.low_998, row.high_998)
    low, high, low_998, high_998 = (100 * (count - base) / row.n for count in counts)
    return low, high, low_998, high_998


def limits(
    made: Axes, place: float, row: Counted, theme: Tokens, at: tuple[float, float, float, float], half: float
) -> None:
    """A grey box for what chance allows 19 times in 20, dotted arms to the 998-in-1000 limits."""
    low, high, low_998, high_998 = at
    made.bar(
        [place], [high - low], 2 * half, bottom=[low], color=theme.ref_wash, edgecolor=theme.ref, lw=points(1), zorder=2
    )
    made.vlines([place, place], [high, low_998], [high_998, low], color=theme.ref, lw=points(1.4), ls=DOTS, zorder=2)
    made.hlines([high_998, low_998], place - half / 3, place + half / 3, color=theme.ref, lw=points(1.2), zorder=2)


def _tick(rows: list[Counted], k: int) -> str:
    year, quarter = rows[k].group.split(" ")
    return f"{quarter}\n{year}\nof {rows[k].n}"
