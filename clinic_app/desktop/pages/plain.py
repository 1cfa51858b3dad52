"""Pages that say in one sentence what will stand there, and the page of the person's own choices."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QVBoxLayout, QWidget

from clinic_app.desktop.look import STEPS, STRONG, Look
from clinic_app.desktop.parts.answer import Given
from clinic_app.desktop.parts.choice import ChoiceRow
from clinic_app.desktop.parts.frame import Card, Scroll
from clinic_app.desktop.parts.label import Words
from models.codebook import Choice, Field, Kind, Role, Stage

COMING = {
    "Theatre": "The surgeon's sheet will be written here, one per eye in the order the hands work; it comes next.",
    "Day one": "The cornea will be graded here the day after surgery, before the forecast is opened; it comes next.",
    "Model": "Each quarter the model will be checked, compared and decided on here, by name; it comes next.",
    "Practice": "People, machines, levels, planning line, backups and the history will be kept here; it comes next.",
}


def _choice(name: str, label: str, choices: dict[str, str]) -> Field:
    return Field(
        name=name, label=label, kind=Kind.CHOICE, stage=Stage.BOOKING, role=Role.CONTEXT,
        choices=tuple(Choice(code, words) for code, words in choices.items()),
    )  # fmt: skip


THEME = _choice("theme", "Colours", {"system": "As the system", "light": "Light", "dark": "Dark"})
SIZE = _choice("text", "Size of text", {str(step): f"{step} %" for step in STEPS})


class Coming(QWidget):
    """A station that is not yet built says so."""

    def __init__(self, look: Look, name: str) -> None:
        super().__init__()
        self.look = look
        column = QVBoxLayout(self)
        column.setContentsMargins(look.px(11), look.px(11), look.px(11), look.px(11))
        card = Card(look, margins=(24, 20, 24, 20), spacing=8)
        card.column.addWidget(Words(look, name, size=18, weight=STRONG))
        self.words = Words(look, COMING[name], wrap=True)
        card.column.addWidget(self.words)
        card.setMaximumWidth(look.px(680))
        column.addWidget(card, 0, Qt.AlignmentFlag.AlignTop)
        column.addStretch(1)


class PersonPage(QWidget):
    """What one person chooses for themselves: colours and size of text."""

    def __init__(self, look: Look, person: str) -> None:
        super().__init__()
        self.look = look
        body = QWidget()
        column = QVBoxLayout(body)
        column.setContentsMargins(look.px(11), look.px(11), look.px(11), look.px(11))
        card = Card(look, margins=(24, 20, 24, 20), spacing=10)
        card.column.addWidget(Words(look, person or "No name", size=18, weight=STRONG))
        card.column.addWidget(Words(look, "These choices are yours alone; they change nothing for others.", wrap=True))
        self.theme = ChoiceRow(look, THEME, absent=False)
        self.size_row = ChoiceRow(look, SIZE, absent=False)
        for row in (self.theme, self.size_row):
            card.column.addWidget(row)
        words = "Ctrl + and Ctrl - change the size of text on every page."
        card.column.addWidget(Words(look, words, size=12.5, colour="soft", wrap=True))
        column.addWidget(card)
        column.addStretch(1)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(Scroll(look, body))
        self.theme.changed.connect(lambda: look.set_theme(str(self.theme.given.value)))
        self.size_row.changed.connect(lambda: look.set_percent(int(str(self.size_row.given.value))))
        look.changed.connect(self.show_choices)
        self.show_choices()

    def show_choices(self) -> None:
        """Show what is chosen."""
        self.theme.show_given(Given(self.look.theme))
        self.size_row.show_given(Given(str(self.look.percent)))

    def first_focus(self) -> QWidget:
        """Where the keyboard goes."""
        self.theme.stop().setFocus(Qt.FocusReason.TabFocusReason)
        return self.theme.stop()
