"""What every page of the window has in common."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QWidget

if TYPE_CHECKING:
    from clinic_app.domain.record import CaseKey


HAND_ON, COVER, ANEW, DEMO, RENEWED, RESTORE = (
    "hand on", "cover", "anew", "demo", "renewed", "restore",
)  # fmt: skip
"""Somebody else takes the seat; cover it; build the pages anew; try the invented practice; the practice goes on as this
session; put this backup in place of it."""


class Page(QWidget):
    """One page of the window, or a station of the path.

    `waiting`: how many eyes wait here, for the station's count. `wished`: go to the page of that name (`bookings`,
    `theatre`, `day_one`, `review`, `model`, `practice`) and open that eye there (a `CaseKey`, or None). `asked`:
    something of the window, one of the words above and what goes with it, or None.
    """

    waiting = Signal(int)
    wished = Signal(str, object)
    asked = Signal(str, object)

    def load(self) -> None:
        """Read what the page lists and tell how many wait; called once when the practice has been opened."""

    def open(self) -> None:
        """The page is shown: read its list anew, since other pages move eyes on."""
        self.load()

    def cover_after(self) -> int | None:
        """Minutes without a key or a click after which the seat is covered; None while it must stay open."""
        return 3

    def first_focus(self) -> QWidget:
        """Put the keyboard on the page's first open answer; the widget that now has it."""
        return self

    def dirty(self) -> bool:
        """Whether there are answers that are not kept."""
        return False

    def leaving(self, then: Callable[[], None]) -> None:
        """Do `then` at once, or after the person said what becomes of unkept answers."""
        then()

    def set_width(self, effective: float) -> None:
        """Lay the page out for a width in pixels at 100 % text."""

    def keys(self) -> Mapping[str, Callable[[], object]]:
        """Keys that work while the page is shown: a key sequence such as `Ctrl+Return` and what it does."""
        return {}

    def drawing(self) -> bool:
        """Whether the page still works on what it shows."""
        return False

    def go_to(self, key: CaseKey) -> None:
        """Open that eye here."""

    def begin_new(self) -> None:
        """Begin a new eye here."""

    def show_for(self, page: str) -> None:
        """Show what belongs to a page of that name."""

    def seek(self, text: str) -> bool:
        """Open the eye that the text finds here; whether there was one."""
        return False
