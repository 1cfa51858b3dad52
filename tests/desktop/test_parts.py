"""The parts that the pages share: what a person does with them, and what a reader of the screen hears."""

from __future__ import annotations

from datetime import date

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QAccessible
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLineEdit, QWidget

from clinic_app.desktop.look import Look
from clinic_app.desktop.parts.answer import Given
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.choice import ChoiceRow
from clinic_app.desktop.parts.derived_line import DerivedLine
from clinic_app.desktop.parts.eye_question import DAY_ONE, THEATRE, Expected, EyeQuestion
from clinic_app.desktop.parts.grade_cards import GradeCard, GradeCards
from clinic_app.desktop.parts.lines import HaltPanel, RefusalLine
from clinic_app.desktop.parts.person_picker import PersonPicker
from clinic_app.desktop.parts.pin_box import PinBox
from clinic_app.desktop.parts.sealed import SealedBlock
from models.codebook import field

EXPECTED = Expected("R", date(1953, 1, 17), "P-20361")


@pytest.fixture
def placed(qtbot, qapp):
    """Shows a part in a window of its own."""

    def show(part: QWidget, size: tuple[int, int] = (900, 500)) -> QWidget:
        qtbot.addWidget(part)
        part.resize(*size)
        part.show()
        part.activateWindow()
        qtbot.waitUntil(lambda: QApplication.activeWindow() is part)
        return part

    return show


def press(*keys: Qt.Key) -> None:
    for key in keys:
        QTest.keyClick(QApplication.focusWidget(), key)
        QApplication.processEvents()


def say(text: str) -> None:
    QTest.keyClicks(QApplication.focusWidget(), text)
    QApplication.processEvents()


def heard(part: QWidget) -> str:
    """Every name below a part, as a reader of the screen gets them."""
    interface = QAccessible.queryAccessibleInterface
    return " ".join(interface(one).text(QAccessible.Text.Name) for one in [part, *part.findChildren(QWidget)])


# --- which eye --------------------------------------------------------------------------------------------------------


def asked(placed, qtbot, expected: Expected = EXPECTED, where: str = DAY_ONE) -> tuple[EyeQuestion, list[object]]:
    question = EyeQuestion(Look("light"), expected, where=where)
    placed(question)
    question.begin()
    told: list[object] = []
    question.opened.connect(lambda side: told.append(("opened", side)))
    question.wrong.connect(lambda pressed: told.append(("wrong", pressed)))
    question.back.connect(lambda: told.append("back"))
    question.other_row.connect(lambda: told.append("other row"))
    return question, told


def test_the_birthday_comes_first_and_then_the_eye_opens(placed, qtbot) -> None:
    question, told = asked(placed, qtbot)
    assert not any(button.isEnabled() for button in question.buttons.values())
    question.press("R")
    assert told == []
    say("17 Jan")
    press(Qt.Key.Key_Return)
    assert told == []
    assert all(button.isEnabled() for button in question.buttons.values())
    say("r")
    assert told == [("opened", "R")]


def test_a_second_enter_presses_no_side(placed, qtbot) -> None:
    question, told = asked(placed, qtbot)
    say("1701")
    press(Qt.Key.Key_Return, Qt.Key.Key_Return, Qt.Key.Key_Return)
    assert told == []
    assert question.born.text() == "1701"


def test_a_scanned_wristband_stands_for_the_birthday(placed, qtbot) -> None:
    _, told = asked(placed, qtbot)
    say("P-20361")
    press(Qt.Key.Key_Return)
    say("R")
    assert told == [("opened", "R")]


def test_another_birthday_halts_before_any_eye_is_asked(placed, qtbot) -> None:
    question, told = asked(placed, qtbot)
    say("18 Jan")
    press(Qt.Key.Key_Return)
    assert told == [("wrong", "birth_day")]
    assert question.halted
    question.press("R")
    assert told == [("wrong", "birth_day")]
    assert "17" not in heard(question)
    press(Qt.Key.Key_Return)
    assert told[-1] == "back"


def test_words_that_are_no_day_are_refused_and_stay(placed, qtbot) -> None:
    question, told = asked(placed, qtbot)
    say("tomorrow")
    press(Qt.Key.Key_Return)
    assert told == []
    assert isinstance(question.line, RefusalLine)
    assert question.born.text() == "tomorrow"
    question.born.selectAll()
    say("17 1")
    press(Qt.Key.Key_Return)
    assert question.line is None


@pytest.mark.parametrize(("where", "words"), [(DAY_ONE, "Go back"), (THEATRE, "consent, mark and patient")])
def test_the_wrong_eye_halts_and_only_going_back_is_offered(placed, qtbot, where: str, words: str) -> None:
    question, told = asked(placed, qtbot, where=where)
    say("17 1")
    press(Qt.Key.Key_Return)
    say("L")
    assert told == [("wrong", "L")]
    panel = question.line
    assert isinstance(panel, HaltPanel)
    assert panel.words.text() == "Booked: RIGHT eye. You pressed LEFT. Nothing has been opened."
    assert panel.accessibleName().startswith("Stop. Booked: RIGHT eye.")
    buttons = [one.words for one in panel.buttons.children() if hasattr(one, "words")]
    assert len(buttons) == 1
    assert words in buttons[0]
    say("R")
    assert told == [("wrong", "L")]
    press(Qt.Key.Key_Escape)
    assert told[-1] == "back"


def test_a_same_day_pair_can_go_to_the_other_row(placed, qtbot) -> None:
    question, told = asked(placed, qtbot, Expected("L", date(1953, 1, 17), pair=True), THEATRE)
    say("17 1")
    press(Qt.Key.Key_Return)
    say("R")
    press(Qt.Key.Key_Tab, Qt.Key.Key_Return)
    assert told == [("wrong", "R"), "other row"]
    assert question.halted


def test_the_question_gives_the_booked_side_and_birthday_to_nobody(placed, qtbot) -> None:
    right, _ = asked(placed, qtbot)
    left, _ = asked(placed, qtbot, Expected("L", date(1960, 5, 2), "P-20361"))
    assert heard(right) == heard(left)
    for question in (right, left):
        question.born.clearFocus()
    assert right.grab().toImage() == left.grab().toImage()
    assert "replaces no surgical pause" in heard(asked(placed, qtbot, where=THEATRE)[0])


def test_buttons_of_a_line_stand_below_its_words_where_these_would_have_no_room(placed) -> None:
    panel = HaltPanel(Look("light"), "Booked: RIGHT eye. You pressed LEFT.", answers=(("back", "Go back and check"),))
    placed(panel, (700, 60))
    button = panel.buttons.findChildren(Button)[0]
    beside = button.mapTo(panel, QPoint(0, 0))
    assert beside.x() > panel.words.x() + panel.words.width() // 2
    panel.resize(340, 120)
    QApplication.processEvents()
    below = button.mapTo(panel, QPoint(0, 0))
    assert below.y() >= panel.words.mapTo(panel, QPoint(0, 0)).y() + panel.words.height()
    assert panel.words.width() > 250


# --- the seal ---------------------------------------------------------------------------------------------------------


def test_the_sealed_block_says_why_and_can_be_asked_to_open(placed) -> None:
    plain, open_to = SealedBlock(Look("light")), SealedBlock(Look("light"), anyway=True)
    assert plain.accessibleName().startswith("Forecast sealed. Opens when you lock the grade")
    placed(open_to)
    assert not plain.anyway.isVisibleTo(plain)
    told: list[str] = []
    open_to.wished.connect(lambda: told.append("wished"))
    open_to.anyway.click()
    assert told == ["wished"]


# --- the grade --------------------------------------------------------------------------------------------------------


def test_digits_choose_a_grade_and_the_cards_are_one_tab_stop(placed) -> None:
    cards = GradeCards(Look("light"))
    placed(cards)
    told: list[Given] = []
    cards.changed.connect(lambda: told.append(cards.given))
    gone: list[bool] = []
    cards.go_on.connect(lambda: gone.append(True))
    stops = [one for one in cards.options if one.focusPolicy() & Qt.FocusPolicy.TabFocus]
    assert len(stops) == 1
    cards.stop().setFocus()
    for digit in "01234":
        say(digit)
    assert [one.value for one in told] == [0, 1, 2, 3, 4]
    assert len(gone) == 5
    stops = [one for one in cards.options if one.focusPolicy() & Qt.FocusPolicy.TabFocus]
    assert [one.code for one in stops] == ["4"]


def test_each_card_has_its_own_name_description_and_picture(placed) -> None:
    cards = GradeCards(Look("light"))
    placed(cards)
    drawn = [one for one in cards.options if isinstance(one, GradeCard)]
    names = [one.accessibleName() for one in drawn]
    assert names[:2] == ["Centre grade: 0, Clear", "Centre grade: 1, Faint haze"]
    assert all("haze" in drawn[place].accessibleDescription().lower() for place in (0, 1, 2))
    pictures = [one.grab(one.rect().adjusted(0, 0, 0, -one.height() // 2)).toImage() for one in drawn]
    assert all(pictures[a] != pictures[b] for a in range(5) for b in range(a))


def test_not_possible_is_always_in_sight_and_comes_first(placed) -> None:
    cards = GradeCards(Look("light"))
    placed(cards)
    absent = cards.options[-1]
    assert absent.isVisible()
    assert absent.words == "Not possible"
    absent.click()
    assert cards.given == Given(missing="not_possible")
    cards.stop().setFocus()
    say("2")
    assert cards.given == Given(2)
    assert absent.words == "Not possible"
    row = ChoiceRow(Look("light"), field("edema_extent"), reason="not_possible")
    assert row.options[-1].words == "Not possible"
    assert row.options[-1].accessibleName() == "Extent of haze: Not possible"


@pytest.mark.parametrize(("width", "percent", "rows"), [(760, 100, False), (520, 100, True), (760, 200, True)])
def test_cards_become_rows_where_they_do_not_fit(placed, width: int, percent: int, rows: bool) -> None:
    cards = GradeCards(Look("light", percent))
    placed(cards, (width, cards.heightForWidth(width)))
    QApplication.processEvents()
    drawn = [one for one in cards.options if isinstance(one, GradeCard)]
    assert {one.wide for one in drawn} == {rows}
    assert len({one.y() for one in drawn}) == (5 if rows else 1)
    for one in drawn:
        assert one.height() >= one.height_for(one.width(), wide=rows)
        assert one.x() + one.width() <= width


# --- derived, PIN, person ---------------------------------------------------------------------------------------------


def test_a_derived_value_is_said_once_it_follows(qtbot, qapp) -> None:
    line = DerivedLine(Look("light"), "Full-power seconds")
    qtbot.addWidget(line)
    assert line.text() == ""
    assert line.accessibleName() == "Full-power seconds: not yet known"
    line.say("5.7 s at full power")
    assert line.text() == "= 5.7 s at full power"
    assert line.accessibleName() == "Full-power seconds: 5.7 s at full power"


def test_a_pin_is_never_shown_and_a_wrong_one_is_typed_anew(placed) -> None:
    pin = PinBox(Look("light"), person="Osei")
    placed(pin)
    told: list[str] = []
    pin.submitted.connect(told.append)
    pin.box.setFocus()
    say("4a7 1b1")
    assert pin.box.text() == "4711"
    assert pin.box.echoMode() == QLineEdit.EchoMode.Password
    assert "4711" not in pin.box.displayText()
    assert pin.box.accessibleName() == "PIN of Osei, digits"
    press(Qt.Key.Key_Return)
    assert told == ["4711"]
    assert pin.box.text() == ""
    pin.say_wrong()
    assert pin.line is not None
    assert pin.line.words.text() == "That is not the PIN. Type it again."
    assert pin.box.hasFocus()
    press(Qt.Key.Key_Return)
    assert told == ["4711"]
    say("1")
    assert pin.line is None


PEOPLE = (("Osei", "Booking"), ("Anna Okafor", "Day one"), ("Halvorsen", "Surgeon"), ("O'Neill-Mbeki", "Data lead"))


def test_a_person_is_found_by_first_letters(placed) -> None:
    picker = PersonPicker(Look("light"), PEOPLE)
    placed(picker)
    told: list[str] = []
    picker.picked.connect(told.append)
    picker.box.setFocus()
    say("h")
    press(Qt.Key.Key_Return)
    assert told == ["Halvorsen"]
    say("o")
    assert [row.name for row in picker.list.rows.rows] == ["Osei", "Anna Okafor", "O'Neill-Mbeki"]
    press(Qt.Key.Key_Return)
    assert told == ["Halvorsen"]
    assert picker.list.hasFocus()
    assert "3 people fit" in picker.said.text()
    press(Qt.Key.Key_Down, Qt.Key.Key_Return)
    assert told[-1] == "Anna Okafor"
    assert picker.list.rows.rows[1].spoken == "Anna Okafor, Day one"


def test_nobody_and_an_empty_list_are_said(placed) -> None:
    picker = PersonPicker(Look("light"), PEOPLE)
    placed(picker)
    picker.box.setFocus()
    say("x")
    press(Qt.Key.Key_Return)
    assert picker.said.text() == "Nobody here has a name that begins so."
    picker.show_people(())
    assert picker.said.text() == "Nobody is entered yet."
