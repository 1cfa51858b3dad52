"""The box for a PIN: digits only, never shown, taken with Enter; a wrong one is said and typed anew."""

from __future__ import annotations

from PySide6.QtCore import QRegularExpression, Signal
from PySide6.QtGui import QRegularExpressionValidator
from PySide6.QtWidgets import QLineEdit, QVBoxLayout, QWidget

from clinic_app.desktop.look import MEDIUM, Look
from clinic_app.desktop.parts.entry import Box
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.lines import RefusalLine

LONGEST = 12
WRONG = "That is not the PIN."
AGAIN = "Type it again."


class PinBox(QWidget):
    """`submitted` carries the digits when Enter is pressed; the box is empty then, unless it `keeps` them for a form.

    `say_wrong` tells that they failed.

    `name` is what it asks for ("PIN", "New PIN"), `person` whose it is.
    """

    submitted = Signal(str)

    def __init__(self, look: Look, name: str = "PIN", *, person: str = "", keeps: bool = False) -> None:
        super().__init__()
        self.look, self.name, self.keeps = look, name, keeps
        self.column = QVBoxLayout(self)
        self.column.setContentsMargins(0, 0, 0, 0)
        self.column.setSpacing(look.px(2))
        self.title = Words(look, name, size=12.5, weight=MEDIUM, colour="soft")
        self.box = Box(look)
        self.box.setObjectName("pin")
        self.box.setEchoMode(QLineEdit.EchoMode.Password)
        self.box.setValidator(QRegularExpressionValidator(QRegularExpression(f"[0-9]{{0,{LONGEST}}}"), self.box))
        self.column.addWidget(self.title)
        self.column.addWidget(self.box)
        self.line: RefusalLine | None = None
        self.box.entered.connect(self._submit)
        self.box.textEdited.connect(self._typed)
        self.set_person(person)

    def set_person(self, person: str) -> None:
        """Whose PIN is asked for; what was typed for another is gone."""
        self.box.clear()
        self._quiet()
        self.box.setAccessibleName(f"{self.name} of {person}, digits" if person else f"{self.name}, digits")

    def say_wrong(self, words: str = WRONG, then: str = AGAIN) -> None:
        """Say that the digits were not taken; the keyboard goes back into the box."""
        self._quiet()
        self.line = RefusalLine(self.look, words, then)
        self.column.addWidget(self.line)
        self.box.clear()
        self.box.mark(troubled=True)
        self.box.setFocus()

    def _quiet(self) -> None:
        if self.line is not None:
            self.column.removeWidget(self.line)
            self.line.hide()
            self.line.deleteLater()
            self.line = None
            self.box.mark()

    def _typed(self) -> None:
        self._quiet()

    def _submit(self) -> None:
        digits = self.box.text()
        if digits:
            if not self.keeps:
                self.box.clear()
            self.submitted.emit(digits)
