"""Fonts, sizes and axes that all pictures share. Sizes are CSS pixels (96 to the inch)."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from pathlib import Path

from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, fontManager
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.text import Text

from clinic_app.figures.tokens import Tokens

PX_PER_INCH = 96.0
TEXT_PX = 13.0
SMALL_PX = 12.0
FONTS = Path(__file__).resolve().parents[1] / "desktop" / "fonts"
NARROW_PX = 480.0
KEY_ROW_PX = 20.0
_SIGN_PX = 52.0
_LETTER_PX = 6.9
Entries = Sequence[tuple[Artist, str]]
"""Signs of a key with their words."""

DASHES = (0, (5, 3))
DOTS = (0, (1.5, 2))


@functools.cache
def families() -> tuple[str, ...]:
    """Font families to use, first choice first: the program's own where its files are found."""
    own = sorted(path for path in FONTS.glob("Inter*") if path.suffix.lower() in {".ttf", ".otf"})
    for path in own:
        fontManager.addfont(path)
    return ("Inter", "DejaVu Sans") if own else ("DejaVu Sans",)


def points(px: float) -> float:
    """A size in CSS pixels as points."""
    return px * 72.0 / PX_PER_INCH


def sheet(width: float, height: float, theme: Tokens) -> Figure:
    """An empty picture of that size."""
    return Figure(figsize=(width / PX_PER_INCH, height / PX_PER_INCH), dpi=PX_PER_INCH, facecolor=theme.sheet)


def axes(
    figure: Figure, theme: Tokens, *, left: float = 64, right: float = 14, top: float = 12, bottom: float = 52
) -> Axes:
    """Axes inside margins given in pixels: left and bottom spine only, quiet ticks."""
    width, height = figure.get_size_inches() * PX_PER_INCH
    made = figure.add_axes(
        (left / width, bottom / height, (width - left - right) / width, (height - top - bottom) / height)
    )
    made.set_facecolor("none")
    for side in ("top", "right"):
        made.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        made.spines[side].set_color(theme.edge)
        made.spines[side].set_linewidth(points(1))
    made.tick_params(
        colors=theme.soft,
        labelcolor=theme.soft,
        labelsize=points(TEXT_PX),
        length=points(5),
        width=points(1),
        color=theme.edge,
        labelfontfamily=list(families()),
    )
    return made


def name_axes(made: Axes, theme: Tokens, x: str = "", y: str = "") -> None:
    """The words along the axes."""
    made.set_xlabel(x, color=theme.soft, size=points(TEXT_PX), family=list(families()), labelpad=points(5))
    made.set_ylabel(y, color=theme.soft, size=points(TEXT_PX), family=list(families()), labelpad=points(4))


def label(
    made: Axes,
    x: float,
    y: float,
    words: str,
    colour: str,
    theme: Tokens,
    *,
    inside: bool = False,
    bold: bool = False,
    across: str = "left",
    up: str = "center",
    shift: tuple[float, float] = (0.0, 0.0),
    size: float = SMALL_PX,
) -> Text:
    """Words at a place: in the units of the axes, or with `inside` as a share of the axes; `shift` in pixels."""
    return made.annotate(
        words,
        (x, y),
        xycoords="axes fraction" if inside else "data",
        xytext=(points(shift[0]), points(shift[1])),
        textcoords="offset points",
        ha=across,
        va=up,
        color=colour,
        size=points(size),
        family=list(families()),
        weight="bold" if bold else "normal",
        bbox={"facecolor": theme.sheet, "alpha": 0.75, "edgecolor": "none", "pad": 1.0},
        annotation_clip=False,
        parse_math=False,
    )


def is_narrow(figure: Figure) -> bool:
    """Whether the picture is for a narrow screen: fewer words, fewer ticks."""
    return bool(figure.get_size_inches()[0] * PX_PER_INCH < NARROW_PX)


def line(colour: str, style: str | tuple[int, tuple[float, ...]] = "-", width: float = 2.8) -> Line2D:
    """A line for the key."""
    return Line2D([], [], color=colour, lw=points(width), ls=style)


def mark(colour: str, theme: Tokens, shape: str = "o") -> Line2D:
    """A mark for the key."""
    return Line2D([], [], color=colour, marker=shape, ls="none", ms=points(9), mec=theme.sheet, mew=points(1.5))


def box(fill: str, edge: str, alpha: float | None = None) -> Patch:
    """A filled area for the key."""
    return Patch(facecolor=fill, edgecolor=edge, lw=points(1), alpha=alpha)


def _columns(figure: Figure, entries: Entries, left: float) -> int:
    """In how many columns the key fits beside `left`."""
    room = float(figure.get_size_inches()[0]) * PX_PER_INCH - left
    widths = [_SIGN_PX + _LETTER_PX * len(words) for _, words in entries]
    if sum(widths) <= room:
        return len(entries)
    return next((columns for columns in range(len(entries) - 1, 1, -1) if columns * max(widths) <= room), 1)


def key(figure: Figure, theme: Tokens, entries: Entries, *, left: float) -> None:
    """What the signs mean, above the plot: one row where they fit, else in columns."""
    width, height = figure.get_size_inches() * PX_PER_INCH
    figure.legend(
        [sign for sign, _ in entries],
        [words for _, words in entries],
        loc="upper left",
        bbox_to_anchor=(left / width, 1.0 - 4.0 / height),
        ncols=_columns(figure, entries, left),
        frameon=False,
        prop=FontProperties(family=list(families()), size=points(SMALL_PX)),
        labelcolor=theme.soft,
        borderpad=0.0,
        borderaxespad=0.0,
        handlelength=2.0,
        handletextpad=0.6,
        columnspacing=1.8,
        labelspacing=0.35,
    )


def below_key(figure: Figure, entries: Entries, *, left: float) -> float:
    """Pixels to leave above the axes for that key."""
    return KEY_ROW_PX * -(-len(entries) // _columns(figure, entries, left)) + 12.0
