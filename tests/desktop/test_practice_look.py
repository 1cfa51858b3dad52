"""Practice and the first start at every size, theme and size of text: nothing is cut, everything has a name."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.first_start import FirstStartPage
from clinic_app.desktop.pages.practice import PracticePage
from clinic_app.desktop.pages.practice_frame import SectionsPage
from clinic_app.domain.people import Duty
from clinic_app.domain.practice import Device, Machine
from clinic_app.services import care, people, practice
from clinic_app.session import Session
from tests.desktop.acceptance import CASES, LongerLook, nameless
from tests.desktop.test_nothing_is_clipped import clipped
from tests.desktop.test_practice_exchange import FILE

BAR_AND_STRIP = 145
"""Pixels at 100 % text that the path bar and the strip take from the window's height."""


@pytest.fixture
def filled(opened: Callable[..., Session], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Session:
    """A practice with something in every section, and a file with rows that will be left out."""
    session: Session = opened()
    people.register(session, "Osei", list(Duty), surgeon_id="OS")
    people.register(session, "Halvorsen", [Duty.SURGEON], surgeon_id="HA")
    practice.put_machine(
        session, Machine("A-dense", ("us_time_s", "us_mean_power_pct"), ("torsional",), None, ("K30",))
    )
    practice.put_device(session, Device("Biometer", "epithelium"))
    practice.put_usual(session, "HA", {"ovd_strategy": "dispersive", "technique": "stop_chop"})
    practice.put_drops(session, ["Steroid four times a day"], reason="protocol")
    care.backup(session)
    (tmp_path / "eyes.csv").write_text(FILE)
    monkeypatch.chdir(tmp_path)  # a path of any length is longer than some box
    return session


@pytest.fixture
def stands(qtbot: QtBot, qapp: QApplication) -> Iterator[Callable[..., SectionsPage]]:
    """Shows a page of this kind; closed at the end."""
    made: list[SectionsPage] = []
    qapp.setStyle("Fusion")

    def show(kind: type[SectionsPage], session: Session, look: Look) -> SectionsPage:
        look.apply()
        page = kind(session, look, Jobs())
        made.append(page)
        page.show()
        return page

    yield show
    for page in made:
        page.jobs.close()
        page.close()
        page.deleteLater()
    qapp.processEvents()


def resize(page: SectionsPage, width: int, height: int) -> None:
    page.resize(width, height - page.look.px(BAR_AND_STRIP))
    page.set_width(width * 100 / page.look.percent)


def settled(qtbot: QtBot, page: SectionsPage) -> list[str]:
    """What is still cut once everything is placed."""
    found: list[str] = []
    for _ in range(20):
        qtbot.waitUntil(lambda: not page.jobs.busy, timeout=30_000)
        QApplication.processEvents()
        found = clipped(page)  # type: ignore[arg-type]
        if not found:
            return []
    return found


def walk(page: SectionsPage, qtbot: QtBot) -> Iterator[str]:
    """Every section as it opens, then with a question, a notice and rows left out."""
    for name in page.kinds:
        page.show_section(name, focus=False)
        yield name
    if "exchange" in page.kinds:
        page.show_section("exchange", focus=True)
        page.section.file.show_path(Path("eyes.csv"))
        page.section.run(dry=False)
        qtbot.waitUntil(lambda: not page.jobs.busy, timeout=30_000)
        yield "rows left out"
        page.section.throw_away()
    page.show_section("levels", focus=True)
    page.section.ask_approval()
    page.notice.say(
        "Not kept: every level needs a number. The suggested ones are 6, 25, 30, 40, 24, 30 mmHg, in order."
    )
    yield "question and notice"


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("kind", [PracticePage, FirstStartPage])
def test_every_section_shows_its_words_whole(filled, stands, qtbot, kind, case) -> None:
    width, height, theme, percent = case
    page = stands(kind, filled, Look(theme, percent))
    resize(page, width, height)
    for state in walk(page, qtbot):
        assert settled(qtbot, page) == [], state


def test_words_a_third_longer_are_still_whole(filled, stands, qtbot) -> None:
    page = stands(PracticePage, filled, LongerLook("light"))
    resize(page, 1440, 900)
    for state in walk(page, qtbot):
        assert settled(qtbot, page) == [], state


@pytest.mark.parametrize("kind", [PracticePage, FirstStartPage])
def test_everything_that_can_be_reached_has_a_name_and_a_role(filled, stands, qtbot, kind) -> None:
    page = stands(kind, filled, Look("light"))
    resize(page, 1440, 900)
    for state in walk(page, qtbot):
        assert settled(qtbot, page) == []
        assert nameless(page) == [], state
