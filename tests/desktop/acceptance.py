"""What the acceptance tests of look and access share: one window, every page of it in its states, every control on it.

A page that is added to the window is walked through by itself; `MORE` adds states that need an act.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from time import monotonic, sleep
from typing import Any

from PySide6.QtCore import QEventLoop, Qt
from PySide6.QtGui import QAccessible, QFont
from PySide6.QtWidgets import QAbstractButton, QApplication, QLineEdit, QWidget

from clinic_app.desktop.look import NORMAL, Look
from clinic_app.desktop.pages.plain import Coming
from clinic_app.desktop.parts.choice import Option
from clinic_app.desktop.parts.eye_question import EyeQuestion
from clinic_app.desktop.parts.ticks import Tick
from clinic_app.desktop.window import PLACES, Window
from clinic_app.domain.record import CaseKey, StageRecord
from clinic_app.session import Session, open_session
from models.codebook import Stage

NOW = datetime(2026, 11, 12, 9, 14, tzinfo=UTC)
CASES = (
    (1440, 900, "light", 100), (1440, 900, "dark", 100), (1366, 768, "light", 100), (1280, 720, "light", 100),
    (1440, 900, "light", 125), (1440, 900, "light", 150), (1280, 720, "light", 200),
)  # fmt: skip
"""Sizes of window, theme and text at which everything must be whole (screens.md 9, item 4)."""
PATIENCE = 60.0
ROLES = {
    QAccessible.Role.RadioButton, QAccessible.Role.CheckBox, QAccessible.Role.EditableText, QAccessible.Role.Button,
    QAccessible.Role.PushButton, QAccessible.Role.List, QAccessible.Role.ListItem, QAccessible.Role.Table,
    QAccessible.Role.ButtonMenu, QAccessible.Role.StaticText,
}  # fmt: skip


def clock() -> datetime:
    """When the invented practice is looked at."""
    return NOW


class LongerLook(Look):
    """Every text takes 35 % more room, as another language may.

    All type of the window comes from `Look.font`; there each letter is followed by 35 % of its width. Words become
    longer, not more, which is the harder case; numbers, names and what people typed grow with them.
    """

    PERCENT = 135

    def font(self, size: float = 14, weight: QFont.Weight = NORMAL, *, italic: bool = False) -> QFont:
        font = super().font(size, weight, italic=italic)
        font.setLetterSpacing(QFont.SpacingType.PercentageSpacing, self.PERCENT)
        return font


def settle(window: Window) -> None:
    """Wait until the window has read, drawn and placed everything."""
    until, quiet = monotonic() + PATIENCE, 0
    while quiet < 2:
        assert monotonic() < until, "the window does not come to rest"
        QApplication.processEvents(QEventLoop.ProcessEventsFlag.AllEvents, 20)
        if window.jobs.busy or any(page.drawing() for page in window.page.values()):
            quiet = 0
            sleep(0.005)
        else:
            quiet += 1


def _bookings(page: Any, then: Callable[[], None]) -> Iterator[str]:
    for level in ("short", "full", "all"):
        page.set_level(level)
        then()
        yield f"level {level}"
    page.form.said("cct_um", "54")
    page.form.said("acd_mm", "9")
    page.notice.say("Not booked: Thickness still asks for an answer.")
    then()
    yield "asked and refused"
    page.show_eye(page.open_eye, focus=False)
    for eye in page.eyes:
        page.go_to(eye.key)
        then()
        yield f"eye {eye.key.patient_id}"


def _which_eye(page: Any, then: Callable[[], None], side: str, leave: Callable[[], None]) -> Iterator[str]:
    """The question before a sheet, answered wrongly, and answered rightly until the sheet stands."""
    wrong = "L" if side == "R" else "R"
    for pressed in (wrong, side):
        page.step(1)
        then()
        yield "which eye?"
        question = next(one for one in page.findChildren(EyeQuestion) if one.isVisible())
        question.born.setText(BORN)
        question.born.entered.emit()
        question.press(pressed)
        then()
        yield "the wrong eye" if pressed == wrong else "a sheet"
        if pressed == wrong:
            question.back.emit()
            then()
    leave()


def _theatre(page: Any, then: Callable[[], None]) -> Iterator[str]:
    yield from _which_eye(page, then, "L", page.put_away)


def _day_one(page: Any, then: Callable[[], None]) -> Iterator[str]:
    yield from _which_eye(page, then, "R", page.to_idle)


def _review(page: Any, then: Callable[[], None]) -> Iterator[str]:
    page.toggle_tables()
    then()
    yield "tables"
    page.toggle_tables()
    for view in ("forecast", "glance"):
        page.show_view(view)
        then()
        yield f"view {view}"


def _practice(page: Any, then: Callable[[], None]) -> Iterator[str]:
    for name in page.sections:
        page.go(name)
        then()
        yield f"section {name}"


def _help(page: Any, then: Callable[[], None]) -> Iterator[str]:
    page.show_for("bookings")
    then()
    yield "chapter of Bookings"


MORE: dict[str, Callable[[Any, Callable[[], None]], Iterator[str]]] = {
    "bookings": _bookings,
    "theatre": _theatre,
    "day_one": _day_one,
    "review": _review,
    "practice": _practice,
    "help": _help,
}


def states(window: Window, *, more: bool = True) -> Iterator[str]:
    """Walk through every page of the window, each as it opens and then in its other states; what stands is named."""

    def then() -> None:
        settle(window)

    for place, name in enumerate(PLACES):
        window.go(place)
        then()
        assert window.here is window.page[name], f"{name} does not open"
        yield name
        if more and name in MORE and not isinstance(window.here, Coming):
            for state in MORE[name](window.here, then):
                yield f"{name}, {state}"
    window.go(0)
    then()


def show_case(window: Window, width: int, height: int, theme: str, percent: int) -> None:
    """Give the window a size, theme and size of text."""
    if window.look.percent != percent:
        window.look.set_percent(percent)
    if window.look.theme != theme:
        window.look.set_theme(theme)
    window.resize(width, height)
    settle(window)
    assert (window.width(), window.height()) == (width, height)


def ours(root: QWidget) -> list[QWidget]:
    """Visible widgets of ours below `root`."""
    return [
        one for one in root.findChildren(QWidget) if one.isVisible() and type(one).__module__.startswith("clinic_app")
    ]


def controls(root: QWidget) -> list[QWidget]:
    """Visible widgets that a person can press, tick or type in."""
    return [one for one in ours(root) if isinstance(one, QAbstractButton | QLineEdit)]


def tab_stops(root: QWidget) -> list[QWidget]:
    """Visible widgets at which Tab stops."""
    return [
        one
        for one in root.findChildren(QWidget)
        if one.isVisible() and one.isEnabled() and one.focusPolicy() & Qt.FocusPolicy.TabFocus and not one.focusProxy()
    ]


def nameless(root: QWidget) -> list[str]:
    """What takes the keyboard and has no name, or a role that says nothing."""
    found = []
    for widget in ours(root):
        if widget.focusPolicy() == Qt.FocusPolicy.NoFocus:
            continue
        interface = QAccessible.queryAccessibleInterface(widget)
        name, role = interface.text(QAccessible.Text.Name), interface.role()
        if not name.strip() or role not in ROLES:
            found.append(f"{said(widget)} name {name!r} role {role}")
    return found


def said(widget: QWidget) -> str:
    """A widget in words, for a failed test."""
    words = getattr(widget, "words", None) or (widget.text() if hasattr(widget, "text") else "")
    return f"{type(widget).__name__} {widget.objectName()!r} {str(words)[:50]!r}"


def group(widget: QWidget) -> QWidget | None:
    """The answer whose options this widget is one of."""
    if isinstance(widget, Option):
        return widget.row
    return widget.owner if isinstance(widget, Tick) else None


def at_work(session: Session) -> None:
    """One eye on today's list and one that was operated yesterday."""
    born = date(1949, 3, 11)
    today = session.today()
    with session.store.writing(by="Osei", act="book") as write:
        for key in (CaseKey("P-20388", "L", today), CaseKey("P-20361", "R", today - timedelta(days=1))):
            write.put_stage(key, StageRecord(Stage.BOOKING, {"birth_date": born, "surgery_time": time(9, 20)}))
    with session.store.writing(by="Osei", act="sign") as write:
        key = CaseKey("P-20361", "R", today - timedelta(days=1))
        write.put_stage(key, StageRecord(Stage.THEATRE, {"surgeon_id": "Halvorsen", "pcr": "none"}))


BORN = "11 3"


@contextmanager
def standing(source: Path, folder: Path, look: Look) -> Iterator[Window]:
    """One window on a copy of a practice, read and at rest, for a whole file of tests; closed at the end."""
    shutil.copytree(source, folder)
    with open_session(folder, person="Osei", clock=clock) as session:
        at_work(session)
        look.apply()
        window = Window(look, session.settings, session.person)
        window.fill(session)
        window.resize(1440, 900)
        window.show()
        window.activateWindow()
        settle(window)
        yield window
        window.hide()
        window.jobs.close()
        window.deleteLater()
        QApplication.processEvents()
