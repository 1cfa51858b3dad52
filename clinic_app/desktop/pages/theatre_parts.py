"""Controls of the theatre sheet: a step's head, a choice with rare answers folded, the panel before a signature."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from clinic_app.desktop.look import MEDIUM, STRONG, Look
from clinic_app.desktop.parts.answer import announce
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.choice import NO_ANSWER, ChoiceRow, Option
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.lines import Line
from clinic_app.desktop.parts.plate import EyePlate
from clinic_app.domain.theatre import Step
from models.codebook import Field

MORE = "more"


class StepHead(QWidget):
    """The number and name of a step, with small words below."""

    NUMBER, NAME = 20, 114

    def __init__(self, look: Look, step: Step) -> None:
        super().__init__()
        self.look = look
        self.across = QHBoxLayout(self)
        self.number = Words(look, step.number, size=15, weight=STRONG)
        words = QVBoxLayout()
        words.setSpacing(0)
        self.name = Words(look, step.name, weight=STRONG, wrap=True)
        self.under = Words(look, "", size=12.5, colour="soft", wrap=True)
        for one in (self.name, self.under):
            words.addWidget(one)
        words.addStretch(1)
        self.across.addWidget(self.number, 0, Qt.AlignmentFlag.AlignTop)
        self.across.addLayout(words, 1)
        self.say(step.under)
        look.changed.connect(self.restyle)
        self.restyle()

    def restyle(self) -> None:
        """Take sizes from the tokens."""
        self.number.setFixedWidth(self.look.px(self.NUMBER))
        self.across.setContentsMargins(0, self.look.px(10), 0, 0)
        self.across.setSpacing(0)

    def say(self, words: str) -> None:
        """Small words below the name."""
        self.under.setText(words)
        self.under.setVisible(bool(words))

    def hasHeightForWidth(self) -> bool:
        return True

    def heightForWidth(self, width: int) -> int:
        return self.across.totalHeightForWidth(width)


class FoldingChoice(ChoiceRow):
    """A choice of which the first `shown` answers are open and the rare ones stand behind "Other".

    The open ones go by their first letters and `O` unfolds; the rare ones go by digits.
    """

    def __init__(self, look: Look, field: Field, *, shown: int, label: str | None = None) -> None:
        self._rare: tuple[Option, ...] = ()
        super().__init__(look, field, label=label)
        self.unfolded = False
        usual = self.options[:shown]
        self._rare = tuple(one for one in self.options[shown:] if one.code != NO_ANSWER)
        self.more = Option(self, MORE, "Other", letter=True)
        self.more.setObjectName(f"{field.name}.{MORE}")
        self.more.set_words("Other")
        self.more.setAccessibleName(f"{field.label}: other ways")
        self.options.insert(-1, self.more)
        self.group.addButton(self.more)
        absent = self.flow.takeAt(self.flow.count() - 1)
        self.flow.addWidget(self.more)
        if absent is not None:
            self.flow.addItem(absent)
        for one in usual:
            one.hint, one.letter = "", True
        for place, one in enumerate(self._rare, start=1):
            one.hint, one.letter = str(place % 10), False
        self.keys = {one.words[0].lower(): one.code for one in usual}
        self.keys["o"] = MORE
        self.refresh()

    def choose(self, code: str, *, move: bool) -> None:
        """Take an answer; "Other" unfolds the rare ones."""
        if code == MORE:
            self.unfold(True)
            return
        super().choose(code, move=move)

    def unfold(self, whole: bool) -> None:
        """Show the rare answers, or only the usual ones."""
        self.unfolded = whole
        rare = {one.hint: one.code for one in self._rare}
        self.keys = {key: code for key, code in self.keys.items() if key not in rare} | (rare if whole else {})
        self.refresh()
        self.flow.invalidate()
        self.updateGeometry()
        if whole and self._rare and self.isVisible():
            self._rare[0].setFocus(Qt.FocusReason.OtherFocusReason)

    def refresh(self) -> None:
        super().refresh()
        if not self._rare:
            return
        for one in self._rare:
            one.setVisible(self.unfolded or one.isChecked())
        self.more.setVisible(not self.unfolded)
        self.more.setChecked(False)
        self.flow.invalidate()


def limit(row: ChoiceRow, codes: Collection[str]) -> None:
    """Show only these answers of a row, and the one that is chosen; none limits nothing."""
    for option in row.options:
        allowed = not codes or option.code in codes or option.code == NO_ANSWER
        option.setVisible(allowed or option.isChecked())
    row.flow.invalidate()
    row.updateGeometry()


def show_reason(row: ChoiceRow, *, always: bool) -> None:
    """Show the way to a reason for having no answer always, or only once there is one; its key works either way."""
    last = row.options[-1]
    if last.code == NO_ANSWER:
        last.setVisible(always or last.isChecked())
        row.flow.invalidate()
        row.updateGeometry()


def by_digit(row: ChoiceRow) -> ChoiceRow:
    """The row with digits alone on its options; readers of the screen hear the words too."""
    for option, (code, words) in zip(row.options, ((one.code, one.label) for one in row.field.choices), strict=False):
        option.hint = ""
        option.set_words(code)
        option.setAccessibleName(f"{row.field.label}: {code}, {words}")
    return row


class SignPanel(Line):
    """What is read before a signature: the plate of each eye and its lines. Enter signs, Esc goes back."""

    answered = Signal(bool)

    def __init__(
        self,
        look: Look,
        title: str,
        eyes: Sequence[tuple[str, str, Sequence[str]]],
        *,
        act: str = "Sign",
        note: str = "",
    ) -> None:
        super().__init__(look, "ask", ground="act_wash", edge="act")
        self.icon.hide()
        self.text.addWidget(Words(look, title, size=15, weight=STRONG, wrap=True))
        spoken = [title]
        for patient, side, lines in eyes:
            row = QHBoxLayout()
            row.setSpacing(look.px(14))
            row.addWidget(EyePlate(look, side), 0, Qt.AlignmentFlag.AlignTop)
            words = QVBoxLayout()
            words.setSpacing(look.px(1))
            words.addWidget(Words(look, patient, weight=STRONG, wrap=True))
            for one in lines:
                words.addWidget(Words(look, one, size=13.5, wrap=True))
            row.addLayout(words, 1)
            self.text.addLayout(row)
            spoken += [patient, *lines]
        if note:
            self.text.addWidget(Words(look, note, size=13, weight=MEDIUM, wrap=True))
            spoken.append(note)
        self.sign = self.add_button(Button(look, act, kind="main", hint="Enter"))
        self.sign.setObjectName("question.sign")
        self.back = self.add_button(Button(look, "Go back", hint="Esc"))
        self.back.setObjectName("question.back")
        self.sign.clicked.connect(lambda: self.answered.emit(True))
        self.back.clicked.connect(lambda: self.answered.emit(False))
        self.setAccessibleName(". ".join(spoken))
        announce(self, self.accessibleName())

    def begin(self) -> None:
        """Put the keyboard here."""
        self.sign.setFocus(Qt.FocusReason.TabFocusReason)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() == Qt.Key.Key_Escape:
            self.answered.emit(False)
            return
        super().keyPressEvent(event)
