"""Practice at the keyboard: each section keeps what was typed, asks why, and says what stands in the way."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QApplication, QVBoxLayout, QWidget
from pytestqt.qtbot import QtBot

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.first_start import FirstStartPage
from clinic_app.desktop.pages.practice import SECTIONS, PracticePage
from clinic_app.desktop.pages.practice_frame import SectionsPage
from clinic_app.desktop.pages.practice_words import act_words, what_words, why_words
from clinic_app.desktop.pages.practice_zone import read_zone
from clinic_app.domain.answers import Asked, Blank, Refused, Taken
from clinic_app.domain.people import Duty
from clinic_app.domain.practice import Levels, Machine
from clinic_app.domain.record import CaseKey, HistoryEntry, StageRecord
from clinic_app.errors import Refusal
from clinic_app.services import people, practice
from clinic_app.session import Session, open_session
from clinic_app.settings import read_settings
from models.codebook import Stage
from tests.desktop.conftest import NOW, Keys, clock

CTRL = Qt.KeyboardModifier.ControlModifier
ENTER = Qt.Key.Key_Return
PEOPLE = {"Osei": list(Duty), "Halvorsen": [Duty.SURGEON], "Lindgren": [Duty.DAY_ONE], "Duarte": [Duty.DATA_LEAD]}


class Host(QWidget):
    """A page alone in a window, with its keys."""

    def __init__(self, page: SectionsPage, jobs: Jobs) -> None:
        super().__init__()
        self.page, self.jobs = page, jobs
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(page)
        for sequence, act in page.keys().items():
            QShortcut(QKeySequence(sequence), self).activated.connect(lambda act=act: act())


@pytest.fixture
def staffed(opened: Callable[..., Session]) -> Session:
    """A practice with people: Osei has every duty and acts."""
    session = opened()
    for name, duties in PEOPLE.items():
        people.register(session, name, duties)
    return session


@pytest.fixture
def page_on(qtbot: QtBot, qapp: QApplication) -> Iterator[Callable[..., PracticePage]]:
    """Shows the page, or another one of its kind, on a session."""
    made: list[Host] = []
    qapp.setStyle("Fusion")

    def show(
        session: Session, section: str = "people", *, kind: type[SectionsPage] = PracticePage,
        size: tuple[int, int] = (1440, 840), percent: int = 100,
    ) -> SectionsPage:  # fmt: skip
        look = Look("light", percent)
        look.apply()
        jobs = Jobs()
        host = Host(kind(session, look, jobs), jobs)
        made.append(host)
        host.resize(*size)
        host.page.set_width(size[0] * 100 / percent)
        host.show()
        host.activateWindow()
        qtbot.waitUntil(lambda: QApplication.activeWindow() is host)
        if section in host.page.kinds:
            host.page.show_section(section, focus=True)
        qtbot.waitUntil(lambda: not jobs.busy)
        qapp.processEvents()
        return host.page

    yield show
    for host in made:
        host.jobs.close()
        host.close()
        host.deleteLater()
    qapp.processEvents()


def idle(qtbot: QtBot, page: SectionsPage) -> None:
    """Wait for the work in hand."""
    qtbot.waitUntil(lambda: not page.jobs.busy, timeout=30_000)
    QApplication.processEvents()


def answer(page: SectionsPage, keys: Keys, reason: str = "") -> None:
    """Answer the question that stands above the foot with its first button, giving a reason where one is asked."""
    assert page.question is not None
    if reason:
        keys.type(reason, enter=True)
    else:
        keys.press(ENTER)


def to(page: SectionsPage, name: str) -> None:
    page.section.form.focus(page.section.form.answers[name])


def test_every_section_opens_with_its_words_and_a_place_for_the_keyboard(staffed, page_on, keys, qtbot) -> None:
    page = page_on(staffed)
    for name, kind in SECTIONS.items():
        page.go(name)
        idle(qtbot, page)
        assert page.title.text() == kind.title
        assert page.section is page.sections[name]
        page.first_focus()
        assert page.section.isAncestorOf(keys.held) or page.foot.isAncestorOf(keys.held)
        assert not page.dirty()
        assert page.notice.isHidden()


def test_the_list_is_walked_with_the_arrows_and_f6_goes_there_and_back(staffed, page_on, keys) -> None:
    page = page_on(staffed)
    keys.press(Qt.Key.Key_F6)
    assert keys.place == "sections"
    keys.press(Qt.Key.Key_Down)
    assert page.place == "usual"
    keys.press(Qt.Key.Key_Down)
    assert (page.place, keys.place) == ("machines", "sections")
    keys.press(Qt.Key.Key_F6)
    assert page.section.isAncestorOf(keys.held)


def test_the_first_person_goes_on_under_the_name_just_given(opened, page_on, keys) -> None:
    session = opened()
    page = page_on(session)
    assert "Begin with yourself" in page.section.ledger.empty.text()
    assert page.section.form.text("name") == "Osei"
    heard = []
    page.renewed.connect(heard.append)
    keys.press(Qt.Key.Key_A, CTRL)
    keys.type("Adjei", enter=True)
    assert keys.place == "surgeon_id"
    keys.press(ENTER)
    assert keys.held.objectName().startswith("duties.")  # though two are ticked already
    keys.type("12")  # booking and surgeon
    keys.press(ENTER)
    assert keys.place == "keep"
    keys.press(ENTER, CTRL)
    (adjei,) = people.people(session)
    assert adjei.name == "Adjei"
    assert adjei.duties == {Duty.BOOKING, Duty.SURGEON, Duty.DATA_LEAD, Duty.PEOPLE}
    assert heard[-1].person == "Adjei"
    assert page.section.may
    assert page.section.held["Adjei"].surgeon_id is None


def test_duties_change_with_a_reason_and_somebody_leaves_and_comes_back(staffed, page_on, keys) -> None:
    page = page_on(staffed)
    section = page.section
    section.ledger.table.setFocus()
    section.go("Lindgren")
    to(page, "duties")
    keys.type("3")
    keys.press(ENTER, CTRL)
    assert "Why" in page.question.words.text()
    answer(page, keys, "also writes sheets")
    assert section.held["Lindgren"].duties == {Duty.DAY_ONE, Duty.SCRIBE}
    told = [one for one in staffed.store.history() if one.act == "change duties"]
    assert told[-1].reason == "also writes sheets"
    section.leaves.click()
    answer(page, keys, "moved away")
    assert section.held["Lindgren"].left == NOW.date()
    assert section.leaves.words == "Is back…"
    section.leaves.click()
    answer(page, keys, "moved back")
    assert section.held["Lindgren"].left is None


def test_a_pin_is_not_asked_for_while_other_duties_wait_for_their_reason(staffed, page_on, keys) -> None:
    page = page_on(staffed)
    section = page.section
    section.go("Lindgren")
    to(page, "duties")
    keys.type("3")
    keys.press(ENTER, CTRL)
    assert "Why" in page.question.words.text()
    section.mine.click()
    assert section.pin.isHidden()
    assert "the answers for Lindgren are not kept yet" in page.notice.words.text()
    assert page.dirty()
    page.question.begin()
    answer(page, keys, "also writes sheets")
    assert page.foot.words.text() == "Lindgren is kept."
    assert section.held["Lindgren"].duties == {Duty.DAY_ONE, Duty.SCRIBE}


def test_a_pin_that_is_set_leaves_what_was_ticked_meanwhile(staffed, page_on, keys) -> None:
    page = page_on(staffed)
    section = page.section
    section.go("Lindgren")
    section.mine.click()
    to(page, "duties")
    keys.type("3")
    section._set_pin("1234", "")
    assert section.held["Osei"].has_pin
    assert page.dirty()
    assert section.form.values()["duties"] == ("scribe", "day_one")
    section._change("nothing lost")
    assert section.held["Lindgren"].duties == {Duty.DAY_ONE, Duty.SCRIBE}
    section._change("nothing to keep")
    assert page.foot.words.text() == "Nothing was changed."


def test_the_last_one_who_looks_after_people_stays_and_what_was_ticked_stays_typed(staffed, page_on, keys) -> None:
    page = page_on(staffed)
    page.section.go("Osei")
    to(page, "duties")
    keys.type("6")
    keys.press(ENTER, CTRL)
    answer(page, keys, "no more")
    assert "last one who looks after people" in page.notice.words.text()
    assert page.dirty()
    assert Duty.PEOPLE in staffed.me.duties


def test_a_pin_is_set_at_the_keyboard_changed_and_taken_away(staffed, page_on, keys) -> None:
    page = page_on(staffed)
    section = page.section
    section.go("Osei")
    section.mine.click()
    keys.type("1234", enter=True)
    keys.type("1243", enter=True)
    assert section.pin.boxes["New PIN"].line is not None
    keys.type("1234", enter=True)
    keys.type("1234", enter=True)
    assert people.people(staffed)[3].has_pin
    people.check_pin(staffed, "Osei", "1234")
    section.mine.click()
    keys.type("1234", enter=True)
    keys.type("99887", enter=True)
    keys.type("99887", enter=True)
    people.check_pin(staffed, "Osei", "99887")
    section.mine.click()
    keys.press(Qt.Key.Key_Escape)
    assert section.pin.isHidden()
    section.reset.click()
    answer(page, keys, "forgotten")
    assert not section.held["Osei"].has_pin


def test_a_machine_is_entered_and_changed_without_the_mouse(staffed, page_on, keys) -> None:
    page = page_on(staffed, "machines")
    keys.type("A-dense", enter=True)
    keys.type("y")
    assert keys.place == "end_screen"
    keys.type("124")
    keys.press(ENTER)
    keys.press(ENTER, CTRL)
    assert "belong together" in page.notice.words.text()
    to(page, "metric")
    keys.type("c")
    keys.type("2")
    keys.press(ENTER)
    keys.type("K30, B45", enter=True)
    assert keys.place == "keep"
    keys.press(ENTER)
    screen = ("us_time_s", "us_mean_power_pct", "us_energy_value")
    wanted = Machine("A-dense", screen, ("torsional",), "console_cumulative", ("K30", "B45"))
    assert practice.machines(staffed) == (wanted,)
    assert keys.place == "new_entry"
    keys.press(ENTER)
    keys.type("B", enter=True)
    keys.press(ENTER, CTRL)
    assert [one.name for one in practice.machines(staffed)] == ["A-dense", "B"]
    assert not page.section.form.answers["name"].isEnabled()


def test_usual_answers_are_kept_and_taken_away(staffed, page_on, keys) -> None:
    page = page_on(staffed, "usual")
    keys.type("S1", enter=True)
    keys.type("s")
    keys.type("t")
    keys.type("3")
    keys.type("2.2", enter=True)
    keys.press(ENTER, CTRL)
    kept = {"surgeon_grade": "senior", "anaesthesia": "topical", "ovd_strategy": "both_soft_shell"}
    assert practice.usual(staffed, "S1") == {**kept, "main_incision_mm": 2.2}
    to(page, "anaesthesia")
    keys.type("n")
    to(page, "main_incision_mm")
    keys.press(Qt.Key.Key_A, CTRL)
    keys.press(Qt.Key.Key_Delete)
    keys.press(ENTER, CTRL)
    del kept["anaesthesia"]
    assert practice.usual(staffed, "S1") == kept


def test_the_help_forgets_the_field_of_another_section(staffed, page_on, keys) -> None:
    page = page_on(staffed, "units")
    assert page.help.field is not None
    page.show_section("usual", focus=False)
    assert page.help.field is None
    assert "Name of the practice" not in page.help.sentence.text()


def test_levels_ask_why_and_a_surgeon_approves_them(staffed, page_on, keys) -> None:
    page = page_on(staffed, "levels")
    assert "not yet approved" in page.section.above.text()
    to(page, "today")
    keys.type("28", enter=True)
    keys.press(ENTER, CTRL)
    answer(page, keys, "our protocol")
    assert practice.levels(staffed) == Levels(today=28, approved="Osei, 12 Nov 2026")
    assert "approved by Osei" in page.section.above.text()
    to(page, "on_call")
    keys.type("Halvorsen, 555")
    keys.press(ENTER, CTRL)
    assert page.question is None
    assert practice.levels(staffed).on_call == "Halvorsen, 555"
    to(page, "planning_line")
    keys.press(Qt.Key.Key_A, CTRL)
    keys.type("20")
    keys.press(ENTER, CTRL)
    answer(page, keys, "agreed in October")
    assert read_settings(staffed.folder).planning_line == 20.0
    assert page.session.settings.planning_line_set == "Set by Osei on 12 Nov 2026"


def test_levels_out_of_order_or_empty_are_refused_and_stay_typed(staffed, page_on, keys) -> None:
    page = page_on(staffed, "levels")
    to(page, "now")
    keys.type("29", enter=True)
    keys.press(ENTER, CTRL)
    answer(page, keys, "trying")
    assert "must lie above" in page.notice.words.text()
    assert page.section.form.values()["now"] == 29
    to(page, "now")
    keys.press(Qt.Key.Key_Delete)
    keys.press(ENTER, CTRL)
    assert "every level needs a number" in page.notice.words.text()
    assert practice.levels(staffed) == Levels()


def test_a_data_lead_changes_levels_but_cannot_approve_them(staffed, page_on, keys) -> None:
    page = page_on(staffed.acting("Duarte"), "levels")
    to(page, "today")
    keys.type("28", enter=True)
    keys.press(ENTER, CTRL)
    assert "approve" not in page.question.choices
    answer(page, keys, "protocol of October")
    assert practice.levels(staffed) == Levels(today=28)
    page.section.approve.click()
    assert "A surgeon approves" in page.notice.words.text()


def test_words_of_the_steps_and_drops_are_kept_as_versions(staffed, page_on, keys) -> None:
    page = page_on(staffed, "steps")
    keys.type("Coat both layers", enter=True)
    keys.press(ENTER, CTRL)
    assert practice.steps(staffed) == {"1 Coat": "Coat both layers"}
    for version, words in ((1, "Steroid"), (2, "Steroid, shorter")):
        to(page, "line_1")
        keys.press(Qt.Key.Key_A, CTRL)
        keys.type(words)
        keys.press(ENTER, CTRL)
        answer(page, keys, "as agreed")
        assert practice.drops(staffed).version == version
    assert "version 2" in page.section.below.text()


def test_units_change_the_settings_for_everybody(staffed, page_on, keys) -> None:
    page = page_on(staffed, "units")
    heard = []
    page.renewed.connect(heard.append)
    keys.press(Qt.Key.Key_A, CTRL)
    keys.type("Ours", enter=True)
    zone = page.section.form.answers["zone"]
    keys.type("Europe/Nowhere")
    keys.press(ENTER, CTRL)
    assert page.notice.words.text() == "Not kept: Time zone still asks for an answer."
    assert page.section.form.lines["zone"][0].words.text().startswith("No time zone is called Europe/Nowhere.")
    keys.press(Qt.Key.Key_A, CTRL)
    keys.type("ndon", enter=True)
    ask = page.section.form.asked["zone"]
    assert ask.choices[0].words == "Europe/London"
    ask.choices[0].click()
    assert zone.given.value == "Europe/London"
    to(page, "zone")
    keys.press(Qt.Key.Key_A, CTRL)
    keys.type("vienna", enter=True)
    assert (zone.given.value, zone.box.text()) == ("Europe/Vienna", "Europe/Vienna")
    to(page, "zone")
    keys.press(Qt.Key.Key_A, CTRL)
    keys.type("Europe/London")
    to(page, "vision_notation")
    keys.type("4")
    keys.press(ENTER, CTRL)
    kept = read_settings(staffed.folder)
    assert (kept.practice_name, kept.zone, kept.vision_notation) == ("Ours", "Europe/London", "decimal")
    assert heard[-1].settings == kept


def test_what_is_not_kept_is_asked_about_before_another_section_opens(staffed, page_on, keys) -> None:
    page = page_on(staffed, "units")
    keys.press(Qt.Key.Key_A, CTRL)
    keys.type("Ours")
    page.section.form.take_hand()
    page.go("levels")
    assert page.place == "units"
    keys.press(Qt.Key.Key_Escape)
    assert (page.place, page.question) == ("units", None)
    page.go("levels")
    page.question.choices["away"].click()
    assert page.place == "levels"
    assert staffed.settings.practice_name == read_settings(staffed.folder).practice_name
    page.go("machines")
    keys.type("A")
    page.section.form.take_hand()
    page.section.go("")
    page.question.choices["keep"].click()
    assert [one.name for one in practice.machines(staffed)] == ["A"]


@pytest.mark.parametrize("name", [name for name in SECTIONS if name not in ("history", "backup")])
def test_without_the_duty_a_section_can_be_read_and_says_why(staffed, page_on, keys, name, qtbot) -> None:
    before = staffed.store.head()
    page = page_on(staffed.acting("Lindgren"), name)
    idle(qtbot, page)
    assert "Changing it needs the duty" in page.foot.words.text()
    keys.press(ENTER, CTRL)
    page.new_entry()
    assert staffed.store.head() == before
    assert not page.dirty()


@pytest.mark.parametrize("name", list(SECTIONS))
def test_a_practice_open_for_reading_only_shows_every_section(staffed, page_on, keys, name, qtbot, tmp_path) -> None:
    practice.put_machine(staffed, Machine("A"))
    staffed.store.close()
    with open_session(staffed.folder, person="Osei", clock=clock, read_only=True) as session:
        page = page_on(session, name)
        idle(qtbot, page)
        if name != "history":
            assert "reading only" in page.foot.words.text()
        keys.press(ENTER, CTRL)
        idle(qtbot, page)
        page.jobs.close()


def test_backups_are_made_checked_and_put_back_only_after_asking_twice(staffed, page_on, keys, qtbot) -> None:
    page = page_on(staffed, "backup")
    section = page.section
    assert not section.empty.isHidden()
    assert not section.restore.isEnabled()
    assert keys.place == "make"
    keys.press(ENTER)
    idle(qtbot, page)
    assert "opened and checked" in page.foot.words.text()
    assert len(section.found) == 1
    section.check_one.click()
    idle(qtbot, page)
    assert "all as it was written" in page.foot.words.text()
    section.check_all.click()
    idle(qtbot, page)
    assert "The practice" in page.foot.words.text()
    wished = []
    page.restore_wished.connect(wished.append)
    section.restore.click()
    keys.press(Qt.Key.Key_Escape)
    assert (wished, page.question) == ([], None)
    section.restore.click()
    keys.press(ENTER)
    assert wished == []
    assert "Restore it?" in page.question.words.text()
    keys.press(ENTER)
    assert wished == [section.found[0].path]


def test_a_backup_that_is_not_as_it_was_written_is_told(staffed, page_on, keys, qtbot) -> None:
    with staffed.store.writing(by="Osei", act="book") as write:
        write.put_stage(CaseKey("1", "R", NOW.date()), StageRecord(Stage.BOOKING, {"preop_va_raw": "6/12 TWELVE"}))
    page = page_on(staffed, "backup")
    keys.press(ENTER)
    idle(qtbot, page)
    path: Path = page.section.found[0].path
    path.write_bytes(path.read_bytes().replace(b"6/12 TWELVE", b"6/12 ELEVEN"))
    page.section.check_one.click()
    idle(qtbot, page)
    assert "is not as it was written" in page.notice.words.text()
    assert "not as written" in page.section.checked[path.name]


def test_the_history_is_filtered_read_in_full_and_saved(staffed, page_on, keys, qtbot, tmp_path) -> None:
    practice.put_machine(staffed, Machine("A"))
    practice.change_levels(staffed, Levels(today=28), reason="our protocol")
    page = page_on(staffed, "history")
    section = page.section
    idle(qtbot, page)
    whole = len(section.shown)
    assert whole == len(staffed.store.history())
    section.page.choose("Bookings")
    section.page.picked.emit("Bookings")
    assert section.shown == []
    assert "No line fits" in section.state.text()
    section.page.choose("Practice")
    section.page.picked.emit("Practice")
    assert {"machine", "levels", "register"} <= {one.act for one in section.shown}
    section.person.choose("Osei")
    section.person.picked.emit("Osei")
    assert {one.by for one in section.shown} == {"Osei"}
    assert "our protocol" in section.whole.text()
    sheet = section.table.sheet_model.sheet
    assert sheet.headings[-1] == "Why"
    assert sheet.rows[0][-1] == "our protocol"
    keys.press(ENTER, CTRL)
    assert "Name a file" in page.notice.words.text()
    section.file.show_path(tmp_path / "history.csv")
    keys.press(ENTER, CTRL)
    text = (tmp_path / "history.csv").read_text(encoding="utf-8")
    assert "our protocol" in text
    assert len(text.splitlines()) == len(section.shown) + 1
    section.file.show_path(tmp_path / "no folder" / "history.csv")
    keys.press(ENTER, CTRL)
    assert "was not written" in page.notice.words.text()


def test_a_small_page_folds_the_list_into_a_button(staffed, page_on, keys) -> None:
    page = page_on(staffed, "levels", size=(1280, 640), percent=200)
    assert page.left.isHidden()
    assert page.picker.isVisible()
    page.picker.picked.emit("units")
    assert page.place == "units"
    assert page.help.isHidden()
    keys.press(Qt.Key.Key_F1)
    assert page.help.isVisible()
    keys.press(Qt.Key.Key_Tab)
    page.section.kept.setFocus()
    QApplication.processEvents()
    seen = page.section.kept.mapTo(page.outer.viewport(), page.section.kept.rect().center())
    assert page.outer.viewport().rect().contains(seen)


def test_the_first_start_goes_step_by_step_and_every_step_can_be_skipped(opened, page_on, keys) -> None:
    session = opened()
    page = page_on(session, "", kind=FirstStartPage)
    page.first_focus()
    finished, demo = [], []
    page.finished.connect(lambda: finished.append(True))
    page.demo_wished.connect(lambda: demo.append(True))
    page.demo.click()
    assert demo == [True]
    for name in ("name", "people", "machines", "units", "levels"):
        assert page.place == name
        assert finished == []
        keys.press(Qt.Key.Key_F7)
    assert finished == [True]
    assert people.people(session) == []
    keys.press(Qt.Key.Key_F7, Qt.KeyboardModifier.ShiftModifier)
    assert page.place == "units"


def test_a_first_start_without_a_person_asks_for_the_name_first(opened, page_on, keys) -> None:
    session = opened().acting("")
    page = page_on(session, "", kind=FirstStartPage)
    assert (page.place, list(page.kinds)) == ("people", ["people", "name", "machines", "units", "levels"])
    keys.press(Qt.Key.Key_F7)
    keys.press(Qt.Key.Key_A, CTRL)
    keys.type("Ours")
    keys.press(ENTER, CTRL)
    assert "nobody is named yet" in page.notice.words.text()
    assert page.dirty()
    page.section.throw_away()
    page.show_section("people", focus=True)
    keys.press(ENTER, CTRL)
    assert "1 to 80 letters" in page.notice.words.text()
    page.first_focus()
    keys.type("Adjei")
    keys.press(ENTER, CTRL)
    assert [one.name for one in people.people(session)] == ["Adjei"]
    assert page.session.person == "Adjei"
    assert session.store.history()[-1].by == "Adjei"


def test_the_first_start_sets_a_practice_up_by_keyboard(opened, page_on, keys) -> None:
    session = opened()
    page = page_on(session, "", kind=FirstStartPage)
    page.first_focus()
    keys.press(Qt.Key.Key_A, CTRL)
    keys.type("Ours", enter=True)
    keys.press(ENTER, CTRL)
    assert keys.place == "next"
    assert page.next.words == "Next step"
    keys.press(ENTER)
    keys.press(ENTER, CTRL)
    assert keys.place == "next"
    assert session.me.duties == {Duty.DATA_LEAD, Duty.PEOPLE}
    people.change(session, "Osei", duties=list(Duty), reason="operates as well")
    keys.press(ENTER)
    keys.type("A-dense", enter=True)
    keys.press(ENTER, CTRL)
    keys.press(Qt.Key.Key_F7)
    keys.type("m")
    keys.press(ENTER, CTRL)
    assert page.next.words == "Next step"
    keys.press(Qt.Key.Key_F7)
    page.section.approve.click()
    answer(page, keys, "suggested ones")
    assert page.next.words == "Start working"
    heard = []
    page.finished.connect(lambda: heard.append(True))
    page.next.click()
    assert heard == [True]
    assert read_settings(session.folder).practice_name == "Ours"
    assert read_settings(session.folder).date_order == "mdy"
    assert [one.name for one in people.people(session)] == ["Osei"]
    assert [one.name for one in practice.machines(session)] == ["A-dense"]
    assert practice.levels(session).approved == "Osei, 12 Nov 2026"


def test_a_family_name_is_never_taken_for_a_reason(staffed, page_on, keys) -> None:
    page = page_on(staffed)
    keys.press(Qt.Key.Key_M, CTRL)
    keys.type("Na", enter=True)
    keys.press(ENTER, CTRL)
    assert "Na" in page.section.held
    keys.press(Qt.Key.Key_M, CTRL)
    keys.press(ENTER, CTRL)
    assert "1 to 80 letters" in page.notice.words.text()


def test_what_cannot_be_read_says_why_and_the_page_stays(staffed, page_on, keys, monkeypatch) -> None:
    page = page_on(staffed)

    def damaged(session: Session, *, gone: bool = False) -> None:
        raise Refusal("The machines were not read.", "One is not as it was written.", "Restore the newest backup.")

    monkeypatch.setattr(practice, "machines", damaged)
    page.go("machines")
    assert "Restore the newest backup" in page.notice.words.text()
    page.go("units")
    assert page.notice.isHidden()


def test_the_history_is_saved_by_those_who_look_after_data_or_people(staffed, page_on, keys, qtbot) -> None:
    page = page_on(staffed.acting("Lindgren"), "history")
    idle(qtbot, page)
    assert page.section.shown
    assert page.section.save.isHidden()
    assert page.section.file.isHidden()
    page = page_on(staffed.acting("Nobody known"), "history")
    idle(qtbot, page)
    assert page.section.shown == []
    assert "not registered" in page.section.state.text()


@pytest.mark.parametrize(
    ("field", "old", "new", "words"),
    [
        ("cct_um", "54", "540", "Thickness: 54 → 540"),
        ("booking", None, '{"cct_um":540.0,"glaucoma":"OHT","ecd_per_mm2_missing":"not_done"}',
         "Booking: Thickness 540, Glaucoma High pressure only, Cell count Not done"),
        ("duties", '["surgeon"]', '["surgeon","day_one"]', "Duties: Surgeon → Surgeon, Day one"),
        ("in_use", "true", "false", "In use: yes → no"),
        ("metric", "null", "console_cumulative", "Metric: nothing → Console's cumulative number"),
        ("end_screen", None, '["us_time_s"]', "End screen: Ultrasound time"),
        ("now", "40.0", "38.0", "Call at once: 40 → 38"),
        ("1 Coat", None, "Coat both layers", "1 Coat: Coat both layers"),
        ("main_incision_mm", "2.2", "null", "Main incision: 2.2 → nothing"),
        (None, None, None, ""),
        ("ovd_removal", "standard", "standard|bag_behind_lens",
         "Viscoelastic out: Standard → Standard, Behind the lens"),
        ("opening", None, '{"what":"booking_forecast","reason":"asked for"}', "Seal opened: booking forecast"),
        ("wrong_eye", None, '{"page":"day_one","pressed":"birth_day"}',
         "Wrong eye: Page Day one, Pressed another birthday"),
        ("reading", None, '{"field":"iop_pod1_mmhg","value":31.0,"at":"2026-11-12T09:14"}',
         "Reading: Answer Eye pressure, Now 31, At 12 Nov 2026 09:14"),
        ("forecast", None, '{"risk":0.0231,"low":0.0074,"high":0.0691,"model_id":"booking-1","status":"forecast"}',
         "Forecast: 2.3 in 100 (0.7 to 6.9), by booking-1"),
        ("forecast", None, '{"risk":null,"model_id":"booking-1","status":"refused_missing"}',
         "Forecast: no number (refused missing), by booking-1"),
        ("surgery_date", "2026-11-19", "2026-11-26", "Surgery date: 19 Nov 2026 → 26 Nov 2026"),
        ("state", "candidate", "in_use", "State: candidate → in use"),
        ("surgeon_id", None, "a_b", "Surgeon's code: a_b"),
    ],
)  # fmt: skip
def test_a_line_of_the_history_is_said_in_words(field, old, new, words) -> None:
    assert what_words(HistoryEntry(1, NOW, "Osei", "act", "about", field, old, new, None, "0.1")) == words


@pytest.mark.parametrize(
    ("reason", "new", "words"),
    [
        ("moved away", "true", "moved away"),
        (None, '{"what":"plan","reason":"asked by the surgeon"}', "asked by the surgeon"),
        ("sealed", '{"what":"plan"}', "sealed"),
        (None, '{"what":"plan"}', ""),
        (None, None, ""),
    ],
)
def test_the_reason_of_a_line_is_told_as_the_service_gives_it(reason, new, words) -> None:
    assert why_words(HistoryEntry(1, NOW, "Osei", "act", "about", "opening", None, new, reason, "0.1")) == words


def test_acts_are_said_in_plain_words() -> None:
    assert act_words("furnish") == "fill the demo"
    assert act_words("lock the grade") == "lock the grade"


@pytest.mark.parametrize(
    ("text", "zone"),
    [("vienna", "Europe/Vienna"), ("Europe/Vienna", "Europe/Vienna"), ("new york", "America/New_York"), ("UTC", "UTC")],
)
def test_a_zone_is_named_by_its_city(text, zone) -> None:
    assert read_zone(text) == Taken(zone)


def test_a_zone_that_is_not_known_is_asked_about_or_refused() -> None:
    asked = read_zone("vien")
    assert isinstance(asked, Asked)
    assert [one.value for one in asked.proposals] == ["Asia/Vientiane", "Europe/Vienna"]
    assert isinstance(read_zone("Nowhere"), Refused)
    assert read_zone("  ") == Blank()
