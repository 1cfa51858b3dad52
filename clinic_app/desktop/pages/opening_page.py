"""What stands in the window while the practice is being opened, and when it cannot be."""

from __future__ import annotations

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from clinic_app.desktop.jobs import details, sentences
from clinic_app.desktop.look import STRONG, Look
from clinic_app.desktop.parts.answer import announce
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.frame import Card
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.progress import Progress

SOON_MS, LONG_MS = 300, 5000


class OpeningPage(QWidget):
    """A quiet page at first; words when it takes a while; what happened, why and what to do when it failed."""

    again = Signal()

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look = look
        self._details = ""
        column = QVBoxLayout(self)
        column.setContentsMargins(look.px(11), look.px(11), look.px(11), look.px(11))
        self.card = Card(look, margins=(24, 20, 24, 20), spacing=8)
        self.what = Words(look, "", size=18, weight=STRONG, wrap=True)
        self.why = Words(look, "", wrap=True)
        self.then = Words(look, "", wrap=True)
        for words in (self.what, self.why, self.then):
            self.card.column.addWidget(words)
        across = QHBoxLayout()
        self.retry = Button(look, "Try again", kind="main")
        self.copy = Button(look, "Copy details", kind="quiet")
        self.retry.clicked.connect(self.again)
        self.copy.clicked.connect(lambda: QGuiApplication.clipboard().setText(self._details))
        for button in (self.retry, self.copy):
            across.addWidget(button)
        across.addStretch(1)
        self.card.column.addLayout(across)
        self.progress = Progress(look, "Opening the practice")
        column.addWidget(self.card, 0, Qt.AlignmentFlag.AlignTop)
        column.addWidget(self.progress)
        column.addStretch(1)
        self._soon, self._long = QTimer(self), QTimer(self)
        for timer, after, told in (
            (self._soon, SOON_MS, "Opening the practice..."),
            (self._long, LONG_MS, "Still opening. Is the practice's folder on a slow disk?"),
        ):
            timer.setSingleShot(True)
            timer.setInterval(after)
            timer.timeout.connect(lambda told=told: self._say((told, "", ""), failed=False))
        look.changed.connect(self._respace)
        self._respace()
        self.begin()

    def _respace(self) -> None:
        self.card.setMaximumWidth(self.look.px(680))

    def begin(self) -> None:
        """Opening has begun; nothing is said before it takes a while."""
        self.card.hide()
        self._soon.start()
        self._long.start()

    def tell(self, fraction: float, sentence: str) -> None:
        """How far long work has come."""
        if self.progress.isHidden():
            self._soon.stop()
            self._long.stop()
            self.card.hide()
            self.progress.begin()
        self.progress.tell(fraction, sentence)

    def end(self) -> None:
        """Opening has come to its end."""
        self._soon.stop()
        self._long.stop()
        self.progress.end()

    def refuse(self, fault: BaseException) -> None:
        """Say why the practice could not be opened; the keyboard goes to Try again."""
        self.end()
        self._details = details(fault)
        self._say(sentences(fault), failed=True)
        self.retry.setFocus(Qt.FocusReason.OtherFocusReason)
        announce(self, " ".join(sentences(fault)), urgent=True)

    def _say(self, told: tuple[str, str, str], *, failed: bool) -> None:
        for words, text in zip((self.what, self.why, self.then), told, strict=True):
            words.setText(text)
            words.setVisible(bool(text))
        self.retry.setVisible(failed)
        self.copy.setVisible(failed)
        self.card.show()
