"""The main window: path bar, one page at a time, status strip, and the keys that work everywhere."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from functools import partial

from PySide6.QtCore import QSize, Qt, QTimer, Signal
from PySide6.QtGui import QCloseEvent, QKeySequence, QPaintEvent, QResizeEvent, QShortcut
from PySide6.QtWidgets import QLayout, QStackedWidget, QVBoxLayout, QWidget

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.bookings import BookingsPage
from clinic_app.desktop.pages.plain import Coming, PersonPage
from clinic_app.desktop.pages.review import ReviewPage
from clinic_app.desktop.parts.path_bar import STATIONS, PathBar, Strip
from clinic_app.session import Session

SMALLEST = QSize(1280, 720)
PRACTICE, PERSON = len(STATIONS), len(STATIONS) + 1
HEAVY = ("sklearn.linear_model", "scipy.stats", "matplotlib.backends.backend_agg", "clinic_app.figures.forecast_check")


def warm_up() -> None:
    """Bring in what is slow to bring in, so that no page waits for it later."""
    for name in HEAVY:
        importlib.import_module(name)


class Window(QWidget):
    """`painted` is raised once, after the first paint of the whole window."""

    painted = Signal()

    def __init__(self, session: Session, look: Look) -> None:
        super().__init__()
        self.session, self.look = session, look
        self.jobs = Jobs(self)
        self._painted = False
        demo = session.settings.demo
        practice = session.settings.practice_name or "Practice"
        self.setWindowTitle(f"{practice} - demo data: invented, not for care" if demo else practice)
        self.setMinimumSize(SMALLEST)
        self.bar = PathBar(look, session.person)
        self.pages = QStackedWidget()
        self.strip = Strip(look, demo=demo)
        self.bookings = BookingsPage(session, look, self.jobs)
        self.review = ReviewPage(session, look, self.jobs)
        self.person = PersonPage(look, session.person)
        for page in (
            self.bookings, Coming(look, "Theatre"), Coming(look, "Day one"), self.review, Coming(look, "Model"),
            Coming(look, "Practice"), self.person,
        ):  # fmt: skip
            self.pages.addWidget(page)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.setSizeConstraint(QLayout.SizeConstraint.SetNoConstraint)
        column.addWidget(self.bar)
        column.addWidget(self.pages, 1)
        column.addWidget(self.strip)
        self.bar.wished.connect(self.go)
        self.bar.sought.connect(self._seek)
        self.bar.person.clicked.connect(lambda: self.go(PERSON))
        self.bookings.waiting.connect(self.bar.stations[0].set_count)
        look.changed.connect(self._restyle)
        self._keys()
        self._restyle()

    def _keys(self) -> None:
        def key(sequence: str | QKeySequence.StandardKey, act: Callable[[], object]) -> None:
            made = QShortcut(QKeySequence(sequence), self)
            made.setContext(Qt.ShortcutContext.WindowShortcut)
            made.activated.connect(act)

        def on(page: QWidget, act: Callable[[], object]) -> Callable[[], None]:
            def run() -> None:
                if self.pages.currentWidget() is page:
                    act()

            return run

        for place in range(len(STATIONS)):
            key(f"Ctrl+{place + 1}", partial(self.go, place))
        key("Ctrl+,", partial(self.go, PRACTICE))
        bookings = self.bookings
        for sequence, act in (
            ("F6", bookings.toggle_list),
            ("F7", partial(bookings.step, 1)),
            ("Shift+F7", partial(bookings.step, -1)),
            ("Ctrl+U", bookings.confirm_copied),
            ("Ctrl+M", bookings.next_level),
            ("Ctrl+0", bookings.form.none_of_the_rest),
            ("Ctrl+Return", bookings.book),
            ("Ctrl+Enter", bookings.book),
            ("F1", bookings.help.more),
        ):
            key(sequence, on(bookings, act))
        key("Ctrl+T", on(self.review, self.review.toggle_tables))
        key("Ctrl+N", self._new)
        key("Ctrl+F", partial(self.bar.search.setFocus, Qt.FocusReason.ShortcutFocusReason))
        for sequence, up in (("Ctrl++", True), ("Ctrl+=", True), ("Ctrl+-", False)):
            key(sequence, partial(self.look.step, up))

    def _here(self, page: QWidget) -> bool:
        return self.pages.currentWidget() is page

    def _new(self) -> None:
        self.go(0)
        if self._here(self.bookings):
            self.bookings.begin_new()

    def _seek(self, text: str) -> None:
        self.go(0)
        if self._here(self.bookings) and not self.bookings.seek(text):
            self.bookings.notice.say(
                f"No booked eye has a patient number with {text.strip()!r} in it." if text.strip() else ""
            )

    # --- pages -------------------------------------------------------------------------------------------------------

    def go(self, place: int) -> None:
        """Go to a station (0-4), Practice (5) or the person's page (6); unkept answers are asked about first."""
        if place == self.pages.currentIndex():
            return
        if self._here(self.bookings) and self.bookings.dirty():
            self.bookings.leaving(lambda: self._show(place))
        else:
            self._show(place)

    def _show(self, place: int) -> None:
        self.pages.setCurrentIndex(place)
        self.bar.show_place(place)
        page = self.pages.currentWidget()
        if page is self.review:
            self.review.open()
        if isinstance(page, BookingsPage | ReviewPage | PersonPage):
            page.first_focus()

    def start(self) -> None:
        """After the first paint: read the list, then bring in what is slow."""
        self.bookings.load()
        self.jobs.start(warm_up)

    # --- size and colours --------------------------------------------------------------------------------------------

    def _restyle(self) -> None:
        self._set_width()
        self.update()

    def _set_width(self) -> None:
        effective = self.width() * 100 / self.look.percent
        self.bar.set_width(effective)
        self.bookings.set_width(effective)
        self.review.set_width(effective)

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
        self.start()

    def closeEvent(self, event: QCloseEvent) -> None:
        if self.bookings.dirty() and self.bookings.question is None:
            event.ignore()
            self.go(0)
            self.bookings.leaving(lambda: QTimer.singleShot(0, self, self.close))
            return
        self.jobs.close()
        super().closeEvent(event)
