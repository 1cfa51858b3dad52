"""Lines that speak: the ask line, the refusal, the help line, a question before an act, the halt panel."""

from __future__ import annotations

from PySide6.QtCore import QRectF, QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent, QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QBoxLayout, QFrame, QHBoxLayout, QSizePolicy, QVBoxLayout, QWidget

from clinic_app.desktop.icons import draw_icon
from clinic_app.desktop.look import MEDIUM, NORMAL, STRONG, Look
from clinic_app.desktop.parts.answer import announce
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.entry import Box
from clinic_app.desktop.parts.flow import FlowLayout
from clinic_app.desktop.parts.frame import rounded
from clinic_app.desktop.parts.label import Run, Sentence, Words

WORDS = 190
"""Pixels at 100 % that the words of a line need beside its buttons."""


class Icon(QWidget):
    """One of our drawings beside words."""

    def __init__(self, look: Look, name: str, *, colour: str = "ink", side: int = 18) -> None:
        super().__init__()
        self.look, self.drawing, self._colour, self._side = look, name, colour, side
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        look.changed.connect(self.updateGeometry)

    def sizeHint(self) -> QSize:
        return QSize(self.look.px(self._side), self.look.px(self._side))

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        draw_icon(painter, self.drawing, QRectF(self.rect()), self.look.colour(self._colour))
        painter.end()


class Line(QFrame):
    """A framed sentence with its drawing and buttons; `ground`, `edge` and `dashed` say how it is framed."""

    def __init__(
        self,
        look: Look,
        icon: str,
        *,
        ground: str = "well",
        edge: str = "edge",
        dashed: bool = False,
        width: float = 1.0,
    ) -> None:
        super().__init__()
        self.look, self._ground, self._edge, self._dashed, self._width = look, ground, edge, dashed, width
        self.across = QHBoxLayout(self)
        self.icon = Icon(look, icon, colour="halt" if edge == "halt" else "ink")
        self.text = QVBoxLayout()
        self.buttons = QWidget()
        self.row = FlowLayout(look, self.buttons, gap=4)
        self.across.addWidget(self.icon, 0, Qt.AlignmentFlag.AlignVCenter)
        self.beside = QBoxLayout(QBoxLayout.Direction.LeftToRight)
        self.beside.addLayout(self.text, 1)
        self.beside.addWidget(self.buttons, 0)
        self.across.addLayout(self.beside, 1)
        self.buttons.setSizePolicy(QSizePolicy.Policy.Maximum, QSizePolicy.Policy.Preferred)
        look.changed.connect(self.restyle)
        self.restyle()

    def restyle(self) -> None:
        """Take sizes from the tokens."""
        px = self.look.px
        self.across.setContentsMargins(px(14), px(5), px(10), px(5))
        self.across.setSpacing(px(12))
        self.beside.setSpacing(px(6))
        self.text.setSpacing(px(2))
        self._turn()
        self.update()

    def _turn(self) -> None:
        """Buttons stand below the words where they would leave them too little room."""
        room = self.width() - self.row.sizeHint().width() - self.look.px(14 + 18 + 12 + 12 + 10)
        below = self.row.count() > 0 and room < self.look.px(WORDS)
        self.beside.setDirection(QBoxLayout.Direction.TopToBottom if below else QBoxLayout.Direction.LeftToRight)
        wide = QSizePolicy.Policy.Preferred if below else QSizePolicy.Policy.Maximum
        self.buttons.setSizePolicy(wide, QSizePolicy.Policy.Preferred)

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._turn()

    def add_button(self, button: Button) -> Button:
        """One more button at the right."""
        self.row.addWidget(button)
        self._turn()
        return button

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        rounded(
            painter, QRectF(self.rect()).adjusted(1, 1, -1, -1), self.look.px(4), fill=self.look.colour(self._ground),
            line=self.look.colour(self._edge), dashed=self._dashed, width=self._width,
        )  # fmt: skip
        painter.end()


class AskLine(Line):
    """Asks what was meant. The typed text stays; `chosen` carries the place of the button pressed."""

    chosen = Signal(int)

    def __init__(self, look: Look, question: str, answers: tuple[str, ...], *, about: str) -> None:
        super().__init__(look, "ask", dashed=True)
        self.question = question
        self.words = Words(look, question, size=13, wrap=True)
        self.text.addWidget(self.words)
        self.choices: list[Button] = []
        for place, words in enumerate(answers):
            button = self.add_button(Button(look, words, kind="plain", note=f"{about}: {words}"))
            button.setObjectName(f"ask.{place}")
            button.clicked.connect(lambda _=False, place=place: self.chosen.emit(place))
            self.choices.append(button)
        announce(self, question)


class RefusalLine(Line):
    """Says why a text cannot be taken and what to do; the text stays."""

    def __init__(self, look: Look, reason: str, then: str = "") -> None:
        super().__init__(look, "refuse", edge="ink", width=1.5)
        self.words = Words(look, f"{reason} {then}".strip(), size=13, wrap=True)
        self.text.addWidget(self.words)
        announce(self, self.words.text())


class NoteLine(Line):
    """Something to know about an answer that was taken, or about the fellow eye."""

    def __init__(self, look: Look, note: str) -> None:
        super().__init__(look, "info", dashed=True)
        self.words = Words(look, note, size=13, wrap=True)
        self.text.addWidget(self.words)


class HelpLine(QWidget):
    """Two lines above the buttons that describe the field in hand."""

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look = look
        across = QHBoxLayout(self)
        self.across = across
        self.icon = Icon(look, "info", side=16, colour="soft")
        self.sentence = Sentence(look, size=12.5, spacing=1.1)
        self.sentence.setAlignment(Qt.AlignmentFlag.AlignVCenter)
        across.addWidget(self.icon, 0, Qt.AlignmentFlag.AlignTop)
        across.addWidget(self.sentence, 1)
        look.changed.connect(self.restyle)
        self.restyle()

    def restyle(self) -> None:
        """Take sizes from the tokens."""
        px = self.look.px
        self.across.setContentsMargins(px(16), px(8), px(16), px(6))
        self.across.setSpacing(px(10))

    def say(self, name: str, words: str) -> None:
        """Describe a field; without a name, plain words."""
        runs: tuple[Run, ...] = ((f"{name}: ", "ink", STRONG),) if name else ()
        self.sentence.set_runs((*runs, (words, "soft", NORMAL)))


class Question(Line):
    """Asks before an act: buttons, and a line to type in where a reason is needed. Esc goes back."""

    answered = Signal(str, str)

    def __init__(
        self, look: Look, sentence: str, answers: tuple[tuple[str, str], ...], *, reason: str = "", back: str = "back"
    ) -> None:
        super().__init__(look, "ask", ground="act_wash", edge="act")
        self._back = back
        self.words = Words(look, sentence, size=13.5, weight=MEDIUM, wrap=True)
        self.text.addWidget(self.words)
        self.box: Box | None = None
        if reason:
            self.box = Box(look)
            self.box.setAccessibleName(reason)
            self.box.setPlaceholderText(reason)
            self.box.setObjectName("question.reason")
            self.box.entered.connect(lambda: self.answer(answers[0][0]))
            self.text.addWidget(self.box)
        self.choices: dict[str, Button] = {}
        for place, (code, words) in enumerate(answers):
            button = self.add_button(Button(look, words, kind="main" if place == 0 else "plain"))
            button.setObjectName(f"question.{code}")
            button.clicked.connect(lambda _=False, code=code: self.answer(code))
            self.choices[code] = button
        announce(self, sentence)

    def answer(self, code: str) -> None:
        """Take one of the answers; an act that needs a reason waits until it is given."""
        given = self.box.text().strip() if self.box is not None else ""
        if self.box is not None and code != self._back and not given:
            self.box.setFocus()
            return
        self.answered.emit(code, given)

    def begin(self) -> None:
        """Put the keyboard here."""
        (self.box if self.box is not None else next(iter(self.choices.values()))).setFocus()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() == Qt.Key.Key_Escape:
            self.answer(self._back)
            return
        super().keyPressEvent(event)


class HaltPanel(Line):
    """Stops for the safety of the patient or a wrong eye: octagon, heavy border, words. It goes when answered."""

    chosen = Signal(str)

    def __init__(self, look: Look, sentence: str, more: str = "", answers: tuple[tuple[str, str], ...] = ()) -> None:
        super().__init__(look, "stop", ground="halt_wash", edge="halt", width=2)
        self.words = Words(look, sentence, size=14, weight=STRONG, wrap=True)
        self.text.addWidget(self.words)
        if more:
            self.text.addWidget(Words(look, more, size=13, wrap=True))
        self.setAccessibleName(f"Stop. {sentence} {more}".strip())
        for code, words in answers:
            button = self.add_button(Button(look, words))
            button.clicked.connect(lambda _=False, code=code: self.chosen.emit(code))
        announce(self, self.accessibleName(), urgent=True)


class Notice(QFrame):
    """A band across the page: what happened, why, what to do, with one button where there is something to do."""

    def __init__(self, look: Look, icon: str = "info") -> None:
        super().__init__()
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        self.line = Line(look, icon, ground="well")
        self.words = Words(look, "", size=13, wrap=True)
        self.line.text.addWidget(self.words)
        column.addWidget(self.line)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)

    def say(self, words: str) -> None:
        """Show the words; nothing to say hides the band."""
        self.words.setText(words)
        self.setVisible(bool(words))
        if words:
            announce(self, words)
