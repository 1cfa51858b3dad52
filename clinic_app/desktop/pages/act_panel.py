"""An act that needs more than a yes: what to type first, a reason, and the buttons. It stands in the page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QWidget

from clinic_app.desktop.look import MEDIUM, Look
from clinic_app.desktop.parts.answer import Given, announce
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.entry import EntryAnswer
from clinic_app.desktop.parts.flow import FlowLayout
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.lines import Line
from clinic_app.desktop.words import answer_words
from clinic_app.domain.answers import Asked, Refused, Taken
from clinic_app.domain.reading import read
from clinic_app.domain.record import Value
from clinic_app.settings import Settings
from models.codebook import Field, Kind, Role, Stage

REASON = Field(
    name="reason", label="Reason, in a few words", kind=Kind.TEXT, stage=Stage.BOOKING, role=Role.CONTEXT,
    help="It stays in the history of the eye.",
)  # fmt: skip


class ActPanel(Line):
    """`answered` carries the code of the button and what was typed, by field; a reason is among it unless the act needs
    none. Esc and the last button go back: `left`. What cannot be taken is said here and the text stays."""

    answered = Signal(str, object)
    left = Signal()

    def __init__(
        self,
        look: Look,
        settings: Settings,
        today: date,
        sentence: str,
        answers: Sequence[tuple[str, str]],
        fields: Sequence[Field] = (),
        *,
        reason: bool = True,
    ) -> None:
        super().__init__(look, "ask", ground="act_wash", edge="act")
        self.settings, self.today = settings, today
        self.text.addWidget(Words(look, sentence, size=13.5, weight=MEDIUM, wrap=True))
        self.entries: dict[str, EntryAnswer] = {}
        rows = QWidget()
        row = FlowLayout(look, rows, gap=8)
        for field in (*fields, REASON) if reason else fields:
            entry = EntryAnswer(look, field)
            entry.box.setObjectName(f"act.{field.name}")
            entry.box.setMinimumWidth(look.px(280 if field.kind is Kind.TEXT else 150))
            entry.said.connect(lambda text, entry=entry: self._read(entry, text))
            entry.go_on.connect(lambda entry=entry: self._go_on(entry))
            self.entries[field.name] = entry
            row.addWidget(entry)
        self.text.addWidget(rows)
        self.trouble = Words(look, "", size=13, wrap=True)
        self.trouble.hide()
        self.text.addWidget(self.trouble)
        self.choices: dict[str, Button] = {}
        for place, (code, words) in enumerate((*answers, ("back", "Go back"))):
            button = self.add_button(Button(look, words, kind="main" if place == 0 else "plain"))
            button.setObjectName(f"act.{code}")
            button.clicked.connect(lambda _=False, code=code: self.answer(code))
            self.choices[code] = button
        announce(self, sentence)

    def propose(self, name: str, text: str) -> None:
        """Put a text into a field, to be taken or typed over."""
        self.entries[name].box.setText(text)
        self.entries[name].take()

    def begin(self) -> None:
        """Put the keyboard into the first field."""
        next(iter(self.entries.values())).box.setFocus()

    def _read(self, entry: EntryAnswer, text: str) -> None:
        if entry.field.kind is Kind.TEXT:
            entry.show_given(Given(text.strip() or None))
            return
        came = read(
            entry.field, text, date_order=self.settings.date_order, soft="ask", unit=None, notation=None,
            today=self.today,
        )  # fmt: skip
        entry.show_given(Given())
        entry.trouble(isinstance(came, Asked | Refused))
        if isinstance(came, Taken):
            entry.show_given(Given(came.value, typed=came.typed))
            entry.show_words(answer_words(entry.field, came.value, today=self.today, mark=self.settings.decimal))
            self.say("")
        elif isinstance(came, Refused):
            self.say(f"{came.reason} {came.next}")
        elif isinstance(came, Asked):
            self.say(f"{came.question} Write it in full.")
        else:
            self.say(f"{entry.field.label} is needed here.")

    def _go_on(self, entry: EntryAnswer) -> None:
        open_ = [one for one in self.entries.values() if one.given.value is None]
        if open_:
            open_[0].box.setFocus()
        else:
            self.answer(next(iter(self.choices)))

    def say(self, words: str) -> None:
        """Say what cannot be taken, or nothing."""
        self.trouble.setText(words)
        self.trouble.setVisible(bool(words))
        if words:
            announce(self, words)

    def answer(self, code: str) -> None:
        """Take one of the buttons; an act waits until everything is given."""
        if code == "back":
            self.left.emit()
            return
        for entry in self.entries.values():
            entry.take()
        for entry in self.entries.values():
            if entry.given.value is None:
                entry.box.setFocus()
                return
        found: Mapping[str, Value | None] = {name: one.given.value for name, one in self.entries.items()}
        self.answered.emit(code, found)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() == Qt.Key.Key_Escape:
            self.left.emit()
            return
        super().keyPressEvent(event)
