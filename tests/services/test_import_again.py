"""Rows that an import left out are corrected where they stand, confirmed, and brought in again."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from clinic_app.domain.people import Duty
from clinic_app.domain.record import CaseKey
from clinic_app.errors import Refusal
from clinic_app.services import people
from clinic_app.services.export import export
from clinic_app.services.intake import confirmed, corrected, import_again, import_files, write_left
from clinic_app.session import Session, open_session
from models.codebook import Stage
from models.progress import Cancelled

FILE = """patient_id;eye;surgery_date;cct_um;nucleus_hardness;axial_length_mm
P-1;R;2026-03-09;540;3;23,1
P-2;L;2026-03-09;54;7;23,4
P-3;OU;2026-03-09;540;2;23,3
P-4;R;2026-03-09;545;2;232
"""
DAY = date(2026, 3, 9)


@pytest.fixture
def session(tmp_path: Path) -> Iterator[Session]:
    folder = tmp_path / "practice"
    folder.mkdir()
    with open_session(folder, person="Osei", clock=lambda: datetime(2026, 3, 2, 8, tzinfo=UTC)) as opened:
        yield opened


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "eyes.csv"
    path.write_text(FILE)
    return path


def test_rows_left_out_come_with_their_cells_and_what_is_against_each(session: Session, file: Path) -> None:
    left = import_files(session, [file]).left
    assert [(one.file, one.row) for one in left] == [("eyes.csv", 3), ("eyes.csv", 4), ("eyes.csv", 5)]
    assert left[0].cells["cct_um"] == "54"
    assert {one.column for one in left[0].problems} == {"cct_um", "nucleus_hardness"}
    assert all(one.row == 3 for one in left[0].problems)


def test_a_corrected_row_goes_in_alone_and_keeps_its_place_while_it_does_not(session: Session, file: Path) -> None:
    rows = import_files(session, [file]).left
    half = corrected(rows[0], "cct_um", "540")
    result = import_again(session, [half, rows[1]])
    assert result.counts["added"] == 0
    assert [(one.file, one.row) for one in result.left] == [("eyes.csv", 3), ("eyes.csv", 4)]
    assert [(one.row, one.column) for one in result.left[0].problems] == [(3, "nucleus_hardness")]
    whole = corrected(result.left[0], "nucleus_hardness", "4")
    again = import_again(session, [whole])
    assert (again.counts["added"], again.left) == (1, ())
    case = session.store.case(CaseKey("P-2", "L", DAY))
    assert case is not None
    assert case.stages[Stage.BOOKING].record.values == {"cct_um": 540.0, "nucleus_hardness": 4, "axial_length_mm": 23.4}
    assert [path.name for path in session.folder.iterdir() if path.name.startswith(".again")] == []


def test_a_persons_word_lets_an_odd_value_in_as_it_stands(session: Session, tmp_path: Path) -> None:
    path = tmp_path / "odd.csv"
    path.write_text(
        "patient_id,eye,surgery_date,exam_at,iop_pod1_mmhg,surgery_time\nP-9,R,2026-02-09,2026-02-10T09:00,2.9,10:00\n"
    )
    (row,) = import_files(session, [path]).left
    (asked,) = row.problems
    assert asked.confirm == "iop_pod1_mmhg"
    result = import_again(session, [confirmed(row, asked)])
    assert (result.counts["added"], result.left) == (1, ())
    stored = session.store.case(CaseKey("P-9", "R", date(2026, 2, 9)))
    assert stored is not None
    assert stored.stages[Stage.DAY_ONE].record.values["iop_pod1_mmhg"] == 2.9


def test_a_look_changes_nothing_and_neither_does_stopping(session: Session, file: Path) -> None:
    rows = [corrected(one, "eye", "R") for one in import_files(session, [file], dry_run=True).left[1:2]]
    assert import_again(session, rows, dry_run=True).counts["added"] == 1

    def stop(fraction: float, sentence: str) -> None:
        if fraction > 0.5:
            raise Cancelled

    with pytest.raises(Cancelled):
        import_again(session, rows, report=stop)
    assert not session.store.keys()
    assert [path.name for path in session.folder.iterdir() if path.name.startswith(".again")] == []


def test_the_rows_can_be_saved_to_be_corrected_elsewhere(session: Session, file: Path, tmp_path: Path) -> None:
    rows = import_files(session, [file]).left
    path = write_left(tmp_path / "left.csv", [corrected(rows[0], "eye", "=R"), *rows[1:]])
    with path.open(newline="", encoding="utf-8") as text:
        found = list(csv.DictReader(text))
    assert [one["patient_id"] for one in found] == ["P-2", "P-3", "P-4"]
    assert found[0]["eye"] == "'=R"
    assert "nucleus_hardness" in found[0]["why_left_out"]
    assert import_files(session, [path]).counts["added"] == 0


def test_whoever_does_not_look_after_the_data_imports_nothing(session: Session, file: Path) -> None:
    people.register(session, "Osei", [Duty.BOOKING])
    with pytest.raises(Refusal, match="needs the duty Data lead"):
        import_files(session, [file])
    assert not session.store.keys()


def test_a_whole_export_without_rechecks_comes_back(session: Session, file: Path, tmp_path: Path) -> None:
    import_files(session, [file])
    export(session, tmp_path / "whole")
    again = import_files(session, [tmp_path / "whole"])
    assert (again.counts["unchanged"], again.rows) == (1, 1)
    with open_session(_empty(tmp_path), person="Osei") as other:
        assert import_files(other, [tmp_path / "whole"]).counts["added"] == 1
        (tmp_path / "whole" / "cases.csv").write_text("patient_id,eye,surgery_date\n")
        with pytest.raises(Refusal, match="no rows"):
            import_files(other, [tmp_path / "whole"])


def _empty(tmp_path: Path) -> Path:
    folder = tmp_path / "other"
    folder.mkdir()
    return folder
