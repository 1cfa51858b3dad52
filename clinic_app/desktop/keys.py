"""Keys that work everywhere in the window."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QWidget


class Keys:
    """Key sequences of `window` and what each does."""

    def __init__(self, window: QWidget) -> None:
        self.window = window
        self._made: list[QShortcut] = []

    def clear(self) -> None:
        """No keys any more."""
        for shortcut in self._made:
            shortcut.deleteLater()
        self._made = []

    def set(self, acts: Mapping[str, Callable[[], object]]) -> None:
        """These keys in place of those before."""
        self.clear()
        for sequence, act in acts.items():
            made = QShortcut(QKeySequence(sequence), self.window)
            made.setContext(Qt.ShortcutContext.WindowShortcut)
            made.activated.connect(act)
            self._made.append(made)

    def enable(self, enabled: bool) -> None:
        """Whether the keys work."""
        for shortcut in self._made:
            shortcut.setEnabled(enabled)
