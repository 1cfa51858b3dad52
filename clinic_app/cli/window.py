"""Opening the window. The toolkit is looked for only here, so that every other command runs without it."""

from __future__ import annotations

import importlib
import importlib.util
import os
import sys
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING

from clinic_app.errors import Refusal

if TYPE_CHECKING:
    from clinic_app.session import Session


def display_named() -> bool:
    """Whether the system offers a screen; on Windows and macOS there always is one."""
    if not sys.platform.startswith("linux"):
        return True
    wanted = os.environ.get("QT_QPA_PLATFORM", "")
    if wanted in ("offscreen", "minimal"):
        return False
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def toolkit_found() -> bool:
    """Whether the window's toolkit is installed."""
    return importlib.util.find_spec("PySide6") is not None


def desktop(name: str) -> ModuleType:
    """A module of the window, imported when it is wanted."""
    if not toolkit_found():
        raise Refusal(
            what="The window cannot be opened.",
            why="PySide6 is not installed beside the program.",
            next="Install the extra `desktop`, or use the commands: clinic-app --help lists them.",
        )
    return importlib.import_module(f"clinic_app.desktop.{name}")


def save_pictures(session: Session, folder: Path) -> list[Path]:
    """Pictures of the pages, drawn without a screen; none when the toolkit is not installed."""
    if not toolkit_found():
        return []
    os.environ["QT_QPA_PLATFORM"] = "offscreen"  # must stand before the toolkit is loaded, or it looks for a screen
    pictures: list[Path] = desktop("pictures").save_pictures(session, folder)
    return pictures


def show_window(practice: Path, person: str) -> int:
    """Open the window on the practice in that folder and stay until it is closed."""
    if not display_named():
        raise Refusal(
            what="The window cannot be opened.",
            why="This session has no screen.",
            next="Start the program in a desktop session, or use the commands: clinic-app --help lists them.",
        )
    return int(desktop("app").run(practice, person))
