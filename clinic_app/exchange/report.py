"""The review as files: one self-contained page, its numbers as JSON, its pictures as SVG and PNG."""

from __future__ import annotations

import functools
import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from clinic_app.domain.reviewed import Review
from clinic_app.domain.words import counted
from clinic_app.errors import Refusal
from clinic_app.exchange import report_words as said
from clinic_app.exchange.cautions import CAUTIONS
from clinic_app.figures import files, tables, words
from clinic_app.figures.charts import NARROW, Chart, charts
from clinic_app.figures.tokens import DARK, LIGHT, PRINT, Tokens
from clinic_app.files import write_whole

FORMATS = ("html", "json", "svg", "png")
TEMPLATES = Path(__file__).with_name("templates")
PNG_SCALE = 2.0
ABSENT = "–"
"""In place of a figure that cannot be estimated; the reason stands beside it."""


@dataclass(frozen=True, slots=True)
class ReviewFiles:
    """Where the review was written; `html` and `json` are None when they were not asked for."""

    folder: Path
    html: Path | None
    json: Path | None
    svg: tuple[Path, ...]
    png: tuple[Path, ...]

    @property
    def paths(self) -> tuple[Path, ...]:
        """Every file, the page first."""
        return tuple(path for path in (self.html, self.json, *self.svg, *self.png) if path is not None)


def write_review(review: Review, folder: Path, *, formats: Collection[str] = FORMATS) -> ReviewFiles:
    """Write `review.html`, `review.json` and the pictures into `folder`, which is made where it is missing.

    Each file is written whole or not at all; the same review gives the same bytes. Raises `Refusal` when the folder
    cannot be written to or a format is unknown.
    """
    unknown = sorted(set(formats) - set(FORMATS))
    if unknown:
        raise Refusal(
            what="The review was not written.",
            why=f"There is no format {', '.join(unknown)}.",
            next=f"Choose among {', '.join(FORMATS)}.",
        )
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError:
        raise Refusal(
            what="The review was not written.",
            why=f"The folder {folder.name} cannot be made.",
            next="Choose a folder that may be written to.",
        ) from None
    shown = charts(review)
    drawn = [one for one in shown if one.drawn and set(formats) - {"json"}]
    pictures = {one.name: _Picture.of(one, formats) for one in drawn}
    svg = tuple(
        write_whole(folder / f"{name}.svg", picture.wide.encode())
        for name, picture in pictures.items()
        if "svg" in formats
    )
    png = tuple(
        write_whole(folder / f"{name}.png", picture.png) for name, picture in pictures.items() if "png" in formats
    )
    numbers = write_whole(folder / "review.json", as_json(review).encode()) if "json" in formats else None
    page = write_whole(folder / "review.html", _page(review, shown, pictures).encode()) if "html" in formats else None
    return ReviewFiles(folder, page, numbers, svg, png)


def as_json(review: Review) -> str:
    """The numbers of the review."""
    return json.dumps(review.as_dict(), ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def as_page(review: Review) -> str:
    """The review as one HTML page that needs nothing else: styles and pictures inside, no script."""
    shown = charts(review)
    return _page(review, shown, {one.name: _Picture.of(one, ("html",)) for one in shown if one.drawn})


@dataclass(frozen=True, slots=True)
class _Picture:
    """One chart, drawn once for all wide forms of it; a form that no file asked for is empty."""

    wide: str
    narrow: str
    words: str
    png: bytes

    @classmethod
    def of(cls, chart: Chart, formats: Collection[str]) -> _Picture:
        page = "html" in formats
        figure = chart.figure(LIGHT)
        return cls(
            wide=files.svg(figure, chart.name) if page or "svg" in formats else "",
            narrow=files.svg(chart.figure(LIGHT, NARROW), f"{chart.name}-narrow") if page else "",
            words=chart.words.heading,
            png=files.png(figure, scale=PNG_SCALE) if "png" in formats else b"",
        )

    def inline(self) -> tuple[Markup, Markup]:
        """Both for the page, which shows the one that fits."""
        wide, narrow = (files.inline(text, LIGHT, self.words) for text in (self.wide, self.narrow))
        return Markup(wide), Markup(narrow)  # noqa: S704 - drawn by us; words inside are escaped by the writer of SVG


@functools.cache
def _environment() -> Environment:
    """The templates, read once."""
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters.update(
        by_first=_by_first,
        per_100=tables.per_100,
        day=words.day_words,
        counted=counted,
        decimals=_decimals,
        limits=_limits,
        performances=said.performances_table,
        why_absent=said.why_absent,
    )
    return environment


def _page(review: Review, shown: tuple[Chart, ...], pictures: Mapping[str, _Picture]) -> str:
    return (
        _environment()
        .get_template("review.html")
        .render(
            r=review.as_dict(),
            review=review,
            charts={one.name: one for one in shown},
            pictures={name: one.inline() for name, one in pictures.items()},
            groups=words.groups(review),
            groups_table=tables.groups(review),
            missing=words.missing_grades(review),
            basis=words.basis_short(review),
            forecast_name=words.MODEL_WORDS[review.model],
            measures=said.MEASURES,
            facts=words.facts(review),
            missing_table=said.missing_table(review),
            missing_bands=said.missing_bands_table(review),
            readings=said.readings_table(review),
            happenings=said.happenings_table(review),
            causes=said.causes_table(review),
            headings={
                "figures": said.figures_heading(review),
                "theatre": said.theatre_heading(review),
                "causes": said.causes_heading(review),
                "model": said.beside_heading(review),
            },
            footer=words.footer(review),
            cautions=CAUTIONS,
            definitions=said.DEFINITIONS,
            colours={one.name: _variables(one) for one in (LIGHT, DARK, PRINT)},
        )
    )


def _variables(colours: Tokens) -> dict[str, str]:
    names = (
        "paper", "sheet", "well", "ink", "soft", "faint", "edge", "rule", "act", "forecast", "forecast_mid",
        "forecast_wash", "seen", "seen_mid", "seen_wash", "halt", "halt_wash", "focus", "ref", "ref_wash",
    )  # fmt: skip
    return {name.replace("_", "-"): str(getattr(colours, name)) for name in names}


def _by_first(table: tables.Table) -> list[tuple[str, list[tuple[str, ...]]]]:
    """Rows under their first cell, in the order of the table."""
    return [(name, list(rows)) for name, rows in groupby(table.rows, key=lambda row: row[0])]


def _decimals(value: float | None, places: int = 3) -> str:
    return ABSENT if value is None else f"{value:.{places}f}"


def _limits(estimate: dict[str, float | None] | None, places: int = 2) -> str:
    """A figure with its limits, as far as they are known."""
    if estimate is None or estimate["value"] is None:
        return ABSENT
    low, high = estimate["low"], estimate["high"]
    words_of = f"{estimate['value']:.{places}f}"
    return words_of if low is None or high is None else f"{words_of} ({low:.{places}f} to {high:.{places}f})"
