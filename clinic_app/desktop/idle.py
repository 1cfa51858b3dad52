"""How long nobody has touched the seat."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QEvent, QObject, QTimer, Signal
from PySide6.QtWidgets import QApplication

AT_WORK = (
    QEvent.Type.KeyPress, QEvent.Type.KeyRelease, QEvent.Type.MouseButtonPress, QEvent.Type.MouseButtonRelease,
    QEvent.Type.Wheel,
)  # fmt: skip


class Idle(QObject):
    """`passed` is raised once the minutes that `minutes` names went by without a key or a click; None: never."""

    passed = Signal()

    def __init__(self, minutes: Callable[[], int | None], parent: QObject) -> None:
        super().__init__(parent)
        self._minutes = minutes
        self.timer = QTimer(self, singleShot=True)
        self.timer.timeout.connect(self._passed)
        application = QApplication.instance()
        if application is not None:
            application.installEventFilter(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Every key and click starts the time anew, once it has done what it does."""
        if event.type() in AT_WORK:
            QTimer.singleShot(0, self, self.again)
        return super().eventFilter(watched, event)

    def again(self) -> None:
        """Begin to count."""
        minutes = self._minutes()
        if minutes is None:
            self.timer.stop()
        else:
            self.timer.start(minutes * 60_000)

    def end(self) -> None:
        """Watch no longer."""
        self.timer.stop()
        application = QApplication.instance()
        if application is not None:
            application.removeEventFilter(self)

    def _passed(self) -> None:
        if self._minutes() is not None:
            self.passed.emit()
