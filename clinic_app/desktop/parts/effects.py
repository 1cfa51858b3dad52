"""What sets an eye apart: label, words and a small bar from the middle, one line each."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QRect, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QLabel, QSizePolicy

from clinic_app.desktop.look import Look
from clinic_app.desktop.mirror import from_the_left, mirrored
from clinic_app.desktop.parts.frame import rounded
from clinic_app.desktop.parts.label import draw_words, draw_wrapped, text_width, wrapped_rows

LONGEST = 1.2
"""Log-odds at which a bar ends."""


class Effects(QLabel):
    """Lines of (label, words, effect in log-odds)."""

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look = look
        self.lines: tuple[tuple[str, str, float], ...] = ()
        policy = QSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Minimum)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)
        look.changed.connect(self.updateGeometry)

    def show_effects(self, lines: Sequence[tuple[str, str, float]]) -> None:
        """Other lines."""
        self.lines = tuple(lines)
        self.setAccessibleName("; ".join(f"{label} {words}" for label, words, _ in lines))
        self.updateGeometry()
        self.update()

    def _two_deep(self, width: int) -> bool:
        look = self.look
        label = max((text_width(look, one[0], 14) for one in self.lines), default=0)
        words = max((text_width(look, one[1], 14) for one in self.lines), default=0)
        return label + words + look.px(12 + 12 + 52) > width

    def hasHeightForWidth(self) -> bool:
        return True

    def heightForWidth(self, width: int) -> int:
        if not self._two_deep(width):
            return len(self.lines) * self.look.px(21)
        room = self._room(width)
        return sum(self._deep(label, room, 14) + self._deep(words, room, 13) for label, words, _ in self.lines)

    def _room(self, width: int) -> int:
        """Width left of the bar."""
        return width - self.look.px(48 + 8)

    def _deep(self, text: str, room: int, size: float) -> int:
        """Height of words that go on to another line rather than being cut."""
        rows = wrapped_rows(self.look, text, room, size)
        return self.look.px(20) + (rows - 1) * self.look.metrics(size).height()

    def sizeHint(self) -> QSize:
        return QSize(self.look.px(300), self.heightForWidth(max(self.width(), self.look.px(300))))

    def minimumSizeHint(self) -> QSize:
        return QSize(self.look.px(120), self.look.px(20))

    def paintEvent(self, event: QPaintEvent) -> None:
        look = self.look
        painter = QPainter(self)
        deep = self._two_deep(self.width())
        bar, room, top = look.px(48), self._room(self.width()), 0
        label_room = max((text_width(look, one[0], 14) for one in self.lines), default=0)
        for label, words, effect in self.lines:
            high = look.px(21)
            box = QRect(0, top, room, high)
            if deep:
                upper, lower = self._deep(label, room, 14), self._deep(words, room, 13)
                high = upper + lower
                draw_wrapped(painter, look, label, QRect(0, top, room, upper))
                below = QRect(0, top + upper - look.px(2), room, lower)
                draw_wrapped(painter, look, words, below, size=13, colour="soft")
            else:
                draw_words(painter, look, label, box)
                at = min(label_room + look.px(12), room)
                draw_words(painter, look, words, box.adjusted(at, 0, 0, 0), colour="soft")
            self._bar(painter, QRectF(self.width() - bar, top, bar, high), effect)
            top += high
        painter.end()

    def _bar(self, painter: QPainter, box: QRectF, effect: float) -> None:
        look, box = self.look, mirrored(painter, box)
        painter.save()
        from_the_left(painter)
        middle = box.center().x()
        painter.fillRect(QRectF(middle, box.top() + 2, 1, box.height() - 4), look.colour("ref"))
        wide = min(abs(effect), LONGEST) / LONGEST * box.width() / 2
        left = middle if effect > 0 else middle - wide
        painter.setPen(Qt.PenStyle.NoPen)
        shape = QRectF(left, box.center().y() - look.px(5), max(2.0, wide), look.px(10))
        if effect > 0:
            rounded(painter, shape, 1, fill=look.colour("forecast"))
        else:
            rounded(painter, shape, 1, fill=look.colour("sheet"), line=look.colour("forecast"))
        painter.restore()
