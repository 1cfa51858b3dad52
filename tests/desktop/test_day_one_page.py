"""The day-one page at the keyboard: which eye, the sheet, halts, the lock, corrections, who is not seen, clearing."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication, QLabel, QWidget
from pytestqt.qtbot import QtBot

from clinic_app.desktop.look import Look
from clinic_app.desktop.pages import printing
from clinic_app.desktop.pages.day_one import DayOnePage
from clinic_app.desktop.pages.day_one_form import SeenRow, open_texts
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.choice import ChoiceRow
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.lines import HaltPanel
from clinic_app.domain.record import CaseKey
from clinic_app.services import day_one
from clinic_app.services.day_one import Group
from clinic_app.session import Session, open_session
from clinic_app.settings import Settings, write_settings
from models.codebook import Stage
from tests.desktop.conftest import Keys
from tests.desktop.day_one_practice import CLOUDY, DAY, LEFT, OTHER, RIGHT, SECRETS, SETTINGS, Wall, fill
from tests.desktop.day_one_practice import DayOneHost as Host

CONTROL = Qt.KeyboardModifier.ControlModifier
# The answers of the sheet: field, what is typed, whether Enter ends it. Two of them came after the script was set.
SCRIPT = (
    ("pain_0_10", "1", False),
    ("headache_or_nausea", "n", False),
    ("ucva_raw", "6/12", True),
    ("cct_pod1_um", "572", True),
    ("edema_grade_central", "1", False),
    ("edema_grade_peripheral", "2", False),
    ("descemet_folds", "1", False),
    ("edema_extent", "w", False),
    ("edema_epithelial", "n", False),
    ("ac_cells_sun", "h", False),
    ("ac_flare_sun", "1", False),
    ("seidel", "n", False),
    ("chamber_day_one", "f", False),
    ("iop_pod1_mmhg", "19", True),
    ("iop_pod1_method", "r", False),
    ("anything_else", "0", False),
)
NEWER = ("headache_or_nausea", "chamber_day_one")


Show = Callable[..., Host]


@pytest.fixture
def wall() -> Wall:
    return Wall()


@pytest.fixture
def practice(tmp_path: Path, wall: Wall) -> Iterator[Callable[..., Session]]:
    """Opens the invented practice for a person; all that was opened is closed at the end."""
    folder = tmp_path / "practice"
    opened: list[object] = []

    def make(
        person: str = "Okafor", *, read_only: bool = False, settings: Settings = SETTINGS, full: bool = True
    ) -> Session:
        if not folder.exists():
            folder.mkdir()
            write_settings(folder, settings)
            with open_session(folder, person="Osei", clock=wall) as session:
                if full:
                    fill(session)
        context = open_session(folder, person=person, clock=wall, read_only=read_only)
        opened.append(context)
        return context.__enter__()

    yield make
    for context in opened:
        context.__exit__(None, None, None)  # type: ignore[attr-defined]


@pytest.fixture
def station(qtbot: QtBot, qapp: QApplication) -> Iterator[Show]:
    """Shows the page and waits until its list is read; closed at the end."""
    made: list[Host] = []
    qapp.setStyle("Fusion")

    def show(
        session: Session, *, size: tuple[int, int] = (1440, 818), theme: str = "dark", percent: int = 100,
        read: bool = True,
    ) -> Host:  # fmt: skip
        look = Look(theme, percent)
        look.apply()
        host = Host(session, look)
        made.append(host)
        host.resize(*size)
        host.page.set_width(size[0] * 100 / percent)
        host.show()
        host.activateWindow()
        qtbot.waitUntil(lambda: QApplication.activeWindow() is host)
        host.page.load()
        settle(host, qtbot)
        return host

    yield show
    for host in made:
        host.page.to_idle()
        host.jobs.close()
        host.close()
        host.deleteLater()
    qapp.processEvents()


def settle(host: Host, qtbot: QtBot) -> None:
    qtbot.waitUntil(lambda: not host.jobs.busy, timeout=60_000)
    QApplication.processEvents()


def open_left(host: Host, keys: Keys) -> DayOnePage:
    """Say whose eye it is and which, as a person does."""
    host.page.begin(LEFT)
    keys.type("1701", enter=True)
    keys.type("l")
    return host.page


def answer_all(keys: Keys, **other: str) -> None:
    for name, text, enter in SCRIPT:
        assert keys.place == name
        keys.type(other.get(name, text), enter=enter)


def lock(keys: Keys) -> None:
    keys.press(Qt.Key.Key_Return, CONTROL)
    keys.press(Qt.Key.Key_Return)


def said(root: QWidget, *, shown: bool = False) -> str:
    """Everything a person or a reader of the screen could learn from the widgets: texts, names, tips, titles; of all
    widgets, or only of those `shown`."""
    told = [root.windowTitle()]
    for one in [root, *root.findChildren(QWidget)]:
        if shown and not one.isVisible():
            continue
        told += [one.accessibleName(), one.accessibleDescription(), one.toolTip(), one.whatsThis()]
        if isinstance(one, QLabel | Button):
            told.append(one.text())
    return "\n".join(told)


def halts(page: DayOnePage) -> list[str]:
    return [one.words.text() for one in page.halts.findChildren(HaltPanel) if one.isVisible()]


def record(session: Session, key: CaseKey) -> dict[str, object]:
    case = session.store.case(key)
    assert case is not None
    return dict(case.stages[Stage.DAY_ONE].record.values)


# --- which eye --------------------------------------------------------------------------------------------------------


def test_the_page_opens_with_the_first_due_eye_and_asks_who_and_which(practice, station, keys) -> None:
    host = station(practice())
    page = host.page
    assert page.asking is not None
    assert page.eye is not None
    assert page.eye.key == LEFT
    assert keys.place == "birth_day"
    assert not page.sheet.isVisible()
    assert not page.head.isVisible()
    shown = {row.name: row.side for row in page.list.rows.rows if row.key is not None}
    assert shown == {"P-20361": "", "P-20388": "L", "P-20300": "R"}  # no side of the patient that is asked about


@pytest.mark.parametrize(("said_birthday", "pressed", "event"), [("1701", "r", "R"), ("1801", "", "birth_day")])
def test_another_eye_or_birthday_opens_nothing_and_is_written_down(
    practice, station, keys, said_birthday: str, pressed: str, event: str
) -> None:
    session = practice()
    page = station(session).page
    page.begin(LEFT)
    keys.type(said_birthday, enter=True)
    keys.type(pressed)
    assert page.asking is not None
    assert page.asking.halted
    assert not page.sheet.isVisible()
    (written,) = session.store.events(key=LEFT, kind="wrong_eye")
    assert written.body == {"page": "day_one", "pressed": event}
    keys.type("l")  # the halt stands; no other answer helps
    assert not page.sheet.isVisible()
    if pressed:
        words = page.asking.line.words.text()
        assert words == "Booked: LEFT eye. You pressed RIGHT. Nothing has been opened."
        other = next(one for one in page.asking.line.findChildren(Button) if one.words == "Open the other row")
        other.click()
        assert page.eye.key == RIGHT


# --- the keyboard -----------------------------------------------------------------------------------------------------


def test_the_script_takes_at_most_32_keys_for_14_answers_and_stores_what_was_said(
    practice, station, keys, qtbot
) -> None:
    session = practice()
    host = station(session)
    assert keys.place == "birth_day"
    keys.type("1701", enter=True)
    keys.type("l")
    newer = 0
    for name, text, enter in SCRIPT:
        assert keys.place == name
        before = keys.pressed
        keys.type(text, enter=enter)
        newer += keys.pressed - before if name in NEWER else 0
    assert keys.place == "lock"
    lock(keys)
    assert keys.pressed - newer <= 32
    assert len(SCRIPT) - len(NEWER) == 14
    settle(host, qtbot)
    assert record(session, LEFT) == {
        "visit_status": "attended", "exam_at": datetime(2026, 11, 13, 9, 4), "examiner_id": "Okafor",
        "examiner_is_surgeon": False, "blinded_to_prediction": True, "pain_0_10": 1, "headache_or_nausea": False,
        "ucva_raw": "6/12", "cct_pod1_um": 572.0, "edema_grade_central": 1, "edema_grade_peripheral": 2,
        "descemet_folds": "1-4", "edema_epithelial": False, "edema_extent": "wound_only", "ac_cells_sun": "0.5",
        "ac_flare_sun": "1", "seidel": "negative", "chamber_day_one": "formed", "iop_pod1_mmhg": 19.0,
        "iop_pod1_method": "rebound", "hypopyon": False, "fibrin": False, "hyphaema": False, "retained_lens": False,
        "descemet_central_day_one": False, "epithelial_defect": False, "iol_position": "centred",
    }  # fmt: skip
    assert keys.place == "lock"
    keys.press(Qt.Key.Key_F7)
    assert host.page.eye.key == RIGHT


def test_esc_leaves_the_question_and_goes_to_the_list(practice, station, keys) -> None:
    page = station(practice()).page
    keys.press(Qt.Key.Key_Escape)
    assert page.asking is None
    assert page.eye is None
    assert keys.place == "eyes"
    keys.press(Qt.Key.Key_F7)
    assert page.asking is not None


def test_nothing_is_filled_beforehand(practice, station, keys) -> None:
    page = open_left(station(practice()), keys)
    assert page.sheet.given() == {}
    assert open_texts(page.sheet) == {}
    assert not any(answer.given.proposed for answer in page.sheet.answers.values())


def test_every_choice_may_be_not_possible_and_says_so(practice, station, keys) -> None:
    page = open_left(station(practice()), keys)
    rows = [one for one in page.sheet.answers.values() if isinstance(one, ChoiceRow) and one.isVisible()]
    assert len(rows) >= 12
    for row in rows:
        last = row.options[-1]
        assert last.words == "Not possible"
        assert last.isVisible()
        last.click()
        assert row.given.missing == "not_possible"


def test_enter_never_lands_on_an_answered_field_and_tab_visits_each_once(practice, station, keys) -> None:
    page = open_left(station(practice()), keys)
    page.sheet.answers["ac_cells_sun"].choose("1", move=False)
    page.sheet.answers["pain_0_10"].choose("0", move=False)
    page.sheet.focus_first()
    landed = []
    for _ in range(len(SCRIPT) + 2):
        if keys.place == "lock":
            break
        landed.append(keys.place)
        assert not page.sheet.answers[keys.place].given.stands
        keys.press(Qt.Key.Key_Return)
    assert "ac_cells_sun" not in landed
    assert "pain_0_10" not in landed
    first = keys.held
    forth = [first]
    for _ in range(80):
        keys.press(Qt.Key.Key_Tab)
        if keys.held is first:
            break
        forth.append(keys.held)
    assert len(set(map(id, forth))) == len(forth)
    fields = [widget.objectName().split(".")[0] for widget in forth]
    wanted = [name for name, answer in page.sheet.answers.items() if answer.isVisible()]
    assert sorted(name for name in fields if name in page.sheet.answers) == sorted(wanted)
    for widget in reversed(forth):
        keys.press(Qt.Key.Key_Backtab, Qt.KeyboardModifier.ShiftModifier)
        assert keys.held is widget


# --- the seal ---------------------------------------------------------------------------------------------------------


def test_no_number_plan_or_reading_is_on_the_page_before_the_lock_and_both_forecasts_after(
    practice, station, keys, qtbot
) -> None:
    host = station(practice())
    assert not [secret for secret in SECRETS if secret in said(host)]
    page = open_left(host, keys)
    assert not [secret for secret in SECRETS if secret in said(host)]
    assert page.sealed.isVisible()
    assert not page.sealed.anyway.isVisible()  # whoever only examines is not offered it
    answer_all(keys)
    assert not [secret for secret in SECRETS if secret in said(host)]
    lock(keys)
    settle(host, qtbot)
    assert not page.sealed.isVisible()
    told = [one.text() for one in page.opened.findChildren(Words) if one.isVisible()]
    assert told == [
        "Forecast opened 09:04",
        "Booking: 12 in 100 (6 to 21)",
        "End of case: 9 in 100 (4 to 17)",
        "Seen: grade 1, clear by our definition.",
        "One eye cannot show a forecast right or wrong.",
    ]


def test_the_sealed_card_looks_the_same_without_a_forecast_which_is_said_after_the_lock(
    practice, station, keys, qtbot
) -> None:
    host = station(practice())
    page = open_left(host, keys)
    with_forecast = page.sealed.grab().toImage()
    page.begin(RIGHT)
    keys.type("1701", enter=True)
    keys.type("r")
    assert page.sealed.grab().toImage() == with_forecast
    answer_all(keys)
    lock(keys)
    settle(host, qtbot)
    told = [one.text() for one in page.opened.findChildren(Words) if one.isVisible()]
    assert told[1:] == ["No forecast exists for this eye.", "Seen: grade 1, clear by our definition."]


def test_the_surgeon_of_the_eye_is_told_once_that_it_is_an_own_case_and_may_be_shown_the_forecast(
    practice, station, keys, qtbot
) -> None:
    session = practice("Mbeki")
    host = station(session)
    page = open_left(host, keys)
    assert "You operated on this eye" in page.notice.words.text()
    page.sealed.anyway.click()
    keys.type("patient asks", enter=True)
    settle(host, qtbot)
    assert "12 in 100" in said(page.opened)
    assert session.store.events(key=LEFT, kind="opening")[0].body["reason"] == "patient asks"
    page.sheet.answers["edema_grade_central"].choose("0", move=False)
    lock(keys)
    assert record(session, LEFT)["blinded_to_prediction"] is False
    assert record(session, LEFT)["examiner_is_surgeon"] is True


# --- halts ------------------------------------------------------------------------------------------------------------


def test_a_pressure_above_the_level_halts_at_once_is_not_asked_about_and_the_action_is_noted(
    practice, station, keys, qtbot
) -> None:
    session = practice()
    host = station(session)
    page = open_left(host, keys)
    page.sheet.focus(page.sheet.answers["iop_pod1_mmhg"])
    keys.type("31", enter=True)
    assert halts(page) == ["31 mmHg is above our level of 30 for this eye. A surgeon decides today."]
    assert not page.sheet.asked
    assert "To go: the action for pressure." in page.foot.words.text()
    keys.press(Qt.Key.Key_F9)
    assert keys.held.objectName() == "act.reached"
    for words in ("Dr Mbeki by phone", "tablet, recheck", "11:00"):
        keys.type(words, enter=True)
    settle(host, qtbot)
    (event,) = session.store.events(key=LEFT, kind="action")
    assert event.body == {
        "halt": "M50", "reached": "Dr Mbeki by phone", "decided": "tablet, recheck", "check_again": "11:00",
        "urgency": "surgeon today",
    }  # fmt: skip
    assert halts(page)  # it stands as long as the pressure does
    assert "the action" not in page.foot.words.text()
    assert page.sheet.answers["iop_pod1_mmhg"].given.value == 31.0


def test_a_pressure_that_asks_about_its_unit_halts_before_it_is_answered(practice, station, keys) -> None:
    page = open_left(station(practice()), keys)
    page.sheet.focus(page.sheet.answers["iop_pod1_mmhg"])
    keys.type("4.5", enter=True)
    assert list(page.sheet.asked) == ["iop_pod1_mmhg"]
    assert halts(page) == ["4.5 mmHg. Look for a leak."]


def test_a_call_stays_until_a_second_reading_is_below_the_level(practice, station, keys, qtbot) -> None:
    session = practice()
    host = station(session)
    page = open_left(host, keys)
    page.sheet.focus(page.sheet.answers["iop_pod1_mmhg"])
    keys.type("44", enter=True)
    assert halts(page) == ["44 mmHg. Call Dr Mbeki now. Do not wait for this program."]
    panel = page.halts.findChildren(HaltPanel)[-1]
    assert {one.words for one in panel.findChildren(Button)} == {"Note the action, F9", "Read again"}  # and no way past

    def read_again(text: str) -> None:
        page.ask_again()
        keys.type(text, enter=True)
        settle(host, qtbot)

    read_again("41")
    assert halts(page) == ["41 mmHg. Call Dr Mbeki now. Do not wait for this program."]
    read_again("22")
    assert halts(page) == []
    assert "within the hour" in said(page.halts)
    assert page.sheet.answers["iop_pod1_mmhg"].given.value == 44.0
    assert [one.body["value"] for one in session.store.events(key=LEFT, kind="reading")] == [41.0, 22.0]


def test_locking_is_never_blocked_by_a_halt_and_the_eye_stays_on_the_list(practice, station, keys, qtbot) -> None:
    session = practice()
    host = station(session)
    page = open_left(host, keys)
    answer_all(keys, edema_grade_central="3")
    assert halts(page) == ["Centre grade 3. A surgeon sees this eye today."]
    lock(keys)
    settle(host, qtbot)
    assert record(session, LEFT)["edema_grade_central"] == 3
    assert page.listed(LEFT).group is Group.ACTION
    page.begin(RIGHT)
    keys.type("1701", enter=True)
    keys.type("r")
    assert halts(page) == ["Other eye: A surgeon sees the other eye today."]
    assert "grade 3" not in said(page.card, shown=True)


def test_levels_on_the_card_are_this_eyes(practice, station, keys, qtbot) -> None:
    session = practice()
    with session.store.writing(by="Osei", act="book") as write:
        case = session.store.case(OTHER)
        booking = case.stages[Stage.BOOKING].record
        write.put_stage(OTHER, type(booking)(Stage.BOOKING, {**booking.values, "glaucoma": "open_angle"}))
    page = open_left(station(session), keys)
    assert "40 mmHg" in page.call.words.text()
    page.begin(OTHER)
    assert "mmHg" not in page.call.words.text()  # nothing is said of an eye that is not open
    keys.type("1701", enter=True)
    keys.type("l")
    assert "30 mmHg" in page.call.words.text()
    assert "40" not in page.call.words.text()
    assert "On call: Dr Mbeki" in said(page.call)


# --- after the lock ---------------------------------------------------------------------------------------------------


def test_a_locked_answer_changes_with_a_reason_and_the_first_grade_counts(practice, station, keys, qtbot) -> None:
    session = practice()
    host = station(session)
    page = open_left(host, keys)
    answer_all(keys)
    lock(keys)
    settle(host, qtbot)
    assert page.locked
    page.correct.click()
    assert not page.locked
    page.sheet.answers["edema_grade_central"].choose("2", move=False)
    keys.press(Qt.Key.Key_Return, CONTROL)
    keys.press(Qt.Key.Key_Return)  # without a reason nothing is kept
    assert session.store.events(key=LEFT, kind="correction") == []
    keys.type("thin beam", enter=True)
    settle(host, qtbot)
    (event,) = session.store.events(key=LEFT, kind="correction")
    assert (event.body["field"], event.body["first"], event.body["value"]) == ("edema_grade_central", 1, 2)
    assert record(session, LEFT)["edema_grade_central"] == 1
    assert "Seen: grade 1, clear by our definition. Changed after opening; the first grade counts." in said(page.opened)
    assert page.sheet.answers["edema_grade_central"].given.value == 2
    assert page.locked


def test_an_eye_that_is_not_there_is_recorded_without_opening_it(practice, station, keys, qtbot) -> None:
    session = practice()
    host = station(session)
    page = host.page
    assert page.absent_not_seen.isVisible()
    page.absent_not_seen.click()
    panel = page.question
    assert list(panel.choices) == [
        "missed", "seen_elsewhere", "remote_only", "deceased", "transferred", "back",
    ]  # fmt: skip
    panel.choices["missed"].click()
    settle(host, qtbot)
    assert record(session, LEFT) == {"visit_status": "missed"}
    assert "Recorded as not seen: did not attend. It will not count as clear." in page.below_notice.words.text()
    assert page.listed(LEFT).missed
    page.begin(LEFT)
    assert page.absent_note.isVisible()
    keys.press(Qt.Key.Key_F9)
    for words in ("patient, by phone", "comes at noon", "12:00"):
        keys.type(words, enter=True)
    settle(host, qtbot)
    assert page.listed(LEFT) is None


def test_a_remote_sheet_has_halts_and_no_grade(practice, station, keys, qtbot) -> None:
    session = practice()
    host = station(session)
    page = host.page
    page.absent_not_seen.click()
    page.question.choices["remote_only"].click()
    assert keys.place == "pain_0_10"
    for text in ("7", "n", "w", "n", "n"):
        keys.type(text)
    keys.press(Qt.Key.Key_Return)
    settle(host, qtbot)
    assert record(session, LEFT) == {"visit_status": "remote_only", "pain_0_10": 7, "headache_or_nausea": False}
    assert [halt.code for halt in page.listed(LEFT).to_note] == ["M57", "M58"]


# --- drafts, undo -----------------------------------------------------------------------------------------------------


def test_a_draft_outlives_the_page_and_is_offered_again(practice, station, keys, qtbot) -> None:
    session = practice()
    first = station(session)
    page = open_left(first, keys)
    keys.type("4")
    keys.type("y")
    page.keep_draft()
    assert len(session.store.drafts("Okafor")) == 1
    second = station(session)
    page = open_left(second, keys)
    assert page.sheet.given() == {}
    assert keys.held.objectName() == "question.continue"
    keys.press(Qt.Key.Key_Return)
    assert page.sheet.answers["pain_0_10"].given.value == 4
    assert page.sheet.answers["headache_or_nausea"].given.value is True
    page.sheet.answers["edema_grade_central"].choose("0", move=False)
    lock(keys)
    settle(second, qtbot)
    assert session.store.drafts("Okafor") == []


def test_a_kept_draft_leaves_nothing_that_is_not_kept(practice, station, keys) -> None:
    session = practice()
    page = open_left(station(session), keys)
    keys.type("3")
    keys.type("n")
    page.sheet.focus(page.sheet.answers["iop_pod1_mmhg"])
    page.sheet.answers["iop_pod1_mmhg"].box.setText("1x")
    page.sheet.said("iop_pod1_mmhg", "1x")
    assert page.dirty()
    gone: list[bool] = []
    page.leaving(lambda: gone.append(True))
    assert gone == [True]
    assert not page.dirty()  # the window closes then, and does not ask again
    assert day_one.drafts(session)[LEFT].texts == {"iop_pod1_mmhg": "1x"}
    page.sheet.answers["pain_0_10"].choose("4", move=False)
    assert page.dirty()
    page.keep_draft()
    assert day_one.drafts(session)[LEFT].answers["pain_0_10"] == 4


def test_answers_that_cannot_be_kept_are_asked_about_before_they_go(practice, station, keys) -> None:
    practice().store.close()
    page = open_left(station(practice(read_only=True)), keys)
    keys.type("3")
    gone: list[bool] = []
    page.leaving(lambda: gone.append(True))
    assert gone == []
    assert page.question is not None
    assert page.sheet.answers["pain_0_10"].given.value == 3


def test_a_draft_that_is_continued_keeps_the_time_of_the_examination(practice, station, keys, qtbot, wall) -> None:
    session = practice()
    day_one.keep_sheet(session, LEFT, {"edema_grade_central": 1}, began=day_one.open_eye(session, LEFT).began)
    wall.go(hours=26)
    host = station(session)
    page = open_left(host, keys)
    assert "50 h after" in said(page.head)
    keys.press(Qt.Key.Key_Return)
    assert "24 h after" in said(page.head)
    lock(keys)
    settle(host, qtbot)
    assert record(session, LEFT)["exam_at"] == datetime(2026, 11, 13, 9, 4)


def test_going_to_another_eye_keeps_what_was_typed(practice, station, keys, qtbot) -> None:
    session = practice()
    page = open_left(station(session), keys)
    keys.type("3")
    keys.press(Qt.Key.Key_F7)
    assert page.eye.key != LEFT
    assert day_one.drafts(session)[LEFT].answers == {"pain_0_10": 3}


def test_undo_takes_back_answer_by_answer(practice, station, keys) -> None:
    page = open_left(station(practice()), keys)
    keys.type("3")
    keys.type("y")
    keys.press(Qt.Key.Key_Z, CONTROL)
    assert not page.sheet.answers["headache_or_nausea"].given.stands
    assert page.sheet.answers["pain_0_10"].given.value == 3
    keys.press(Qt.Key.Key_Z, CONTROL | Qt.KeyboardModifier.ShiftModifier)
    assert page.sheet.answers["headache_or_nausea"].given.value is True


# --- clearing, the day of surgery -------------------------------------------------------------------------------------


def test_a_cloudy_eye_has_visits_until_it_is_clear(practice, station, keys, qtbot, wall) -> None:
    session = practice()
    host = station(session)
    page = host.page
    assert page.listed(CLOUDY).group is Group.CLEARING

    def visit(grade: str, *, pressure: str) -> None:
        page.begin(CLOUDY)
        keys.type("1701", enter=True)
        keys.type("r")
        assert page.visit.isVisible()
        assert keys.place == "recheck_edema_grade_central"
        keys.type(grade)
        page.visit.focus(page.visit.answers["recheck_iop_mmhg"])
        keys.type(pressure, enter=True)
        page.visit.focus(page.visit.answers["next_on"])
        keys.type("19 11", enter=True)
        keys.press(Qt.Key.Key_Return, CONTROL)
        settle(host, qtbot)

    visit("2", pressure="18")
    assert page.listed(CLOUDY).clearing.next_on == date(2026, 11, 19)
    wall.go(days=6)
    page.begin(CLOUDY)
    keys.type("1701", enter=True)
    keys.type("r")
    keys.type("1")
    page.visit.focus(page.visit.answers["recheck_iop_mmhg"])
    keys.type("43", enter=True)
    assert halts(page) == ["43 mmHg. Call Dr Mbeki now. Do not wait for this program."]
    keys.press(Qt.Key.Key_Return, CONTROL)
    settle(host, qtbot)
    assert "Clear: 10 days after surgery." in page.below_notice.words.text()
    assert [halt.code for halt in page.listed(CLOUDY).to_note] == ["M51"]
    case = session.store.case(CLOUDY)
    assert [one.record.values["recheck_edema_grade_central"] for one in case.rechecks] == [2, 1]


def test_a_check_on_the_day_of_surgery_is_a_visit(practice, station, keys, qtbot, wall) -> None:
    wall.go(hours=-20)
    session = practice()
    host = station(session)
    page = host.page
    assert page.eye is None or page.eye.key == LEFT
    page.begin(LEFT)
    keys.type("1701", enter=True)
    keys.type("l")
    assert page.visit.isVisible()
    page.visit.focus(page.visit.answers["recheck_iop_mmhg"])
    keys.type("24", enter=True)
    keys.press(Qt.Key.Key_Return, CONTROL)
    settle(host, qtbot)
    case = session.store.case(LEFT)
    assert case.rechecks[0].record.values["recheck_kind"] == "same_day"
    assert not case.has(Stage.DAY_ONE)


# --- states of the page -----------------------------------------------------------------------------------------------


def test_nobody_due_says_when_the_next_eye_is(practice, station, wall) -> None:
    host = station(practice(full=False))
    assert "Nobody due." in host.page.empty_words.text()
    assert host.page.first_focus() is not None


def test_people_without_the_duty_learn_why(practice, station) -> None:
    page = station(practice("Lind")).page
    assert "It needs the duty Day one or Surgeon" in page.empty_words.text()
    assert not page.list.isVisible()
    assert page.eye is None


def test_a_list_that_cannot_be_read_says_so_and_can_be_tried_again(practice, station, qtbot, monkeypatch) -> None:
    host = station(practice())

    def broken(*_: object) -> None:
        raise OSError("disk gone")

    with monkeypatch.context() as patch:
        patch.setattr(day_one, "day_list", broken)
        host.page.load()
        settle(host, qtbot)
    assert "The program met a fault of its own (OSError)." in host.page.empty_words.text()
    host.page.retry.click()
    settle(host, qtbot)
    assert host.page.list.isVisible()


def test_read_only_shows_everything_and_keeps_nothing(practice, station, keys, qtbot, wall) -> None:
    practice().store.close()
    session = practice(read_only=True)
    host = station(session)
    page = open_left(host, keys)
    answer_all(keys)
    assert not page.foot.book.isEnabled()
    assert not page.not_seen.isVisible()
    keys.press(Qt.Key.Key_Return, CONTROL)
    assert "open for reading only" in page.notice.words.text()
    assert page.sheet.answers["pain_0_10"].given.value == 1
    assert not session.store.case(LEFT).has(Stage.DAY_ONE)


def test_every_focusable_widget_has_a_name(practice, station, keys) -> None:
    host = station(practice())
    open_left(host, keys)
    unnamed = [
        one for one in host.findChildren(QWidget)
        if one.isVisible() and one.focusPolicy() & Qt.FocusPolicy.TabFocus and not one.accessibleName()
    ]  # fmt: skip
    assert unnamed == []


def test_two_unusual_eyes_of_one_list_are_said_beside_the_sheet(practice, station, keys, qtbot) -> None:
    session = practice()
    for key, side in ((LEFT, "L"), (OTHER, "L")):
        day_one.lock(session, key, {"edema_grade_central": 3}, side=side)
    page = station(session).page
    (panel,) = page.list_card.findChildren(HaltPanel)
    assert panel.words.text().startswith("2 unusual eyes on the list of 12 Nov 2026.")


def test_the_key_of_each_answer_is_written_on_it(practice, station, keys) -> None:
    page = open_left(station(practice()), keys)
    for row in page.sheet.answers.values():
        if isinstance(row, SeenRow):
            for key, code in row.keys.items():
                option = next(one for one in row.options if one.code == code)
                assert key in (option.hint, option.words[:1].lower(), option.words), (row.field.name, key)


def test_an_early_or_late_visit_is_kept_and_said(practice, station, keys, qtbot, wall) -> None:
    wall.go(hours=20)
    session = practice()
    host = station(session)
    page = open_left(host, keys)
    assert "outside 12–36 h. The grade is kept and not used to judge the forecast." in said(page.halts)
    page.sheet.answers["edema_grade_central"].choose("0", move=False)
    lock(keys)
    settle(host, qtbot)
    assert "kept, and not used to judge the forecast" in said(page.opened)


def test_days_of_the_script_are_the_practices(practice) -> None:
    assert DAY + timedelta(days=1) == practice().today()


# --- papers -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("what", "name"), [("list", "day-one-list-2026-11-13"), ("blank", "day-one-sheet")])
def test_the_list_and_a_blank_sheet_become_pdfs_and_no_file_is_written_over(
    practice, station, keys, qtbot, tmp_path, monkeypatch, what: str, name: str
) -> None:
    monkeypatch.setattr(printing, "printers", list)
    page = station(practice()).page
    keys.press(Qt.Key.Key_P, CONTROL)
    page.question.answered.emit(what, "")
    assert "It carries no forecast and no plan." in said(page.question, shown=True)
    page.question.answered.emit("pdf", "")
    panel = page.question
    assert panel.entries["file"].box.text().endswith(f"{name}.pdf")
    target = tmp_path / "paper.pdf"
    panel.answered.emit("save", {"file": str(target)})
    assert target.read_bytes().startswith(b"%PDF")
    assert "Saved as" in page.below_notice.words.text()
    keys.press(Qt.Key.Key_P, CONTROL)
    for code in (what, "pdf"):
        page.question.answered.emit(code, "")
    page.question.answered.emit("save", {"file": str(target)})
    assert "A file of that name is there already." in said(page.question, shown=True)


def test_the_list_goes_to_the_printer_that_was_chosen(practice, station, keys, monkeypatch) -> None:
    sent: list[tuple[str, str]] = []
    monkeypatch.setattr(printing, "printers", lambda: ["Front desk", "Clinic 2"])
    monkeypatch.setattr(printing, "print_paper", lambda paper, name, size: sent.append((paper.title, name)))
    page = station(practice()).page
    page.ask_print()
    page.question.answered.emit("list", "")
    page.question.answered.emit("print.Clinic 2", "")
    assert sent == [("Day-one list", "Clinic 2")]
    assert page.below_notice.words.text() == "Sent to Clinic 2."
    assert page.question is None
