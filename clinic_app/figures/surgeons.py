"""Each surgeon's eyes against the forecast for those eyes, inside the exact limits of chance; letters, own shapes."""

from __future__ import annotations

from matplotlib.figure import Figure

from clinic_app.domain.reviewed import FEWEST_EYES_OF_A_SURGEON, Counted, Review
from clinic_app.figures.quarters import limits, share
from clinic_app.figures.style import (
    DOTS,
    axes,
    below_key,
    box,
    is_narrow,
    key,
    label,
    line,
    mark,
    name_axes,
    points,
    sheet,
)
from clinic_app.figures.tokens import Tokens

SHAPES = ("o", "s", "D", "^", "v", "P", "X", "p", "h", "*")


def drawn(review: Review) -> list[Counted]:
    """The surgeons with enough eyes to be drawn, fewest expected first: an order by size, never a league table."""
    rows = [row for row in review.by_surgeon if row.n >= FEWEST_EYES_OF_A_SURGEON]
    return sorted(rows, key=lambda row: (row.expected, row.group))


def draw(review: Review, theme: Tokens, width: float, height: float) -> Figure:
    """Seen minus forecast per 100 eyes; grey box: chance 19 times in 20, dotted arms: 998 in 1000."""
    figure = sheet(width, height, theme)
    narrow = is_narrow(figure)
    left = 92 if narrow else 140
    signs = [
        (mark(theme.seen, theme), "seen less forecast, in 100 eyes" if narrow else "seen less forecast"),
        (box(theme.ref_wash, theme.ref), "19 times in 20 by chance"),
        (line(theme.ref, DOTS, 1.4), "998 in 1000 by chance"),
    ]
    made = axes(figure, theme, left=left, bottom=48 if narrow else 56, top=below_key(figure, signs, left=left))
    rows = drawn(review)
    shapes = {row.group: SHAPES[k % len(SHAPES)] for k, row in enumerate(sorted(rows, key=lambda row: row.group))}
    reach = 1.0
    for place, row in enumerate(rows):
        at = share(row, row.expected)
        limits(made, place, row, theme, at, 0.26)
        gap = 100 * (row.observed - row.expected) / row.n
        made.plot(
            [place],
            [gap],
            marker=shapes[row.group],
            ms=points(11),
            color=theme.seen,
            mec=theme.sheet,
            mew=points(1.5),
            zorder=5,
        )
        label(made, place, gap, row.group, theme.ink, theme, bold=True, shift=(11, 0), size=13)
        reach = max(reach, abs(gap), *(abs(limit) for limit in at))
    made.axhline(0, color=theme.ref, lw=points(1.2), zorder=1)
    made.set_ylim(-1.1 * reach, 1.1 * reach)
    made.set_xlim(-0.7, len(rows) - 0.3)
    step = next(s for s in (1, 2, 5, 10, 20, 50, 100) if reach / s <= 3.2 or s == 100)
    steps = int(1.05 * reach // step)
    places = [k * step for k in range(-steps, steps + 1)]
    made.set_yticks(places, ["as forecast" if k == 0 else f"{abs(k)} {'more' if k > 0 else 'fewer'}" for k in places])
    made.set_xticks(range(len(rows)), [f"{row.n}\neyes" if narrow else f"{row.n} eyes" for row in rows])
    made.tick_params(axis="x", length=0)
    if not narrow:
        name_axes(made, theme, "surgeons, fewest eyes expected cloudy at the left", "in 100 eyes, against forecast")
        made.yaxis.labelpad = points(16)  # room for a reader's wider letters
    key(figure, theme, signs, left=left)
    return figure
