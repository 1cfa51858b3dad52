"""Opens the window on a practice."""

from __future__ import annotations

import sys

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QApplication

from clinic_app.desktop.look import Look
from clinic_app.desktop.window import Window
from clinic_app.session import Session


def application() -> QApplication:
    """The one Qt application, with our style and our palette's ground."""
    existing = QApplication.instance()
    if isinstance(existing, QApplication):
        return existing
    QGuiApplication.setHighDpiScaleFactorRoundingPolicy(Qt.HighDpiScaleFactorRoundingPolicy.PassThrough)
    made = QApplication(sys.argv[:1])
    made.setStyle("Fusion")
    made.setApplicationName("clinic-app")
    return made


def run(session: Session, *, theme: str | None = None, quit_after_first_paint: bool = False) -> int:
    """Show the window until it is closed; the exit status. `theme` overrides the settings: system, light or dark."""
    app = application()
    look = Look(theme or session.settings.theme, session.settings.text_percent)
    look.apply()
    window = Window(session, look)
    screen = QGuiApplication.primaryScreen().availableGeometry()
    window.resize(
        max(window.minimumWidth(), min(1440, screen.width())), max(window.minimumHeight(), min(900, screen.height()))
    )
    if quit_after_first_paint:
        window.painted.connect(lambda: QTimer.singleShot(0, window.close))
    window.show()
    return app.exec()
