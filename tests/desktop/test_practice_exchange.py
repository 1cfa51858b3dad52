"""Practice, Import and export at the keyboard: look, import, correct in place, save, export, stop."""

from __future__ import annotations

import csv
from datetime import date
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFileDialog

from clinic_app.domain.record import CaseKey
from clinic_app.services import bookings
from models.codebook import Stage
from tests.desktop.test_practice_page import CTRL, ENTER, idle, page_on, staffed

__all__ = ["page_on", "staffed"]

FILE = """patient_id,eye,surgery_date,birth_date,cct_um,acd_mm,nucleus_hardness
P-1,R,2026-11-19,1950-03-02,540,2.9,3
P-2,L,2026-11-19,1951-04-02,54,3.1,2
P-3,OU,2026-11-19,1951-04-02,540,3.1,2
P-4,L,2026-11-20,1951-04-02,540,3.2,7
"""


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "eyes.csv"
    path.write_text(FILE)
    return path


@pytest.fixture
def page(staffed, page_on, file):
    """The section with the file named."""
    made = page_on(staffed, "exchange")
    made.section.file.show_path(file)
    return made


def eyes(session) -> set[str]:
    return {eye.row["patient_id"] for eye in bookings.list_eyes(session)}


def test_a_look_tells_what_would_happen_and_changes_nothing(staffed, page, keys, qtbot) -> None:
    keys.press(ENTER)
    assert keys.place == "dry_run"
    keys.press(ENTER)
    idle(qtbot, page)
    assert page.section.told.text() == "4 rows: 1 added, 3 left out. Nothing was changed: this was a look."
    left = page.section.left
    assert [row[:3] for row in left.table.sheet_model.sheet.rows][:2] == [
        ("eyes.csv, 3", "cct_um", "54"), ("eyes.csv, 4", "eye", "OU"),
    ]  # fmt: skip
    assert "missing zero" in left.why.text()
    assert left.box.isHidden()
    assert left.acts_ground.isHidden()
    assert page.section.refused.isHidden()
    assert not page.dirty()
    assert eyes(staffed) == set()
    assert keys.place == "import"


def test_rows_left_out_are_corrected_where_they_stand(staffed, page, keys, qtbot) -> None:
    section = page.section
    keys.press(ENTER, CTRL)
    idle(qtbot, page)
    assert section.told.text() == "4 rows: 1 added, 3 left out."
    assert keys.place == "left"
    sheet = section.left.table.sheet_model.sheet
    assert sheet.headings == ("Row", "Column", "Typed", "Why it is left out")
    assert sheet.rows[0][:3] == ("eyes.csv, 3", "cct_um", "54")
    assert "missing zero" in sheet.rows[0][3]
    keys.press(ENTER)
    assert keys.place == "cell"
    keys.type("540", enter=True)
    idle(qtbot, page)
    assert eyes(staffed) == {"P-1", "P-2"}
    assert len(section.left.rows) == 2
    section.left.table.setFocus()
    keys.press(Qt.Key.Key_Down)
    assert section.left.place[1].column == "nucleus_hardness"
    keys.press(ENTER)
    keys.type("9", enter=True)
    idle(qtbot, page)
    assert section.left.place[1].row == 5
    assert section.left.rows[1].cells["nucleus_hardness"] == "9"
    keys.press(ENTER)
    keys.type("4", enter=True)
    idle(qtbot, page)
    section.left.cell.picked.emit("eye")
    section.left.cell.choose("eye")
    section.left.box.setFocus()
    section.left.box.setText("L")
    keys.press(ENTER)
    idle(qtbot, page)
    assert eyes(staffed) == {"P-1", "P-2", "P-3", "P-4"}
    assert section.left.isHidden()
    assert not page.dirty()
    case = staffed.store.case(CaseKey("P-2", "L", date(2026, 11, 19)))
    assert case.stages[Stage.BOOKING].record.values["cct_um"] == 540.0


def test_corrected_rows_go_in_together_and_are_not_lost_by_leaving(staffed, page, keys, qtbot) -> None:
    section = page.section
    keys.press(ENTER, CTRL)
    idle(qtbot, page)
    for row, text in ((0, "540"), (1, "R")):
        section.left.table.setFocus()
        section.left.table.setCurrentIndex(section.left.table.sheet_model.index(row, 0))
        keys.press(ENTER)
        keys.type(text)
        section.left.take()
    assert page.dirty()
    page.go("history")
    assert page.place == "exchange"
    keys.press(Qt.Key.Key_Escape)
    assert section.left.all.words == "Import the 2 corrected rows"
    section.left.all.click()
    idle(qtbot, page)
    assert eyes(staffed) == {"P-1", "P-2", "P-3"}
    assert [one.row for one in section.left.rows] == [5]


def test_an_odd_value_is_let_in_with_a_persons_word(staffed, page, keys, qtbot, tmp_path) -> None:
    path = tmp_path / "odd.csv"
    path.write_text("patient_id,eye,surgery_date,exam_at,iop_pod1_mmhg\nP-9,R,2026-02-09,2026-02-10T09:00,2.9\n")
    page.section.file.show_path(path)
    keys.press(ENTER, CTRL)
    idle(qtbot, page)
    assert not page.section.left.right.isHidden()
    page.section.left.right.click()
    idle(qtbot, page)
    case = staffed.store.case(CaseKey("P-9", "R", date(2026, 2, 9)))
    assert case.stages[Stage.DAY_ONE].record.values["iop_pod1_mmhg"] == 2.9


def test_cells_with_a_note_are_listed_with_row_column_and_note(page, keys, qtbot, tmp_path) -> None:
    path = tmp_path / "noted.csv"
    path.write_text("patient_id,eye,surgery_date,acd_mm\nP-7,R,2026-11-19,<2.0\nP-8,R,2026-11-19,3.1\n")
    section = page.section
    section.file.show_path(path)
    keys.press(ENTER, CTRL)
    idle(qtbot, page)
    assert "1 cell carries a note." in section.noted.text()
    (row,) = section.notes.sheet_model.sheet.rows
    assert row[:3] == ("noted.csv, 2", "acd_mm", "<2.0")
    assert row[3]
    assert section.note.text() == f"noted.csv, 2, acd_mm, <2.0: {row[3]}"
    section.throw_away()
    assert section.notes.isHidden()
    assert section.note.isHidden()


def test_rows_left_out_are_saved_as_a_file(page, keys, qtbot, tmp_path) -> None:
    keys.press(ENTER, CTRL)
    idle(qtbot, page)
    page.section.save.click()
    assert "Name a file" in page.notice.words.text()
    page.section.refused.show_path(tmp_path / "left.csv")
    page.section.save.click()
    with (tmp_path / "left.csv").open(newline="", encoding="utf-8") as text:
        found = list(csv.DictReader(text))
    assert [one["patient_id"] for one in found] == ["P-2", "P-3", "P-4"]


def test_a_file_that_cannot_be_read_says_why_and_stays_named(page, keys, qtbot, tmp_path, file) -> None:
    file.write_text("a,b\n1,2\n")
    keys.press(ENTER, CTRL)
    idle(qtbot, page)
    assert "has no column patient_id" in page.notice.words.text()
    assert page.section.file.path == file
    assert keys.place == "import_file"
    page.section.file.show_path()
    keys.press(ENTER, CTRL)
    assert "Name a file to import" in page.notice.words.text()


def test_an_import_can_be_stopped_and_leaves_nothing(staffed, page, keys, qtbot, file) -> None:
    lines = [f"Q-{number},R,2026-11-19,1950-03-02,540,2.9,3" for number in range(3000)]
    file.write_text("\n".join([FILE.splitlines()[0], *lines]) + "\n")
    keys.press(ENTER, CTRL)
    assert page.section.progress.isVisible()
    assert keys.place == "stop"
    keys.press(ENTER)
    idle(qtbot, page)
    assert page.notice.words.text() == "Stopped. Nothing was changed."
    assert eyes(staffed) == set()
    assert page.section.progress.isHidden()


def test_records_are_written_after_a_word_of_care_and_without_people_at_once(
    staffed,
    page,
    keys,
    qtbot,
    tmp_path,
    booked_some,
) -> None:
    booked_some(staffed)
    export = page.section.export
    export.write.click()
    assert "Name a file or a folder" in page.notice.words.text()
    export.file.show_path(tmp_path / "out.csv")
    export.form.said("to", "20 11 2026")
    export.write.click()
    assert "patient numbers" in page.question.words.text()
    keys.press(Qt.Key.Key_Escape)
    assert not (tmp_path / "out.csv").exists()
    export.write.click()
    keys.press(ENTER)
    idle(qtbot, page)
    with (tmp_path / "out.csv").open(newline="", encoding="utf-8") as text:
        rows = list(csv.DictReader(text))
    assert {one["patient_id"] for one in rows} == {"P-20417", "P-20398", "P-20420"}
    assert "3 cases" in page.foot.words.text()
    export.form.show_values({"what": "without"})
    export.file.show_path(tmp_path / "plain.csv")
    export.write.click()
    assert page.question is None
    idle(qtbot, page)
    assert "P-20417" not in (tmp_path / "plain.csv").read_text(encoding="utf-8")
    export.form.show_values({"what": "forecasts"})
    export.file.show_path(tmp_path / "no folder" / "forecasts.csv")
    export.write.click()
    keys.press(ENTER)
    idle(qtbot, page)
    assert "not written" in page.notice.words.text()


def test_booked_eyes_come_back_from_an_export_unchanged(staffed, page, keys, qtbot, tmp_path, booked_some) -> None:
    booked_some(staffed)
    before = [eye.row for eye in bookings.list_eyes(staffed)]
    page.section.export.file.show_path(tmp_path / "all.csv")
    page.section.export.write.click()
    keys.press(ENTER)
    idle(qtbot, page)
    page.section.file.show_path(tmp_path / "all.csv")
    page.section.run(dry=False)
    idle(qtbot, page)
    assert page.section.told.text() == "4 rows: 4 unchanged."
    assert [eye.row for eye in bookings.list_eyes(staffed)] == before


def test_several_files_and_an_exported_folder_go_in_together(staffed, page, keys, qtbot, tmp_path) -> None:
    patients = tmp_path / "patients.csv"
    patients.write_text("patient_id,sex\nP-1,female\n")
    page.section.file.box.setText(f'"{patients}"; {page.section.file.path}')
    assert page.section.file.paths == [patients, tmp_path / "eyes.csv"]
    keys.press(ENTER, CTRL)
    idle(qtbot, page)
    case = staffed.store.case(CaseKey("P-1", "R", date(2026, 11, 19)))
    assert case.stages[Stage.BOOKING].record.values["sex"] == "female"
    page.section.throw_away()
    page.section.export.file.show_path(tmp_path / "whole")
    page.section.export.write.click()
    keys.press(ENTER)
    idle(qtbot, page)
    page.section.file.show_path(tmp_path / "whole")
    page.section.run(dry=False)
    idle(qtbot, page)
    assert page.notice.words.text() == ""
    assert page.section.told.text() == "1 row: 1 unchanged."


def test_files_are_chosen_in_the_systems_window_too(page, tmp_path, monkeypatch) -> None:
    section, first, second = page.section, tmp_path / "a.csv", tmp_path / "b.csv"
    monkeypatch.setattr(QFileDialog, "getOpenFileNames", lambda *_: ([str(first), str(second)], ""))
    monkeypatch.setattr(QFileDialog, "getOpenFileName", lambda *_: (str(first), ""))
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_: (str(second), ""))
    for line, wanted in (
        (section.file, [first, second]), (section.mapping, [first]), (section.export.file, [second]),
    ):  # fmt: skip
        line.button.click()
        assert line.paths == wanted
    monkeypatch.setattr(QFileDialog, "getOpenFileName", lambda *_: ("", ""))
    section.mapping.button.click()
    assert section.mapping.paths == [first]


def test_tab_goes_through_the_rows_left_out_in_the_order_of_the_eye(page, keys, qtbot) -> None:
    keys.press(ENTER, CTRL)
    idle(qtbot, page)
    section = page.section
    section.left.table.setFocus()
    keys.press(Qt.Key.Key_Down)
    section.file.box.setFocus()
    names = [keys.place]
    for _ in range(40):
        keys.press(Qt.Key.Key_Tab)
        if keys.held is section.file.box:
            break
        names.append(keys.held.objectName())
    inside = names[: names.index("sections")] if "sections" in names else names
    assert [name for name in inside if name] == [
        "import_file", "import_file.choose", "mapping_file", "mapping_file.choose", "dry_run", "import", "left",
        "which_cell", "cell", "again", "refused_file", "refused_file.choose", "save_left", "what.records", "from", "to",
        "export_file", "export_file.choose", "export",
    ]  # fmt: skip
    assert len(set(names)) == len(names)
