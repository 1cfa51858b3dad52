"""Opens the window on a practice."""

from __future__ import annotations

import sys
from pathlib import Path

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QApplication

from clinic_app.desktop.look import Look
from clinic_app.desktop.window import Window
from clinic_app.errors import Refusal
from clinic_app.settings import Settings, read_settings


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


def run(folder: Path, person: str, *, theme: str | None = None, quit_after_first_paint: bool = False) -> int:
    """Show the window on the practice in `folder` until it is closed; the exit status.

    `theme` overrides the settings: system, light or dark. The frame is painted first; the practice is opened then.
    """
    app = application()
    fault: Refusal | None = None
    try:
        settings = read_settings(folder)
    except Refusal as refusal:
        settings, fault = Settings(), refusal
    look = Look(theme or settings.theme, settings.text_percent)
    look.apply()
    window = Window(look, settings, person)
    screen = QGuiApplication.primaryScreen().availableGeometry()
    window.resize(
        max(window.minimumWidth(), min(1440, screen.width())), max(window.minimumHeight(), min(900, screen.height()))
    )
    if fault is not None:
        window.refuse(fault, folder, person)
    elif not quit_after_first_paint:
        window.painted.connect(lambda: window.open_practice(folder, person))
    if quit_after_first_paint:
        window.painted.connect(lambda: QTimer.singleShot(0, window.close))
    window.show()
    return app.exec()
