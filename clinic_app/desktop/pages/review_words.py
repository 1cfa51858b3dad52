"""The review in figures and sentences: four facts, and the measures named once in small print."""

from __future__ import annotations

from PySide6.QtCore import QRect, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QLabel, QSizePolicy

from clinic_app.desktop.look import BOLD, STRONG, Look
from clinic_app.desktop.parts.frame import Card, rounded
from clinic_app.desktop.parts.label import Words, draw_words, text_width
from clinic_app.desktop.parts.table import Table, sheet_of
from clinic_app.domain.reviewed import Estimate, Review
from clinic_app.figures import words


class Fact(QLabel):
    """One number and what it counts."""

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look = look
        self.number = self.meaning = ""
        self.colour = "ink"
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        look.changed.connect(self.updateGeometry)

    def say(self, number: str, meaning: str, colour: str) -> None:
        """Another fact."""
        self.number, self.meaning, self.colour = number, meaning, colour
        self.setText(f"{number} {meaning}")
        self.setAccessibleName(f"{number} {meaning}")
        self.updateGeometry()
        self.update()

    def sizeHint(self) -> QSize:
        look = self.look
        width = text_width(look, self.number, 28, BOLD) + text_width(look, self.meaning, 13) + look.px(18 + 14 + 14)
        return QSize(width, look.px(52))

    def minimumSizeHint(self) -> QSize:
        return self.sizeHint()

    def paintEvent(self, event: QPaintEvent) -> None:
        look = self.look
        painter = QPainter(self)
        rounded(painter, QRectF(self.rect()), look.px(6), fill=look.colour("sheet"), line=look.colour("rule"))
        box = self.rect().adjusted(look.px(18), 0, -look.px(10), 0)
        draw_words(painter, look, self.number, box, size=28, weight=BOLD, colour=self.colour)
        wide = text_width(look, self.number, 28, BOLD) + look.px(14)
        draw_words(painter, look, self.meaning, QRect(box).adjusted(wide, 0, 0, 0), size=13, colour="soft")
        painter.end()


def _estimate(one: Estimate | None, decimals: int = 2) -> tuple[str, str]:
    if one is None or one.value is None:
        return "not worked out", ""
    shown = f"{one.value:.{decimals}f}"
    if one.low is None or one.high is None:
        return shown, ""
    return shown, f"{one.low:.{decimals}f} to {one.high:.{decimals}f}"


def measure_rows(review: Review) -> list[tuple[str, str, str, str]]:
    """Question, figure, range, measure."""
    brier = f"{review.brier:.4f}" if review.brier is not None else "not worked out"
    return [
        ("How many cloudy, seen for each one forecast?", *_estimate(review.observed_expected), "observed : expected"),
        (
            "Do high and low forecasts spread as they should? (1 is ideal)",
            *_estimate(review.calibration_slope),
            "calibration slope",
        ),
        ("How often does a cloudy eye get the higher number?", *_estimate(review.c_statistic), "C statistic"),
        ("How far off, all eyes together? (less is better)", brier, "", "Brier score"),
    ]


class Measures(Card):
    """The measures in a table; the eyes without a grade and those left out, by reason, in words."""

    def __init__(self, look: Look) -> None:
        super().__init__(look, margins=(18, 10, 12, 10), spacing=4)
        self.heading = Words(look, "Four questions", size=16, weight=STRONG)
        self.table = Table(look, "Four questions about the forecast")
        self.table.setObjectName("sheet.measures")
        self.missing = Words(look, "", size=13, colour="soft", wrap=True)
        self.left = Words(look, "", size=13, colour="soft", wrap=True)
        self.basis = Words(look, "", size=12, colour="faint", wrap=True)
        for widget in (self.heading, self.table, self.missing, self.left, self.basis):
            self.column.addWidget(widget)
        self.column.addStretch(1)

    def show_review(self, review: Review) -> None:
        """Another review."""
        self.table.show_sheet(sheet_of(("Question", "Figure", "19 times in 20", "Measure"), measure_rows(review)))
        self.table.setFixedHeight(self.look.px(28 + 4 * 26 + 6))
        said = words.missing_grades(review)
        self.missing.setText(f"{said.heading}. {said.reading} {said.footer}")
        reasons = " ".join(f"{name.replace('_', ' ').capitalize()}: {why}" for name, why in review.reasons.items())
        self.left.setText(words.left_out_list(review))
        self.left.setVisible(bool(review.left_out))
        self.basis.setText(" ".join(part for part in (review.basis_words, reasons) if part))
