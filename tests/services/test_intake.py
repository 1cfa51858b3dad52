"""Imports as a practice meets them: what goes in, what is left out and why, and that nothing is half done."""

from __future__ import annotations

import csv
import json
import os
from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path

import pytest
from openpyxl import Workbook

from clinic_app.domain.record import CaseKey, Origin, StageRecord
from clinic_app.errors import Refusal
from clinic_app.services.intake import ImportResult, import_files
from clinic_app.session import Session, open_session
from models.codebook import Stage
from models.progress import Cancelled

KEY = CaseKey("p1", "R", date(2026, 3, 10))


@pytest.fixture
def session(tmp_path: Path) -> Iterator[Session]:
    folder = tmp_path / "practice"
    folder.mkdir()
    with open_session(folder, person="Dr A") as opened:
        yield opened


def eyes(folder: Path, *rows: str, name: str = "eyes.csv", heading: str = "patient_id,eye,surgery_date,cct_um") -> Path:
    path = folder / name
    path.write_text("\n".join((heading, *rows)) + "\n", encoding="utf-8")
    return path


def one(folder: Path, field: str, text: str, *more: tuple[str, str], delimiter: str = ",") -> Path:
    """A file of one row with one more field."""
    cells = {"patient_id": "p1", "eye": "R", "surgery_date": "2026-03-10", field: text, **dict(more)}
    path = folder / "one.csv"
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file, delimiter=delimiter).writerows([cells.keys(), cells.values()])
    return path


def counts(result: ImportResult) -> dict[str, int]:
    found = result.as_dict()
    names = ("added", "amended", "unchanged", "refused", "asked")
    told = {name: found[name] for name in names if found[name]}
    assert found["rows"] == sum(told.values())
    return told


def reasons(result: ImportResult) -> str:
    return " / ".join(problem.reason for problem in result.problems)


def booking(session: Session, key: CaseKey = KEY) -> StageRecord:
    case = session.store.case(key)
    assert case is not None
    return case.stages[Stage.BOOKING].record


def test_rows_become_stages_with_their_companions(session: Session, tmp_path: Path) -> None:
    heading = (
        "patient_id,eye,surgery_date,birth_date,cct_um,cct_um_source,cct_um_at,acd_mm,acd_mm_missing,us_time_s,exam_at,"
        "edema_grade_central,protection_plan,hypertension,shoe size"
    )
    row = (
        "p1,OD,10 Mar 2026,1950-02-03,540 µm,Device A,2026-02-01,,not_done,40,2026-03-11 09:30,1,"
        "coat_first|re_coat,yes,43"
    )
    result = import_files(session, [eyes(tmp_path, row, heading=heading)])
    assert counts(result) == {"added": 1}
    assert [note.reason for note in result.notes] == [
        "The column 'shoe size' is no field of the record and was not read."
    ]
    case = session.store.case(KEY)
    assert case is not None
    record = case.stages[Stage.BOOKING].record
    assert record.values == {
        "birth_date": date(1950, 2, 3),
        "cct_um": 540.0,
        "hypertension": True,
        "protection_plan": ("coat_first", "re_coat"),
    }
    assert record.missing == {"acd_mm": "not_done"}
    assert record.origin == {"cct_um": Origin("Device A", date(2026, 2, 1))}
    assert case.stages[Stage.THEATRE].record.values == {"us_time_s": 40.0}
    assert case.stages[Stage.DAY_ONE].record.values == {
        "exam_at": datetime(2026, 3, 11, 9, 30),
        "edema_grade_central": 1,
    }
    assert session.store.history(key=KEY)[-1].act == "import"


def test_the_same_file_twice_changes_nothing(session: Session, tmp_path: Path) -> None:
    path = eyes(tmp_path, "p1,R,2026-03-10,540 µm", "p1,L,2026-03-10,nd", "p2,R,2026-03-11,<1000")
    assert counts(import_files(session, [path])) == {"added": 3}
    lines = len(session.store.history())
    assert counts(import_files(session, [path])) == {"unchanged": 3}
    assert len(session.store.history()) == lines


def test_an_empty_cell_says_nothing_and_a_reason_replaces(session: Session, tmp_path: Path) -> None:
    import_files(session, [eyes(tmp_path, "p1,R,2026-03-10,540")])
    assert counts(import_files(session, [eyes(tmp_path, "p1,R,2026-03-10,")])) == {"unchanged": 1}
    assert booking(session).values == {"cct_um": 540.0}
    assert counts(import_files(session, [eyes(tmp_path, "p1,R,2026-03-10,not possible")])) == {"amended": 1}
    assert booking(session).values == {}
    assert booking(session).missing == {"cct_um": "not_possible"}


def test_rows_that_contradict_are_both_refused_and_repeats_are_unchanged(session: Session, tmp_path: Path) -> None:
    path = eyes(
        tmp_path,
        "p1,R,2026-03-10,540",
        "p1,right,10 Mar 2026,550",
        "p2,L,2026-03-10,530",
        "p2,LE,2026-03-10,530 um",
        "p3,L,2026-03-16,530",
    )
    result = import_files(session, [path], refused=tmp_path / "left.csv")
    assert counts(result) == {"refused": 2, "added": 2, "unchanged": 1}
    assert [problem.row for problem in result.problems] == [2, 3]
    assert result.problems[0].reason.startswith("Row 3 is about the same eye and day as this one")
    assert "Keep the one that is right" in reasons(result)
    assert len((tmp_path / "left.csv").read_text().splitlines()) == 3


ASKED = [
    ("cct_um", "54", "missing zero"),
    ("cct_um", "0.54", "mm"),
    ("acd_mm", "3100", "µm"),
    ("ecd_per_mm2", "2.41", "thousands"),
    ("hba1c_pct", "53", "mmol/mol"),
    ("us_mean_power_pct", "0.35", "fraction"),
    ("us_time_s", "1:05", "65"),
    ("preop_va_raw", "0.5", "logMAR"),
    ("surgery_date", "03/04/2026", "3 Apr 2026"),
    ("surgery_date", "46091", "10 Mar 2026"),
    ("birth_date", "10.03.26", "2026"),
    ("acd_mm", "—", "why is there no value"),
]
REFUSED = [
    ("eye", "OU", "both eyes"),
    ("surgery_date", "2026-02-30", "no day"),
    ("surgery_date", "", "surgery date"),
    ("patient_id", "", "patient number"),
    ("patient_id", "1.23457E+17", "dropped digits"),
    ("cct_um", "#N/A", "spreadsheet's error"),
    ("cct_um", "#DIV/0!", "spreadsheet's error"),
    ("cct_um", "=500+40", "formula"),
    ("cct_um", "R 540 L 552", "two"),
    ("cct_um", "540/545", "two"),
    ("cct_um", "TRUE", "cct"),
    ("cct_um", "20000", "1200"),
    ("cct_um", "５４０", "digits"),
    ("cct_um", "1_000", "cct"),
    ("glaucoma", "purple", "no answer"),
    ("cct_um", "x" * 40_000, "longer"),
]


@pytest.mark.parametrize(("field", "text", "word"), ASKED)
def test_unclear_cells_are_asked_about_and_left_out(
    session: Session, tmp_path: Path, field: str, text: str, word: str
) -> None:
    result = import_files(session, [one(tmp_path, field, text)])
    assert counts(result) == {"asked": 1}, reasons(result)
    problem = result.problems[0]
    assert (problem.file, problem.row, problem.column, problem.typed) == ("one.csv", 2, field, text)
    assert word.lower() in problem.reason.lower()
    assert session.store.keys() == set()


@pytest.mark.parametrize(("field", "text", "word"), REFUSED)
def test_unreadable_cells_are_refused_with_what_to_do(
    session: Session, tmp_path: Path, field: str, text: str, word: str
) -> None:
    result = import_files(session, [one(tmp_path, field, text)])
    assert counts(result) == {"refused": 1}, reasons(result)
    assert result.problems[0].column == field
    assert word.lower() in (result.problems[0].reason + result.problems[0].column).lower()
    assert result.problems[0].reason.count(".") >= 1
    assert session.store.keys() == set()


@pytest.mark.parametrize(
    ("field", "text", "value"),
    [
        ("acd_mm", "3.0999999046", 3.1),
        ("ecd_per_mm2", "2 410", 2410.0),
        ("ecd_per_mm2", "2'410", 2410.0),
        ("cct_um", "540 µm", 540.0),
        ("cct_um", "0.54 mm", 540.0),
        ("preop_va_raw", "6/9+2", "6/9+2"),
        ("preop_va_raw", "HM", "HM"),
        ("hypertension", "TRUE", True),
        ("nucleus_hardness", "4", 4),
    ],
)
def test_cells_that_are_clear_go_in(session: Session, tmp_path: Path, field: str, text: str, value: object) -> None:
    assert counts(import_files(session, [one(tmp_path, field, text)])) == {"added": 1}
    assert booking(session).values[field] == value


def test_leading_zeros_stay_and_alike_numbers_are_noted(session: Session, tmp_path: Path) -> None:
    result = import_files(session, [eyes(tmp_path, "00123,R,2026-03-10,540", "123,L,2026-03-10,550")])
    assert counts(result) == {"added": 2}
    assert "00123" in " ".join(note.typed for note in result.notes)


def test_decimal_commas_decide_for_the_whole_file(session: Session, tmp_path: Path) -> None:
    heading = "patient_id;eye;surgery_date;acd_mm;ecd_per_mm2"
    result = import_files(
        session,
        [
            eyes(
                tmp_path,
                "p1;R;2026-03-10;3,10;2.410",
                "p2;R;2026-03-10;3,2;2.500",
                "p3;L;2026-03-10;2.90;2610",
                heading=heading,
            )
        ],
    )
    assert counts(result) == {"added": 3}, reasons(result)
    assert booking(session).values == {"acd_mm": 3.1, "ecd_per_mm2": 2410.0}
    assert "decimal mark" in " ".join(note.reason for note in result.notes)


def test_a_point_file_asks_for_a_possible_thousand(session: Session, tmp_path: Path) -> None:
    heading = "patient_id,eye,surgery_date,acd_mm,ecd_per_mm2"
    result = import_files(session, [eyes(tmp_path, "p1,R,2026-03-10,3.10,2.410", heading=heading)])
    assert counts(result) == {"asked": 1}
    assert "2410" in reasons(result)


def test_one_clear_day_decides_the_order_for_the_file(session: Session, tmp_path: Path) -> None:
    assert counts(import_files(session, [eyes(tmp_path, "p1,R,03/04/2026,540", "p2,R,25/04/2026,540")])) == {"added": 2}
    assert CaseKey("p1", "R", date(2026, 4, 3)) in session.store.keys()  # noqa: SIM118 - a method, not a dictionary's
    result = import_files(
        session, [eyes(tmp_path, "p5,R,03/04/2026,540", "p6,R,25/04/2026,540", "p7,R,04/25/2026,540")]
    )
    assert counts(result)["asked"] == 1, "days in both orders decide nothing"


def test_soft_ranges_and_equal_eyes_are_notes(session: Session, tmp_path: Path) -> None:
    heading = "patient_id,eye,surgery_date,cct_um,acd_mm,axial_length_mm"
    path = eyes(tmp_path, "p1,R,2026-03-10,700,3.1,23.5", "p1,L,2026-03-17,700,3.1,23.5", heading=heading)
    result = import_files(session, [path])
    assert counts(result) == {"added": 2}
    said = " ".join(note.reason for note in result.notes)
    assert "fellow eye" in said
    assert [note.typed for note in result.notes].count("700") >= 2


def test_a_waiting_eye_with_another_date_is_asked_about(session: Session, tmp_path: Path) -> None:
    import_files(session, [eyes(tmp_path, "p1,R,2026-03-10,540")])
    result = import_files(session, [eyes(tmp_path, "p1,R,2026-04-10,540")])
    assert counts(result) == {"asked": 1}
    assert "postpone" in reasons(result)
    heading = "patient_id,eye,surgery_date,cct_um,confirmed"
    sure = eyes(tmp_path, "p1,R,2026-04-10,540,other_date", heading=heading)
    assert counts(import_files(session, [sure])) == {"added": 1}


def test_an_operated_eye_with_another_date_is_asked_about(session: Session, tmp_path: Path) -> None:
    import_files(session, [one(tmp_path, "us_time_s", "40")])
    result = import_files(session, [eyes(tmp_path, "p1,R,2026-06-10,540")])
    assert counts(result) == {"asked": 1}
    assert "second operation" in reasons(result)
    heading = "patient_id,eye,surgery_date,cct_um,confirmed"
    sure = eyes(tmp_path, "p1,R,2026-06-10,540,operated_before", heading=heading)
    assert counts(import_files(session, [sure])) == {"added": 1}


def test_theatre_data_for_the_eye_that_is_not_booked_are_asked_about(session: Session, tmp_path: Path) -> None:
    import_files(session, [eyes(tmp_path, "p1,R,2026-03-10,540")])
    result = import_files(session, [one(tmp_path, "us_time_s", "40", ("eye", "L"))])
    assert counts(result) == {"asked": 1}
    assert "right eye is booked" in reasons(result)


def test_another_birth_date_is_asked_about(session: Session, tmp_path: Path) -> None:
    heading = "patient_id,eye,surgery_date,birth_date"
    import_files(session, [eyes(tmp_path, "p1,R,2026-03-10,1950-02-03", heading=heading)])
    result = import_files(session, [eyes(tmp_path, "p1,L,2026-03-17,1951-02-03", heading=heading)])
    assert counts(result) == {"asked": 1}
    assert "another birth date" in reasons(result)


def test_two_eyes_that_disagree_about_the_patient_do_not_take_turns(session: Session, tmp_path: Path) -> None:
    heading = "patient_id,eye,surgery_date,sex"
    path = eyes(
        tmp_path,
        "p1,R,2026-03-10,female",
        "p1,L,2026-03-17,male",
        "p2,R,2026-03-10,f",
        "p2,L,2026-03-17,nr",
        heading=heading,
    )
    assert counts(import_files(session, [path])) == {"added": 3, "asked": 1}
    lines = len(session.store.history())
    assert counts(import_files(session, [path])) == {"unchanged": 3, "asked": 1}
    assert len(session.store.history()) == lines


@pytest.mark.parametrize(
    ("cells", "kind"),
    [
        ({"birth_date": "2030-01-01"}, "refused"),
        ({"exam_at": "2026-03-09T10:00", "edema_grade_central": "1"}, "refused"),
        ({"cct_um": "540", "cct_um_at": "2026-03-12"}, "refused"),
        ({"us_energy_value": "12"}, "refused"),
        ({"cct_um": "540", "cct_um_missing": "not_done"}, "refused"),
        ({"cct_um_missing": "lost"}, "refused"),
        ({"diabetes": "none", "diabetes_years": "12"}, "asked"),
        ({"edema_grade_central": "1", "descemet_folds": "5-9"}, "asked"),
        ({"recheck_cct_um": "560"}, "refused"),
    ],
)
def test_fields_that_speak_against_each_other(
    session: Session, tmp_path: Path, cells: dict[str, str], kind: str
) -> None:
    (first, *more) = cells.items()
    result = import_files(session, [one(tmp_path, *first, *more)])
    assert counts(result) == {kind: 1}
    assert len(reasons(result)) > 20


def test_a_person_can_confirm_what_was_asked(session: Session, tmp_path: Path) -> None:
    path = one(tmp_path, "diabetes", "none", ("diabetes_years", "12"))
    assert "write years_without_diabetes" in reasons(import_files(session, [path]))
    path = one(tmp_path, "diabetes", "none", ("diabetes_years", "12"), ("confirmed", "years_without_diabetes"))
    assert counts(import_files(session, [path])) == {"added": 1}


def test_a_slip_inside_the_hard_range_can_be_confirmed_and_one_outside_cannot(session: Session, tmp_path: Path) -> None:
    result = import_files(session, [one(tmp_path, "us_mean_power_pct", "0.35")])
    assert 'write us_mean_power_pct in a column "confirmed"' in reasons(result)
    path = one(tmp_path, "us_mean_power_pct", "0.35", ("confirmed", "us_mean_power_pct"))
    assert counts(import_files(session, [path])) == {"added": 1}
    case = session.store.case(KEY)
    assert case is not None
    assert case.stages[Stage.THEATRE].record.values == {"us_mean_power_pct": 0.35}
    assert counts(import_files(session, [one(tmp_path, "cct_um", "54", ("confirmed", "cct_um"))])) == {"asked": 1}


def sign(session: Session, **values: object) -> None:
    with session.store.writing(by="Dr B", act="book") as writer:
        writer.put_stage(KEY, StageRecord(Stage.BOOKING, values))  # type: ignore[arg-type]


def test_what_was_entered_in_the_program_is_never_overwritten(session: Session, tmp_path: Path) -> None:
    sign(session, cct_um=540.0, birth_date=date(1950, 2, 3), sex="female")
    assert counts(import_files(session, [eyes(tmp_path, "p1,R,2026-03-10,540")])) == {"unchanged": 1}
    result = import_files(session, [eyes(tmp_path, "p1,R,2026-03-10,550")])
    assert counts(result) == {"asked": 1}
    assert "entered in the program" in reasons(result)
    assert counts(import_files(session, [one(tmp_path, "cct_um", "np")])) == {"asked": 1}
    assert counts(import_files(session, [one(tmp_path, "sex", "male", ("eye", "L"))])) == {"asked": 1}
    assert counts(import_files(session, [one(tmp_path, "cct_um", "540", ("cct_um_typed", "about 540"))])) == {
        "amended": 1
    }
    assert counts(import_files(session, [one(tmp_path, "cct_um", "540", ("cct_um_typed", "other"))])) == {"asked": 1}
    assert counts(import_files(session, [one(tmp_path, "acd_mm", "3.1")])) == {"amended": 1}
    assert booking(session).values["cct_um"] == 540.0
    assert booking(session).values["acd_mm"] == 3.1


def test_a_recheck_that_stands_here_is_not_replaced(session: Session, tmp_path: Path) -> None:
    visit = ("recheck_at", "2026-03-20T10:00")
    assert counts(import_files(session, [one(tmp_path, "recheck_cct_um", "560", visit)])) == {"added": 1}
    assert counts(import_files(session, [one(tmp_path, "recheck_cct_um", "560", visit)])) == {"unchanged": 1}
    assert counts(import_files(session, [one(tmp_path, "recheck_cct_um", "570", visit)])) == {"asked": 1}
    another = ("recheck_at", "2026-03-27T10:00")
    assert counts(import_files(session, [one(tmp_path, "recheck_cct_um", "550", another)])) == {"amended": 1}
    case = session.store.case(KEY)
    assert case is not None
    assert [visit.record.values["recheck_cct_um"] for visit in case.rechecks] == [560.0, 550.0]


def test_refused_rows_are_corrected_and_imported_alone(session: Session, tmp_path: Path) -> None:
    heading = "patient_id;eye;surgery_date;cct_um;Notiz;intracameral_drugs"
    path = eyes(
        tmp_path,
        "p1;R;2026-03-10;540;a;x",
        "p2;OU;2026-03-10;54;b;=1+1",
        'p3;R;2026-03-10;54;"c;d";\'=2',
        heading=heading,
    )
    left = tmp_path / "left.csv"
    result = import_files(session, [path], refused=left)
    assert counts(result) == {"added": 1, "refused": 1, "asked": 1}
    assert result.as_dict()["refused_file"] == str(left)
    with left.open(newline="", encoding="utf-8") as file:
        rows = list(csv.reader(file, delimiter=";"))
    assert rows[0] == [*heading.split(";"), "why_left_out"]
    assert rows[1][5] == "'=1+1"
    assert "eye:" in rows[1][-1]
    assert "cct_um:" in rows[1][-1]
    rows[1][1], rows[1][3], rows[2][3] = "L", "540", "540"
    with left.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file, delimiter=";").writerows(rows)
    assert counts(import_files(session, [left])) == {"added": 2}
    drugs = [case.stages[Stage.THEATRE].record.values["intracameral_drugs"] for case in session.store.cases()]
    assert sorted(str(one) for one in drugs) == ["=1+1", "=2", "x"]


def test_the_refused_file_never_replaces_the_file_itself(session: Session, tmp_path: Path) -> None:
    path = eyes(tmp_path, "p1,R,2026-03-10,54")
    with pytest.raises(Refusal, match="written over"):
        import_files(session, [path], refused=path)
    with pytest.raises(Refusal, match="folder"):
        import_files(session, [path], refused=tmp_path / "none" / "left.csv")


def test_a_place_where_the_refused_rows_cannot_be_written_is_told_before_anything_is_read(
    session: Session, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = eyes(tmp_path, "p1,R,2026-03-10,54", "p2,R,2026-03-10,540")
    closed = tmp_path / "closed"
    closed.mkdir()
    real = os.access

    def access(place: Path, mode: int) -> bool:
        return False if Path(place) == closed and mode & os.W_OK else real(place, mode)

    monkeypatch.setattr(os, "access", access)
    for target in (closed, closed / "left.csv"):
        with pytest.raises(Refusal, match="cannot be written there"):
            import_files(session, [path], refused=target, report=lambda part, said: pytest.fail("began"))
    assert session.store.keys() == set()


def test_three_rows_about_one_eye_are_named_in_a_sentence(session: Session, tmp_path: Path) -> None:
    path = eyes(tmp_path, "p1,R,2026-03-10,540", "p1,R,2026-03-10,550", "p1,R,2026-03-10,560")
    result = import_files(session, [path])
    assert result.problems[0].reason.startswith("The rows 3 and 4 are about the same eye and day as this one")


def test_a_dry_run_counts_the_same_and_changes_nothing(session: Session, tmp_path: Path) -> None:
    path = eyes(tmp_path, "p1,R,2026-03-10,540", "p2,R,2026-03-10,54", "p3,OU,2026-03-10,540")
    lines = len(session.store.history())
    dry = import_files(session, [path], dry_run=True, refused=tmp_path / "left.csv")
    assert session.store.keys() == set()
    assert len(session.store.history()) == lines
    wet = import_files(session, [path])
    assert dry.as_dict()["dry_run"] is True
    assert counts(dry) == counts(wet) == {"added": 1, "asked": 1, "refused": 1}
    assert dry.problems == wet.problems


@pytest.mark.parametrize("at", [0.0, 0.05, 0.5, 0.97])
def test_a_cancelled_import_leaves_nothing(session: Session, tmp_path: Path, at: float) -> None:
    path = eyes(tmp_path, *(f"p{number},R,2026-03-10,540" for number in range(3000)), "p3000,R,2026-03-10,54")
    heard: list[float] = []

    def report(fraction: float, sentence: str) -> None:
        heard.append(fraction)
        assert sentence.endswith(".")
        if fraction >= at:
            raise Cancelled

    with pytest.raises(Cancelled):
        import_files(session, [path], report=report, refused=tmp_path / "left.csv")
    assert session.store.keys() == set()
    assert not (tmp_path / "left.csv").exists()
    assert heard == sorted(heard)


def test_progress_runs_from_nothing_to_all(session: Session, tmp_path: Path) -> None:
    heard: list[float] = []
    import_files(session, [eyes(tmp_path, "p1,R,2026-03-10,540")], report=lambda fraction, _: heard.append(fraction))
    assert heard[0] == 0
    assert heard[-1] == 1
    assert heard == sorted(heard)


@pytest.mark.parametrize(
    ("content", "word"),
    [
        ("", "empty"),
        ("patient_id,eye,surgery_date\n", "no rows"),
        ("patient_id,eye,cct_um\np1,R,540\n", "no column surgery_date"),
        ("number,side,cct_um\np1,R,540\n", "no column patient_id"),
        ("patient_id,eye,surgery_date,eye\np1,R,2026-03-10,R\n", "2 times"),
        ('patient_id,eye,surgery_date\np1,R,2026-03-10\np2,"R,2026-03-10\n', "none closes it"),
        ("patient_id,eye,surgery_date,cct_um\np1,R,2026-03-10," + "9" * 10_000_000 + "\n", "longer than any answer"),
    ],
)
def test_a_fault_of_the_file_refuses_it_whole(session: Session, tmp_path: Path, content: str, word: str) -> None:
    bad = tmp_path / "bad.csv"
    bad.write_text(content, encoding="utf-8")
    with pytest.raises(Refusal) as no:
        import_files(session, [eyes(tmp_path, "p9,R,2026-03-10,540"), bad])
    assert word in no.value.why
    assert no.value.next
    assert session.store.keys() == set(), "the good file beside it did not go in either"


def test_folders_and_no_files_at_all(session: Session, tmp_path: Path) -> None:
    with pytest.raises(Refusal, match="folder"):
        import_files(session, [tmp_path])
    with pytest.raises(Refusal, match="No file"):
        import_files(session, [])


def test_a_short_row_is_refused_because_its_cells_may_be_shifted(session: Session, tmp_path: Path) -> None:
    result = import_files(session, [eyes(tmp_path, "p1,R,2026-03-10", "p2,R,2026-03-10,540,7", "p3,R,2026-03-10,540,")])
    assert counts(result) == {"refused": 2, "added": 1}


def test_files_of_one_import_build_on_each_other(session: Session, tmp_path: Path) -> None:
    booked = eyes(tmp_path, "p1,R,2026-03-10,540", name="a.csv")
    theatre = eyes(tmp_path, "p1,R,2026-03-10,40", name="b.csv", heading="patient_id,eye,surgery_date,us_time_s")
    assert counts(import_files(session, [booked, theatre])) == {"added": 1, "amended": 1}
    case = session.store.case(KEY)
    assert case is not None
    assert set(case.stages) == {Stage.BOOKING, Stage.THEATRE}


def test_a_mapping_file_names_headings_units_and_constants(session: Session, tmp_path: Path) -> None:
    path = eyes(tmp_path, "p1;re;10.03.2026;0,54;x", heading="Nummer;Auge;Tag;Hornhaut;Bemerkung")
    mapping = tmp_path / "intake-map.json"
    found = {
        "columns": [
            {"heading": "Nummer", "field": "patient_id"},
            {"heading": "Auge", "field": "eye"},
            {"heading": "Tag", "field": "surgery_date"},
            {"heading": "Hornhaut", "field": "cct_um", "unit": "mm"},
            {"heading": "Bemerkung", "field": None},
        ],
        "constants": {"acd_definition": "epithelium"},
        "date_order": "dmy",
        "decimal": ",",
    }
    mapping.write_text(json.dumps(found), encoding="utf-8")
    result = import_files(session, [path], mapping=mapping)
    assert counts(result) == {"added": 1}, reasons(result)
    assert result.notes == () or all("Bemerkung" not in note.reason for note in result.notes)
    assert booking(session).values == {"cct_um": 540.0, "acd_definition": "epithelium"}
    found["constants"] = {"acd_definition": "sideways"}
    mapping.write_text(json.dumps(found), encoding="utf-8")
    with pytest.raises(Refusal, match="constant acd_definition"):
        import_files(session, [path], mapping=mapping)


def test_a_workbook_is_imported_with_its_numbers_days_and_errors(session: Session, tmp_path: Path) -> None:
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    for row in (
        ("patient_id", "eye", "surgery_date", "acd_mm", "hypertension", "ecd_per_mm2"),
        (123, "R", date(2026, 3, 10), 3.0999999046325684, True, 2.415e3),
        ("00123", "L", date(2026, 3, 10), "3,20", False, "2 410"),
        ("p3", "R", date(2026, 3, 10), "#N/A", True, 2400),
        ("p4", "R", 46091, 3.1, True, 2400),
        ("p5", "R", date(2026, 3, 10), 3.1, True, 2.415),
    ):
        sheet.append(row)
    sheet["D4"].data_type = "e"
    path = tmp_path / "eyes.xlsx"
    book.save(path)
    result = import_files(session, [path])
    assert counts(result) == {"added": 2, "refused": 1, "asked": 2}, reasons(result)
    assert [(problem.row, problem.column) for problem in result.problems] == [
        (4, "acd_mm"),
        (5, "surgery_date"),
        (6, "ecd_per_mm2"),
    ]
    assert booking(session, CaseKey("123", "R", date(2026, 3, 10))).values == {
        "acd_mm": 3.1,
        "hypertension": True,
        "ecd_per_mm2": 2415.0,
    }
    assert booking(session, CaseKey("00123", "L", date(2026, 3, 10))).values["acd_mm"] == 3.2


def test_the_document_has_the_keys_that_others_rely_on(session: Session, tmp_path: Path) -> None:
    found = import_files(session, [eyes(tmp_path, "p1,R,2026-03-10,54")]).as_dict()
    assert {"files", "rows", "added", "amended", "unchanged", "refused", "asked", "problems", "dry_run"} <= set(found)
    problems = found["problems"]
    assert isinstance(problems, list)
    assert set(problems[0]) == {"file", "row", "column", "typed", "reason"}
    json.dumps(found)
