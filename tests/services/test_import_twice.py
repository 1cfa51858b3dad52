"""The same file brought again changes nothing, whatever the order of its rows; each import starts from one practice."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from itertools import permutations
from pathlib import Path

import pytest

from clinic_app.domain.record import CaseKey
from clinic_app.services.intake import ImportResult, import_files
from clinic_app.session import Session, open_session
from models.codebook import Stage

RIGHT, LEFT = CaseKey("p1", "R", date(2026, 3, 10)), CaseKey("p1", "L", date(2026, 3, 10))


@pytest.fixture
def session(tmp_path: Path) -> Iterator[Session]:
    folder = tmp_path / "practice"
    folder.mkdir()
    with open_session(folder, person="Dr A") as opened:
        yield opened


def file(folder: Path, heading: str, *rows: str) -> Path:
    path = folder / "eyes.csv"
    path.write_text("\n".join((f"patient_id,eye,surgery_date,{heading}", *rows)) + "\n", encoding="utf-8")
    return path


def counts(result: ImportResult) -> dict[str, int]:
    return {name: count for name, count in result.counts.items() if count}


def again_changes_nothing(session: Session, path: Path, first: ImportResult) -> None:
    told, rows = counts(first), session.store.rows()
    second = import_files(session, [path])
    same = {name: told[name] for name in ("refused", "asked") if name in told}
    went = told.get("added", 0) + told.get("amended", 0) + told.get("unchanged", 0)
    assert counts(second) == {**same, **({"unchanged": went} if went else {})}
    assert second.problems == first.problems
    assert session.store.rows() == rows


def test_an_eye_that_is_not_booked_goes_in_when_the_booked_one_was_operated_in_the_same_file(
    session: Session, tmp_path: Path
) -> None:
    import_files(session, [file(tmp_path, "cct_um", "p1,L,2026-03-10,540")])
    heading = "irrigation_volume_ml"
    alone = import_files(session, [file(tmp_path, heading, "p1,R,2026-03-10,80")])
    assert counts(alone) == {"asked": 1}
    path = file(tmp_path, heading, "p1,R,2026-03-10,80", "p1,L,2026-03-10,90")
    first = import_files(session, [path])
    assert counts(first) == {"amended": 1, "added": 1}
    assert session.store.case(RIGHT).has(Stage.THEATRE)  # type: ignore[union-attr]
    again_changes_nothing(session, path, first)


@pytest.mark.parametrize("order", list(permutations(("p1,R,2026-03-10,female", "p1,L,2026-04-10,female"))))
def test_a_corrected_sex_counts_in_either_order(session: Session, tmp_path: Path, order: tuple[str, ...]) -> None:
    import_files(session, [file(tmp_path, "sex", "p1,R,2026-03-10,male")])
    path = file(tmp_path, "sex", *order)
    first = import_files(session, [path])
    assert counts(first) == {"amended": 1, "added": 1}
    again_changes_nothing(session, path, first)


def test_a_word_for_a_second_operation_waits_for_the_row_that_says_the_first_took_place(
    session: Session, tmp_path: Path
) -> None:
    import_files(session, [file(tmp_path, "cct_um", "p1,R,2026-03-10,540")])
    path = file(tmp_path, "irrigation_volume_ml,confirmed", "p1,R,2026-09-10,70,operated_before", "p1,R,2026-03-10,80,")
    first = import_files(session, [path])
    assert counts(first) == {"amended": 1, "added": 1}
    again_changes_nothing(session, path, first)


def test_a_repeat_of_a_row_that_was_asked_about_is_asked_about_too(session: Session, tmp_path: Path) -> None:
    import_files(session, [file(tmp_path, "cct_um", "p1,L,2026-03-10,540")])
    path = file(tmp_path, "irrigation_volume_ml", "p1,R,2026-03-10,80", "p1,R,2026-03-10,80")
    first = import_files(session, [path])
    assert counts(first) == {"asked": 2}
    assert session.store.case(RIGHT) is None
    again_changes_nothing(session, path, first)


def test_what_stays_out_is_listed_in_the_order_of_the_file(session: Session, tmp_path: Path) -> None:
    import_files(session, [file(tmp_path, "cct_um", "p1,L,2026-03-10,540")])
    path = file(
        tmp_path, "irrigation_volume_ml", "p1,R,2026-03-10,80", "p2,R,2026-03-10,no idea", "p3,R,2026-03-10,60",
        "p4,x,2026-03-10,60",
    )  # fmt: skip
    first = import_files(session, [path], refused=tmp_path / "left.csv")
    assert [one.row for one in first.problems] == [2, 3, 5]
    assert [line.split(",")[0] for line in (tmp_path / "left.csv").read_text("utf-8").splitlines()[1:]] == [
        "p1", "p2", "p4",
    ]  # fmt: skip
    again_changes_nothing(session, path, first)


@pytest.mark.parametrize(
    ("patients", "case", "values", "missing"),
    [
        ("sex\np1,female", "sex_missing\np1,R,2026-03-10,not_recorded", {"sex": "female"}, {}),
        ("sex_missing\np1,not_recorded", "sex\np1,R,2026-03-10,female", {"sex": "female"}, {}),
        ("sex\np1,female", "sex\np1,R,2026-03-10,not done", {"sex": "female"}, {}),
        ("sex_missing\np1,not_recorded", "sex_missing\np1,R,2026-03-10,not_done", {}, {"sex": "not_done"}),
    ],
)
def test_an_answer_of_the_table_of_patients_goes_before_a_reason_for_none(
    session: Session, tmp_path: Path, patients: str, case: str, values: dict[str, str], missing: dict[str, str]
) -> None:
    shared, cases = tmp_path / "patients.csv", tmp_path / "cases.csv"
    shared.write_text(f"patient_id,birth_date,{patients.replace('p1,', 'p1,1950-05-01,')}\n", encoding="utf-8")
    cases.write_text(f"patient_id,eye,surgery_date,{case}\n", encoding="utf-8")
    assert counts(import_files(session, [shared, cases])) == {"added": 1}
    found = session.store.case(RIGHT)
    assert found is not None
    record = found.stages[Stage.BOOKING].record
    assert record.values == {"birth_date": date(1950, 5, 1), **values}
    assert record.missing == missing
    assert counts(import_files(session, [shared, cases])) == {"unchanged": 1}


VISITS = "sex,cct_um,recheck_at,recheck_cct_um"


def test_visits_of_one_operation_that_differ_in_the_operation_are_refused(session: Session, tmp_path: Path) -> None:
    path = file(
        tmp_path, VISITS,
        "p1,R,2026-03-10,male,540,2026-03-12T09:00,580",
        "p1,R,2026-03-10,male,541,2026-03-19T09:00,560",
        "p2,R,2026-03-10,male,540,2026-03-12T09:00,580",
    )  # fmt: skip
    first = import_files(session, [path])
    assert counts(first) == {"refused": 2, "added": 1}
    assert [(one.row, one.column) for one in first.problems] == [(2, "cct_um"), (3, "cct_um")]
    assert first.problems[0].reason.startswith("Row 3 is about the same operation and differs from this one")
    assert session.store.case(RIGHT) is None
    again_changes_nothing(session, path, first)


def test_visits_that_say_the_same_of_the_operation_or_nothing_go_in(session: Session, tmp_path: Path) -> None:
    path = file(
        tmp_path, VISITS,
        "p1,R,2026-03-10,male,540,2026-03-12T09:00,580",
        "p1,R,2026-03-10,,540 um,2026-03-19T09:00,560",
        "p1,R,2026-03-10,,,2026-03-26T09:00,550",
    )  # fmt: skip
    first = import_files(session, [path])
    assert counts(first) == {"added": 1, "amended": 2}
    found = session.store.case(RIGHT)
    assert found is not None
    assert len(found.rechecks) == 3
    assert found.stages[Stage.BOOKING].record.values == {"sex": "male", "cct_um": 540.0}
    again_changes_nothing(session, path, first)


def test_a_row_is_checked_with_what_earlier_rows_of_its_case_say(session: Session, tmp_path: Path) -> None:
    # grade 2 (a day-one field) and no haze anywhere speak against each other, also when two rows say them
    path = file(
        tmp_path, "edema_grade_central,edema_extent,recheck_at,recheck_cct_um",
        "p1,R,2026-03-10,2,,2026-03-12T09:00,580",
        "p1,R,2026-03-10,,none,2026-03-19T09:00,560",
    )  # fmt: skip
    first = import_files(session, [path])
    assert counts(first) == {"added": 1, "asked": 1}
    assert first.problems[0].row == 3
    again_changes_nothing(session, path, first)
