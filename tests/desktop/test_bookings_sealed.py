"""Whoever books and also grades: nothing opens unasked, and what is sealed can be neither seen nor written."""

from __future__ import annotations

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication

from clinic_app.desktop.pages.bookings import BookingsPage
from clinic_app.desktop.parts.button import Button
from clinic_app.domain.people import Duty, Person, body_of
from clinic_app.domain.record import CaseKey
from clinic_app.domain.seal import OPENING, Secret
from clinic_app.services import bookings
from models.codebook import Stage
from tests.desktop.conftest import LIST_DAY

PLANNED, OTHER = CaseKey("P-20417", "R", LIST_DAY), CaseKey("P-20398", "L", LIST_DAY)


@pytest.fixture
def page(opened, shown, practice_with_model) -> BookingsPage:
    session = opened(practice_with_model)
    duties = frozenset({Duty.BOOKING, Duty.SURGEON, Duty.DAY_ONE})
    with session.store.writing(by="Osei", act="people") as write:
        write.put_register("person", "Osei", body_of(Person("Osei", duties)))
    return shown(session).bookings


def openings(page: BookingsPage, key: CaseKey) -> int:
    before = [one for one in page.session.store.events(key=key, kind=OPENING) if one.by == page.session.person]
    return len(before)


def stored(page: BookingsPage, key: CaseKey = PLANNED) -> dict[str, object]:
    return dict(page.session.store.case(key).stages[Stage.BOOKING].record.values)


def test_no_eye_opens_by_itself_and_the_keyboard_stands_on_the_list(page, keys) -> None:
    assert page.open_eye is None
    assert keys.place == "eyes"
    assert not page.dirty()


def test_an_eye_is_shown_sealed_with_the_duty_and_opened_when_asked(page) -> None:
    forget = openings(page, PLANNED)
    page.go_to(PLANNED)
    assert page.panel.title.text() == "Sealed"
    assert "Your duty Day one seals" in page.panel.sentence
    assert page.plan.isHidden()
    assert openings(page, PLANNED) == forget
    button = page.findChild(Button, "sealed.open")
    assert button.text() == "Open it; my grade of this eye will be Not blind"
    button.click()
    assert "in 100" in page.panel.words_shown()
    assert page.plan.steps() == ("coat_first", "re_coat")
    assert page.session.opened_today(PLANNED, Secret.BOOKING_FORECAST)
    assert "Not blind" in page.foot.words.text()


def test_the_keyboard_never_enters_a_sealed_plan_and_a_change_keeps_what_is_stored(page, keys) -> None:
    before = stored(page)
    page.go_to(PLANNED)
    page.form.finished.emit()  # Enter found nothing open
    assert keys.place == "book"
    assert "protection_plan" not in page.given()
    page.form.answers["nucleus_hardness"].choose("5", move=False)
    page.plan.answers["patient_told"].choose("yes", move=False)  # however it came to stand there
    page.book()
    page.question.box.setText("looked again")
    page.question.choices["keep"].click()
    after = stored(page)
    assert after == {**before, "nucleus_hardness": 5}
    assert page.panel.title.text() == "Sealed"


def test_a_change_of_a_sealed_eye_is_no_opening(page) -> None:
    with page.session.store.writing(by="Osei", act="people") as write:
        write.put_register("person", "Mbeki", body_of(Person("Mbeki", frozenset({Duty.BOOKING, Duty.DAY_ONE}))))
    session = page.session.acting("Mbeki")
    eye = bookings.open_eye(session, PLANNED, unseal=False)
    record = session.store.case(PLANNED).stages[Stage.BOOKING].record
    kept = bookings.book(session, record, PLANNED, expect_version=eye.version, reason="looked again", hidden=eye.hidden)
    assert kept.hidden == eye.hidden == {Secret.BOOKING_FORECAST, Secret.PLAN}
    assert kept.plan == ()
    assert not session.opened_today(PLANNED, Secret.BOOKING_FORECAST)


def test_opening_asks_first_about_what_is_not_kept(page) -> None:
    page.go_to(OTHER)
    page.form.answers["nucleus_hardness"].choose("5", move=False)
    page.findChild(Button, "sealed.open").click()
    assert "not kept" in page.question.words.text()
    assert page.panel.title.text() == "Sealed"
    page.question.choices["away"].click()
    QApplication.processEvents()
    assert page.panel.title.text() == "Booking forecast"


def test_find_shows_the_eye_sealed(page, keys) -> None:
    keys.press(Qt.Key.Key_F, Qt.KeyboardModifier.ControlModifier)
    keys.type("20417", enter=True)
    assert page.open_eye.key == PLANNED
    assert page.panel.title.text() == "Sealed"
