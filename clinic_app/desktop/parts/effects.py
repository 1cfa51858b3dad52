"""What sets an eye apart: label, words and a small bar from the middle, one line each."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QRect, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QLabel, QSizePolicy

from clinic_app.desktop.look import Look
from clinic_app.desktop.parts.frame import rounded
from clinic_app.desktop.parts.label import draw_words, elided, text_width

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
        return len(self.lines) * self.look.px(40 if self._two_deep(width) else 21)

    def sizeHint(self) -> QSize:
        return QSize(self.look.px(300), self.heightForWidth(max(self.width(), self.look.px(300))))

    def minimumSizeHint(self) -> QSize:
        return QSize(self.look.px(120), self.look.px(20))

    def paintEvent(self, event: QPaintEvent) -> None:
        look = self.look
        painter = QPainter(self)
        deep = self._two_deep(self.width())
        high = look.px(40 if deep else 21)
        bar = look.px(48)
        room = self.width() - bar - look.px(8)
        label_room = max((text_width(look, one[0], 14) for one in self.lines), default=0)
        for place, (label, words, effect) in enumerate(self.lines):
            box = QRect(0, place * high, room, high)
            if deep:
                upper, lower = (
                    box.adjusted(0, 0, 0, -high // 2),
                    box.adjusted(0, high // 2 - look.px(2), 0, -look.px(2)),
                )
                draw_words(painter, look, elided(look, label, room, 14), upper)
                draw_words(painter, look, elided(look, words, room, 13), lower, size=13, colour="soft")
            else:
                draw_words(painter, look, label, box)
                at = min(label_room + look.px(12), room)
                draw_words(painter, look, words, box.adjusted(at, 0, 0, 0), colour="soft")
            self._bar(painter, QRectF(self.width() - bar, box.top(), bar, high), effect)
        painter.end()

    def _bar(self, painter: QPainter, box: QRectF, effect: float) -> None:
        look = self.look
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
