"""The quick ways through many rows say exactly what the plain ways say of one."""

from __future__ import annotations

from datetime import date, datetime, time
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic_app.domain.record import Origin
from clinic_app.store import sums, turning
from clinic_app.store.cells import from_cell, to_cell
from clinic_app.store.sums import Remembering, as_json, digest, digest_of_line, sum_of
from models.codebook import BY_NAME, Kind

TEXT = st.text(st.characters(codec="utf-8"), max_size=12)
REALS = st.floats(allow_nan=False, allow_infinity=False).map(lambda number: number + 0.0)
WHOLE = st.integers(-(2**63) + 1, 2**63 - 1)
CELLS: dict[str, st.SearchStrategy[Any]] = {
    "name": TEXT, "number": REALS, "count": WHOLE, "flag": st.integers(0, 1), "é \"x\"": TEXT, "row_sum": TEXT,
}  # fmt: skip
"""Field -> its cells, all of one type and without negative zero, as the store holds them."""


def some_cells(empty: bool) -> st.SearchStrategy[dict[str, Any]]:
    cells = {name: st.one_of(st.none(), one) if empty else one for name, one in CELLS.items()}
    return st.fixed_dictionaries({}, optional=cells)


@given(st.lists(some_cells(empty=True), max_size=8))
def test_remembered_sums_are_those_of_each_row(rows: list[dict[str, Any]]) -> None:
    texts = Remembering()
    assert [texts.sum_of(row) for row in rows + rows] == [sum_of(row) for row in rows + rows]


@given(st.lists(some_cells(empty=False), max_size=8))
def test_remembered_texts_are_those_of_each_row(rows: list[dict[str, Any]]) -> None:
    texts = Remembering()
    assert [texts.as_json(row) for row in rows + rows] == [as_json(row) for row in rows + rows]


def test_sums_and_texts_hold_when_more_is_met_than_is_remembered(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sums, "_REMEMBERED", 3)
    texts = Remembering()
    rows = [{"name": f"text {at % 7}", "number": at / 4} for at in range(30)]
    assert [texts.sum_of(row) for row in rows] == [sum_of(row) for row in rows]
    assert [texts.as_json(row) for row in rows] == [as_json(row) for row in rows]


def test_a_sum_leaves_out_empty_cells_and_the_sum_itself() -> None:
    row = {"name": "a", "number": 2.5}
    assert Remembering().sum_of({**row, "later": None, "row_sum": "x"}) == Remembering().sum_of(row)
    assert Remembering().sum_of({**row, "number": 2.0}) != Remembering().sum_of(row)


@given(st.lists(st.one_of(TEXT, WHOLE, st.none()), max_size=14))
def test_the_digest_of_a_line_is_the_digest_of_the_list(line: list[str | int | None]) -> None:
    assert digest_of_line(line) == digest(line)


FIELDS = [BY_NAME[name] for name in ("patient_id", "sex", "birth_date", "cct_um", "suture", "prior_glaucoma_surgery")]
VALUES: dict[Kind, st.SearchStrategy[Any]] = {
    Kind.IDENTIFIER: TEXT.map(lambda text: text.replace("\0", "")),
    Kind.CHOICE: st.sampled_from(("male", "female")),
    Kind.DATE: st.dates(),
    Kind.NUMBER: REALS,
    Kind.YES_NO: st.booleans(),
    Kind.CHOICES: st.lists(st.sampled_from(("a", "b_c")), max_size=3).map(tuple),
}


@given(st.lists(st.lists(st.booleans(), min_size=len(FIELDS), max_size=len(FIELDS)), max_size=6), st.data())
def test_columns_turn_into_the_values_that_each_cell_says(filled: list[list[bool]], data: st.DataObject) -> None:
    rows = [
        [
            to_cell(field.kind, data.draw(VALUES[field.kind])) if full else None
            for field, full in zip(FIELDS, row, strict=True)
        ]
        for row in filled
    ]
    one_by_one = [
        {field.name: from_cell(field.kind, cell) for field, cell in zip(FIELDS, row, strict=True) if cell is not None}
        for row in rows
    ]
    turner = turning.Turner(FIELDS)
    columns = [tuple(row[at] for row in rows) for at in range(len(FIELDS))]
    for _ in range(2):
        turned = turner.values(columns)
        assert turned == one_by_one
        assert [list(map(type, row.values())) for row in turned] == [
            list(map(type, row.values())) for row in one_by_one
        ]


def test_a_cell_of_no_kind_is_told_without_its_value() -> None:
    turner = turning.Turner([BY_NAME["cct_um"]])
    with pytest.raises(TypeError) as fault:
        turner.values([(540.0, b"SECRET")])
    assert "SECRET" not in str(fault.value)
    with pytest.raises(ValueError, match="isoformat"):
        turning.Turner([BY_NAME["birth_date"]]).values([("2026-01-01", "no day")])


def test_turning_holds_when_more_is_met_than_is_remembered(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(turning, "_MOST", 2)
    days = [f"2026-01-{day:02}" for day in range(1, 20)]
    turner = turning.Turner([BY_NAME["birth_date"]])
    assert [turner.values([(day,)]) for day in days] == [[{"birth_date": date.fromisoformat(day)}] for day in days]
    read: list[str] = []

    def noted(text: str) -> str:
        read.append(text)
        return text.upper()

    texts = turning.Texts(noted)
    assert [texts.read(one) for one in "abab"] == ["A", "B", "A", "B"]
    assert read == ["a", "b"]
    assert [texts.read(one) for one in "cdea"] == ["C", "D", "E", "A"]


def test_texts_beside_the_columns() -> None:
    assert turning.told('{"cct_um":"not_done"}') == {"cct_um": "not_done"}
    assert turning.flat_reasons('{"cct_um":"not_done"}') == {"cct_um_missing": "not_done"}
    origin = '{"cct_um":["Dev A",null],"acd_mm":[null,"2026-03-01"]}'
    assert turning.origins(origin) == {"cct_um": Origin("Dev A", None), "acd_mm": Origin(None, date(2026, 3, 1))}
    assert turning.flat_origins(origin) == {"cct_um_source": "Dev A", "acd_mm_at": date(2026, 3, 1)}


def test_times_turn_to_the_microsecond() -> None:
    moment = datetime(2026, 3, 10, 9, 30, 1, 5)
    turner = turning.Turner([BY_NAME["exam_at"], BY_NAME["surgery_time"]])
    assert turner.values([(moment.isoformat(),), ("09:05",)]) == [{"exam_at": moment, "surgery_time": time(9, 5)}]
