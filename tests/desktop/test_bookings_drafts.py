"""What is typed on Bookings is kept while it is typed, comes back, and can be taken back answer by answer."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication

from clinic_app.desktop.pages.bookings_rows import Unfinished
from clinic_app.desktop.window import Window
from clinic_app.domain.drafted import DraftAnswer
from clinic_app.domain.people import Duty, Person, body_of
from clinic_app.domain.record import CaseKey
from clinic_app.services import bookings, drafts
from models.codebook import Stage


def begin(window: Window, level: str = "full") -> None:
    window.bookings.begin_new()
    window.bookings.set_level(level)
    window.bookings.form.focus_first()


def kept(window: Window) -> dict[str, DraftAnswer]:
    QApplication.processEvents()
    (draft,) = drafts.booking_drafts(window.session)
    return dict(draft.drafted.answers)


def typed(window: Window, keys, name: str, text: str) -> None:
    window.bookings.form.focus(window.bookings.form.answers[name])
    keys.type(text, enter=True)


def test_each_answer_is_kept_as_soon_as_the_field_is_left(opened, shown, keys) -> None:
    window = shown(opened())
    begin(window)
    typed(window, keys, "patient_id", "P-20431")
    assert kept(window) == {"patient_id": DraftAnswer("P-20431")}
    keys.type("l")
    typed(window, keys, "cct_um", "54")
    assert kept(window) == {
        "patient_id": DraftAnswer("P-20431"), "eye": DraftAnswer("L"), "cct_um": DraftAnswer(text="54"),
    }  # fmt: skip
    assert "Draft saved 09:14" in window.bookings.foot.words.text()
    assert window.session.store.keys() == set()


def test_the_text_in_hand_is_kept_after_five_seconds_of_typing(opened, shown, keys) -> None:
    window = shown(opened())
    begin(window)
    keys.type("P-2")
    assert drafts.booking_drafts(window.session) == []
    assert window.bookings._typing.isActive()
    assert window.bookings._typing.interval() == 5000
    window.bookings._typing.timeout.emit()
    assert kept(window) == {"patient_id": DraftAnswer(text="P-2")}


def test_booking_leaves_no_draft(opened, shown, keys) -> None:
    window = shown(opened())
    begin(window, "short")
    for name, text in (("patient_id", "P-1"), ("surgery_date", "19 11"), ("birth_date", "2.6.1951")):
        typed(window, keys, name, text)
    window.bookings.form.answers["eye"].choose("L", move=False)
    assert kept(window)
    window.bookings.book()
    assert drafts.booking_drafts(window.session) == []
    assert window.session.store.keys() == {CaseKey("P-1", "L", date(2026, 11, 19))}


def test_what_was_being_typed_at_a_crash_is_offered_at_the_next_start(opened, shown, keys) -> None:
    session = opened()
    first = shown(session)
    begin(first)
    typed(first, keys, "patient_id", "P-20431")
    keys.type("l")
    typed(first, keys, "cct_um", "54")
    QApplication.processEvents()
    first.bookings._typing.stop()

    window = shown(session)
    page = window.bookings
    assert page.question is not None
    assert page.question.words.text() == "Draft of P-20431 from 09:14."
    assert list(page.question.choices) == ["continue", "discard", "back"]
    page.question.choices["continue"].click()
    form = page.form
    assert form.answers["patient_id"].given.value == "P-20431"
    assert form.answers["eye"].given.value == "L"
    assert form.answers["cct_um"].box.text() == "54"
    assert "Perhaps a missing zero" in form.asked["cct_um"].question
    assert page.open_eye is None
    assert page.drafting
    page.drop_draft()


def test_a_draft_can_be_discarded(opened, shown, keys) -> None:
    session = opened()
    first = shown(session)
    begin(first)
    typed(first, keys, "patient_id", "P-20431")
    QApplication.processEvents()
    window = shown(session)
    window.bookings.question.choices["discard"].click()
    assert drafts.booking_drafts(session) == []
    assert not window.bookings.list.keys()


def test_an_eye_with_a_refused_value_can_be_put_by_unfinished_and_not_booked(opened, shown, keys) -> None:
    window = shown(opened())
    page = window.bookings
    begin(window, "short")
    for name, text in (("patient_id", "P-7"), ("surgery_date", "19 11"), ("birth_date", "2.6.1951"), ("acd_mm", "55")):
        typed(window, keys, name, text)
    page.form.answers["eye"].choose("R", move=False)
    assert "Still asking: chamber depth." in page.foot.words.text()
    page.book()
    assert "Not booked: Chamber depth" in page.notice.words.text()
    page.begin_new()
    page.question.choices["later"].click()
    assert page.drafting
    assert not page.dirty()
    (row,) = [one for one in page.list.rows.rows if isinstance(one.key, Unfinished)]
    assert (row.name, row.aside, row.side) == ("P-7", "unfinished", "R")
    assert "09:14" in row.under
    # later it is opened from the list, as it was left, and may be left again without a question
    page.go_to(row.key)
    assert page.form.answers["acd_mm"].box.text() == "55"
    assert page.form.troubled() == ["Chamber depth"]
    page.begin_new()
    assert page.question is None
    # and booked once it is mended
    page.go_to(row.key)
    typed(window, keys, "acd_mm", "2.5")
    page.book()
    assert drafts.booking_drafts(window.session) == []
    assert [eye.row["acd_mm"] for eye in bookings.list_eyes(window.session)] == [2.5]


def test_changes_of_a_booked_eye_come_back_with_the_version_they_were_made_on(
    opened, shown, practice_with_model
) -> None:
    window = shown(opened(practice_with_model))
    page = window.bookings
    key = next(eye.key for eye in page.eyes if eye.key.patient_id == "P-20417")
    page.go_to(key)
    page.form.answers["nucleus_hardness"].choose("5", move=False)
    page.step(1)
    page.question.choices["later"].click()
    assert page.open_eye.key != key
    row = next(one for one in page.list.rows.rows if one.key == key)
    assert "Changes not kept" in row.under
    # somebody else changes the eye meanwhile
    eye = bookings.open_eye(window.session, key)
    record = window.session.store.case(key).stages[Stage.BOOKING].record
    other = replace(record, values={**record.values, "acd_mm": 3.3})
    bookings.book(window.session, other, key, expect_version=eye.version, reason="measured again")
    page.go_to(key)
    assert page.question.words.text() == "Draft of P-20417 from 09:14."
    page.question.choices["continue"].click()
    assert page.form.answers["nucleus_hardness"].given.value == 5
    page.book()
    page.question.box.setText("harder")
    page.question.answer("keep")
    # what the other person wrote is not written over, and what this one typed is not lost
    assert "in another place" in page.notice.words.text()
    assert page.form.answers["nucleus_hardness"].given.value == 5
    assert bookings.open_eye(window.session, key).row["acd_mm"] == 3.3
    page.drop_draft()


def test_a_draft_of_another_person_is_on_the_list_and_not_asked_after(opened, shown, keys) -> None:
    session = opened()
    first = shown(session)
    begin(first)
    typed(first, keys, "patient_id", "P-20431")
    QApplication.processEvents()
    window = shown(session.acting("Lindgren"))
    assert window.bookings.question is None
    (row,) = [one for one in window.bookings.list.rows.rows if isinstance(one.key, Unfinished)]
    assert row.under.endswith(", Osei")


def test_answers_are_taken_back_one_by_one_by_name_and_given_again(opened, shown, keys) -> None:
    window = shown(opened())
    page = window.bookings
    begin(window)
    page.form.answers["nucleus_hardness"].choose("3", move=False)
    page.form.answers["nucleus_hardness"].choose("4", move=False)
    page.form.answers["diabetes"].choose("none", move=False)
    page.plan.answers["protection_plan"].ticks[0].click()
    assert page.plan.steps() == ("coat_first",)
    said = []
    for _ in range(4):
        keys.press(Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
        said.append(page.foot.words.text())
    assert said == [
        "Undone: protection plan Coat first.",
        "Undone: diabetes None and 2 more.",
        "Undone: nucleus hardness amber to brown.",
        "Undone: nucleus hardness yellow.",
    ]
    assert page.plan.steps() == ()
    assert page.plan.said.text() == "no steps yet"
    assert page.form.given() == {}
    keys.press(Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert page.foot.words.text() == "Nothing to undo."
    both = Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.ShiftModifier
    for _ in range(4):
        keys.press(Qt.Key.Key_Z, both)
    assert page.form.answers["nucleus_hardness"].given.value == 4
    assert page.form.answers["diabetes_years"].given.missing == "not_applicable"
    assert page.plan.steps() == ("coat_first",)
    QApplication.processEvents()
    assert kept(window)["protection_plan"] == DraftAnswer(("coat_first",))


def test_after_booking_there_is_nothing_to_take_back(opened, shown, keys) -> None:
    window = shown(opened())
    page = window.bookings
    begin(window, "short")
    for name, text in (("patient_id", "P-1"), ("surgery_date", "19 11"), ("birth_date", "2.6.1951")):
        typed(window, keys, name, text)
    page.form.answers["eye"].choose("L", move=False)
    page.book()
    page.undo()
    assert page.foot.words.text() == "Nothing to undo."
    assert page.form.answers["eye"].given.value == "L"


def test_reading_only_keeps_no_draft(opened, shown, practice_with_model) -> None:
    window = shown(opened(practice_with_model, read_only=True))
    window.bookings.form.answers["nucleus_hardness"].choose("1", move=False)
    QApplication.processEvents()
    assert window.session.store.drafts() == []


def test_who_may_not_book_sees_a_sentence_and_no_eye(opened, shown, practice_with_model) -> None:
    session = opened(practice_with_model)
    with session.store.writing(by="People", act="register") as write:
        write.put_register("person", "Osei", body_of(Person("Osei", frozenset({Duty.BOOKING}))))
        write.put_register("person", "Grader", body_of(Person("Grader", frozenset({Duty.DAY_ONE}))))
    page = shown(session.acting("Grader")).bookings
    assert "Booking and Surgeon" in page.empty_words.text()
    assert "Day one" in page.empty_words.text()
    assert not page.list.keys()
    assert not page.middle.isEnabled()
    assert "Not open to your duties" in page.panel.words_shown()
