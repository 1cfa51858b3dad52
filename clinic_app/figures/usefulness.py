"""Usefulness: what planning by the forecast gains, beside planning for every eye and for none."""

from __future__ import annotations

from matplotlib.figure import Figure

from clinic_app.domain.reviewed import Review
from clinic_app.figures.style import DASHES, DOTS, axes, below_key, box, key, label, line, name_axes, points, sheet
from clinic_app.figures.tokens import Tokens


def draw(review: Review, theme: Tokens, width: float, height: float) -> Figure:
    """Net benefit per 100 eyes against the line from which one plans."""
    figure = sheet(width, height, theme)
    band = review.net_benefit_band
    signs = [
        (line(theme.forecast), "planning by the forecast"),
        *([(box(theme.forecast_wash, theme.forecast), "its range, 19 times in 20")] if band else []),
        (line(theme.ref, DASHES, 1.8), "for every eye"),
        (line(theme.ref, width=1.2), "for none"),
    ]
    made = axes(figure, theme, left=60, top=below_key(figure, signs, left=60))
    rows = review.net_benefit
    x = [100 * row.threshold for row in rows]
    model = [100 * row.model for row in rows]
    everyone = [100 * row.all for row in rows]
    top = 1.15 * max(*model, *(100 * one.high for one in band), everyone[0], 0.5)
    made.set_ylim(-0.35 * top, top)
    made.set_xlim(x[0], x[-1])
    made.axhline(0, color=theme.ref, lw=points(1.2), zorder=2)
    if band:
        low, high = [100 * one.low for one in band], [100 * one.high for one in band]
        made.fill_between(x, low, high, color=theme.forecast_wash, lw=0, zorder=1)
        for edge in (low, high):
            made.plot(x, edge, color=theme.forecast, lw=points(1.0), zorder=2)
    made.plot(x, everyone, color=theme.ref, lw=points(1.8), ls=DASHES, zorder=3)
    made.plot(x, model, color=theme.forecast, lw=points(2.8), zorder=4)
    if review.planning is not None and x[0] <= review.planning.line <= x[-1]:
        planned = review.planning.line
        made.axvline(planned, color=theme.ink, lw=points(1.3), ls=DOTS, zorder=3)
        words = f"planning line {planned:g}"
        label(made, planned, 0.98 * top, words, theme.ink, theme, shift=(5, 0), up="top")
    key(figure, theme, signs, left=60)
    name_axes(made, theme, "plan from this many in 100", "gain, cloudy eyes in 100")
    made.locator_params(axis="y", nbins=5)
    made.set_xticks([2, 10, 20, 30, 40])
    return figure
