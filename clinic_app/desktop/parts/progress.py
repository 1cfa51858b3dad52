"""Long work: a named bar, how long it has taken, and Stop."""

from __future__ import annotations

from PySide6.QtCore import QElapsedTimer, QRectF, QSize, QTimer, Signal
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QHBoxLayout, QProgressBar, QSizePolicy, QVBoxLayout

from clinic_app.desktop.look import MEDIUM, Look
from clinic_app.desktop.parts.answer import announce
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.frame import Card, rounded
from clinic_app.desktop.parts.label import Words


class Track(QProgressBar):
    """The bar itself, in thousandths."""

    def __init__(self, look: Look, name: str) -> None:
        super().__init__()
        self.look = look
        self.setRange(0, 1000)
        self.setTextVisible(False)
        self.setAccessibleName(name)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    def sizeHint(self) -> QSize:
        return QSize(self.look.px(200), self.look.px(10))

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        box, look = QRectF(self.rect()), self.look
        rounded(painter, box, box.height() / 2, fill=look.colour("well"), line=look.colour("edge"))
        done = box.width() * self.value() / 1000
        if done > box.height():
            rounded(
                painter, QRectF(box.left(), box.top(), done, box.height()), box.height() / 2, fill=look.colour("act")
            )
        painter.end()


class Progress(Card):
    """Named bar, sentence, elapsed time, Stop. Shown while work is under way."""

    stopped = Signal()

    def __init__(self, look: Look, name: str) -> None:
        super().__init__(look, margins=(16, 8, 12, 8))
        self.name = name
        across = QHBoxLayout()
        words = QVBoxLayout()
        self.sentence = Words(look, name, weight=MEDIUM, wrap=True)
        self.track = Track(look, name)
        words.addWidget(self.sentence)
        words.addWidget(self.track)
        self.elapsed = Words(look, "", size=12.5, colour="soft")
        self.stop = Button(look, "Stop", note=f"Stop: {name}")
        self.stop.setObjectName("stop")
        self.stop.clicked.connect(self.stopped)
        across.addLayout(words, 1)
        across.addWidget(self.elapsed)
        across.addWidget(self.stop)
        self.column.addLayout(across)
        self._clock = QElapsedTimer()
        self._tick = QTimer(self)
        self._tick.setInterval(500)
        self._tick.timeout.connect(self._show_elapsed)
        self.hide()

    def begin(self) -> None:
        """Work has begun."""
        self._clock.start()
        self._tick.start()
        self.tell(0.0, self.name)
        self._show_elapsed()
        self.show()
        announce(self, self.name)

    def tell(self, fraction: float, sentence: str) -> None:
        """How far it is."""
        self.track.setValue(round(1000 * fraction))
        self.sentence.setText(sentence)

    def end(self) -> None:
        """Work has ended."""
        self._tick.stop()
        self.hide()

    def _show_elapsed(self) -> None:
        self.elapsed.setText(f"{self._clock.elapsed() // 1000} s")
