"""A chance in pictures: a hundred dots, and a bar with its range. Both only repeat what the sentence says."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRect, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QLabel, QSizePolicy

from clinic_app.desktop.look import MEDIUM, Look
from clinic_app.desktop.parts.frame import rounded
from clinic_app.desktop.parts.label import draw_words, text_width

ACROSS, DOWN = 25, 4


class HundredDots(QLabel):
    """Four rows of 25: filled = low end, half-tone = up to the best guess, outlined = could reach (whole numbers)."""

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look = look
        self.low = self.risk = self.high = 0
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setLayoutDirection(Qt.LayoutDirection.LeftToRight)  # an axis is never mirrored
        look.changed.connect(self.updateGeometry)

    def show_chance(self, low: int, risk: int, high: int) -> None:
        """Chances in 100."""
        self.low, self.risk, self.high = low, risk, high
        self.setAccessibleName(f"Of 100 dots, {low} filled, {risk} up to the best guess, {high} at most.")
        self.update()

    def sizeHint(self) -> QSize:
        return QSize(self.look.px(300), self.look.px(DOWN * 13 + 4 + 26))

    def paintEvent(self, event: QPaintEvent) -> None:
        look = self.look
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        step = min((self.width() - 2) / ACROSS, look.px(13.4))
        big, small = look.px(4.3), max(1.0, 1.3 * look.percent / 100)
        for place in range(100):
            centre = QPointF(1 + step * (place % ACROSS + 0.5), 2 + look.px(13) * (place // ACROSS + 0.5))
            self._dot(painter, centre, self._kind(place), big, small)
        self._key(painter)
        painter.end()

    def _kind(self, place: int) -> str:
        if place < self.low:
            return "forecast"
        if place < self.risk:
            return "forecast_mid"
        return "sheet" if place < self.high else ""

    def _dot(self, painter: QPainter, centre: QPointF, fill: str, big: float, small: float) -> None:
        look = self.look
        if fill:
            painter.setPen(QPen(look.colour("forecast"), max(1.0, look.px(1.2))))
            painter.setBrush(look.colour(fill))
        else:
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(look.colour("edge"))
        size = big if fill else small
        painter.drawEllipse(centre, size, size)

    def _key(self, painter: QPainter) -> None:
        look = self.look
        top = look.px(DOWN * 13 + 4)
        left = 0
        items = (
            ("forecast", f"low end {self.low}"),
            ("forecast_mid", f"most likely {self.risk}"),
            ("sheet", f"could reach {self.high}"),
        )
        for fill, words in items:
            self._dot(painter, QPointF(left + look.px(5), top + look.px(13)), fill, look.px(4), 1)
            box = QRect(left + look.px(14), top, self.width(), look.px(26))
            draw_words(painter, look, words, box, size=12, colour="soft")
            left += look.px(14 + 14) + text_width(look, words, 12)


def axis_top(high: float, *others: float | None) -> int:
    """End of the axis in 100: 40, or 60 or 100 when something reaches further."""
    reach = max([high, *(one for one in others if one is not None)])
    return next(top for top in (40, 60, 100) if reach <= top or top == 100)


class RangeBar(QLabel):
    """Axis, range, best guess, our average, planning line."""

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look = look
        self.low = self.risk = self.high = 0.0
        self.average: float | None = None
        self.line: float | None = None
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setLayoutDirection(Qt.LayoutDirection.LeftToRight)  # an axis is never mirrored
        look.changed.connect(self.updateGeometry)

    def show_chance(self, low: float, risk: float, high: float, average: float | None, line: float | None) -> None:
        """Chances in 100."""
        self.low, self.risk, self.high, self.average, self.line = low, risk, high, average, line
        words = f"Range {low:.0f} to {high:.0f} in 100, most likely {risk:.0f}"
        if average is not None:
            words += f"; our average {average:.0f}"
        if line is not None:
            words += f"; planning line {line:.0f}"
        self.setAccessibleName(words + ".")
        self.update()

    @property
    def top(self) -> int:
        """End of the axis."""
        return axis_top(self.high, self.average, self.line)

    def sizeHint(self) -> QSize:
        return QSize(self.look.px(300), self.look.px(80))

    def _x(self, value: float) -> float:
        edge = self.look.px(12)
        return edge + (self.width() - 2 * edge) * min(value, self.top) / self.top

    def paintEvent(self, event: QPaintEvent) -> None:
        look = self.look
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        base, middle = look.px(52), look.px(38)
        painter.setPen(QPen(look.colour("edge"), 1))
        painter.drawLine(QPointF(self._x(0), base), QPointF(self._x(self.top), base))
        for mark in range(0, self.top + 1, self.top // 4):
            painter.setPen(QPen(look.colour("edge"), 1))
            painter.drawLine(QPointF(self._x(mark), base), QPointF(self._x(mark), base + look.px(4)))
            box = QRect(int(self._x(mark)) - look.px(20), base + look.px(5), look.px(40), look.px(18))
            draw_words(painter, look, str(mark), box, size=12, colour="soft", align=Qt.AlignmentFlag.AlignHCenter)
        thick = look.px(12)
        band = QRectF(self._x(self.low), middle - thick / 2, max(2.0, self._x(self.high) - self._x(self.low)), thick)
        rounded(
            painter, band, thick / 2, fill=look.colour("forecast_mid"), line=look.colour("forecast"), width=look.px(1.4)
        )
        self._marks(painter, base)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(look.colour("forecast"))
        painter.drawEllipse(QPointF(self._x(self.risk), middle), look.px(7.5), look.px(7.5))
        painter.end()

    def _marks(self, painter: QPainter, base: int) -> None:
        look = self.look
        top = look.px(22)
        for value, dotted in ((self.average, False), (self.line, True)):
            if value is not None:
                pen = QPen(look.colour("ink" if dotted else "ref"), look.px(1.8))
                pen.setStyle(Qt.PenStyle.DotLine if dotted else Qt.PenStyle.SolidLine)
                painter.setPen(pen)
                painter.drawLine(QPointF(self._x(value), top), QPointF(self._x(value), base))
        words = [(self.average, "our average", "soft"), (self.line, "planning line", "ink")]
        shown = sorted((value, f"{name} {value:.0f}", colour) for value, name, colour in words if value is not None)
        taken = 0
        for place, (value, text, colour) in enumerate(shown):
            wide = text_width(look, text, 12, MEDIUM)
            later = sum(text_width(look, one[1], 12, MEDIUM) + look.px(10) for one in shown[place + 1 :])
            wish = self._x(value) - (wide * 0.62 if place + 1 < len(shown) else wide * 0.12)
            left = int(max(taken, min(wish, self.width() - wide - later)))
            box = QRect(left, 0, wide + 4, look.px(20))
            draw_words(painter, look, text, box, size=12, weight=MEDIUM, colour=colour)
            taken = left + wide + look.px(10)
