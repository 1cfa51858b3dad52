"""Pictures of the pages, taken without a screen, for reports and manuals."""

from __future__ import annotations

import time
from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import QEventLoop
from PySide6.QtWidgets import QApplication

from clinic_app.desktop.app import application
from clinic_app.desktop.look import Look
from clinic_app.desktop.parts.path_bar import STATIONS
from clinic_app.desktop.window import Window
from clinic_app.services.bookings import list_eyes
from clinic_app.session import Session

SIZES: tuple[tuple[int, int], ...] = ((1440, 900),)
THEMES: tuple[str, ...] = ("light", "dark")
PATIENCE = 60.0
"""Seconds after which a page is taken as it stands."""


def settle(app: QApplication, window: Window) -> None:
    """Let the window read, draw and place everything."""
    until = time.monotonic() + PATIENCE
    quiet = 0
    while quiet < 3 and time.monotonic() < until:
        app.processEvents(QEventLoop.ProcessEventsFlag.AllEvents, 50)
        time.sleep(0.03)
        busy = window.jobs.busy or any(page.drawing() for page in window.page.values())
        quiet = 0 if busy else quiet + 1


def _choose(session: Session, window: Window) -> None:
    """Open the eye with the widest range, which shows most of the panel; the first of the list when none has one."""
    ranges = [
        (eye.forecast.high - eye.forecast.low, eye.key)
        for eye in list_eyes(session)
        if eye.forecast is not None and eye.forecast.low is not None and eye.forecast.high is not None
    ]
    if ranges:
        window.page["bookings"].go_to(max(ranges)[1])


def save_pictures(
    session: Session,
    folder: Path,
    *,
    sizes: Sequence[tuple[int, int]] = SIZES,
    themes: Sequence[str] = THEMES,
    percent: int = 100,
) -> list[Path]:
    """Each page at each size in each theme as `<page>-<width>x<height>-<theme>.png`; the paths written, in order."""
    app = application()
    folder.mkdir(parents=True, exist_ok=True)
    written: list[Path] = []
    look = Look(themes[0], percent)
    look.apply()
    window = Window(look, session.settings, session.person)
    window.fill(session)
    window.show()
    settle(app, window)
    _choose(session, window)
    for theme in themes:
        look.set_theme(theme)
        for width, height in sizes:
            window.resize(width, height)
            for place, name in enumerate(STATIONS):
                window.go(place)
                settle(app, window)
                path = folder / f"{name.lower().replace(' ', '-')}-{width}x{height}-{theme}.png"
                if not window.grab().save(str(path)):
                    raise OSError(f"{path} could not be written")
                written.append(path)
    window.close()
    window.deleteLater()
    return written
