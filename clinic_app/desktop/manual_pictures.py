"""The manual's pictures: the invented practice, worked on by keyboard in the real window, without a screen.

`python -m clinic_app.desktop.manual_pictures` makes them anew. The practice's clock stands still meanwhile, so that the
same program makes the same pictures.
"""

from __future__ import annotations

import argparse
import contextlib
import functools
import operator
import os
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QAbstractButton, QApplication, QLabel, QWidget

from clinic_app.demonstration import ACTS
from clinic_app.desktop.app import application
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.bookings import BookingsPage
from clinic_app.desktop.pages.day_one import DayOnePage
from clinic_app.desktop.pages.stage_form import StageForm
from clinic_app.desktop.pages.theatre import TheatrePage
from clinic_app.desktop.picture_files import save_small
from clinic_app.desktop.pictures import settle
from clinic_app.desktop.window import PLACES, Window
from clinic_app.domain.invented import DEMO_PERSON
from clinic_app.domain.record import CaseKey
from clinic_app.manual.chapters import PICTURES
from clinic_app.services.demo import OPENS, SETTINGS, build_demo
from clinic_app.session import open_session
from clinic_app.settings import Settings, write_settings

SIZE = (1440, 900)
EXAMINER = "Lindqvist"
"""Whose only duty in the invented practice is Day one."""
HELD = {"Ctrl": Qt.KeyboardModifier.ControlModifier, "Shift": Qt.KeyboardModifier.ShiftModifier}
FRONT = "bookings.png"
"""The picture that stands at the front of the project as well."""
OPERATED_NEXT = "P-21098"
"""The eye that is followed through the manual: its range reaches across the planning line."""


class Seat:
    """A person at the keyboard of the window."""

    def __init__(self, app: QApplication, window: Window, folder: Path) -> None:
        self.app, self.window, self.folder = app, window, folder
        self.made: list[Path] = []

    def settle(self) -> None:
        """Wait until everything is read, drawn and placed."""
        settle(self.app, self.window)

    def page(self, name: str) -> QWidget:
        """Go to a page."""
        self.window.go(PLACES.index(name))
        self.settle()
        return self.window.here

    def held(self) -> QWidget:
        """What has the keyboard."""
        return self.app.focusWidget() or self.window

    def press(self, *keys: str) -> None:
        """Press keys one after another: `F7`, `Ctrl+Return`, `4`, `R`."""
        for key in keys:
            *held, name = key.split("+")
            held_down = functools.reduce(operator.or_, (HELD[one] for one in held), Qt.KeyboardModifier.NoModifier)
            QTest.keyClick(self.held(), Qt.Key[f"Key_{name}"], held_down)
            self.app.processEvents()

    def type(self, text: str) -> None:
        """Type text and Enter."""
        QTest.keyClicks(self.held(), text)
        self.press("Return")

    def answer(self, form: StageForm, **texts: str) -> None:
        """Answer fields of a form, each by what is pressed on it; a field of one key needs no Enter."""
        for name, text in texts.items():
            form.focus(form.answers[name])
            if len(text) == 1:
                QTest.keyClicks(self.held(), text)
            else:
                self.type(text)

    def shoot(self, name: str, *words: str) -> None:
        """Take a picture of a window in which these words stand; without them it would show something else."""
        self.settle()
        shown = [one for one in self.window.findChildren(QWidget) if one.isVisible()]
        texts = [one.text() for one in shown if isinstance(one, QAbstractButton | QLabel)]
        said = "\n".join([*texts, *(one.accessibleName() for one in shown)])
        if missing := [one for one in words if one not in said]:
            raise RuntimeError(f"{name} would not show {missing}")
        self.made.append(save_small(self.window.grab().toImage(), self.folder / name))


@contextlib.contextmanager
def seat(practice: Path, person: str, folder: Path, *, theme: str = "light") -> Iterator[Seat]:
    """A seat of that person in the practice; its pictures go to `folder`."""
    app = application()
    blink = app.cursorFlashTime()
    app.setCursorFlashTime(0)
    with open_session(practice, person=person, clock=lambda: OPENS) as session:
        look = Look(theme)
        window = Window(look, session.settings, person)
        window.fill(session)
        look.set_theme(theme)
        window.resize(*SIZE)
        window.show()
        window.activateWindow()
        settle(app, window)
        try:
            yield Seat(app, window, folder)
        finally:
            window.hide()  # closing would ask what becomes of unkept answers
            window.jobs.close()
            window.deleteLater()
            app.processEvents()
            app.setCursorFlashTime(blink)


# --- the scenes ------------------------------------------------------------------------------------------------------


def first_start(practice: Path, folder: Path) -> list[Path]:
    """A folder without a practice."""
    write_settings(practice, Settings())
    with seat(practice, "Osei", folder) as here:
        here.page("first_start")
        here.shoot("first-start.png", "Your practice")
    return here.made


def no_model_yet(practice: Path, folder: Path) -> list[Path]:
    """A new practice books its first eye."""
    write_settings(practice, replace(SETTINGS, date_order="dmy"))
    with seat(practice, DEMO_PERSON, folder) as here:
        form = _new_eye(here)
        here.answer(
            form, patient_id="N-1001", eye="r", surgery_date="9 12 2026", birth_date="11 3 1949", guttae_grade="3",
            nucleus_hardness="4", acd_mm="2.41", diabetes="2", glaucoma="0",
        )  # fmt: skip
        here.shoot("facts.png", "No forecast yet", "Facts to weigh for this eye")
    return here.made


def _new_eye(here: Seat) -> StageForm:
    page = here.page("bookings")
    assert isinstance(page, BookingsPage)  # noqa: S101 - the place says so
    here.press("Ctrl+N")
    here.settle()
    return page.form


def at_booking(here: Seat) -> None:
    """A forecast and its plan, a measurement that is asked about, an eye found."""
    page = here.page("bookings")
    assert isinstance(page, BookingsPage)  # noqa: S101 - the place says so
    page.go_to(_key(here, OPERATED_NEXT))
    here.settle()
    page.plan.focus_first()
    here.press("1", "2", "3", "Ctrl+Return")
    here.type("Planned with the patient")
    here.shoot(FRONT, "Changes kept.", "planning line")
    form = _new_eye(here)
    here.press("Ctrl+M")
    here.answer(
        form, patient_id="P-21200", eye="l", surgery_date="9 12 2026", birth_date="2 6 1951", guttae_grade="1",
        cct_um="54",
    )  # fmt: skip
    here.shoot("ask.png", "Perhaps a missing zero")
    here.press("Ctrl+Z")
    page.leaving(lambda: None)
    here.settle()


def look_around(here: Seat) -> None:
    """Review, practice, find."""
    here.page("review")
    here.shoot("review.png", "cloudy eyes seen")
    here.page("practice")
    here.shoot("practice.png", "What this person does here")
    here.press("Ctrl+F")
    here.type("P-2005")
    here.shoot("find.png", "eyes found for")


def in_theatre(here: Seat) -> None:
    """The question before the sheet, the sheet, its signature."""
    page = here.page("theatre")
    assert isinstance(page, TheatrePage)  # noqa: S101 - the place says so
    key = _key(here, OPERATED_NEXT)
    page.go_to(key)
    here.settle()
    _say_birthday(here, key)
    here.shoot("theatre-question.png", "Which eye is on the table?")
    here.press(key.eye)
    here.settle()
    here.answer(
        page.form, corneal_striae_intraop="0", dispersive_recoat="o", nucleus_hardness_theatre="4", working_plane="b",
        us_time_s="38", us_mean_power_pct="14", irrigation_volume_ml="62",
    )  # fmt: skip
    here.shoot("theatre-sheet.png", "Planned for this eye", "Next to our usual", "As usual")
    here.answer(page.form, case_minutes="11", happened="0")
    here.press("Ctrl+U", "Ctrl+Return")
    here.shoot("theatre-sign.png", "Sign this sheet?", "Ready to sign")


def on_day_one(here: Seat, *, dark: bool = False) -> None:
    """The question, the sheet, a halt, the forecast after the lock."""
    page = here.page("day_one")
    assert isinstance(page, DayOnePage)  # noqa: S101 - the place says so
    key = page.list.keys()[1 if dark else 0]
    assert isinstance(key, CaseKey)  # noqa: S101 - the list has eyes
    page.go_to(key)
    here.settle()
    if not dark:
        here.shoot("day-one-question.png", "Which eye are you examining?")
    _say_birthday(here, key)
    here.press(key.eye)
    here.settle()
    here.answer(page.sheet, pain_0_10="1", ucva_raw="6/12", cct_pod1_um="571", edema_grade_central="1")
    page.keep_draft()  # else a moment later: the foot would say now this, now that
    here.shoot("day-one-dark.png" if dark else "day-one-sheet.png", "Forecast sealed", "Draft kept. Ready to lock.")
    if dark:
        return
    here.answer(page.sheet, iop_pod1_mmhg="42")
    page.keep_draft()
    here.shoot("day-one-halt.png", "42 mmHg. Call")
    here.answer(page.sheet, iop_pod1_mmhg="17")
    here.press("Ctrl+Return")
    here.settle()
    here.press("Return")
    here.shoot("day-one-opened.png", "Forecast opened", "Grade locked")


def covered(here: Seat) -> None:
    """The plain sheet over the seat."""
    here.window.cover_seat()
    here.shoot("cover.png", "This seat is covered")


def _say_birthday(here: Seat, key: CaseKey) -> None:
    """Say the birthday of the eye that is asked about."""
    session = here.window.session
    case = session.store.case(key) if session is not None else None
    born = case.row()["birth_date"] if case is not None else None
    here.type(f"{born:%d %m}")


def _key(here: Seat, patient: str) -> CaseKey:
    session = here.window.session
    assert session is not None  # noqa: S101 - the window is filled
    return max(session.store.keys(patient_id=patient), key=lambda key: key.surgery_date)


# --- all of them -----------------------------------------------------------------------------------------------------


def make_pictures(folder: Path = PICTURES) -> list[Path]:
    """Every picture of the manual, made anew in `folder`; what stood there before is taken away."""
    folder.mkdir(parents=True, exist_ok=True)
    made: list[Path] = []
    with tempfile.TemporaryDirectory(prefix="manual-pictures-") as name:
        for scene in (first_start, no_model_yet):
            practice = Path(name) / scene.__name__
            practice.mkdir()
            made += scene(practice, folder)
        practice = Path(name) / "invented"
        practice.mkdir()
        build_demo(practice, ACTS)
        acts: list[tuple[str, str, Callable[[Seat], None]]] = [
            (DEMO_PERSON, "light", at_booking),
            (DEMO_PERSON, "light", look_around),
            (DEMO_PERSON, "light", in_theatre),
            (EXAMINER, "dark", lambda here: on_day_one(here, dark=True)),
            (EXAMINER, "light", on_day_one),
            (DEMO_PERSON, "light", covered),
        ]
        for person, theme, act in acts:
            with seat(practice, person, folder, theme=theme) as here:
                act(here)
                made += here.made
    for path in set(folder.glob("*.png")) - set(made):
        path.unlink()
    return made


def main(arguments: list[str]) -> int:
    """Make the pictures; where a folder is named, the front one is kept there too."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("front", nargs="?", type=Path, help=f"a folder that takes {FRONT} as well")
    chosen = parser.parse_args(arguments)
    os.environ["QT_QPA_PLATFORM"] = "offscreen"
    made = make_pictures()
    if chosen.front is not None:
        (chosen.front / FRONT).write_bytes((PICTURES / FRONT).read_bytes())
    sys.stdout.write("".join(f"{path.name} {path.stat().st_size // 1000} kB\n" for path in made))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
