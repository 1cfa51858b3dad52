"""Exports: they come back whole, hold nothing that a spreadsheet would run, and without people nobody can be told."""

from __future__ import annotations

import csv
import json
import math
import re
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest

from clinic_app.domain.record import CaseKey, Origin, StageRecord, StoredForecast, Value
from clinic_app.errors import Refusal
from clinic_app.exchange.tables import open_tables
from clinic_app.services.export import export
from clinic_app.services.intake import import_files
from clinic_app.session import Session, open_session
from models.codebook import FIELDS, KEY, Field, Kind, Role, Stage, fields_of
from models.progress import Cancelled

DAY = date(2026, 3, 10)
NASTY = (
    "=1+1",
    "+A",
    "@x",
    "'quoted'",
    "a;b,c|d",
    'say "x"',
    "Ωµ é",
    "-0.30",
    "1.234 of it",
    "sep=;",
    "_x0041_ literally",
)


@contextmanager
def practice(folder: Path) -> Iterator[Session]:
    folder.mkdir()
    with open_session(folder, person="Dr A") as opened:
        yield opened


def records(session: Session) -> list[object]:
    """Everything the practice wrote, without who and when."""
    return sorted(
        (
            (
                case.key,
                {stage: written.record for stage, written in case.stages.items()},
                [one.record for one in case.rechecks],
            )
            for case in session.store.cases()
        ),
        key=lambda one: one[0],
    )


def answer(field: Field, at: int) -> Value:
    """An invented answer of the field's kind, a different one for each `at`."""
    if field.kind is Kind.NUMBER:
        low, high = field.soft or field.hard or (0.0, 1.0)
        return low + (high - low) * ((at * 0.6180339887498949) % 1)
    if field.kind is Kind.INTEGER:
        low, high = field.soft or field.hard or (0, 3)
        return int(low) + at % (int(high) - int(low) + 1)
    if field.kind is Kind.GRADE:
        return int(field.codes[at % len(field.codes)])
    if field.kind is Kind.CHOICE:
        return field.codes[at % len(field.codes)]
    if field.kind is Kind.CHOICES:
        return (field.codes[1], field.codes[2]) if at % 2 else (field.codes[at % len(field.codes)],)
    if field.kind is Kind.YES_NO:
        return at % 2 == 0
    if field.kind is Kind.TIME:
        return time(8 + at % 9, at % 60, at % 2 * 7)
    if field.kind is Kind.MOMENT:
        return datetime.combine(DAY + timedelta(days=1 + at), time(9, at % 60))
    if field.kind is Kind.DATE:
        return date(1940 + at % 40, 2, 3)
    return NASTY[at % len(NASTY)] if field.kind is Kind.TEXT else f"00{at}-code"


UNTIED = {
    "exam_at",
    "nuclear_opalescence_no",
    "nuclear_color_nc",
    "bottle_height_cm",
    "visit_status",
    "edema_extent",
    "descemet_folds",
    "descemet_folds_count",
    "diabetes",
    "diabetes_years",
    "effective_phaco_time_s",
    "cct_pod1_um",
    "cct_change_pct",
    "hours_since_surgery",
    "age_years",
    "birth_date",
    "sex",
}
"""Fields that speak against others when every one gets an answer at random; each has an answer somewhere below."""


def full(session: Session) -> None:
    """Eyes with every field, odd texts, reasons, devices, confirmed oddities, rechecks and a waiting second date."""
    with session.store.writing(by="Dr B", act="book") as writer:
        for at in range(24):
            key = CaseKey(f"00{at // 2}", "RL"[at % 2], DAY + timedelta(days=at))
            patient = {"birth_date": date(1940 + at // 2, 2, 3), "sex": ("female", "male")[at // 2 % 2]}
            for stage in (Stage.BOOKING, Stage.THEATRE, Stage.DAY_ONE):
                many = [one for one in fields_of(stage) if one.name not in (*KEY, *UNTIED)]
                always = "us_energy_metric"  # a reading without it is refused
                kept = [one for place, one in enumerate(many) if (place + at) % 4 or one.name == always]
                left = [one for one in many if one not in kept]
                values: dict[str, Value] = {one.name: answer(one, at + place) for place, one in enumerate(kept)}
                if stage is Stage.BOOKING:
                    values |= patient
                    values["diabetes"] = ("type2", "none")[at % 2]
                    values["diabetes_years"] = 0.1 + 0.2 + at
                if stage is Stage.DAY_ONE:
                    values["exam_at"] = datetime.combine(
                        key.surgery_date + timedelta(days=1), time(0 if at % 5 == 0 else 9)
                    )
                    values["visit_status"] = "attended"
                measured = [one.name for one in kept if one.measured]
                origin = {
                    name: Origin(("Device, A", None)[n % 2], key.surgery_date if n % 2 else None)
                    for n, name in enumerate(measured)
                }
                missing = {one.name: "not_possible" for one in left}
                typed = {left[0].name: "<1000", **dict.fromkeys(measured[:1], "=540 µm")}
                writer.put_stage(key, StageRecord(stage, values, missing, typed, origin))
            visits = {one.name: answer(one, at) for one in fields_of(Stage.RECHECK)}
            writer.put_recheck(key, StageRecord(Stage.RECHECK, visits))
            writer.put_recheck(
                key,
                StageRecord(Stage.RECHECK, {"recheck_at": datetime(2026, 6, 1, 9, 30)}, {"recheck_cct_um": "not_done"}),
            )
        theatre: dict[str, Value] = {
            "us_time_s": 40.0,
            "us_mean_power_pct": 0.35,
            "effective_phaco_time_s": 0.012,
            "ept_origin": "machine",
        }
        writer.put_stage(
            CaseKey("t", "R", DAY), StageRecord(Stage.BOOKING, {"cct_um": 500.125, "ecd_per_mm2": 1.0 / 3 + 2000})
        )
        writer.put_stage(CaseKey("t", "R", DAY), StageRecord(Stage.THEATRE, theatre))
        for days in (0, 30):
            writer.put_stage(
                CaseKey("w", "L", DAY + timedelta(days=days)), StageRecord(Stage.BOOKING, {"age_years": 70.5})
            )


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Session]:
    with practice(tmp_path_factory.mktemp("filled") / "practice") as opened:
        full(opened)
        yield opened


def test_the_invented_practice_uses_every_field(filled: Session) -> None:
    named = {name for case in filled.store.cases() for name in case.row()}
    named |= {name for case in filled.store.cases() for visit in case.rechecks for name in visit.record.values}
    told = {one.name for one in FIELDS} - named
    assert told <= UNTIED | {"preop_va_raw"}


@pytest.mark.parametrize("name", ["whole.xlsx", "whole"])
@pytest.mark.parametrize("decimal", ["", ","])
def test_a_full_export_comes_back_whole_bit_for_bit(filled: Session, tmp_path: Path, name: str, decimal: str) -> None:
    target = tmp_path / name
    result = export(filled, target)
    assert result.rows == {"patients": 14, "cases": 27, "rechecks": 48}
    with practice(tmp_path / "empty") as empty:
        import dataclasses

        other = empty.with_settings(dataclasses.replace(empty.settings, decimal=decimal, date_order="mdy"))
        came = import_files(other, [target])
        assert [problem.as_dict() for problem in came.problems] == []
        assert records(empty) == records(filled)
        again = import_files(other, [target]).as_dict()
        assert again["unchanged"] == again["rows"] == 75


def test_the_tables_of_a_folder_come_back_in_any_order(filled: Session, tmp_path: Path) -> None:
    export(filled, tmp_path / "whole")
    with practice(tmp_path / "empty") as empty:
        files = [tmp_path / "whole" / name for name in ("rechecks.csv", "patients.csv", "cases.csv")]
        assert import_files(empty, files).problems == ()
        assert records(empty) == records(filled)


def test_cases_alone_come_back_as_the_same_cases(filled: Session, tmp_path: Path) -> None:
    result = export(filled, tmp_path / "cases.csv")
    assert result.rows["cases"] == 27
    assert "48 rechecks left out" in result.sentence()
    with practice(tmp_path / "empty") as empty:
        assert import_files(empty, [tmp_path / "cases.csv"]).problems == ()
        assert [case.key for case in empty.store.cases()] == [case.key for case in filled.store.cases()]
        assert empty.store.rows() == filled.store.rows()


def test_an_export_put_back_into_its_own_practice_changes_nothing(filled: Session, tmp_path: Path) -> None:
    export(filled, tmp_path / "whole.xlsx")
    lines = len(filled.store.history())
    found = import_files(filled, [tmp_path / "whole.xlsx"]).as_dict()
    assert found["unchanged"] == found["rows"]
    assert len(filled.store.history()) == lines


def test_columns_are_codebook_names_with_the_key_first(filled: Session, tmp_path: Path) -> None:
    export(filled, tmp_path / "cases.csv")
    with (tmp_path / "cases.csv").open(newline="", encoding="utf-8") as file:
        headings = next(csv.reader(file))
    assert tuple(headings[:3]) == KEY
    named = [one.name for one in FIELDS if one.stage is not Stage.RECHECK]
    assert [one for one in headings if one in named] == named
    assert headings[-1] == "confirmed"


def test_only_the_days_asked_for_are_written(filled: Session, tmp_path: Path) -> None:
    result = export(filled, tmp_path / "c.csv", from_=DAY + timedelta(days=1), to=DAY + timedelta(days=2))
    assert result.rows["cases"] == 2


def test_no_cell_of_an_export_is_a_formula(filled: Session, tmp_path: Path) -> None:
    export(filled, tmp_path / "whole.xlsx")
    with zipfile.ZipFile(tmp_path / "whole.xlsx") as archive:
        sheets = [archive.read(name).decode() for name in archive.namelist() if name.startswith("xl/worksheets/")]
    assert len(sheets) == 3
    assert not any("<f>" in sheet or "<f " in sheet for sheet in sheets)
    export(filled, tmp_path / "whole")
    for name in ("cases.csv", "rechecks.csv", "patients.csv"):
        with (tmp_path / "whole" / name).open(newline="", encoding="utf-8") as file:
            cells = [cell for row in csv.reader(file) for cell in row]
        runnable = [cell for cell in cells if cell[:1] in "=+-@|%\t\r" and cell]
        assert all(re.fullmatch(r"-?\d+(\.\d+)?", cell) for cell in runnable)
    assert any(cell.startswith("'=") for cell in (tmp_path / "whole" / "cases.csv").read_text().split(","))


def test_the_manifest_names_tables_rules_and_hashes(filled: Session, tmp_path: Path) -> None:
    import hashlib

    before = filled.store.head().number
    export(filled, tmp_path / "whole")
    found = json.loads((tmp_path / "whole" / "manifest.json").read_text(encoding="utf-8"))
    content = (tmp_path / "whole" / "cases.csv").read_bytes()
    assert found["sha256"]["cases.csv"] == hashlib.sha256(content).hexdigest()
    assert found["tables"]["cases"]["rows"] == 27
    assert found["history"]["number"] == before
    (line,) = filled.store.history(newest=1)
    assert (line.act, line.new) == ("export", "14 patients, 27 cases, 48 rechecks")
    assert "apostrophe" in found["rules"][-1]


def people(session: Session, count: int = 40) -> None:
    with session.store.writing(by="Dr B", act="book") as writer:
        for at in range(count):
            for eye in "RL":
                key = CaseKey(f"MRN{at:05}", eye, DAY + timedelta(days=at + (7 if eye == "L" else 0)))
                booked: dict[str, Value] = {
                    "birth_date": date(1925 + at, 5, 17),
                    "sex": "other" if at < 2 else ("female", "male")[at % 2],
                    "surgery_time": time(9, 15),
                    "booked_surgeon_id": "SMITH",
                    "supervisor_id": "JONES",
                    "cct_um": 540.0 + at,
                    "preop_va_raw": "6/12 seen by Smith",
                    "preop_va_chart": "chart of Smith",
                    "glaucoma": "OHT",
                }
                writer.put_stage(
                    key,
                    StageRecord(
                        Stage.BOOKING,
                        booked,
                        {},
                        {"cct_um": "540 Smith"},
                        {"cct_um": Origin("SMITH device", key.surgery_date)},
                    ),
                )
                writer.put_stage(
                    key,
                    StageRecord(
                        Stage.THEATRE,
                        {
                            "surgeon_id": "SMITH",
                            "phaco_machine_id": "MACHINE-77",
                            "intracameral_drugs": "by Smith",
                            "tray_id": "TRAY9",
                            "ovd_lot": "LOT9",
                            "operator_by_step": "Smith then Jones",
                            "us_time_s": 40.0,
                        },
                    ),
                )
                seen = datetime.combine(key.surgery_date + timedelta(days=1), time(9, 15))
                writer.put_stage(
                    key,
                    StageRecord(
                        Stage.DAY_ONE,
                        {"exam_at": seen, "examiner_id": "JONES", "edema_grade_central": 1, "ucva_raw": "6/9"},
                    ),
                )
                visit: dict[str, Value] = {
                    "recheck_at": seen + timedelta(days=6),
                    "recheck_examiner_id": "JONES",
                    "recheck_cct_um": 550.0,
                }
                writer.put_recheck(key, StageRecord(Stage.RECHECK, visit))


def table(path: Path) -> list[dict[str, str]]:
    (found,) = open_tables(path)
    return [dict(zip(found.headings, map(str, cells), strict=False)) for _, cells in found.rows()]


def test_without_people_nobody_can_be_told(tmp_path: Path) -> None:
    with practice(tmp_path / "practice") as session:
        people(session)
        result = export(session, tmp_path / "shared", deidentified=True)
        assert set(result.rows) == {"cases", "rechecks"}
        text = "".join(path.read_text(encoding="utf-8") for path in (tmp_path / "shared").iterdir())
        for planted in (
            "MRN",
            "SMITH",
            "Smith",
            "JONES",
            "MACHINE-77",
            "TRAY9",
            "LOT9",
            "09:15,",
            "Dr B",
            "chart of",
        ):
            assert planted not in text.replace("T09:15", ""), planted
        assert not re.search(r"19\d\d-05-17", text), "no birth date"
        rows = table(tmp_path / "shared" / "cases.csv")
        assert len(rows) == 80
        assert not any(row.get(one.name) for row in rows for one in FIELDS if one.kind is Kind.TEXT)
        people_ids = [
            one.name for one in FIELDS if one.role is Role.IDENTIFIER and one.name not in (*KEY, "birth_date")
        ]
        assert not any(row.get(name) for row in rows for name in ("birth_date", "surgery_time", *people_ids))
        assert max(float(row["age_years"]) for row in rows) == 90
        assert all(row["age_years"].isdigit() for row in rows)
        assert {row["sex"] for row in rows} == {"female", "male", ""}, (
            "two patients with a rare answer do not stand out"
        )
        assert {row["hours_since_surgery"] for row in rows} == {"24"}
        assert {row["phaco_machine_id"] for row in rows} == {"machine 1"}
        assert all(float(row["ucva_logmar"]) == pytest.approx(math.log10(9 / 6), abs=1e-12) for row in rows)


def test_days_move_together_within_a_patient_and_differ_between_them(tmp_path: Path) -> None:
    with practice(tmp_path / "practice") as session:
        people(session)
        export(session, tmp_path / "shared", deidentified=True)
        true = {row["cct_um"]: row["surgery_date"] for row in session.store.rows() if row["eye"] == "R"}
        rows = table(tmp_path / "shared" / "cases.csv")
    shifts = []
    for patient in {row["patient_id"] for row in rows}:
        both = {row["eye"]: row for row in rows if row["patient_id"] == patient}
        days = {eye: date.fromisoformat(row["surgery_date"]) for eye, row in both.items()}
        assert days["L"] - days["R"] == timedelta(days=7)
        assert date.fromisoformat(both["R"]["exam_at"][:10]) - days["R"] == timedelta(days=1)
        assert date.fromisoformat(both["R"]["cct_um_at"]) == days["R"]
        was = true[float(both["R"]["cct_um"])]
        assert isinstance(was, date)
        shifts.append((days["R"] - was).days)
    assert all(1 <= abs(shift) <= 180 for shift in shifts)
    assert len(set(shifts)) > 10
    visits = table(tmp_path / "shared" / "rechecks.csv")
    first = {(row["patient_id"], row["eye"]): row["surgery_date"] for row in rows}
    assert all(first[row["patient_id"], row["eye"]] == row["surgery_date"] for row in visits)
    assert all(
        date.fromisoformat(row["recheck_at"][:10]) - date.fromisoformat(row["surgery_date"]) == timedelta(days=7)
        for row in visits
    )


def test_each_export_without_people_draws_anew_and_can_be_imported(tmp_path: Path) -> None:
    with practice(tmp_path / "practice") as session:
        people(session, 12)
        for name in ("a.csv", "b.csv"):
            result = export(session, tmp_path / name, deidentified=True)
            assert (tmp_path / name.replace(".csv", ".manifest.json")) in result.files
    assert (tmp_path / "a.csv").read_text() != (tmp_path / "b.csv").read_text()
    manifest = json.loads((tmp_path / "a.manifest.json").read_text(encoding="utf-8"))
    assert manifest["deidentified"] is True
    assert "history" not in manifest
    assert manifest["tables"]["cases"]["rows"] == 24
    with practice(tmp_path / "other") as other:
        found = import_files(other, [tmp_path / "a.csv"]).as_dict()
        assert found["added"] == 24


def test_forecasts_are_a_table_of_their_own(tmp_path: Path) -> None:
    with practice(tmp_path / "practice") as session:
        key = CaseKey("p1", "R", DAY)
        with session.store.writing(by="Dr B", act="book") as writer:
            writer.put_stage(key, StageRecord(Stage.BOOKING, {"cct_um": 540.0}))
            model = writer.add_model("booking", "{}")
            made = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)
            common = (model.model_id, "booking", made, "Dr B")
            writer.add_forecasts(
                [
                    StoredForecast(key, *common, "forecast", 1 / 3, 0.1, 0.6, {}),
                    StoredForecast(key, *common, "refused_missing", None, None, None, {}),
                ]
            )
        export(session, tmp_path / "f.csv", forecasts=True)
        rows = table(tmp_path / "f.csv")
        assert list(rows[0]) == [
            "patient_id",
            "eye",
            "surgery_date",
            "model_id",
            "model",
            "made_at",
            "risk",
            "low",
            "high",
            "status",
            "locked",
        ]
        assert [(row["risk"], row["status"], row["locked"]) for row in rows] == [
            ("0.3333333333333333", "forecast", "no"),
            ("", "refused_missing", "no"),
        ]
        assert export(session, tmp_path / "g.csv", forecasts=True, from_=DAY + timedelta(days=1)).rows == {
            "forecasts": 0
        }
        with pytest.raises(Refusal, match="not written without people"):
            export(session, tmp_path / "h.csv", forecasts=True, deidentified=True)


@pytest.mark.parametrize("name", ["x.json", "x.xls"])
def test_other_endings_are_refused(filled: Session, tmp_path: Path, name: str) -> None:
    with pytest.raises(Refusal, match=r"neither \.csv nor \.xlsx"):
        export(filled, tmp_path / name)


def test_a_folder_with_other_things_in_it_is_left_alone(filled: Session, tmp_path: Path) -> None:
    target = tmp_path / "mine"
    target.mkdir()
    (target / "letter.txt").write_text("x")
    with pytest.raises(Refusal, match="holds other files"):
        export(filled, target)
    assert [path.name for path in target.iterdir()] == ["letter.txt"]


def test_a_cancelled_export_leaves_the_old_file(filled: Session, tmp_path: Path) -> None:
    def report(fraction: float, sentence: str) -> None:
        if fraction > 0.3:
            raise Cancelled

    for name in ("c.csv", "c.xlsx"):
        target = tmp_path / name
        target.write_text("the old one")
        with pytest.raises(Cancelled):
            export(filled, target, report=report)
        assert target.read_text() == "the old one"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["c.csv", "c.xlsx"]


def test_an_empty_practice_gives_headings_alone(tmp_path: Path) -> None:
    with practice(tmp_path / "practice") as session:
        assert export(session, tmp_path / "e.csv").rows == {"cases": 0}
    assert (tmp_path / "e.csv").read_text().startswith("patient_id,eye,surgery_date,")
