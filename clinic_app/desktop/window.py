"""The main window: path bar, one page at a time, status strip, and the keys that work everywhere.

It paints before a practice is opened: nothing here may bring in the store, the services or the arithmetic. The pages
come from `stations`, by name, once the practice is open.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable, Mapping
from datetime import date
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, cast

from PySide6.QtCore import QSize, Qt, QTimer, Signal
from PySide6.QtGui import QCloseEvent, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QLayout, QStackedWidget, QVBoxLayout, QWidget

from clinic_app.desktop.door import Door
from clinic_app.desktop.idle import Idle
from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.keys import Keys
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.opening_page import OpeningPage
from clinic_app.desktop.pages.page import ANEW, COVER, DEMO, HAND_ON, RENEWED, RESTORE, Page
from clinic_app.desktop.parts.path_bar import STATIONS, PathBar, Strip
from clinic_app.desktop.warm import warm_up
from clinic_app.errors import Refusal
from clinic_app.settings import Settings

if TYPE_CHECKING:
    from clinic_app.desktop.pages.cover_page import CoverPage
    from clinic_app.domain.record import CaseKey
    from clinic_app.session import Session

SMALLEST = QSize(1280, 720)
PLACES = ("bookings", "theatre", "day_one", "review", "model", "practice", "person", "found", "help", "first_start")
PRACTICE, PERSON, FOUND, HELP, FIRST = range(len(STATIONS), len(PLACES))
OTHERS_AFTER = 300
"""Milliseconds after which the other stations are counted anew."""


class Window(QWidget):
    """`painted` is raised once, after the first paint of the frame; `filled` when the pages stand."""

    painted = Signal()
    filled = Signal()

    def __init__(self, look: Look, settings: Settings | None = None, person: str = "") -> None:
        super().__init__()
        self.look = look
        self.jobs = Jobs(self)
        self.session: Session | None = None
        self.page: Mapping[str, Page] = {}
        self._painted = False
        self.keys = Keys(self)
        self.cover: CoverPage | None = None
        self.covered = False
        self.idle = Idle(self._minutes, self)
        self.idle.passed.connect(self.cover_seat)
        self._others = QTimer(self, singleShot=True, interval=OTHERS_AFTER)
        self._others.timeout.connect(self._read_others)
        self.door = Door(self.jobs, self)
        self._begun = self._stale = self._warned = False
        self._day: date | None = None
        settings = settings or Settings()
        self._entitle(settings)
        self.setMinimumSize(SMALLEST)
        self.bar = PathBar(look, person)
        self.opening = OpeningPage(look)
        self.pages = QStackedWidget()
        self.pages.addWidget(self.opening)
        self.strip = Strip(look, demo=settings.demo)
        column = self.column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.setSizeConstraint(QLayout.SizeConstraint.SetNoConstraint)
        column.addWidget(self.bar)
        column.addWidget(self.pages, 1)
        column.addWidget(self.strip)
        self.opening.again.connect(self._again)
        self.door.opened.connect(self.fill)
        self.door.failed.connect(self.opening.refuse)
        self.door.progress.connect(self.opening.tell)
        self.opening.progress.stopped.connect(self.door.stop)
        self.bar.wished.connect(self.go)
        self.bar.sought.connect(self._seek)
        self.bar.person.clicked.connect(lambda: self.go(PERSON))
        self.bar.help.clicked.connect(self.help)
        look.changed.connect(self._restyle)
        self.bar.setEnabled(False)
        self._restyle()

    def _entitle(self, settings: Settings) -> None:
        name = settings.practice_name or "Practice"
        self.setWindowTitle(f"{name} - demo data: invented, not for care" if settings.demo else name)

    # --- the practice ------------------------------------------------------------------------------------------------

    def refuse(self, fault: Refusal, folder: Path, person: str) -> None:
        """Say why the practice in `folder` cannot be opened."""
        self.door.after(lambda: self.open_practice(folder, person))
        self.opening.refuse(fault)

    def open_practice(self, folder: Path, person: str) -> None:
        """Open the practice in `folder`; the pages follow, or the reason why not."""
        self._clear()
        self.door.open(folder, person)

    def _clear(self) -> None:
        """Take the pages away and say that a practice is being opened."""
        self.jobs.leave()
        self._empty()
        self.pages.addWidget(self.opening)
        self.pages.setCurrentWidget(self.opening)
        self.bar.setEnabled(False)
        self.opening.begin()

    def _again(self) -> None:
        self.opening.begin()
        self.door.again()

    def fill(self, session: Session, at: int | None = None, *, known: bool = False) -> None:
        """Put the pages on an open practice in place of what stood here, and show that place (the first one).

        `known`: the person of the session has said who they are; otherwise whoever has a PIN signs in first.
        """
        self.opening.end()
        self.jobs.leave()
        self._empty()
        stations = importlib.import_module("clinic_app.desktop.stations")
        taste = stations.taste(session)
        self.look.set_theme(taste.theme)
        self.look.set_percent(taste.text_percent)
        self._stand_on(session)
        self._stale = False
        if at is None:
            new = not self._begun and stations.is_new(session)
            at = FIRST if new else PLACES.index(stations.home(session))
        self._begun = True
        self.page = stations.build(session, self.look, self.jobs)
        self.cover = stations.build_cover(session, self.look)
        for place, name in enumerate(PLACES):
            page = self.page[name]
            self.pages.addWidget(page)
            page.wished.connect(self._wish)
            page.asked.connect(self._asked)
            if place < len(STATIONS):
                page.waiting.connect(self.bar.stations[place].set_count)
                page.waiting.connect(partial(self._moved_on, page))
        self.pages.removeWidget(self.opening)
        self.column.insertWidget(1, self.cover, 1)
        self.cover.entered.connect(self._entered)
        self.bar.setEnabled(True)
        self.bar.search.clear()
        self._set_keys()
        self._set_width()
        self._show(at, anew=False)
        self._set_covered(False)
        if not known and stations.must_sign_in(session):
            self._set_covered(True)
            self.cover.ask_who()
        self.filled.emit()
        if self._painted:
            self._start()

    def _moved_on(self, page: Page, _: int) -> None:
        """Something was done on the page that is shown: an eye may wait at another station now."""
        if self.page and page is self.here:
            self._others.start()

    def _read_others(self) -> None:
        for name in PLACES[: len(STATIONS)]:
            page = self.page.get(name)
            if page is not None and page is not self.here and not page.dirty():
                page.load()

    def _stand_on(self, session: Session) -> None:
        self.session, self._day = session, session.today()
        if self.cover is not None:
            self.cover.session = session
        self._entitle(session.settings)
        self.strip.show_demo(session.settings.demo)
        self.bar.show_person(importlib.import_module("clinic_app.desktop.stations").seat_words(session))

    # --- who sits here -----------------------------------------------------------------------------------------------

    def _asked(self, what: str, about: object) -> None:
        if what == HAND_ON:
            self.hand_on()
        elif what == COVER:
            self.cover_seat()
        elif what == DEMO:
            self._clear()
            self.door.demo()
        elif self.session is None:
            return
        elif what == RENEWED:
            self._stand_on(cast("Session", about))
            self._stale = True
        elif what == RESTORE:
            session = self.session
            self._clear()
            self.door.restore(session.folder, Path(str(about)), session.person)
        elif what == ANEW:
            QTimer.singleShot(0, self, partial(self.fill, self.session, 0, known=True))

    def cover_seat(self) -> None:
        """Put a plain sheet over everything; what was open stays as it is below it."""
        if self.cover is not None and not self.covered:
            self._set_covered(True)
            self.cover.cover()

    def hand_on(self) -> None:
        """Somebody else takes the seat; unkept answers are asked about first."""
        if self.cover is not None and not self.covered:
            self.here.leaving(self._ask_who)

    def _ask_who(self) -> None:
        if self.cover is not None:
            self._set_covered(True)
            self.cover.ask_who()

    def _set_covered(self, covered: bool) -> None:
        self.covered = covered
        self.bar.setVisible(not covered)
        self.pages.setVisible(not covered)
        if self.cover is not None:
            self.cover.setVisible(covered)
        self.keys.enable(not covered)
        self._warned = False
        if not covered and self.page:
            self.here.first_focus()
        self.idle.again()

    def _unkept(self, act: str) -> bool:
        """Whether the person who covered the seat left answers that are not kept; said once on the cover."""
        if self._warned or self.session is None or not any(page.dirty() for page in self.page.values()):
            return False
        self._warned = True
        if self.cover is not None:
            self.cover.warn_unkept(self.session.person, act)
        return True

    def _entered(self, session: Session) -> None:
        """The person at the cover takes the seat: the same one finds all as it was, another one new pages."""
        if self.session is None or session.person != self.session.person:
            if not self._unkept("Enter"):
                self.fill(session, known=True)
            return
        self._set_covered(False)
        place = self.pages.currentIndex()
        if self._is_yesterdays():
            self.here.leaving(partial(self.fill, self.session, place, known=True))
        else:
            self.here.load()

    def _is_yesterdays(self) -> bool:
        """Whether the pages were built on another day: what is due has moved on since."""
        return self.session is not None and self.session.today() != self._day

    def _minutes(self) -> int | None:
        """After how long the seat is covered; None while it is, or must stay open."""
        return self.here.cover_after() if self.page and not self.covered else None

    def _empty(self) -> None:
        if self.cover is not None:
            self.column.removeWidget(self.cover)
            self.cover.hide()
            self.cover.deleteLater()
            self.cover = None
        self.keys.clear()
        for page in self.page.values():
            self.pages.removeWidget(page)
            page.deleteLater()
        self.page = {}

    def _start(self) -> None:
        """Once painted and open: read the lists, then bring in what is slow."""
        for page in self.page.values():
            page.load()
        self.jobs.start(warm_up, reports=True)

    # --- keys --------------------------------------------------------------------------------------------------------

    def _set_keys(self) -> None:
        acts: dict[str, Callable[[], object]] = {
            sequence: partial(self._on_page, sequence)
            for sequence in sorted(set().union(*(page.keys() for page in self.page.values())))
        }
        acts |= {f"Ctrl+{place + 1}": partial(self.go, place) for place in range(len(STATIONS))}
        acts |= {
            "Ctrl+,": partial(self.go, PRACTICE),
            "Ctrl+N": self._new,
            "Ctrl+Shift+P": self.hand_on,
            "Shift+F1": self.help,
            "Ctrl+F": partial(self.bar.search.setFocus, Qt.FocusReason.ShortcutFocusReason),
            **{f"Ctrl+{sign}": partial(self.look.step, sign != "-") for sign in "+=-"},
        }
        self.keys.set(acts)

    def _on_page(self, sequence: str) -> None:
        self.here.keys().get(sequence, lambda: None)()

    @property
    def here(self) -> Page:
        """The page that is shown."""
        page = self.pages.currentWidget()
        assert isinstance(page, Page)  # noqa: S101 - the pages are the only ones in the stack once it is filled
        return page

    def _new(self) -> None:
        self.go(0)
        if self.here is self.page["bookings"]:
            self.here.begin_new()

    def _seek(self, text: str) -> None:
        self.go(FOUND)
        if self.page and self.here is self.page["found"]:
            self.here.seek(text)

    def help(self) -> None:
        """The manual, at the chapter about the page that is shown."""
        if self.page:
            came_from = PLACES[self.pages.currentIndex()]
            self.go(HELP)
            if self.here is self.page["help"] and came_from != "help":
                self.here.show_for(came_from)

    # --- pages -------------------------------------------------------------------------------------------------------

    def go(self, place: int) -> None:
        """Go to a station (0-4), Practice (5) or the person's page (6); unkept answers are asked about first."""
        if not self.page or place == self.pages.currentIndex():
            return
        if self.here.dirty():
            self.here.leaving(lambda: self._show(place))
        else:
            self._show(place)

    def _wish(self, name: str, key: CaseKey | None) -> None:
        self.go(PLACES.index(name))
        if key is not None and self.here is self.page[name]:
            self.here.go_to(key)

    def _show(self, place: int, *, anew: bool = True) -> None:
        if self.session is not None and (self._stale or self._is_yesterdays()):
            self.fill(self.session, place, known=True)
            return
        self.pages.setCurrentIndex(place)
        self.bar.show_place(place)
        if anew:
            self.here.open()
        self.here.first_focus()

    # --- size and colours --------------------------------------------------------------------------------------------

    def _restyle(self) -> None:
        self._set_width()
        self.update()

    def _set_width(self) -> None:
        effective = self.width() * 100 / self.look.percent
        self.bar.set_width(effective)
        for page in self.page.values():
            page.set_width(effective)

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._set_width()

    def paintEvent(self, event: QPaintEvent) -> None:
        super().paintEvent(event)
        if not self._painted:
            self._painted = True
            QTimer.singleShot(0, self._first_paint)

    def _first_paint(self) -> None:
        self.painted.emit()
        if self.page:
            self._start()

    def closeEvent(self, event: QCloseEvent) -> None:
        if self.covered and self._unkept("Close"):
            event.ignore()
            return
        for place, page in enumerate([] if self.covered else self.page.values()):
            if page.dirty():
                event.ignore()
                self._show(place)
                page.leaving(lambda: QTimer.singleShot(0, self, self.close))
                return
        self.idle.end()
        self._others.stop()
        self.jobs.close()
        self._empty()
        self.door.close()
        super().closeEvent(event)
