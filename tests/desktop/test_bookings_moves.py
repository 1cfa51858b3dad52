"""Standing down, postponing, consent, merging, the plan and its slip: asked for in the page, kept with a reason."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication

from clinic_app.desktop.look import Look
from clinic_app.desktop.pages import printing
from clinic_app.desktop.pages.act_panel import ActPanel
from clinic_app.desktop.pages.bookings import BookingsPage
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.window import Window
from clinic_app.domain.people import Duty, Person, body_of
from clinic_app.domain.record import CaseKey, StageRecord
from clinic_app.errors import Refusal
from clinic_app.services import bookings
from models.codebook import Stage
from tests.desktop.acceptance import LongerLook, show_case, standing
from tests.desktop.test_nothing_is_clipped import settled
from tests.pdf_text import read_pdf

DAY = date(2026, 11, 19)


def open_eye(window: Window, number: str) -> BookingsPage:
    page = window.bookings
    page.go_to(next(eye.key for eye in [*page.eyes, *page.stood_down] if eye.key.patient_id == number))
    return page


def panel(page: BookingsPage) -> ActPanel:
    assert isinstance(page.question, ActPanel)
    return page.question


def settle(window: Window, qtbot) -> None:
    qtbot.waitUntil(lambda: not window.jobs.busy, timeout=20_000)


def fill(page: BookingsPage, keys, *texts: str) -> None:
    for text in texts:
        keys.type(text, enter=True)


def test_an_eye_is_postponed_by_keyboard_and_keeps_its_forecast(
    opened, shown, keys, qtbot, practice_with_model
) -> None:
    window = shown(opened(practice_with_model))
    page = open_eye(window, "P-20417")
    before = page.open_eye.forecast
    page.postpone_button.setFocus()
    keys.press(Qt.Key.Key_Space)
    assert keys.place == "act"
    fill(page, keys, "26 11", "no anaesthetist")
    settle(window, qtbot)
    key = CaseKey("P-20417", "R", date(2026, 11, 26))
    assert page.open_eye.key == key
    assert page.question is None
    assert page.foot.words.text() == "P-20417 is moved to Thu 26 Nov 2026."
    row = next(one for one in page.list.rows.rows if one.key == key)
    assert row.under.startswith("From 19 Nov")
    stored = window.session.store.forecasts(key=key)
    assert stored[0].risk == before.risk


def test_a_day_that_cannot_be_is_said_in_the_panel_and_the_text_stays(opened, shown, keys, practice_with_model) -> None:
    window = shown(opened(practice_with_model))
    page = open_eye(window, "P-20417")
    page.postpone()
    fill(page, keys, "31 2 2026")
    assert panel(page).entries["day"].box.text() == "31 2 2026"
    assert panel(page).trouble.isVisible()
    panel(page).entries["day"].box.selectAll()
    fill(page, keys, "1 11 2026", "moved")
    assert "past" in panel(page).trouble.text()
    keys.press(Qt.Key.Key_Escape)
    assert page.question is None
    assert page.open_eye.key.surgery_date == DAY
    assert window.session.store.events(kind="postponed") == []


def test_an_eye_stood_down_stands_at_the_end_and_is_taken_back(opened, shown, keys, qtbot, practice_with_model) -> None:
    window = shown(opened(practice_with_model))
    page = open_eye(window, "P-20417")
    page.down_button.click()
    keys.press(Qt.Key.Key_Return)  # no reason yet: nothing happens
    assert page.question is not None
    fill(page, keys, "chose not to have it")
    settle(window, qtbot)
    assert page.head.state.word == "Stood down"
    assert "chose not to have it" in page.session.store.history(key=page.open_eye.key)[-1].reason
    rows = page.list.rows.rows
    assert [one.name for one in rows if one.key is None][-1] == "Stood down"
    assert (rows[-1].name, rows[-1].aside) == ("P-20417", "stood down")
    assert not page.foot.book.isEnabled()
    assert not page.postpone_button.isVisible()
    assert page.plan.print.isHidden()
    page.back_button.click()
    fill(page, keys, "well again")
    settle(window, qtbot)
    assert page.head.state.word == "Booked"
    assert page.foot.book.isEnabled()
    assert "Stood down" not in [one.name for one in page.list.rows.rows]


def test_unkept_answers_are_asked_about_before_an_eye_moves(opened, shown, practice_with_model) -> None:
    window = shown(opened(practice_with_model))
    page = open_eye(window, "P-20417")
    page.form.answers["nucleus_hardness"].choose("5", move=False)
    page.stand_down()
    assert "not kept" in page.question.words.text()
    page.question.choices["away"].click()
    assert isinstance(page.question, ActPanel)


def test_consent_is_withdrawn_behind_more_and_given_again(opened, shown, keys, qtbot, practice_with_model) -> None:
    window = shown(opened(practice_with_model))
    page = open_eye(window, "P-20417")
    assert page.consent_button.isHidden() or not page.consent_button.isVisible()
    page.more_button.click()
    assert page.consent_button.isVisible()
    page.consent_button.click()
    fill(page, keys, "asked by letter")
    settle(window, qtbot)
    assert "left Review and fitting" in page.foot.words.text()
    assert "consent" in page.panel.sentence
    assert page.panel.title.text() == "No forecast for this eye"
    row = next(one for one in page.list.rows.rows if one.name == "P-20417")
    assert (row.aside, row.gauge) == ("no forecast", None)
    page.more_button.click()
    assert page.consent_button.words == "Consent is given again"
    page.consent_button.click()
    fill(page, keys, "asked again")
    settle(window, qtbot)
    assert page.panel.title.text() == "Booking forecast"


def test_two_numbers_are_merged_and_a_clash_says_what_to_do(opened, shown, keys, qtbot, practice_with_model) -> None:
    window = shown(opened(practice_with_model))
    page = open_eye(window, "P-20398")
    page.more_button.click()
    page.merge_button.click()
    fill(page, keys, "P-20420", "one person")
    assert "same eye on the same day" in panel(page).trouble.text()
    panel(page).entries["other"].box.setText("P-20417")
    panel(page).choices["here"].click()
    settle(window, qtbot)
    assert page.foot.words.text() == "Every eye of P-20417 stands under P-20398 now."
    pair = [one for one in page.list.rows.rows if one.name == "P-20398"]
    assert [one.side for one in pair] == ["L", "R"]
    assert all("oth eyes that day" in one.under for one in pair)
    assert window.session.store.case(CaseKey("P-20417", "R", DAY)) is None


def test_merging_is_not_offered_without_its_duty(opened, shown, practice_with_model) -> None:
    session = opened(practice_with_model)
    with session.store.writing(by="People", act="register") as write:
        write.put_register("person", "Osei", body_of(Person("Osei", frozenset({Duty.BOOKING}))))
    window = shown(session)
    page = open_eye(window, "P-20417")
    page.more_button.click()
    assert page.consent_button.isVisible()
    assert not page.merge_button.isVisible()
    assert not page.plan.confirm.isVisible()


# --- plan ---


def test_a_proposed_plan_is_confirmed_by_the_surgeon_once(opened, shown, practice_with_model) -> None:
    window = shown(opened(practice_with_model))
    page = open_eye(window, "P-20417")
    assert page.plan.said.text() == "2 steps: Plan ahead, proposed by Osei"
    page.plan.confirm.click()
    assert page.plan.said.text() == "2 steps: Plan ahead, confirmed by Osei"
    assert not page.plan.confirm.isVisible()
    page.plan.answers["protection_plan"].ticks[2].click()
    page.book()
    page.question.box.setText("one more step")
    page.question.answer("keep")
    assert page.plan.said.text() == "3 steps: Plan ahead, proposed by Osei"
    assert page.plan.confirm.isVisible()


def test_the_slip_holds_steps_and_who_and_never_a_chance(
    opened, shown, keys, practice_with_model, tmp_path: Path, monkeypatch
) -> None:
    monkeypatch.setattr(printing, "printers", list)
    window = shown(opened(practice_with_model))
    page = open_eye(window, "P-20417")
    keys.press(Qt.Key.Key_P, Qt.KeyboardModifier.ControlModifier)
    assert page.question.words.text().startswith("No printer is set up on this seat.")
    page.question.choices["pdf"].click()
    entry = panel(page).entries["file"]
    assert entry.box.text().endswith("plan-slip-2026-11-19.pdf")
    entry.box.setText(str(tmp_path / "slip.pdf"))
    panel(page).choices["save"].click()
    pdf = read_pdf((tmp_path / "slip.pdf").read_bytes())
    lines = pdf.text.split("\n")
    for words in (
        "Plan slip", "Right eye", "P-20417 · born 11 Mar 1949 · male", "Surgery Thu 19 Nov 2026 · Halvorsen",
        "Coat first", "Re-coat", "Proposed by Osei, Thu 12 Nov 2026.", "Not yet confirmed by the operating surgeon.",
        "Invented data: not for care.",
    ):  # fmt: skip
        assert words in lines
    assert len(pdf.pages) == 1
    chance = round(100 * page.open_eye.forecast.risk)
    assert "in 100" not in pdf.text
    assert not any(line.strip() == str(chance) for line in lines)
    assert "forecast" not in pdf.text.lower().replace("these forecasts", "")


def test_an_existing_file_is_not_written_over(opened, shown, practice_with_model, tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setattr(printing, "printers", list)
    window = shown(opened(practice_with_model))
    page = open_eye(window, "P-20417")
    (tmp_path / "slip.pdf").write_text("mine")
    page.print_slip()
    page.question.choices["pdf"].click()
    panel(page).entries["file"].box.setText(str(tmp_path / "slip.pdf"))
    panel(page).choices["save"].click()
    assert "already" in panel(page).trouble.text()
    panel(page).entries["file"].box.setText(str(tmp_path / "no folder" / "slip.pdf"))
    panel(page).choices["save"].click()
    assert "not written" in panel(page).trouble.text()
    assert (tmp_path / "slip.pdf").read_text() == "mine"


def test_a_slip_goes_to_the_printer_that_is_chosen(opened, shown, practice_with_model, monkeypatch) -> None:
    sent: list[tuple[str, str]] = []
    monkeypatch.setattr(printing, "printers", lambda: ["Ward 2", "Annex"])
    monkeypatch.setattr(printing, "print_paper", lambda paper, name, _: sent.append((paper.title, name)))
    window = shown(opened(practice_with_model))
    page = open_eye(window, "P-20417")
    page.plan.print.click()
    assert list(page.question.choices) == ["print.Ward 2", "print.Annex", "pdf", "back"]
    page.question.choices["print.Annex"].click()
    assert sent == [("Plan slip", "Annex")]
    assert page.notice.words.text() == "Sent to Annex."

    def broken(*_: object) -> None:
        raise Refusal("Nothing was printed.", "The printer does not take the page.", "Save a PDF instead.")

    monkeypatch.setattr(printing, "print_paper", broken)
    page.print_slip()
    page.question.choices["print.Ward 2"].click()
    assert "does not take" in page.notice.words.text()


def test_a_new_eye_has_no_slip_yet(opened, shown) -> None:
    window = shown(opened())
    window.bookings.begin_new()
    window.bookings.print_slip()
    assert "Book this eye first" in window.bookings.notice.words.text()
    assert window.bookings.plan.print.isHidden()


# --- other records of the patient ---


def test_the_same_eye_on_another_day_is_asked_about_before_it_is_booked(
    opened, shown, practice_with_model, keys
) -> None:
    window = shown(opened(practice_with_model))
    page = window.bookings
    page.begin_new()
    for name, text in (("patient_id", "P-20417"), ("surgery_date", "3 12 2026"), ("birth_date", "11 3 1949")):
        page.form.focus(page.form.answers[name])
        keys.type(text, enter=True)
    page.form.answers["eye"].choose("R", move=False)
    said = [line.words.text() for line in page.form.lines["eye"]]
    assert said == ["This eye is booked for Thu 19 Nov 2026. Another date for it is a postponement."]
    page.book()
    assert "already has a surgery on 19 Nov 2026" in page.question.words.text()
    assert "postponement" in page.question.words.text()
    page.question.choices["back"].click()
    assert bookings.others_of(window.session, "P-20417")[0]["surgery_date"] == DAY
    assert len(bookings.others_of(window.session, "P-20417")) == 1
    page.book()
    page.question.choices["book"].click()
    assert len(bookings.others_of(window.session, "P-20417")) == 2


def test_typing_a_booked_eye_leads_to_its_booking(opened, shown, practice_with_model, keys) -> None:
    window = shown(opened(practice_with_model))
    page = window.bookings
    page.begin_new()
    page.form.focus(page.form.answers["patient_id"])
    keys.type("P-20417", enter=True)
    keys.type("r")
    (line,) = page.form.lines["eye"]
    line.findChild(Button).click()
    page.question.choices["away"].click()
    assert page.open_eye.key == CaseKey("P-20417", "R", DAY)
    assert page.form.answers["cct_um"].given.value == 548.0


def test_a_newly_adopted_model_is_told_for_a_fortnight(opened, shown, practice_with_model) -> None:
    session = opened(practice_with_model)
    assert bookings.newly_adopted(session) is None  # the first model took nobody's place
    with session.store.writing(by="Halvorsen", act="adopt") as write:
        second = write.add_model("booking", session.store.model("booking-1").card_text)
        write.decide(second.model_id, "in_use", reason="closer on new eyes")
    foot = shown(session).bookings.list_foot.text()
    assert "Model changed on Thu 12 Nov 2026 by Halvorsen; booked eyes keep their number" in foot
    later = replace(session, clock=lambda: session.clock() + timedelta(days=15))
    assert bookings.newly_adopted(later) is None


def test_measurements_equal_to_the_fellow_eye_are_pointed_out_and_it_can_be_opened(
    opened, shown, practice_with_model, keys
) -> None:
    window = shown(opened(practice_with_model))
    page = window.bookings
    page.begin_new()
    page.set_level("full")
    for name, text in (("patient_id", "P-20417"), ("acd_mm", "2.71"), ("axial_length_mm", "23.18"), ("cct_um", "548")):
        page.form.focus(page.form.answers[name])
        keys.type(text, enter=True)
    page.form.answers["eye"].choose("L", move=False)
    said = " ".join(line.words.text() for lines in page.form.lines.values() for line in lines)
    assert "All three measurements equal the fellow eye's. Same eye measured twice?" in said
    assert "Fellow eye: right, booked for Thu 19 Nov 2026." in said
    assert page.form.answers["cct_um"].given.value == 548.0
    note = next(line for line in page.form.lines["eye"] if line.buttons.findChildren(type(page.new_button)))
    note.buttons.findChildren(type(page.new_button))[0].click()
    page.question.choices["away"].click()
    assert page.open_eye.key == CaseKey("P-20417", "R", DAY)


def test_an_operated_eye_found_here_says_that_its_booking_stays(opened, shown, practice_with_model) -> None:
    session = opened(practice_with_model)
    key = CaseKey("P-20417", "R", DAY)
    with session.store.writing(by="Dr", act="sign") as write:
        write.put_stage(key, StageRecord(Stage.THEATRE, {"us_time_s": 30.0}))
    window = shown(session)
    page = window.bookings
    page.go_to(key)
    assert page.foot.words.text().startswith("Operated: the booking stays as it was")
    kept = session.store.forecasts(key=key)[-1]
    assert page.panel.title.text() == "Forecast of the booking"
    assert page.panel.sentence.startswith(f"About {round(100 * kept.risk)} in 100, most likely between")
    assert "Made Thu 12 Nov 2026 by booking-1." in page.panel.sentence
    assert not page.foot.book.isEnabled()
    assert not page.postpone_button.isVisible()
    before = page.panel.sentence
    page.form.answers["nucleus_hardness"].choose("5", move=False)
    assert page.panel.sentence == before
    page.book()
    QApplication.processEvents()
    assert bookings.open_eye(session, key).row["nucleus_hardness"] == 4


@pytest.mark.parametrize("name", ["postpone_button", "down_button", "more_button"])
def test_reading_only_offers_no_act(opened, shown, practice_with_model, name: str) -> None:
    window = shown(opened(practice_with_model, read_only=True))
    assert not getattr(window.bookings, name).isVisible()


def test_an_operated_eye_is_sealed_for_a_booker_who_also_grades(opened, shown, practice_with_model) -> None:
    session = opened(practice_with_model)
    key = CaseKey("P-20417", "R", DAY)
    with session.store.writing(by="Dr", act="sign") as write:
        write.put_stage(key, StageRecord(Stage.THEATRE, {"us_time_s": 30.0}))
        both = Person("Osei", frozenset({Duty.BOOKING, Duty.DAY_ONE}))
        write.put_register("person", "Osei", body_of(both))
    window = shown(session)
    page = window.bookings
    page.go_to(key)
    assert page.panel.title.text() == "Sealed"
    assert "in 100" not in page.panel.words_shown()
    assert not page.plan.isVisible()
    assert page.findChild(Button, "sealed.open") is None  # an operated eye is opened on Day one, with a reason
    # a waiting eye is sealed as well, until the person asks for it
    row = next(one for one in page.list.rows.rows if one.name == "P-20398")
    assert (row.aside, row.gauge, row.plan) == ("sealed", None, False)
    page.go_to(row.key)
    assert "in 100" not in page.panel.words_shown()
    page.findChild(Button, "sealed.open").click()
    assert "in 100" in page.panel.words_shown()


def test_at_the_smallest_window_the_forecast_and_two_reasons_are_seen_without_scrolling(
    opened, shown, practice_with_model
) -> None:
    window = shown(opened(practice_with_model), size=(1280, 720))
    page = open_eye(window, "P-20398")
    figures, view = page.panel.figures, page.panel.scroller.viewport()
    seen = view.mapToGlobal(view.rect().topLeft()).y() + view.height()
    for part in (figures.lead, figures.tail, figures.dots, figures.bar, figures.planning):
        assert part.isVisible()
        assert part.mapToGlobal(part.rect().bottomLeft()).y() <= seen
    lines = len(figures.effects.lines)
    assert lines >= 2
    two = figures.effects.mapToGlobal(figures.effects.rect().topLeft()).y() + 2 * figures.effects.height() / lines
    assert two <= seen


@pytest.mark.parametrize(("width", "height", "percent"), [(1440, 900, 100), (1440, 900, 150), (1280, 720, 200)])
@pytest.mark.parametrize("kind", [Look, LongerLook], ids=["our words", "35 % longer"])
def test_questions_and_acts_show_their_words_whole(
    opened, qapp, practice_with_model, tmp_path: Path, kind: type[Look], width: int, height: int, percent: int
) -> None:
    qapp.setStyle("Fusion")
    with standing(practice_with_model, tmp_path / "copy", kind("light")) as window:
        show_case(window, width, height, "light", percent)
        page = window.page["bookings"]
        page.go_to(next(eye.key for eye in page.eyes if eye.key.patient_id == "P-20417"))
        page.more_button.click()
        for act in (page.postpone, page.merge, page.change_consent, page.stand_down, page.print_slip):
            act()
            assert settled(window) == [], act.__name__
            page.close_question()
        page.form.answers["nucleus_hardness"].choose("5", move=False)
        page.leaving(lambda: None)
        assert settled(window) == []
        page.question.choices["away"].click()
