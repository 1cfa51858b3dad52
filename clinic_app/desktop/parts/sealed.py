"""The sealed block: it stands where a forecast would, and looks the same whether one exists or not."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QPainter, QPainterPath, QPaintEvent, QPen
from PySide6.QtWidgets import QHBoxLayout

from clinic_app.desktop.look import STRONG, Look
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.frame import Card, rounded
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.lines import Icon

TITLE = "Forecast sealed"
WORDS = (
    "Opens when you lock the grade, so that it cannot lean on your eye. Nothing about the forecast is shown to you "
    "before that."
)


class SealedBlock(Card):
    """A hatched card with words. It is told nothing about the eye, so that it can show nothing.

    `anyway`: offers "Show anyway" to those whose duties allow it; `wished` is raised when it is pressed, and the page
    asks for the reason.
    """

    wished = Signal()

    def __init__(self, look: Look, *, title: str = TITLE, words: str = WORDS, anyway: bool = False) -> None:
        super().__init__(look, margins=(20, 16, 20, 16), spacing=6)
        across = QHBoxLayout()
        across.setSpacing(look.px(10))
        across.addWidget(Icon(look, "lock", side=20), 0, Qt.AlignmentFlag.AlignTop)
        across.addWidget(Words(look, title, size=16, weight=STRONG, wrap=True), 1)
        self.column.addLayout(across)
        self.column.addWidget(Words(look, words, colour="soft", wrap=True))
        self.anyway = Button(look, "Show anyway", note=f"{title}: show anyway, with a reason")
        self.anyway.setObjectName("anyway")
        self.anyway.clicked.connect(self.wished)
        self.column.addWidget(self.anyway)
        self.anyway.setVisible(anyway)
        self.setAccessibleName(f"{title}. {words}")

    def paintEvent(self, event: QPaintEvent) -> None:
        look, px = self.look, self.look.px
        painter = QPainter(self)
        box = QRectF(self.rect())
        rounded(painter, box, px(6), fill=look.colour("well"), line=look.colour("edge"))
        inner = box.adjusted(px(10), px(10), -px(10), -px(10))
        frame = QPainterPath()
        frame.addRoundedRect(box.adjusted(1, 1, -1, -1), px(6), px(6))
        ground = QPainterPath()
        ground.addRoundedRect(inner, px(4), px(4))
        painter.setClipPath(frame.subtracted(ground))
        painter.setPen(QPen(look.colour("edge"), 1))
        step, high = px(7), box.height()
        for place in range(-int(high) // step, int(box.width()) // step + 1):
            painter.drawLine(QPointF(place * step, high), QPointF(place * step + high, 0))
        painter.end()
