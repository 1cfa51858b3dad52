"""The theatre page at the keyboard: which eye, the sheet in the order of the hands, signature, drafts and halts."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date, time
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QApplication, QVBoxLayout, QWidget
from pytestqt.qtbot import QtBot

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.theatre import TheatrePage
from clinic_app.desktop.pages.theatre_panels import UNREAD_MODEL
from clinic_app.desktop.parts.answer import Given
from clinic_app.desktop.parts.label import Words
from clinic_app.domain.record import CaseKey, StageRecord
from clinic_app.domain.theatre import EVENT_FIELDS
from clinic_app.services import bookings, decisions, training
from clinic_app.services.theatre import Sheet
from clinic_app.session import Session, open_session
from clinic_app.settings import write_settings
from models.codebook import Stage
from models.errors import ModelError
from tests.desktop.acceptance import CASES, LongerLook, nameless, ours
from tests.desktop.conftest import EYE, NOW, SETTINGS, Keys, _simulated, clock
from tests.desktop.test_nothing_is_clipped import settled

TODAY = NOW.date()
FIRST, SECOND, THIRD = CaseKey("P-20388", "L", TODAY), CaseKey("P-20390", "R", TODAY), CaseKey("P-20391", "L", TODAY)
USUAL = {
    "surgeon_grade": "senior", "anaesthesia": "topical", "ovd_strategy": "both_soft_shell", "main_incision_mm": 2.2,
    "incision_plane": "clear_corneal", "incision_site": "temporal", "technique": "phaco_chop_vertical",
    "us_motion": "torsional", "iop_setting_mmhg": 55,
}  # fmt: skip
PEOPLE = {
    "Osei": ["surgeon"], "Halvorsen": ["surgeon"], "Lund": ["scribe"], "Ito": ["surgeon", "day_one"],
    "Berg": ["day_one"], "Booker": ["booking"],
}  # fmt: skip
# The sheet's script: field, what is typed, whether Enter ends it.
SCRIPT = (
    ("corneal_striae_intraop", "1", False),
    ("dispersive_recoat", "o", False),
    ("nucleus_hardness_theatre", "4", False),
    ("working_plane", "b", False),
    ("us_time_s", "41", True),
    ("us_mean_power_pct", "14", True),
    ("irrigation_volume_ml", "62", True),
    ("case_minutes", "9", True),
    ("ovd_removal", "1", True),
    ("stromal_hydration", "1", False),
    ("happened", "0", False),
)


class Host(QWidget):
    """The page alone in a window, with its keys."""

    def __init__(self, session: Session, look: Look) -> None:
        super().__init__()
        self.jobs = Jobs(self)
        self.look = look
        self.page = TheatrePage(session, look, self.jobs)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.page)
        for keys, act in self.page.keys().items():
            QShortcut(QKeySequence(keys), self).activated.connect(act)


@pytest.fixture(scope="session")
def theatre_practice(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An invented practice with a model of both kinds, people, a machine, usual answers and a list of today."""
    folder = tmp_path_factory.mktemp("theatre") / "practice"
    folder.mkdir()
    write_settings(folder, SETTINGS)
    made = _simulated()(1200, start=date(2025, 10, 1), days=380, locked=False)
    with open_session(folder, person="Osei", clock=clock) as session:
        with session.store.writing(by="import", act="import") as write:
            write.put_many([(case.key, [one.record for one in case.stages.values()]) for case in made.cases])  # type: ignore[attr-defined]
        for model in ("booking", "end_of_case"):
            found = training.train_candidate(session, model=model, resamples=0)
            decisions.adopt(session, str(found["model_id"]), reason="first model of an invented practice")
        for key, hour, more in (
            (FIRST, time(9, 20), {"protection_plan": ("coat_first", "re_coat", "stay_in_bag", "low_infusion")}),
            (SECOND, time(9, 50), {"nucleus_hardness": 3}),
            (CaseKey(SECOND.patient_id, "L", TODAY), time(10, 15), {"nucleus_hardness": 3}),
            (THIRD, time(10, 40), {"nucleus_hardness": 2}),
        ):
            values = {**EYE, "birth_date": date(1944, 8, 30), **more, "surgery_time": hour}
            bookings.book(session, StageRecord(Stage.BOOKING, values), key)  # type: ignore[arg-type]
        with session.store.writing(by="Osei", act="practice") as write:
            write.put_register("usual", "Halvorsen", USUAL)
            screen = ["us_time_s", "us_mean_power_pct"]
            write.put_register("machine", "A", {"end_screen": screen, "motions": ["longitudinal", "torsional"]})
            for name, duties in PEOPLE.items():
                write.put_register("person", name, {"duties": duties, "surgeon_id": None, "left": None})
    return folder


Show = Callable[..., Host]


@pytest.fixture
def theatre(qtbot: QtBot, qapp: QApplication, opened: Callable[..., Session], theatre_practice: Path) -> Iterator[Show]:
    """Shows the page on a copy of the practice, for a person; closed at the end."""
    made: list[Host] = []
    qapp.setStyle("Fusion")

    def show(
        person: str = "Osei", *, session: Session | None = None, read_only: bool = False,
        size: tuple[int, int] = (1440, 818), theme: str = "light", percent: int = 100, kind: type[Look] = Look,
    ) -> Host:  # fmt: skip
        look = kind(theme, percent)
        look.apply()
        acting = session or opened(theatre_practice, read_only=read_only).acting(person)
        host = Host(acting, look)
        made.append(host)
        host.resize(*size)
        host.page.set_width(size[0] * 100 / percent)
        with qtbot.waitSignal(host.page.waiting, timeout=20_000):
            host.show()
            host.activateWindow()
            host.page.load()
        qtbot.waitUntil(lambda: QApplication.activeWindow() is host)
        qtbot.waitUntil(lambda: not host.jobs.busy, timeout=60_000)
        host.page.first_focus()
        return host

    yield show
    for host in made:
        host.page.put_away()
        host.jobs.close()
        host.close()
        host.deleteLater()
    qapp.processEvents()


def open_first(host: Host, keys: Keys) -> TheatrePage:
    """Open the first sheet of the list the way a person does."""
    keys.press(Qt.Key.Key_F7)
    keys.type("30 8", enter=True)
    keys.type("l")
    assert host.page.sheet is not None
    return host.page


def settle(host: Host, qtbot: QtBot) -> None:
    qtbot.waitUntil(lambda: not host.jobs.busy, timeout=60_000)
    QApplication.processEvents()


def typed_whole(host: Host, keys: Keys) -> TheatrePage:
    """The first sheet, answered whole and the usual confirmed."""
    page = open_first(host, keys)
    for _, text, enter in SCRIPT:
        keys.type(text, enter=enter)
    keys.press(Qt.Key.Key_U, Qt.KeyboardModifier.ControlModifier)
    return page


# --- the script ------------------------------------------------------------------------------------------------------


def test_the_script_takes_at_most_25_keys_and_stores_what_was_said(theatre: Show, keys: Keys, qtbot: QtBot) -> None:
    host = theatre()
    page = open_first(host, keys)
    keys.pressed = 0
    for name, text, enter in SCRIPT:
        assert keys.place == name
        keys.type(text, enter=enter)
    assert keys.place == "as_usual"
    assert page.as_usual.words == "As usual, 11"
    keys.press(Qt.Key.Key_U, Qt.KeyboardModifier.ControlModifier)
    assert keys.place == "book"
    keys.press(Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    keys.press(Qt.Key.Key_Return)
    assert keys.pressed <= 25
    settle(host, qtbot)
    case = page.session.store.case(FIRST)
    assert case is not None
    assert dict(case.stages[Stage.THEATRE].record.values) == {
        **USUAL, "iop_setting_mmhg": 55.0, "phaco_machine_id": "A", "surgeon_id": "Halvorsen",
        "corneal_striae_intraop": 1, "dispersive_recoat": "once", "nucleus_hardness_theatre": 4, "working_plane": "bag",
        "us_time_s": 41.0, "us_mean_power_pct": 14.0, "irrigation_volume_ml": 62.0, "case_minutes": 9.0,
        "ovd_removal": ("standard",), "stromal_hydration": 1, "pcr": "none", "descemet_detachment": "none",
        "combined_procedure": "none",
        **dict.fromkeys(EVENT_FIELDS[2:-1], False),
    }  # fmt: skip
    assert dict(case.stages[Stage.THEATRE].record.missing) == {}
    assert case.stages[Stage.THEATRE].by == "Osei"
    (booked,) = [one for one in page.session.store.forecasts(key=FIRST, model="booking") if one.locked]
    assert booked.risk is not None
    assert [one.status for one in page.session.store.forecasts(key=FIRST, model="end_of_case")] == ["forecast"]
    assert "signed" in page.list.rows.rows[1].aside
    assert keys.place == "eyes"


def test_tab_goes_through_every_answer_once_in_the_order_of_the_hands(theatre: Show, keys: Keys) -> None:
    host = theatre()
    page = open_first(host, keys)
    asked = [name for name, answer in page.form.answers.items() if not answer.isHidden()]
    page.form.answers[asked[0]].stop().setFocus()
    visited = []
    for _ in range(len(asked)):
        visited.append(keys.place)
        keys.press(Qt.Key.Key_Tab)
    assert visited == asked
    for name in reversed(asked):
        keys.press(Qt.Key.Key_Backtab, Qt.KeyboardModifier.ShiftModifier)
        assert keys.place == name


# --- which eye -------------------------------------------------------------------------------------------------------


def test_while_it_is_asked_the_row_hides_its_side_and_nothing_is_shown(theatre: Show, keys: Keys) -> None:
    host = theatre()
    page = host.page
    keys.press(Qt.Key.Key_F7)
    rows = {row.key: row for row in page.list.rows.rows if row.key is not None}
    assert rows[FIRST].side == ""
    assert "eye" not in rows[FIRST].spoken
    assert rows[SECOND].side == "R"
    assert not page.card.isVisible()
    assert not page.panels.number.isVisible()
    keys.press(Qt.Key.Key_Escape)
    assert page.asking is None
    assert keys.place == "eyes"


def test_the_wrong_eye_is_stopped_with_one_way_out_and_is_written_down(theatre: Show, keys: Keys) -> None:
    host = theatre()
    page = host.page
    keys.press(Qt.Key.Key_F7)
    keys.type("30 8", enter=True)
    keys.type("r")
    assert page.sheet is None
    assert not page.card.isVisible()
    assert keys.held.text() == "Go back; check consent, mark and patient"
    (event,) = page.session.store.events(key=FIRST, kind="wrong_eye")
    assert dict(event.body) == {"page": "theatre", "pressed": "R"}
    opened = page.session.store.events(key=FIRST, kind="opening")
    assert "sheet" not in {one.body["what"] for one in opened}
    keys.press(Qt.Key.Key_Return)
    assert page.asking is None


def test_another_birthday_is_stopped_before_any_eye_is_asked(theatre: Show, keys: Keys) -> None:
    host = theatre()
    keys.press(Qt.Key.Key_F7)
    keys.type("29 8", enter=True)
    assert host.page.sheet is None
    (event,) = host.page.session.store.events(key=FIRST, kind="wrong_eye")
    assert event.body["pressed"] == "birth_day"


def test_of_a_same_day_pair_the_other_row_is_offered(theatre: Show, keys: Keys) -> None:
    host = theatre()
    page = host.page
    page.go_to(SECOND)
    keys.type("30 8", enter=True)
    keys.type("l")
    keys.press(Qt.Key.Key_Tab)
    assert keys.held.text() == "Open the other row"
    keys.press(Qt.Key.Key_Return)
    assert page.asking == CaseKey(SECOND.patient_id, "L", TODAY)


# --- answers ---------------------------------------------------------------------------------------------------------


def test_dashed_answers_are_not_kept_until_confirmed(theatre: Show, keys: Keys, qtbot: QtBot) -> None:
    host = theatre()
    page = open_first(host, keys)
    for _, text, enter in SCRIPT:
        keys.type(text, enter=enter)
    (draft,) = page.session.store.drafts()
    answers = draft.body["answers"]
    assert isinstance(answers, dict)
    assert "ovd_strategy" not in answers
    keys.press(Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    assert "11 dashed answers are not confirmed and will not be kept." in page.question.accessibleName()
    keys.press(Qt.Key.Key_Return)
    settle(host, qtbot)
    case = page.session.store.case(FIRST)
    assert case is not None
    assert set(USUAL) & case.stages[Stage.THEATRE].record.values.keys() == set()


def test_signing_without_events_is_refused_and_the_keyboard_goes_there(theatre: Show, keys: Keys) -> None:
    host = theatre()
    page = open_first(host, keys)
    for _, text, enter in SCRIPT[:-1]:
        keys.type(text, enter=enter)
    keys.press(Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    assert page.question is None
    assert page.notice.words.text() == "Not signed. To go: events."
    assert keys.place == "happened"
    case = page.session.store.case(FIRST)
    assert case is not None
    assert not case.has(Stage.THEATRE)


def test_something_happened_opens_the_events_and_one_key_answers_the_rest(theatre: Show, keys: Keys) -> None:
    host = theatre()
    page = open_first(host, keys)
    page.form.focus(page.form.answers["happened"])
    keys.type("+")
    assert keys.place == "pcr"
    assert page.form.answers["wound_burn"].isVisible()
    keys.type("1")
    assert keys.place == "descemet_detachment"
    keys.press(Qt.Key.Key_0, Qt.KeyboardModifier.ControlModifier)
    row = page.row()
    assert row["pcr"] == "PCR"
    assert [row[name] for name in EVENT_FIELDS[1:]] == ["none", *[False] * 7, "none"]
    assert "events" not in page.to_go()
    page.form.focus(page.form.answers["happened"])
    keys.type("0")
    assert page.row()["pcr"] == "none"
    assert not page.form.answers["pcr"].isVisible()


def test_a_value_out_of_range_blocks_the_signature_and_not_the_draft(theatre: Show, keys: Keys) -> None:
    host = theatre()
    page = typed_whole(host, keys)
    page.form.focus(page.form.answers["us_time_s"])
    keys.type("9999", enter=True)
    keys.press(Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    assert page.question is None
    assert "Not signed: Ultrasound time still asks" in page.notice.words.text()
    (draft,) = page.session.store.drafts()
    assert draft.body["answers"]["us_time_s"] == {"text": "9999"}  # type: ignore[index]


def test_answers_are_taken_back_one_by_one_by_name(theatre: Show, keys: Keys) -> None:
    host = theatre()
    page = open_first(host, keys)
    for _, text, enter in SCRIPT[:3]:
        keys.type(text, enter=enter)
    keys.press(Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert "nucleus_hardness_theatre" not in page.row()
    assert page.foot.words.text().startswith("Undone: hardness found amber to brown.")
    assert keys.place == "nucleus_hardness_theatre"
    keys.press(Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert "dispersive_recoat" not in page.row()
    keys.press(Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.ShiftModifier)
    assert page.row()["dispersive_recoat"] == "once"
    (draft,) = page.session.store.drafts()
    assert "nucleus_hardness_theatre" not in draft.body["answers"]  # type: ignore[operator]


def test_typing_what_is_proposed_confirms_it_and_enter_alone_does_not(theatre: Show, keys: Keys) -> None:
    host = theatre()
    page = open_first(host, keys)
    page.form.focus(page.form.answers["iop_setting_mmhg"])
    keys.press(Qt.Key.Key_Return)
    assert "iop_setting_mmhg" not in page.row()
    page.form.focus(page.form.answers["iop_setting_mmhg"])
    keys.type("55", enter=True)
    assert page.row()["iop_setting_mmhg"] == 55.0
    assert page.as_usual.words == "As usual, 10"


def test_another_operator_brings_other_usual_answers_and_what_stands_stays(theatre: Show, keys: Keys) -> None:
    host = theatre()
    with host.page.session.store.writing(by="Osei", act="practice") as write:
        write.put_register("usual", "Mbeki", {"ovd_strategy": "cohesive", "technique": "stop_chop"})
    page = open_first(host, keys)
    page.form.focus(page.form.answers["technique"])
    keys.type("h")
    page.form.focus(page.form.answers["surgeon_id"])
    keys.type("Mbeki", enter=True)
    proposed = {name: page.form.answers[name].given.value for name in page.form.proposed()}
    assert proposed == {"ovd_strategy": "cohesive", "phaco_machine_id": "A"}
    assert page.row()["technique"] == "phaco_chop_horizontal"
    assert page.row()["surgeon_id"] == "Mbeki"


def test_the_help_line_says_what_an_answer_means_and_the_houses_own_words(theatre: Show, keys: Keys) -> None:
    host = theatre()
    with host.page.session.store.writing(by="Osei", act="practice") as write:
        write.put_register("steps", "wording", {"3 Re-coat": "always before the first chop"})
    page = open_first(host, keys)
    page.form.focus(page.form.answers["dispersive_recoat"])
    assert "House step: always before the first chop" in page.help.sentence.text()
    page.form.focus(page.form.answers["nucleus_hardness_theatre"])
    assert "4 amber to brown" in page.help.sentence.text()
    assert "Source" not in page.help.sentence.text()
    keys.press(Qt.Key.Key_F1)
    assert "Source" in page.help.sentence.text()


def test_taking_back_as_usual_makes_the_answers_dashed_again(theatre: Show, keys: Keys) -> None:
    host = theatre()
    page = open_first(host, keys)
    keys.press(Qt.Key.Key_U, Qt.KeyboardModifier.ControlModifier)
    assert page.row()["technique"] == "phaco_chop_vertical"
    keys.press(Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert "technique" not in page.row()
    assert page.as_usual.words == "As usual, 11"


def test_ctrl_z_in_a_box_takes_back_the_letters_first(theatre: Show, keys: Keys) -> None:
    host = theatre()
    page = open_first(host, keys)
    keys.type("1")
    page.form.focus(page.form.answers["case_minutes"])
    keys.type("12")
    keys.press(Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert page.row()["corneal_striae_intraop"] == 1


def test_torsional_seconds_are_never_called_full_power(theatre: Show, keys: Keys) -> None:
    host = theatre()
    page = open_first(host, keys)
    for name, text in (("us_time_s", "41"), ("us_mean_power_pct", "14")):
        page.form.focus(page.form.answers[name])
        keys.type(text, enter=True)
    said = page.form.derived["5 Ultrasound"]
    assert said.text() == "= 5.7 s time x power, this machine"
    shown = [words.text() for words in page.panels.beside.findChildren(Words) if words.isVisible()]
    assert "Time x power, this machine  5.74 s" in shown
    assert not any("full" in words.lower() for words in shown)
    page.form.focus(page.form.answers["us_motion"])
    keys.type("1")
    assert said.text() == "= 5.7 s at full power"


def test_a_machine_that_the_model_never_saw_is_said_at_once(theatre: Show, keys: Keys, qtbot: QtBot) -> None:
    host = theatre()
    page = open_first(host, keys)
    assert "worked out when you sign" in page.panels.number.end.text()
    page.form.focus(page.form.answers["phaco_machine_id"])
    keys.type("Zeta", enter=True)
    for name, text in (("us_time_s", "41"), ("us_mean_power_pct", "14")):
        page.form.focus(page.form.answers[name])
        keys.type(text, enter=True)
    settle(host, qtbot)
    assert page.panels.number.end.text().startswith("Machine Zeta is new to the model: no end-of-case forecast")
    assert page.panels.beside.why.text() == "Too few like eyes yet (0 of 30)."


# --- drafts, scribes, lists ------------------------------------------------------------------------------------------


def test_a_draft_is_there_when_the_sheet_is_opened_again(theatre: Show, keys: Keys) -> None:
    host = theatre("Lund")
    page = open_first(host, keys)
    for _, text, enter in SCRIPT[:6]:
        keys.type(text, enter=enter)
    keys.type("7000", enter=True)
    page.go_to(THIRD)
    assert page.sheet is None
    surgeon = theatre("Osei", session=page.session.acting("Osei"))
    again = open_first(surgeon, keys)
    assert again.row()["us_mean_power_pct"] == 14.0
    assert again.row()["working_plane"] == "bag"
    box = again.form.answers["irrigation_volume_ml"]
    assert box.box.text() == "7000"
    assert "irrigation_volume_ml" not in again.row()
    assert again.form.troubled() == ["Fluid"]


def test_letters_in_hand_are_kept_while_typing(theatre: Show, keys: Keys) -> None:
    host = theatre()
    page = open_first(host, keys)
    page.form.focus(page.form.answers["case_minutes"])
    keys.type("1")
    assert page._typing.isActive()
    page._typing.timeout.emit()
    (draft,) = page.session.store.drafts()
    assert draft.body["answers"]["case_minutes"] == {"text": "1"}  # type: ignore[index]


def test_a_scribe_has_no_signature_and_a_surgeon_signs_the_list_at_its_end(
    theatre: Show, keys: Keys, qtbot: QtBot
) -> None:
    host = theatre("Lund")
    page = typed_whole(host, keys)
    assert not page.foot.book.isVisible()
    assert page.foot.words.text().endswith("Ready for the surgeon to sign.")
    keys.press(Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    assert page.notice.words.text() == "A surgeon signs the sheet. Your draft is kept."
    surgeon = theatre("Osei", session=page.session.acting("Osei"))
    signing = surgeon.page
    assert signing.sign_all.words == "Sign 1 ready sheet"
    signing.sign_all.click()
    assert (
        "Vertical chop, mostly in bag. 5.7 s time x power, this machine. 9 min. Events: none"
        in signing.asked_panel.accessibleName()
    )
    keys.press(Qt.Key.Key_Return)
    settle(surgeon, qtbot)
    assert signing.idle_words.text() == "1 sheet signed."
    case = page.session.store.case(FIRST)
    assert case is not None
    assert case.stages[Stage.THEATRE].by == "Osei"


def test_the_lines_to_sign_are_those_of_the_sheet_as_it_stands(theatre: Show, keys: Keys, qtbot: QtBot) -> None:
    """The sheet in hand was changed since the list was read."""
    host = theatre("Lund")
    typed_whole(host, keys)
    surgeon = theatre("Osei", session=host.page.session.acting("Osei"))
    page = open_first(surgeon, keys)
    page.form.focus(page.form.answers["case_minutes"])
    keys.type("15", enter=True)
    page.sign_ready()
    assert "15 min. Events: none" in page.asked_panel.accessibleName()
    # and the scribe goes on writing while the lines are read
    host.page.form.show_given("case_minutes", Given(16.0))
    host.page.keep_draft()
    page.asked_panel.answered.emit(True)
    settle(surgeon, qtbot)
    assert page.idle_words.text() == "0 sheets signed. P-20388 left was left: It was changed after it was read."
    case = page.session.store.case(FIRST)
    assert case is not None
    assert not case.has(Stage.THEATRE)


def test_back_on_the_list_it_says_what_has_become_of_the_sheet(theatre: Show, keys: Keys, qtbot: QtBot) -> None:
    host = theatre("Lund")
    page = typed_whole(host, keys)
    page.leaving(page.go_back)
    settle(host, qtbot)
    (row,) = [one for one in page.list.rows.rows if one.key == FIRST]
    assert "to sign" in row.spoken


def test_a_sheet_begun_by_mistake_is_thrown_away_after_a_question(theatre: Show, keys: Keys, qtbot: QtBot) -> None:
    host = theatre("Lund")
    page = open_first(host, keys)
    assert not page.away.isVisible()
    keys.type("1")
    assert page.away.isVisible()
    page.away.click()
    assert keys.held.text() == "Go on writing"
    keys.press(Qt.Key.Key_Return)
    assert page.row()["corneal_striae_intraop"] == 1
    page.away.click()
    keys.press(Qt.Key.Key_Tab)
    keys.press(Qt.Key.Key_Return)
    settle(host, qtbot)
    assert page.sheet is None
    assert page.idle_words.text() == "The sheet of the left eye of P-20388 was thrown away."
    assert page.session.store.drafts() == []


def test_an_emptied_sheet_is_no_draft_and_what_is_typed_next_is_kept(theatre: Show, keys: Keys) -> None:
    page = open_first(theatre(), keys)
    keys.type("1")
    keys.press(Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert page.session.store.drafts() == []
    assert "Draft" not in page.foot.words.text()
    page.form.focus(page.form.answers["corneal_striae_intraop"])
    keys.type("1")
    assert len(page.session.store.drafts()) == 1
    assert "Draft saved" in page.foot.words.text()


def test_the_cover_of_a_signed_sheet_never_falls_on_an_open_one(theatre: Show, keys: Keys, qtbot: QtBot) -> None:
    host = theatre()
    page = typed_whole(host, keys)
    keys.press(Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    keys.press(Qt.Key.Key_Return)
    settle(host, qtbot)
    assert page._cover.isActive()
    page.go_to(THIRD)
    keys.type("30 8", enter=True)
    keys.type("l")
    assert page.editing
    assert not page._cover.isActive()
    page.panels.uncovered.emit()
    assert not page._cover.isActive()
    assert page.panels.plan.isVisible()
    page.go_to(FIRST)
    keys.type("30 8", enter=True)
    keys.type("l")
    page._cover_soon()
    page._cover.timeout.emit()
    page.reopen.click()
    assert page.panels.plan.isVisible()
    assert not page._cover.isActive()


def test_an_open_sheet_stays_uncovered_and_a_signed_one_is_covered_soon(
    theatre: Show, keys: Keys, qtbot: QtBot
) -> None:
    host = theatre()
    assert host.page.cover_after() == 3
    page = typed_whole(host, keys)
    assert page.cover_after() is None
    keys.press(Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    keys.press(Qt.Key.Key_Return)
    settle(host, qtbot)
    assert page.cover_after() == 2


def test_the_operating_surgeon_confirms_the_plan_and_sees_each_step_kept(theatre: Show, keys: Keys) -> None:
    host = theatre()
    page = open_first(host, keys)
    said = {code: words.text() for code, words in page.panels.plan._rows.items()}
    assert said == {
        "coat_first": "usual, to confirm", "re_coat": "", "stay_in_bag": "", "low_infusion": "55 mmHg, usual",
    }  # fmt: skip
    page.panels.plan.confirm.click()
    assert "confirmed by Osei" in page.panels.plan.by.text()
    assert not page.panels.plan.confirm.isVisible()
    page.form.focus(page.form.answers["dispersive_recoat"])
    keys.type("n")
    assert page.panels.plan._rows["re_coat"].text() == "not done: no"


def test_an_eye_of_another_day_is_asked_about_too(theatre: Show, keys: Keys) -> None:
    page = theatre().page
    later = min(page.session.store.keys(), key=lambda one: one.surgery_date)
    page.go_to(later)
    assert page.asking == later


def test_a_signed_sheet_is_locked_and_opens_again_for_its_signer(theatre: Show, keys: Keys, qtbot: QtBot) -> None:
    host = theatre()
    page = typed_whole(host, keys)
    keys.press(Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    keys.press(Qt.Key.Key_Return)
    settle(host, qtbot)
    assert not page.form.isEnabled()
    assert page.panels.number.end.text() == "The end-of-case forecast is sealed until the day-one grade is locked."
    assert page._cover.isActive()
    page._cover.timeout.emit()
    assert not page.panels.number.isVisible()
    assert page.panels.cover.isVisible()
    page.reopen.click()
    page.form.focus(page.form.answers["case_minutes"])
    keys.type("11", enter=True)
    assert page.dirty()
    keys.press(Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    settle(host, qtbot)
    case = page.session.store.case(FIRST)
    assert case is not None
    assert case.stages[Stage.THEATRE].record.values["case_minutes"] == 11.0
    assert len(page.session.store.events(key=FIRST, kind="correction")) == 1
    assert not page.dirty()


def test_a_correction_thrown_away_leaves_what_was_signed_on_the_page(theatre: Show, keys: Keys, qtbot: QtBot) -> None:
    host = theatre()
    page = typed_whole(host, keys)
    keys.press(Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    keys.press(Qt.Key.Key_Return)
    settle(host, qtbot)
    page.reopen.click()
    page.form.focus(page.form.answers["case_minutes"])
    keys.type("55", enter=True)
    gone = []
    page.leaving(lambda: gone.append(True))
    page.question.answer("away")
    assert gone == [True]
    assert page.form.answers["case_minutes"].box.text() == "9"
    assert page.row()["case_minutes"] == 9.0
    assert page.foot.words.text().startswith("Signed")
    assert not page.form.isEnabled()
    assert not page.dirty()


def test_a_card_that_cannot_be_read_keeps_no_sheet_shut(theatre: Show, keys: Keys, qtbot: QtBot) -> None:
    host = theatre()
    with host.page.session.store.writing(by="Osei", act="train") as write:
        write.decide(write.add_model("end_of_case", "{}").model_id, "in_use", reason="of another version")
    page = typed_whole(host, keys)
    assert page.panels.number.end.text() == UNREAD_MODEL
    keys.press(Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    keys.press(Qt.Key.Key_Return)
    settle(host, qtbot)
    case = page.session.store.case(FIRST)
    assert case is not None
    assert case.has(Stage.THEATRE)


def test_a_refusal_of_the_arithmetic_is_said_in_place_of_the_sheet(theatre: Show) -> None:
    page = theatre().page

    def read() -> Sheet:
        raise ModelError("The card cannot be used.", "It is not whole.", "Make it anew.")

    page.open_with(read)
    assert page.idle_words.text() == "The card cannot be used. It is not whole. Make it anew."


def test_an_event_in_the_first_eye_halts_the_second_until_a_surgeon_goes_on(theatre: Show, keys: Keys) -> None:
    host = theatre()
    page = host.page
    page.go_to(SECOND)
    keys.type("30 8", enter=True)
    keys.type("r")
    page.form.focus(page.form.answers["happened"])
    keys.type("+1")
    other = CaseKey(SECOND.patient_id, "L", TODAY)
    page.go_to(other)
    keys.type("30 8", enter=True)
    keys.type("l")
    assert "The first eye: rupture. The second eye waits." in page.question.accessibleName()
    assert not page.form.isEnabled()
    keys.press(Qt.Key.Key_Tab)
    assert keys.held.text() == "Go on with the second eye"
    keys.press(Qt.Key.Key_Return)
    assert page.question is None
    assert page.form.isEnabled()
    assert page.separate.isVisible()
    assert "separate tray and lots" in page.to_go()
    page.separate.stop().setFocus()
    keys.press(Qt.Key.Key_1)
    assert "separate tray and lots" not in page.to_go()
    (event,) = page.session.store.events(key=other, kind="action")
    assert event.body["events"] == ["Rupture"]


def test_the_list_is_saved_as_a_paper_from_the_page(theatre: Show, keys: Keys, tmp_path: Path) -> None:
    host = theatre()
    page = host.page
    keys.press(Qt.Key.Key_P, Qt.KeyboardModifier.ControlModifier)
    assert keys.held.text() == "Save as PDF"
    keys.press(Qt.Key.Key_Return)
    assert keys.place == "act"
    there = tmp_path / "there.pdf"
    there.write_bytes(b"taken")
    keys.held.setText(str(there))
    keys.press(Qt.Key.Key_Return)
    assert there.read_bytes() == b"taken"
    keys.held.setText(str(tmp_path / "list.pdf"))
    keys.press(Qt.Key.Key_Return)
    assert page.idle_words.text() == f"Saved as {tmp_path / 'list.pdf'}."
    assert (tmp_path / "list.pdf").read_bytes().startswith(b"%PDF")


# --- who may see what ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("person", ["Berg", "Booker", "Nobody"])
def test_without_the_duty_there_is_a_sentence_and_no_list(theatre: Show, person: str) -> None:
    page = theatre(person).page
    assert page.empty_words.text().startswith("Theatre is for surgeons and their scribes.")
    assert page.list.keys() == []


def test_who_also_grades_sees_no_plan_in_the_list_and_a_block_after_signing(
    theatre: Show, keys: Keys, qtbot: QtBot
) -> None:
    host = theatre()
    page = typed_whole(host, keys)
    keys.press(Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    keys.press(Qt.Key.Key_Return)
    settle(host, qtbot)
    graded = theatre("Ito", session=page.session.acting("Ito"))
    seen = graded.page
    assert all(row.under_aside != "Plan ahead" for row in seen.list.rows.rows)
    open_first(graded, keys)
    assert seen.panels.sealed.isVisible()
    assert not seen.panels.plan.isVisible()
    assert not seen.panels.number.isVisible()
    assert not seen.form.isVisible()
    assert seen.shut.text().endswith("Events: none.")
    told = [f"{one.accessibleName()} {one.toolTip()}" for one in ours(graded)]
    told += [one.text() for one in graded.findChildren(Words) if one.isVisible()]
    told += [str(row) for row in seen.list.rows.rows]
    for secret in (" in 100", "Coat first", "Plan ahead", "5.7", "41", "torsional"):
        assert not any(secret in words for words in told), secret
    seen.panels.sealed.anyway.click()
    keys.type("x", enter=True)
    assert seen.form.isVisible()
    assert seen.panels.number.isVisible()
    assert seen.row()["us_time_s"] == 41.0


def test_read_only_shows_and_keeps_nothing(theatre: Show, keys: Keys) -> None:
    host = theatre(read_only=True)
    page = open_first(host, keys)
    assert "reading only" in page.notice.words.text()
    assert not page.form.isEnabled()
    assert page.session.store.drafts() == []


def test_no_list_today_is_said_in_a_sentence(theatre: Show, opened: Callable[..., Session]) -> None:
    page = theatre(session=opened()).page
    assert page.empty_words.text() == "No list today. Booked eyes appear on their date."


# --- how it looks ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", [Look, LongerLook], ids=["our words", "35 % longer"])
@pytest.mark.parametrize(("width", "height", "theme", "percent"), CASES)
def test_every_state_shows_its_words_whole(
    theatre: Show, keys: Keys, width: int, height: int, theme: str, percent: int, kind: type[Look]
) -> None:
    host = theatre(size=(width, height - 82), theme=theme, percent=percent, kind=kind)
    page, cut = host.page, list[str]()

    def look_at(state: str) -> None:
        cut.extend(f"{state}: {one}" for one in settled(host))  # type: ignore[arg-type]

    look_at("list")
    page.ask_eye(FIRST)
    look_at("which eye")
    keys.type("30 8", enter=True)
    keys.type("r")
    look_at("wrong eye")
    page.go_back()
    page.ask_print()
    look_at("print")
    page.go_back()
    open_first(host, keys)
    look_at("sheet")
    page.form.focus(page.form.answers["us_time_s"])
    keys.type("999", enter=True)
    page.form.focus(page.form.answers["case_minutes"])
    keys.type("nr", enter=True)
    page.form.focus(page.form.answers["technique"])
    keys.type("o")
    page.form.focus(page.form.answers["happened"])
    keys.type("+1")
    look_at("questions and events")
    page.sign()
    page.toggle_more()
    look_at("everything")
    page.form.answers["us_time_s"].box.clear()
    page.form.said("us_time_s", "41")
    page.form.answers["happened"].choose("none", move=False)
    page.sign()
    look_at("before the signature")
    page.panels.set_covered(True)
    look_at("covered")
    assert not cut, "\n".join(cut)


def test_what_can_be_reached_has_a_name_and_a_role(theatre: Show, keys: Keys) -> None:
    host = theatre()
    page = host.page
    assert nameless(page) == []
    page.ask_eye(FIRST)
    assert nameless(page) == []
    page.go_back()
    open_first(host, keys)
    page.toggle_more()
    page.form.answers["happened"].choose("some", move=False)
    assert nameless(page) == []
    heard = page.form.answers["nucleus_hardness_theatre"].options[3].accessibleName()
    assert heard == "Hardness found: 4, amber to brown"


def test_the_list_says_what_has_become_of_each_sheet(theatre: Show, keys: Keys) -> None:
    page = theatre().page
    spoken = [row.spoken for row in page.list.rows.rows if row.key is not None]
    assert spoken[0] == "P-20388, Left eye, Nucleus 4, 09:20, next, Plan ahead"
    assert spoken[1] == "P-20390, Right eye, Nucleus 3, 09:50, both eyes"
    assert all("forecast" not in words and " in 100" not in words for words in spoken)
    assert all(row.gauge is None for row in page.list.rows.rows)


def test_on_a_narrow_page_an_open_sheet_sends_the_list_behind_a_key(theatre: Show, keys: Keys) -> None:
    host = theatre(size=(1280, 640))
    page = host.page
    assert page.mode == "medium"
    assert page.left.isVisible()
    open_first(host, keys)
    assert not page.left.isVisible()
    keys.press(Qt.Key.Key_F6)
    assert page.left.isVisible()
    assert keys.place == "eyes"
    keys.press(Qt.Key.Key_F6)
    assert not page.left.isVisible()
    assert keys.place == "corneal_striae_intraop"


def test_the_sheet_is_mirrored_where_people_read_from_the_right(
    theatre: Show, keys: Keys, qtbot: QtBot, qapp: QApplication
) -> None:
    host = theatre()
    page = open_first(host, keys)
    page.form.answers["happened"].choose("some", move=False)  # type: ignore[attr-defined]
    page.scroll_to_top()
    settle(host, qtbot)
    before = {one: one.mapTo(page.form, one.rect().topLeft()).x() for one in ours(page.form)}
    try:
        qapp.setLayoutDirection(Qt.LayoutDirection.RightToLeft)
        host.look.changed.emit()
        settle(host, qtbot)
        assert settled(host) == []  # type: ignore[arg-type]
        for widget, x in before.items():
            turned = page.form.width() - x - widget.width()
            assert abs(widget.mapTo(page.form, widget.rect().topLeft()).x() - turned) <= 2, widget.objectName()
    finally:
        qapp.setLayoutDirection(Qt.LayoutDirection.LeftToRight)
