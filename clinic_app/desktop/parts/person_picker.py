"""Who acts: people by their first letters, each with their duties."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QModelIndex, QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QSizePolicy, QVBoxLayout, QWidget

from clinic_app.desktop.look import MEDIUM, Look
from clinic_app.desktop.parts.answer import announce
from clinic_app.desktop.parts.entry import Box
from clinic_app.desktop.parts.eye_list import EyeList, ListRow
from clinic_app.desktop.parts.label import Words

SHOWN = 5
"""Rows that the list is high."""


class PeopleList(EyeList):
    """The names that still fit; Enter takes the one in hand."""

    taken = Signal(object)

    def __init__(self, look: Look, name: str) -> None:
        super().__init__(look, name)
        self.setObjectName("people")
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.clicked.connect(self._take)

    def sizeHint(self) -> QSize:
        return QSize(self.look.px(260), self.look.px(60) * SHOWN)

    def minimumSizeHint(self) -> QSize:
        return QSize(self.look.px(200), self.look.px(60))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_Space):
            self._take(self.currentIndex())
            return
        super().keyPressEvent(event)

    def _take(self, index: QModelIndex) -> None:
        row = index.data(Qt.ItemDataRole.UserRole) if index.isValid() else None
        if isinstance(row, ListRow):
            self.taken.emit(row.key)


class PersonPicker(QWidget):
    """`picked` carries the name a person chose: typed first letters and Enter, or from the list.

    `people`: (name, duties in words), in the order in which they stand.
    """

    picked = Signal(str)

    def __init__(self, look: Look, people: Sequence[tuple[str, str]] = (), *, label: str = "Who are you?") -> None:
        super().__init__()
        self.look = look
        self.people: tuple[tuple[str, str], ...] = ()
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(look.px(4))
        self.title = Words(look, label, size=12.5, weight=MEDIUM, colour="soft")
        self.box = Box(look)
        self.box.setObjectName("person.name")
        self.box.setAccessibleName(f"{label} First letters of the name")
        self.box.setPlaceholderText("First letters of the name")
        self.said = Words(look, "", size=12.5, colour="soft", wrap=True)
        self.list = PeopleList(look, "People")
        for widget in (self.title, self.box, self.said, self.list):
            column.addWidget(widget)
        self.box.textEdited.connect(self._narrow)
        self.box.entered.connect(self._enter)
        self.list.taken.connect(self._pick)
        self.show_people(people)

    def show_people(self, people: Sequence[tuple[str, str]]) -> None:
        """Other people; what was typed is gone."""
        self.people = tuple(people)
        self.box.clear()
        self._narrow("")

    def fitting(self, letters: str) -> list[tuple[str, str]]:
        """People of whom a part of the name begins with the letters."""
        wanted = letters.strip().casefold()
        return [
            one
            for one in self.people
            if one[0].casefold().startswith(wanted)
            or any(part.startswith(wanted) for part in one[0].casefold().replace("-", " ").split())
        ]

    def stop(self) -> QWidget:
        """Where the keyboard goes first."""
        return self.box

    def _narrow(self, letters: str) -> None:
        fit = self.fitting(letters)
        rows = [ListRow(name, name, under=duties, spoken=f"{name}, {duties}".strip(", ")) for name, duties in fit]
        self.list.set_rows(rows)
        self.list.setVisible(bool(rows))
        if self.people and not rows:
            self._say("Nobody here has a name that begins so.")
        else:
            self._say("" if self.people else "Nobody is entered yet.")

    def _say(self, words: str) -> None:
        self.said.setText(words)
        self.said.setVisible(bool(words))
        if words:
            announce(self, words)

    def _enter(self) -> None:
        fit = self.fitting(self.box.text())
        exact = [one for one in fit if one[0].casefold() == self.box.text().strip().casefold()]
        if len(found := exact or fit) == 1:
            self._pick(found[0][0])
        elif found:
            self._say(f"{len(found)} people fit. Type more of the name, or choose with the arrow keys.")
            self.list.setCurrentIndex(self.list.model().index(0, 0))
            self.list.setFocus()

    def _pick(self, name: str) -> None:
        self.box.clear()
        self._narrow("")
        self.picked.emit(name)
