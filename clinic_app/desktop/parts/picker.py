"""One filter: a button that says what is chosen and opens the list of what can be."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QPoint, Signal
from PySide6.QtGui import QAction, QActionGroup
from PySide6.QtWidgets import QMenu

from clinic_app.desktop.look import Look
from clinic_app.desktop.parts.button import Button


class Picker(Button):
    """`picked` carries the code that a person chose."""

    picked = Signal(str)

    def __init__(self, look: Look, name: str, choices: Sequence[tuple[str, str]]) -> None:
        super().__init__(look, name, icon="down")
        self.name, self.choices = name, tuple(choices)
        self.code = self.choices[0][0]
        self.menu_list = QMenu(self)
        self.options = QActionGroup(self)
        for code, words in self.choices:
            action = QAction(words, self)
            action.setCheckable(True)
            action.setData(code)
            self.options.addAction(action)
            self.menu_list.addAction(action)
        self.options.triggered.connect(lambda action: self._pick(str(action.data())))
        self.clicked.connect(self._open)
        self.choose(self.code)

    def choose(self, code: str) -> None:
        """Show what is chosen; raises nothing."""
        self.code = code
        words = dict(self.choices)[code]
        for action in self.options.actions():
            action.setChecked(action.data() == code)
        self.set_words(f"{self.name}: {words}", f"{self.name}: {words}, choose")

    def _open(self) -> None:
        self.menu_list.setFont(self.look.font(14))
        self.menu_list.popup(self.mapToGlobal(QPoint(0, self.height())))

    def _pick(self, code: str) -> None:
        if code != self.code:
            self.choose(code)
            self.picked.emit(code)
