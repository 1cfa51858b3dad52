"""The files of the invented practice: made again byte for byte, plausible, and awkward exactly where they say."""

import csv
import re
import subprocess
import sys
from collections import Counter
from datetime import date
from functools import cache
from pathlib import Path

import pytest
from openpyxl import load_workbook

from clinic_app.domain.checks import check, check_fellow
from clinic_app.domain.derived import complete
from clinic_app.domain.reading import Asked, Blank, Missing, Refused, Taken, read
from models.codebook import BY_NAME, Stage
from models.outcome import look

FOLDER = Path(__file__).parents[2] / "sample_cases"
FILES = ("invented_eyes.csv", "invented_booked.csv", "invented_operated.csv", "invented_clinic_sheet.xlsx", "README.md")


@cache
def cells(name):
    with (FOLDER / name).open(encoding="utf-8", newline="") as file:
        return tuple(csv.DictReader(file))


def answers(row):
    return {
        name: read(name, text, decimal=".", soft="note") for name, text in row.items() if not name.endswith("_missing")
    }


def taken(row):
    """The row as values, or None when a cell is asked about or refused."""
    values = {name: text for name, text in row.items() if name.endswith("_missing") and text}
    for name, answer in answers(row).items():
        if isinstance(answer, Asked | Refused):
            return None
        if isinstance(answer, Taken):
            values[name] = answer.value
        elif isinstance(answer, Missing):
            values[f"{name}_missing"] = answer.code
    return values


@cache
def eyes():
    return {number: taken(row) for number, row in enumerate(cells("invented_eyes.csv"), start=2)}


@cache
def completed():
    return tuple(complete(row, zone="Europe/Vienna") for row in eyes().values() if row is not None)


def listed(heading):
    part = (FOLDER / "README.md").read_text(encoding="utf-8").split(f"### {heading}")[1].split("###")[0]
    return [
        (int(row), name, cell, told)
        for row, name, cell, told in re.findall(r"\| (\d+) \| `(.+?)` \| `(.+?)` \| (.+?) \|", part)
    ]


def test_the_files_are_made_again_byte_for_byte(tmp_path):
    subprocess.run([sys.executable, "-B", str(FOLDER / "generate.py"), str(tmp_path)], check=True, capture_output=True)
    for name in FILES:
        assert (tmp_path / name).read_bytes() == (FOLDER / name).read_bytes(), name
    assert {path.name for path in tmp_path.iterdir()} == set(FILES)


def test_names_and_page_say_that_all_is_invented():
    assert all(name.startswith("invented_") for name in FILES[:3])
    assert "**invented**" in (FOLDER / "README.md").read_text(encoding="utf-8")
    assert sum((FOLDER / name).stat().st_size for name in FILES) < 1_500_000


@pytest.mark.parametrize("name", ["invented_eyes.csv", "invented_booked.csv"])
def test_columns_are_fields_of_the_record(name):
    columns = list(cells(name)[0])
    assert len(columns) == len(set(columns))
    assert all(column in BY_NAME or column.removesuffix("_missing") in BY_NAME for column in columns)


def test_each_listed_cell_comes_to_what_is_said():
    rows = cells("invented_eyes.csv")
    for number, name, cell, told in listed("invented_eyes.csv"):
        row = rows[number - 2]
        assert row[name] == cell
        answer = read(name, cell, decimal=".", soft="note")
        values = eyes()[number]
        if "surgery on" in told or "already" in told:
            others = [
                one
                for one in eyes().values()
                if one and one is not values and one["patient_id"] == values["patient_id"]
            ]
            rules = [found.rule for other in others for found in check_fellow(values, other)]
            assert rules == ["eye_operated_before"], number
        elif "before the surgery" in told:
            assert [(found.kind, found.rule) for found in check(values)] == [("refuse", "seen_before_surgery")]
        elif "fellow" in told:
            others = [
                one
                for one in eyes().values()
                if one and one is not values and one["patient_id"] == values["patient_id"]
            ]
            assert [found.rule for other in others for found in check_fellow(values, other)] == ["equal_to_fellow"]
        else:
            kind = {"asked": Asked, "refused": Refused, "taken as text": Missing}.get(told, Taken)
            assert isinstance(answer, kind), (number, name, cell, answer)
            assert (values is None) == (kind in (Asked, Refused))
            assert bool(getattr(answer, "notes", ())) == (told in ("taken, with a note", "taken as text"))


def test_all_other_cells_and_rows_go_in():
    expected = {number: told for number, _, _, told in listed("invented_eyes.csv")}
    for number, row in eyes().items():
        if row is None:
            assert expected[number] in ("asked", "refused"), (number, answers(cells("invented_eyes.csv")[number - 2]))
        else:
            found = [one for one in check(complete(row)) if one.kind != "note"]
            assert not found or "before the surgery" in expected[number], (number, found)
    keys = Counter((row["patient_id"], row["eye"], row["surgery_date"]) for row in eyes().values() if row)
    assert max(keys.values()) == 1


def test_fellow_eyes_agree_but_where_listed():
    expected = {number for number, _, _, told in listed("invented_eyes.csv") if "fellow" in told or "already" in told}
    by_patient = {}
    for number, row in eyes().items():
        if row:
            by_patient.setdefault(row["patient_id"], []).append((number, row))
    odd = set()
    for pair in by_patient.values():
        if len(pair) == 2 and check_fellow(pair[0][1], pair[1][1]):
            odd.add(frozenset(number for number, _ in pair))
    assert len(odd) == len(expected)
    assert all(any(number in pair for pair in odd) for number in expected)


def test_the_practice_is_plausible():
    rows = completed()
    assert 1550 <= len(rows) <= 1700
    days = [row["surgery_date"] for row in rows]
    assert min(days) >= date(2024, 7, 1)
    assert max(days) <= date(2026, 9, 30)
    quarters = Counter((day.year, (day.month - 1) // 3) for day in days)
    assert len(quarters) == 9
    assert min(quarters.values()) >= 120
    assert len({row["surgeon_id"] for row in rows}) == 3
    assert {row["surgeon_grade"] for row in rows} == {"senior", "trainee"}
    assert len({row["phaco_machine_id"] for row in rows}) == 2
    eyes_of = Counter(row["patient_id"] for row in rows)
    assert 0.65 <= sum(count for count in eyes_of.values() if count == 2) / len(rows) <= 0.75


def test_outcomes_are_as_often_as_published_and_not_all_seen():
    looks = [look(row) for row in completed()]
    known = [one.cloudy for one in looks if one.cloudy is not None]
    assert 0.10 <= sum(known) / len(known) <= 0.12
    reasons = Counter(one.reason for one in looks)
    assert 0.05 <= reasons["not_seen"] / len(looks) <= 0.08
    assert 0.01 <= reasons["off_time"] / len(looks) <= 0.04


def test_answers_are_missing_at_usual_shares():
    rows = completed()
    share = {
        name: sum(row.get(name) is None for row in rows) / len(rows)
        for name in ("ecd_per_mm2", "guttae_grade", "acd_mm")
    }
    assert 0.35 <= share["ecd_per_mm2"] <= 0.45
    assert 0.03 <= share["guttae_grade"] <= 0.07
    assert 0.03 <= share["acd_mm"] <= 0.07
    assert any(row.get("ecd_per_mm2_missing") == "not_done" for row in rows)


def test_thirty_booked_eyes_to_come():
    rows = [complete(taken(row)) for row in cells("invented_booked.csv")]
    assert len(rows) == 30
    assert all(date(2026, 12, 1) <= row["surgery_date"] <= date(2026, 12, 11) for row in rows)
    assert all(
        BY_NAME[name.removesuffix("_missing")].stage is Stage.BOOKING for name in cells("invented_booked.csv")[0]
    )
    assert [found for row in rows for found in check(row) if found.kind != "note"] == []
    ages = sorted(row["age_years"] for row in rows)
    assert 19 <= ages[0] < 20
    assert ages[1] > 40
    assert sum(row["prior_keratoplasty"] != "none" for row in rows) == 1
    wanted = ("nucleus_hardness", "guttae_grade", "acd_mm", "ecd_per_mm2")
    assert sum(all(row.get(name) is None for name in wanted) for row in rows) == 1
    assert sum(row.get("ecd_per_mm2_missing") == "not_done" for row in rows) >= 3
    known = {row["patient_id"]: row for row in completed()}
    fellows = [row for row in rows if row["patient_id"] in known]
    assert len(fellows) == 10
    assert all(row["eye"] != known[row["patient_id"]]["eye"] for row in fellows)
    assert all(check_fellow(row, known[row["patient_id"]]) == [] for row in fellows)


def test_the_booked_eyes_of_the_first_day_are_operated_and_nobody_has_seen_them_since():
    rows = [taken(row) for row in cells("invented_operated.csv")]
    booked = [row for row in cells("invented_booked.csv") if row["surgery_date"] == "2026-12-01"]
    key = ("patient_id", "eye", "surgery_date")
    assert [tuple(row[name] for name in key) for row in cells("invented_operated.csv")] == [
        tuple(row[name] for name in key) for row in booked
    ]
    assert all(BY_NAME[name].stage in (Stage.BOOKING, Stage.THEATRE) for name in cells("invented_operated.csv")[0])
    assert all(row["phaco_machine_id"] in ("M-1", "M-2") and row["case_minutes"] for row in rows)


def test_the_clinics_sheet_is_awkward_where_it_says():
    page = load_workbook(FOLDER / "invented_clinic_sheet.xlsx").active
    assert page.title == "Invented practice"
    heading, *rows = page.iter_rows()
    names = [cell.value for cell in heading]
    assert set(names) <= set(BY_NAME)
    assert len(rows) == 40
    assert all(row[names.index("surgery_date")].is_date for row in rows)
    assert any(
        isinstance(row[names.index("acd_mm")].value, str) and "," in row[names.index("acd_mm")].value for row in rows
    )
    assert any(str(row[names.index("cct_um")].value).endswith(" µm") for row in rows)
    kinds = {"asked": Asked, "refused": Refused, "taken": Taken}
    put = listed("invented_clinic_sheet.xlsx")
    assert len(put) == 3
    for number, name, cell, told in put:
        found = page.cell(row=number, column=names.index(name) + 1)
        assert str(found.value) == cell
        assert isinstance(read(name, str(found.value), soft="note"), kinds[told])
    assert [cell.coordinate for row in rows for cell in row if cell.data_type == "e"] == [
        page.cell(row=put[0][0], column=names.index("cct_um") + 1).coordinate
    ]
    for row in rows:
        for name, cell in zip(names, row, strict=True):
            if (cell.row, name) in {(number, column) for number, column, _, _ in put} or cell.is_date:
                continue
            text = "" if cell.value is None else str(cell.value)
            assert isinstance(read(name, text, soft="note"), Taken | Missing | Blank), (name, text)
    known = {row["patient_id"] for row in cells("invented_eyes.csv")} | {
        row["patient_id"] for row in cells("invented_booked.csv")
    }
    assert not known & {row[names.index("patient_id")].value for row in rows}
