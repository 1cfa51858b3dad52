"""The charts of a review in reading order: their words, their table, and how each is drawn."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from matplotlib.figure import Figure

from clinic_app.domain.reviewed import Review
from clinic_app.figures import alarm, forecast_check, quarters, running_tally, surgeons, tables, usefulness, words
from clinic_app.figures.tables import Table
from clinic_app.figures.tokens import Tokens
from clinic_app.figures.words import ChartWords

Draw = Callable[[Review, Tokens, float, float], Figure]
WIDE = (760.0, 380.0)
NARROW = (352.0, 340.0)


@dataclass(frozen=True, slots=True)
class Chart:
    """One chart of a review. `drawn` is False when there is too little to draw: words and table stand alone."""

    name: str
    words: ChartWords
    table: Table
    drawn: bool
    _review: Review
    _draw: Draw

    def figure(self, theme: Tokens, size: tuple[float, float] = WIDE) -> Figure:
        """The picture in the colours of `theme`, width and height in pixels."""
        if not self.drawn:
            raise ValueError(f"{self.name}: too few to draw")
        return self._draw(self._review, theme, *size)


def charts(review: Review) -> tuple[Chart, ...]:
    """Forecast check, running tally, alarm chart, quarters, surgeons, usefulness."""
    enough = not review.too_few_to_draw
    return (
        Chart(
            "forecast_check",
            words.forecast_check(review),
            tables.forecast_check(review),
            enough,
            review,
            forecast_check.draw,
        ),
        Chart(
            "running_tally",
            words.running_tally(review),
            tables.running_tally(review),
            enough,
            review,
            running_tally.draw,
        ),
        Chart(
            "alarm",
            words.alarm(review),
            tables.alarm(review),
            enough and review.alarm.worse is not None,
            review,
            alarm.draw,
        ),
        Chart(
            "by_quarter",
            words.quarters(review),
            tables.counted(review.by_quarter, "Quarter"),
            enough,
            review,
            quarters.draw,
        ),
        Chart(
            "by_surgeon",
            words.surgeons(review),
            tables.counted(review.by_surgeon, "Surgeon"),
            enough and bool(surgeons.drawn(review)),
            review,
            surgeons.draw,
        ),
        Chart("usefulness", words.usefulness(review), tables.usefulness(review), enough, review, usefulness.draw),
    )
