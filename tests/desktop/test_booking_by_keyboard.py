"""An eye is booked without the mouse: keys counted, order of fields and stored values checked."""

from __future__ import annotations

from datetime import date

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication

from clinic_app.desktop.window import Window
from clinic_app.domain.record import CaseKey, StageRecord
from clinic_app.services import bookings
from clinic_app.session import Session
from models.codebook import Stage

# The 23 answers of the booking script: field, what is typed, whether Enter ends it.
SCRIPT = (
    ("patient_id", "20431", True),
    ("eye", "l", False),
    ("surgery_date", "19 11", True),
    ("birth_date", "2.6.1951", True),
    ("sex", "f", False),
    ("booked_surgeon_id", "m", True),
    ("guttae_grade", "0", False),
    ("cct_um", "548", True),
    ("ecd_per_mm2", "nd", True),
    ("nucleus_hardness", "4", False),
    ("acd_mm", "2.4", True),
    ("axial_length_mm", "22.6", True),
    ("pupil_dilated_mm", "6", True),
    ("nuclear_opalescence_no", "4", True),
    ("white_or_brunescent", "n", False),
    ("pseudoexfoliation", "n", False),
    ("diabetes", "0", False),
    ("hypertension", "n", False),
    ("glaucoma", "0", False),
)
LAST = (("preop_va_raw", "6/12", True), ("preop_iop_mmhg", "15", True), ("iop_method", "1", False))


def begin(window: Window, level: str = "full") -> None:
    window.bookings.begin_new()
    window.bookings.set_level(level)
    window.bookings.form.focus_first()


def test_the_script_takes_at_most_75_keys_and_stores_what_was_said(opened, shown, keys) -> None:
    session: Session = opened()
    earlier = StageRecord(Stage.BOOKING, {"booked_surgeon_id": "Mbeki"})
    bookings.book(session, earlier, CaseKey("P-1", "R", date(2026, 11, 13)))
    window = shown(session)
    begin(window)
    for name, text, enter in SCRIPT:
        assert keys.place == name
        keys.type(text, enter=enter)
    assert keys.place == "prior_angle_closure_attack"
    keys.press(Qt.Key.Key_0, Qt.KeyboardModifier.ControlModifier)  # past events: none of the rest
    for name, text, enter in LAST:
        assert keys.place == name
        keys.type(text, enter=enter)
    assert keys.place == "protection_plan"
    keys.press(Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    assert keys.pressed <= 75
    case = session.store.case(CaseKey("20431", "L", date(2026, 11, 19)))
    assert case is not None
    record = case.stages[Stage.BOOKING].record
    assert dict(record.values) == {
        "birth_date": date(1951, 6, 2), "sex": "female", "booked_surgeon_id": "Mbeki", "guttae_grade": 0,
        "cct_um": 548.0, "nucleus_hardness": 4, "acd_mm": 2.4, "axial_length_mm": 22.6, "pupil_dilated_mm": 6.0,
        "nuclear_opalescence_no": 4.0, "white_or_brunescent": "none", "pseudoexfoliation": "no", "diabetes": "none",
        "hypertension": False, "glaucoma": "none", "prior_angle_closure_attack": False,
        "prior_glaucoma_surgery": ("none",), "prior_keratoplasty": "none", "uveitis_history": "none",
        "prior_refractive_surgery": False, "prior_vitrectomy": False, "preop_va_raw": "6/12", "preop_iop_mmhg": 15.0,
        "iop_method": "applanation", "risk_shown_before_surgery": False,
    }  # fmt: skip
    assert dict(record.missing) == {
        "ecd_per_mm2": "not_done", "endo_cv_pct": "not_done", "endo_hex_pct": "not_done",
        "diabetes_years": "not_applicable", "hba1c_pct": "not_applicable",
    }  # fmt: skip
    assert window.bookings.list.keys()[-1] == case.key


def test_the_short_form_asks_eight_answers_and_one_key_shows_the_rest(opened, shown, keys) -> None:
    window = shown(opened())
    begin(window, "short")
    form = window.bookings.form
    asked = [name for name, answer in form.answers.items() if answer.isVisible()]
    assert asked == [
        "patient_id", "eye", "surgery_date", "birth_date", "guttae_grade", "nucleus_hardness", "acd_mm", "diabetes",
        "glaucoma",
    ]  # fmt: skip
    keys.press(Qt.Key.Key_M, Qt.KeyboardModifier.ControlModifier)
    assert form.answers["cct_um"].isVisible()
    assert keys.place == "patient_id"


def test_enter_never_lands_on_an_answered_field(opened, shown, keys) -> None:
    window = shown(opened())
    begin(window, "full")
    form = window.bookings.form
    form.answers["eye"].choose("R", move=False)
    form.said("surgery_date", "19 11")
    form.answers["sex"].choose("male", move=False)
    landed = []
    for _ in range(len(form.answers) + 3):
        keys.press(Qt.Key.Key_Return)
        answer = form.answers.get(keys.place)
        if answer is None:
            break
        landed.append(keys.place)
        assert not answer.given.stands
    assert "eye" not in landed
    assert "sex" not in landed
    assert "cct_um" in landed


def test_tab_visits_every_control_once_and_back_again(opened, shown, keys) -> None:
    window = shown(opened())
    begin(window, "full")
    first = keys.held
    forth = [first]
    for _ in range(200):
        keys.press(Qt.Key.Key_Tab)
        if keys.held is first:
            break
        forth.append(keys.held)
    assert len(set(map(id, forth))) == len(forth)
    fields = [widget.objectName().split(".")[0] for widget in forth]
    answers = window.bookings.form.answers
    wanted = [name for name, answer in answers.items() if answer.isVisible()]
    assert [name for name in fields if name in answers] == wanted
    assert {"new", "find", "person", "practice", "book", "eyes", "protection_plan", "patient_told"} <= set(fields)
    for widget in reversed(forth):
        keys.press(Qt.Key.Key_Backtab, Qt.KeyboardModifier.ShiftModifier)
        assert keys.held is widget


def test_keys_go_from_station_to_station_and_from_eye_to_eye(opened, shown, keys, practice_with_model) -> None:
    window = shown(opened(practice_with_model))
    page = window.bookings
    opened_first = page.open_eye.key
    keys.press(Qt.Key.Key_F7)
    assert page.open_eye.key != opened_first
    keys.press(Qt.Key.Key_F7, Qt.KeyboardModifier.ShiftModifier)
    assert page.open_eye.key == opened_first
    for place in ("forecast", "eyes"):
        keys.press(Qt.Key.Key_F6)
        assert keys.place == place
    keys.press(Qt.Key.Key_F6)
    assert page.form.isAncestorOf(keys.held) or page.plan.isAncestorOf(keys.held)
    keys.press(Qt.Key.Key_F, Qt.KeyboardModifier.ControlModifier)
    keys.type("20422", enter=True)
    assert page.open_eye.key.patient_id == "P-20422"
    for place, key in enumerate((Qt.Key.Key_1, Qt.Key.Key_2, Qt.Key.Key_3, Qt.Key.Key_4, Qt.Key.Key_5)):
        keys.press(key, Qt.KeyboardModifier.ControlModifier)
        assert window.pages.currentIndex() == place
        assert QApplication.focusWidget() is not None
    keys.press(Qt.Key.Key_N, Qt.KeyboardModifier.ControlModifier)
    assert window.pages.currentIndex() == 0
    assert page.drafting
    percent = window.look.percent
    keys.press(Qt.Key.Key_Plus, Qt.KeyboardModifier.ControlModifier)
    assert window.look.percent > percent
    keys.press(Qt.Key.Key_Minus, Qt.KeyboardModifier.ControlModifier)
    assert window.look.percent == percent
    before = page.help.sentence.text()
    keys.press(Qt.Key.Key_F1)
    assert "Source" in page.help.sentence.text()
    assert "Source" not in before


def test_a_plan_is_ticked_undone_and_kept_without_the_mouse(opened, shown, keys) -> None:
    session: Session = opened()
    window = shown(session)
    begin(window, "short")
    for text, enter in (("20431", True), ("l", False), ("19 11", True), ("2.6.1951", True)):
        keys.type(text, enter=enter)
    for text, enter in (("3", False), ("5", False), ("2.4", True), ("0", False), ("0", False)):
        keys.type(text, enter=enter)
    assert keys.place == "protection_plan"
    keys.type("124")
    keys.press(Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert window.bookings.plan.steps() == ("coat_first", "re_coat")
    keys.press(Qt.Key.Key_Return)
    assert keys.place == "patient_told"
    keys.type("y")
    assert keys.place == "book"
    keys.press(Qt.Key.Key_Return)
    assert keys.pressed <= 40
    key = CaseKey("20431", "L", date(2026, 11, 19))
    case = session.store.case(key)
    assert case is not None
    assert case.stages[Stage.BOOKING].record.values["protection_plan"] == ("coat_first", "re_coat")
    (event,) = session.store.events(key=key, kind="plan")
    assert event.body == {"act": "proposed", "steps": ["coat_first", "re_coat"]}
    assert session.store.drafts() == []
    keys.press(Qt.Key.Key_P, Qt.KeyboardModifier.ControlModifier)
    assert "plan slip" in window.bookings.question.words.text()
    keys.press(Qt.Key.Key_Escape)
    assert window.bookings.question is None
