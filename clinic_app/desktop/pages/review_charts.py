"""The charts of the review: which there are, their tables, and the card that shows one."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass, replace

from PySide6.QtCore import QSize, Qt, QTimer, Signal
from PySide6.QtGui import QImage, QPixmap, QResizeEvent, QShowEvent
from PySide6.QtWidgets import QHBoxLayout, QLabel, QSizePolicy, QVBoxLayout

from clinic_app.desktop.look import STRONG, Look
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.frame import Card
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.table import Sheet, Table, sheet_of
from clinic_app.desktop.words import day_words
from clinic_app.domain.reviewed import Counted, Review
from clinic_app.figures import words
from clinic_app.figures.words import ChartWords

VERDICTS = {
    "too_few": "too few to judge",
    "inside": "within chance",
    "above": "more than chance",
    "below": "fewer than chance",
}
REDRAW_AFTER = 120


def _hundred(fraction: float) -> str:
    return f"{100 * fraction:.1f}"


def _check_sheet(review: Review) -> Sheet:
    return sheet_of(
        ("Group of eyes", "Eyes", "Forecast in 100", "Seen in 100", "19 times in 20"),
        [
            (
                place,
                band.n,
                _hundred(band.mean_risk),
                _hundred(band.observed),
                f"{_hundred(band.low)} to {_hundred(band.high)}",
            )
            for place, band in enumerate(review.groups, start=1)
        ],
    )


def _tally_sheet(review: Review) -> Sheet:
    return sheet_of(
        ("Day", "Eyes so far", "Forecast so far", "Seen minus forecast", "Chance, 19 times in 20"),
        [
            (day_words(p.day), p.eyes, f"{p.expected:.1f}", f"{p.difference:+.1f}", f"{p.low:+.1f} to {p.high:+.1f}")
            for p in review.tally
        ],
    )


def _alarm_sheet(review: Review) -> Sheet:
    worse, better = review.alarm.worse, review.alarm.better
    if worse is None or better is None:
        return sheet_of((), [])
    signals = {*worse.signals, *better.signals}
    return sheet_of(
        ("Day", "Eyes so far", "More cloudy, of its limit", "Fewer cloudy, of its limit", ""),
        [
            (
                day_words(up.day),
                up.eyes,
                f"{up.height:.2f} of {worse.limit:.2f}",
                f"{down.height:.2f} of {better.limit:.2f}",
                "alarm" if up.day in signals else "",
            )
            for up, down in zip(worse.points, better.points, strict=True)
        ],
    )


def _counted_sheet(name: str, rows: tuple[Counted, ...]) -> Sheet:
    return sheet_of(
        (name, "Eyes", "Forecast", "Seen", "Chance, 19 times in 20", "In words"),
        [
            (
                row.group,
                row.n,
                f"{row.expected:.1f}",
                row.observed,
                f"{row.low} to {row.high}",
                VERDICTS.get(row.verdict, row.verdict),
            )
            for row in rows
        ],
    )


def _benefit_sheet(review: Review) -> Sheet:
    bands = {one.threshold: f"{100 * one.low:.2f} to {100 * one.high:.2f}" for one in review.net_benefit_band}
    return sheet_of(
        ("Planning from", "With the forecast", "19 times in 20", "Planning for all", "Planning for none"),
        [
            (
                f"{100 * row.threshold:.0f} in 100",
                f"{100 * row.model:.2f}",
                bands.get(row.threshold, ""),
                f"{100 * row.all:.2f}",
                f"{100 * row.none:.2f}",
            )
            for row in review.net_benefit
        ],
    )


def _check_words(review: Review) -> ChartWords:
    """The words of the forecast check, and where this page lists the eyes left out."""
    said = words.forecast_check(review)
    if not review.left_out:
        return said
    return replace(said, footer=f"{said.footer} · why eyes are left out: under Forecast, below the four questions")


@dataclass(frozen=True, slots=True)
class Chart:
    """A chart: its figure's module, its words by rule, its table."""

    name: str
    module: str
    words: Callable[[Review], ChartWords]
    sheet: Callable[[Review], Sheet]


CHECK = Chart("Forecast check", "forecast_check", _check_words, _check_sheet)
TALLY = Chart("Running tally", "running_tally", words.running_tally, _tally_sheet)
ALARM = Chart("Alarm chart", "alarm", words.alarm, _alarm_sheet)
SURGEONS = Chart("Surgeons", "surgeons", words.surgeons, lambda review: _counted_sheet("Surgeon", review.by_surgeon))
QUARTERS = Chart("Quarters", "quarters", words.quarters, lambda review: _counted_sheet("Quarter", review.by_quarter))
USEFULNESS = Chart("Usefulness", "usefulness", words.usefulness, _benefit_sheet)
CHARTS = (CHECK, TALLY, ALARM, SURGEONS, QUARTERS, USEFULNESS)


def drawable(chart: Chart, review: Review) -> bool:
    """Whether there is enough to draw."""
    return not review.too_few_to_draw and bool(chart.sheet(review).rows)


def draw(module: str, review: Review, theme: str, width: int, height: int, scale: float) -> bytes:
    """The picture as PNG, drawn on the worker; the plotter is brought in here, after the first paint."""
    tokens = importlib.import_module("clinic_app.figures.tokens")
    figure = importlib.import_module(f"clinic_app.figures.{module}").draw(review, tokens.theme(theme), width, height)
    made: bytes = importlib.import_module("clinic_app.figures.files").png(figure, scale=scale)
    return made


class Picture(QLabel):
    """Where the drawing stands; `sized` asks for one of another size."""

    sized = Signal()

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look = look
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Expanding)
        self.setAlignment(Qt.AlignmentFlag.AlignTop | Qt.AlignmentFlag.AlignLeft)
        self._later = QTimer(self)
        self._later.setSingleShot(True)
        self._later.setInterval(REDRAW_AFTER)
        self._later.timeout.connect(self.sized)

    def minimumSizeHint(self) -> QSize:
        return QSize(self.look.px(240), self.look.px(210))

    def sizeHint(self) -> QSize:
        return QSize(self.look.px(480), self.look.px(210))

    @property
    def waiting(self) -> bool:
        """Whether it is about to ask for a drawing."""
        return self._later.isActive() and self.isVisible()

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._later.start()

    def showEvent(self, event: QShowEvent) -> None:
        super().showEvent(event)
        self._later.start()  # colours or size may have changed while another page was shown

    def show_png(self, data: bytes, scale: float) -> None:
        """Show a drawing."""
        pixmap = QPixmap.fromImage(QImage.fromData(data))
        pixmap.setDevicePixelRatio(scale)
        self.setPixmap(pixmap)


class ChartCard(Card):
    """Heading (the finding), how to read it, the chart or its table, what stands below. `wanted` asks for a drawing."""

    wanted = Signal(object)

    def __init__(self, look: Look, chart: Chart) -> None:
        super().__init__(look, margins=(18, 10, 12, 8), spacing=3)
        self.chart = chart
        self.review: Review | None = None
        self._asked: tuple[Review, tuple[int, int, float], bool] | None = None
        self.table = Table(look, f"{chart.name} as a table")
        head = QHBoxLayout()
        self.heading = Words(look, chart.name, size=16, weight=STRONG, wrap=True)
        self.button = Button(look, "Show as table", kind="quiet", icon="table", note=f"{chart.name}: show as table")
        self.button.setObjectName(f"table.{chart.module}")
        self.button.clicked.connect(lambda: self.show_table(self.table.isHidden()))
        self.reading = Words(look, "", size=13, colour="soft", wrap=True)
        said = QVBoxLayout()
        said.setSpacing(look.px(1))
        said.addWidget(self.heading)
        said.addWidget(self.reading)
        head.addLayout(said, 1)
        head.addWidget(self.button, 0, Qt.AlignmentFlag.AlignTop)
        self.picture = Picture(look)
        self.table.setObjectName(f"sheet.{chart.module}")
        self.footer = Words(look, "", size=12, colour="faint", wrap=True)
        self.column.addLayout(head)
        for widget in (self.picture, self.table):
            self.column.addWidget(widget, 1)
        self.column.addWidget(self.footer)
        self.table.hide()
        self.picture.sized.connect(self.want)
        look.changed.connect(self.want)

    def show_review(self, review: Review) -> None:
        """Words and table at once; the drawing when it is ready."""
        self.review, self._asked = review, None
        said = self.chart.words(review)
        self.heading.setText(said.heading)
        self.reading.setText(said.reading)
        self.footer.setText(said.footer)
        self.table.show_sheet(self.chart.sheet(review))
        self.picture.setAccessibleName(f"{self.chart.name}: {said.heading}")
        self.picture.setAccessibleDescription(said.reading)
        self.picture.clear()
        enough = drawable(self.chart, review)
        self.button.setVisible(bool(self.chart.sheet(review).rows))
        self.picture.setText("" if enough else "Too few to draw.")
        self.want()

    def show_table(self, wanted: bool) -> None:
        """The table in place of the chart, or the chart again."""
        self.table.setVisible(wanted)
        self.picture.setVisible(not wanted)
        words_now = "Show as chart" if wanted else "Show as table"
        self.button.set_words(words_now, f"{self.chart.name}: {words_now.lower()}")

    def want(self) -> None:
        """Ask for a drawing of the size and in the colours there are, unless the last one was just that."""
        if self.review is None or not drawable(self.chart, self.review) or not self.picture.isVisible():
            return
        now = (self.review, self.size_wanted(), self.look.dark)
        if self._asked is None or now[1:] != self._asked[1:] or now[0] is not self._asked[0]:
            self._asked = now
            self.wanted.emit(self)

    def size_wanted(self) -> tuple[int, int, float]:
        """Width and height in pixels at 100 % text, and device pixels for each of them."""
        percent = self.look.percent / 100
        ratio = self.picture.devicePixelRatioF()
        return (
            max(200, int(self.picture.width() / percent)),
            max(140, int(self.picture.height() / percent)),
            ratio * percent,
        )

    def working(self) -> None:
        """The old chart says that a new one is on its way."""
        self.footer.setText("working…")

    def failed(self, why: str) -> None:
        """This chart alone could not be drawn; it is tried again when it is next shown or sized."""
        self._asked = None
        self.picture.setText(f"This chart could not be drawn: {why}")
