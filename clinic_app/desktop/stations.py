"""The pages on an open practice. Brought in only after the first paint: everything slow to bring in hangs on it."""

from __future__ import annotations

import contextlib
import tempfile
from collections.abc import Callable
from functools import partial
from pathlib import Path

from clinic_app.demonstration import ACTS
from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.bookings import BookingsPage
from clinic_app.desktop.pages.cover_page import CoverPage
from clinic_app.desktop.pages.day_one import DayOnePage
from clinic_app.desktop.pages.find_page import FindPage
from clinic_app.desktop.pages.first_start import FirstStartPage
from clinic_app.desktop.pages.help_page import HelpPage
from clinic_app.desktop.pages.page import ANEW, DEMO, RENEWED, RESTORE, Page
from clinic_app.desktop.pages.person_page import PersonPage
from clinic_app.desktop.pages.plain import Coming
from clinic_app.desktop.pages.practice import PracticePage
from clinic_app.desktop.pages.review import ReviewPage
from clinic_app.desktop.pages.theatre import TheatrePage
from clinic_app.domain.invented import DEMO_PERSON
from clinic_app.domain.people import Duty, duties_words
from clinic_app.opening import open_practice
from clinic_app.preferences import Preferences, read_preferences
from clinic_app.services.care import restore
from clinic_app.services.demo import build_demo
from clinic_app.services.practice import untouched
from clinic_app.session import Session
from models.progress import Report

SHOWN_DUTIES = 2
"""How many duties the path bar names; more are counted there and named on the person's page."""
Close = Callable[[], None]


def open_for_window(folder: Path, person: str) -> tuple[Session, Close]:
    """Open the practice, begun where there is none; the session and what closes it. Raises `Refusal`."""
    with contextlib.ExitStack() as stack:
        session = stack.enter_context(open_practice(folder, person=person, create=True, reading=True))
        return session, stack.pop_all().close


def restore_for_window(folder: Path, backup: Path, person: str) -> tuple[Session, Close]:
    """Put a backup in place of the practice in `folder` and open it."""
    restore(folder, backup)
    return open_for_window(folder, person)


def demo_for_window(report: Report) -> tuple[Session, Close]:
    """Make the invented practice in a folder of its own and open it; closing it removes the folder."""
    with contextlib.ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="invented-practice-")))
        build_demo(folder, ACTS, report=report)
        session = stack.enter_context(open_practice(folder, person=DEMO_PERSON))
        return session, stack.pop_all().close


def is_new(session: Session) -> bool:
    """Whether the practice is to be set up first."""
    return untouched(session) and not session.settings.demo and not session.store.read_only


def build(session: Session, look: Look, jobs: Jobs) -> dict[str, Page]:
    """A page for each place of the window, in order."""
    practice, first = PracticePage(session, look, jobs), FirstStartPage(session, look, jobs)
    for page in (practice, first):
        page.renewed.connect(partial(page.asked.emit, RENEWED))
    practice.restore_wished.connect(partial(practice.asked.emit, RESTORE))
    first.finished.connect(partial(first.asked.emit, ANEW, None))
    first.demo_wished.connect(partial(first.asked.emit, DEMO, None))
    return {
        "bookings": BookingsPage(session, look, jobs),
        "theatre": TheatrePage(session, look, jobs),
        "day_one": DayOnePage(session, look, jobs),
        "review": ReviewPage(session, look, jobs),
        "model": Coming(look, "Model"),
        "practice": practice,
        "person": PersonPage(session, look, jobs),
        "found": FindPage(session, look, jobs),
        "help": HelpPage(session, look, jobs),
        "first_start": first,
    }


def build_cover(session: Session, look: Look) -> CoverPage:
    """The sheet over the seat."""
    return CoverPage(session, look)


def taste(session: Session) -> Preferences:
    """How the person who acts likes the screen; without a choice of their own, as the practice has it."""
    own = read_preferences(session.folder, session.person)
    return own or Preferences(session.settings.theme, session.settings.text_percent)


def seat_words(session: Session) -> str:
    """Person and duties, as the path bar names them."""
    if not session.people:
        return session.person
    duties = session.me.duties
    words = duties_words(duties).lower() if len(duties) <= SHOWN_DUTIES else f"{len(duties)} duties"
    return f"{session.person}, {words}"


HOMES: tuple[tuple[Duty, str], ...] = (
    (Duty.BOOKING, "bookings"),
    (Duty.SURGEON, "theatre"),
    (Duty.SCRIBE, "theatre"),
    (Duty.DAY_ONE, "day_one"),
    (Duty.DATA_LEAD, "review"),
    (Duty.PEOPLE, "practice"),
)
"""Where somebody begins: the page of the first of these duties that they hold."""


def home(session: Session) -> str:
    """The page on which the person who acts begins."""
    return next((page for duty, page in HOMES if session.may(duty)), "bookings")


def must_sign_in(session: Session) -> bool:
    """Whether somebody has to say who they are before anything is shown."""
    return bool(session.people) and (not session.me.duties or session.me.has_pin)
