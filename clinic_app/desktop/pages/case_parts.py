"""The head of a case (which eye, whose, when) and the foot of its form (what stands, what to press)."""

from __future__ import annotations

from datetime import date

from PySide6.QtCore import QEvent, QObject, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QBoxLayout, QFrame, QHBoxLayout, QSizePolicy, QVBoxLayout, QWidget

from clinic_app.desktop.look import BOLD, MEDIUM, Look
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.flow import FlowLayout
from clinic_app.desktop.parts.frame import Card, rounded
from clinic_app.desktop.parts.label import Words, draw_words, text_width
from clinic_app.desktop.parts.lines import Icon
from clinic_app.desktop.parts.plate import EyePlate
from clinic_app.desktop.words import answer_words, day_words
from models.codebook import BY_NAME

LEAST_WORDS = 170
"""Pixels at 100 % that the words beside the buttons of a foot need."""


class StateWord(QWidget):
    """Where the eye stands, in a word."""

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look, self.word = look, ""
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        look.changed.connect(self.updateGeometry)

    def say(self, word: str) -> None:
        """Unfinished, Booked, Operated, Graded, No grade."""
        if word == self.word:
            return
        self.word = word
        self.setAccessibleName(f"State: {word}")
        self.updateGeometry()
        self.update()

    def sizeHint(self) -> QSize:
        return QSize(text_width(self.look, self.word, 12.5, MEDIUM) + self.look.px(22), self.look.px(26))

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        solid = self.word not in ("", "Unfinished")
        rounded(
            painter, QRectF(self.rect()), self.look.px(13), fill=self.look.colour("act_wash" if solid else "sheet"),
            line=self.look.colour("act" if solid else "edge"), dashed=not solid,
        )  # fmt: skip
        draw_words(
            painter, self.look, self.word, self.rect(), size=12.5, weight=MEDIUM, align=Qt.AlignmentFlag.AlignHCenter
        )
        painter.end()


class CaseHead(Card):
    """Eye plate, patient number, birth date and sex, surgery, state."""

    def __init__(self, look: Look, today: date) -> None:
        super().__init__(look, margins=(14, 8, 16, 8))
        self.today = today
        self.across = QBoxLayout(QBoxLayout.Direction.LeftToRight)
        self.across.setSpacing(look.px(14))
        self.plate = EyePlate(look)
        self.state = StateWord(look)
        words = QVBoxLayout()
        words.setSpacing(look.px(2))
        upper = QHBoxLayout()
        upper.setSpacing(look.px(12))
        self.number = Words(look, "", size=18, weight=BOLD)
        self.born = Words(look, "", wrap=True)
        upper.addWidget(self.number)
        upper.addWidget(self.born, 1)
        self.surgery = Words(look, "", size=13, colour="soft", wrap=True)
        words.addLayout(upper)
        words.addWidget(self.surgery)
        self.across.addWidget(self.plate)
        self.across.addLayout(words, 1)
        self.across.addWidget(self.state)
        self.column.addLayout(self.across)

    def set_narrow(self, narrow: bool) -> None:
        """On a narrow page the words stand below the plate."""
        down = QBoxLayout.Direction.TopToBottom
        self.across.setDirection(down if narrow else QBoxLayout.Direction.LeftToRight)

    def show_row(self, row: dict[str, object], state: str, place: str = "") -> None:
        """Show whose eye this is."""
        eye = row.get("eye")
        self.plate.set_side(str(eye) if eye else None)
        self.number.setText(str(row.get("patient_id") or "New eye"))
        parts = []
        if isinstance(born := row.get("birth_date"), date):
            parts.append(f"born {day_words(born)}")
        if row.get("sex"):
            parts.append(answer_words(BY_NAME["sex"], row["sex"]).lower())
        self.born.setText(" · ".join(parts))
        parts = []
        if isinstance(day := row.get("surgery_date"), date):
            parts.append(f"Surgery {day_words(day, self.today)}")
        parts += [str(row[name]) for name in ("booked_surgeon_id",) if row.get(name)]
        parts += [place] if place else []
        self.surgery.setText(" · ".join(parts))
        self.state.say(state)


class Foot(QFrame):
    """What stands and what is to go at the left, the buttons at the right; above and below where both do not fit."""

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look = look
        self.across = QBoxLayout(QBoxLayout.Direction.LeftToRight, self)
        said = QHBoxLayout()
        self.icon = Icon(look, "check", side=16, colour="soft")
        self.words = Words(look, "", size=12.5, colour="soft", wrap=True)
        said.addWidget(self.icon)
        said.addWidget(self.words, 1)
        self.across.addLayout(said, 1)
        self.buttons = QWidget()
        self.buttons.setSizePolicy(QSizePolicy.Policy.Maximum, QSizePolicy.Policy.Preferred)
        self.row = FlowLayout(look, self.buttons, gap=8)
        self.across.addWidget(self.buttons)
        self.confirm = Button(look, "Confirm copied", hint="Ctrl+U")
        self.confirm.setObjectName("confirm")
        self.book = Button(look, "Book this eye", kind="main", hint="Ctrl+Enter")
        self.book.setObjectName("book")
        for button in (self.confirm, self.book):
            self.row.addWidget(button)
        self.confirm.hide()
        self.buttons.installEventFilter(self)
        look.changed.connect(self.restyle)
        self.restyle()

    def put(self, button: Button) -> Button:
        """One more button, before the main one."""
        self.row.removeWidget(self.book)
        self.row.addWidget(button)
        self.row.addWidget(self.book)
        QWidget.setTabOrder(button, self.book)
        return button

    def restyle(self) -> None:
        """Take sizes from the tokens."""
        px = self.look.px
        self.across.setContentsMargins(px(16), px(7), px(13), px(7))
        self.across.setSpacing(px(10))
        self._arrange()

    def _arrange(self) -> None:
        """Words beside the buttons while there is room for a few of them, else above."""
        beside = self.row.sizeHint().width() + self.look.px(LEAST_WORDS + 16 + 13 + 10 + 26) <= self.width()
        way = QBoxLayout.Direction.LeftToRight if beside else QBoxLayout.Direction.TopToBottom
        if self.across.direction() != way:
            self.across.setDirection(way)

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._arrange()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if watched is self.buttons and event.type() == QEvent.Type.LayoutRequest:
            self._arrange()
        return super().eventFilter(watched, event)

    def say(self, words: str, *, settled: bool = False) -> None:
        """What stands."""
        self.words.setText(words)
        self.icon.setVisible(settled)

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.fillRect(self.look.px(12), 0, self.width() - 2 * self.look.px(12), 1, self.look.colour("rule"))
        painter.end()
