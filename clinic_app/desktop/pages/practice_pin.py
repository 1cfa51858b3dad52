"""Setting one's own PIN: the old one, a new one, the new one once more; one box at a time."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QVBoxLayout, QWidget

from clinic_app.desktop.look import Look
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.pin_box import PinBox

OLD, NEW, AGAIN = "PIN until now", "New PIN", "New PIN, once more"


class PinSteps(QWidget):
    """`done` carries the new PIN and the old one (empty where there was none); `left`: Esc was pressed."""

    done = Signal(str, str)
    left = Signal()

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look = look
        column = QVBoxLayout(self)
        column.setContentsMargins(look.px(16), look.px(6), look.px(16), look.px(6))
        column.setSpacing(look.px(4))
        column.addWidget(
            Words(look, "Four to eight digits. Enter goes on, Esc leaves.", size=12.5, colour="soft", wrap=True)
        )
        self.boxes = {name: PinBox(look, name) for name in (OLD, NEW, AGAIN)}
        self._typed: dict[str, str] = {}
        for name, box in self.boxes.items():
            box.setMaximumWidth(look.px(260))
            column.addWidget(box)
            box.submitted.connect(lambda digits, name=name: self._take(name, digits))
        self.hide()

    def begin(self, person: str, *, old: bool) -> None:
        """Ask from the start."""
        self._typed = {}
        for box in self.boxes.values():
            box.set_person(person)
        self.show()
        self._ask(OLD if old else NEW)

    def _ask(self, name: str) -> None:
        for each, box in self.boxes.items():
            box.setVisible(each == name)
        self.boxes[name].box.setFocus(Qt.FocusReason.TabFocusReason)

    def _take(self, name: str, digits: str) -> None:
        self._typed[name] = digits
        if name == OLD:
            self._ask(NEW)
        elif name == NEW:
            self._ask(AGAIN)
        elif digits != self._typed[NEW]:
            self._ask(NEW)
            self.boxes[NEW].say_wrong("The two were not the same.", "Type the new PIN twice.")
        else:
            self.hide()
            self.done.emit(digits, self._typed.get(OLD, ""))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() == Qt.Key.Key_Escape:
            self.hide()
            self.left.emit()
            return
        super().keyPressEvent(event)
