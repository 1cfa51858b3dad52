"""The day-one page in all its states, at every size that is promised: nothing clipped, all named, one stop a group."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from clinic_app.desktop.look import Look
from clinic_app.desktop.parts.answer import Given
from clinic_app.session import open_session
from clinic_app.settings import write_settings
from tests.desktop.acceptance import CASES, LongerLook
from tests.desktop.day_one_practice import CLOUDY, LEFT, OTHER, RIGHT, SETTINGS, DayOneHost, Wall, fill
from tests.desktop.test_access import many_stops, too_small
from tests.desktop.test_nothing_is_clipped import clipped

BARS = 82
"""Pixels at 100 % that the path bar and the status strip take from the window's height."""


@pytest.fixture(scope="module", params=[Look, LongerLook], ids=["our words", "35 % longer"])
def host(request, qapp: QApplication, tmp_path_factory) -> Iterator[DayOneHost]:
    qapp.setStyle("Fusion")
    folder = tmp_path_factory.mktemp("day-one-look")
    write_settings(folder, SETTINGS)
    wall = Wall()
    with open_session(folder, person="Osei", clock=wall) as first:
        fill(first)
    with open_session(folder, person="Mbeki", clock=wall) as session:
        look = request.param("light")
        look.apply()
        made = DayOneHost(session, look)
        made.show()
        made.activateWindow()
        made.page.load()
        rest(made)
        yield made
        made.page.to_idle()
        made.jobs.close()
        made.close()
        made.deleteLater()
    QApplication.processEvents()


def rest(host: DayOneHost) -> None:
    for _ in range(400):
        QApplication.processEvents()
        if not host.jobs.busy:
            break
        QTest.qWait(5)
    for _ in range(4):
        QApplication.processEvents()


def size(host: DayOneHost, width: int, height: int, theme: str, percent: int) -> None:
    host.look.set_theme(theme)
    host.look.set_percent(percent)
    host.resize(width, height - BARS * percent // 100)
    host.page.set_width(width * 100 / percent)
    rest(host)


def states(host: DayOneHost) -> Iterator[str]:
    """Every state of the page, each once."""
    page = host.page
    page.begin(LEFT)
    rest(host)
    yield "which eye"
    page.ask_not_seen()
    yield "not seen"
    page.ask_remote()
    yield "remote sheet"
    page.leave_question()
    page.ask_print()
    yield "print"
    page.close_question()
    page.asking.born.setText("1701")
    page.asking._said_birthday()
    page.asking.press("R")
    yield "wrong eye"
    page.begin(LEFT)
    page._opened("L")
    rest(host)
    yield "sheet"
    page.sheet.set_more(True)
    page.fit_form()
    for name, given in (
        ("edema_grade_central", Given(4)), ("edema_extent", Given("limbus_to_limbus")),
        ("ac_cells_sun", Given(missing="not_possible")), ("pain_0_10", Given(6)),
        ("ucva_pinhole", Given(missing="not_recorded")),
    ):  # fmt: skip
        page.sheet.answers[name].give(given)
    page.sheet.said("iop_pod1_mmhg", "44")
    page.sheet.said("cct_pod1_um", "57")
    page.sheet.said("ucva_raw", "6/60")
    rest(host)
    yield "halts and questions"
    page.ask_action()
    yield "action"
    page.ask_again()
    yield "read again"
    page.leave_question()
    page.drop_draft()
    page.begin(OTHER)
    page._opened("L")
    page.sheet.answers["edema_grade_central"].give(Given(1))
    page._ask_lock()
    rest(host)
    yield "lock"
    page.close_question()
    page.begin(CLOUDY)
    page._opened("R")
    page.visit.said("recheck_iop_mmhg", "44")
    rest(host)
    yield "visit"
    page.show_locked(say=False)
    rest(host)
    yield "locked"
    page.to_idle()
    page.tell("Recorded as not seen: did not attend. It will not count as clear.")
    rest(host)
    yield "idle"


@pytest.mark.parametrize(("width", "height", "theme", "percent"), CASES)
def test_no_state_cuts_its_words(host: DayOneHost, width: int, height: int, theme: str, percent: int) -> None:
    size(host, width, height, theme, percent)
    found = []
    for state in states(host):
        cut = clipped(host)
        for _ in range(20):
            if not cut:
                break
            QApplication.processEvents()
            cut = clipped(host)
        found += [f"{state}: {one}" for one in cut]
    assert not found, "\n".join(found)


def test_every_state_is_named_large_enough_and_one_stop_a_group(host: DayOneHost) -> None:
    size(host, 1440, 900, "light", 100)
    found = [f"{state}: {one}" for state in states(host) for one in (*too_small(host), *many_stops(host))]
    assert not found, "\n".join(found)


def test_both_eyes_of_the_day_have_rows_of_their_own(host: DayOneHost) -> None:
    keys = [row.key for row in host.page.list.rows.rows if row.key is not None]
    assert LEFT in keys
    assert RIGHT in keys
