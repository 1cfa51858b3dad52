"""Values as cells of our files: nothing changed on the way out and back, nothing a spreadsheet would run."""

from __future__ import annotations

import csv
import io
import math
import struct
from datetime import date, datetime, time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic_app.domain.numbers import parse
from clinic_app.exchange.cells import cell_text, mark, needs_mark, number_text, plain_value, unmark
from clinic_app.exchange.exporter import OutTable, csv_bytes
from models.codebook import BY_NAME

ATTACKS = (
    "=1+1",
    "+1+1",
    "-1+cmd",
    "@SUM(A1)",
    "\t=1",
    "\r=1",
    " =1",
    "\u200b=1",
    "\ufeff=1",
    "|calc",
    "%0A=1",
    "＝1+1",
    "＋1",
    "－1",
    "＠x",
    '=HYPERLINK("http://x","y")',
    "'=1",
    "''",
    "'quoted'",
)


@pytest.mark.parametrize("text", ATTACKS)
def test_no_text_stays_a_formula_and_each_comes_back(text: str) -> None:
    marked = mark(text)
    assert marked[0] == "'"
    assert unmark(marked) == text


@pytest.mark.parametrize("text", ["-0.10", "+3", "-12", "6/12", "it's", "a=b", "", "0.30 logMAR"])
def test_numbers_and_plain_words_carry_no_mark(text: str) -> None:
    assert not needs_mark(text)
    assert unmark(mark(text)) == text


@given(st.text(alphabet=st.sampled_from("'=+-@|%\t\r\n ＝a1.,\u200b"), max_size=8))
def test_marking_is_reversed_for_every_text(text: str) -> None:
    assert unmark(mark(text)) == text


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_number_comes_back_bit_for_bit(number: float) -> None:
    text = number_text(number)
    assert "e" not in text.lower()
    assert struct.pack("d", float(text)) == struct.pack("d", number)


@given(st.floats(min_value=0.001, max_value=99999).map(lambda x: round(x, 3)))
def test_a_number_with_three_decimals_is_never_taken_for_thousands(number: float) -> None:
    for decimal in (".", ",", None):
        read = parse(number_text(number), decimal)
        assert read is not None
        assert read.value == number
        assert read.other is None


def test_numbers_that_are_none_are_refused() -> None:
    for number in (math.nan, math.inf):
        with pytest.raises(ValueError, match="finite"):
            number_text(number)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("cct_um", 540.5),
        ("cct_um", 1 / 3 + 500),
        ("pain_0_10", 7),
        ("guttae_grade", 3),
        ("glaucoma", "OHT"),
        ("protection_plan", ("coat_first", "chop_no_grooves")),
        ("hypertension", False),
        ("surgery_date", date(2026, 3, 1)),
        ("surgery_time", time(8, 5)),
        ("exam_at", datetime(2026, 3, 2, 9, 30)),
        ("exam_at", datetime(2026, 3, 2, 9, 30, 15)),
        ("operator_by_step", "=A, then B"),
    ],
)
def test_plain_reading_is_the_inverse_of_writing(name: str, value: object) -> None:
    assert plain_value(BY_NAME[name], cell_text(value)) == value


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("cct_um", "20"),
        ("cct_um", "5e2"),
        ("cct_um", "５４０"),
        ("cct_um", "1_000"),
        ("glaucoma", "ocular hypertension"),
        ("pain_0_10", "7.5"),
        ("hypertension", "true"),
        ("surgery_date", "03/04/2026"),
        ("surgery_date", "2026-02-30"),
    ],
)
def test_plain_reading_guesses_nothing(name: str, text: str) -> None:
    assert plain_value(BY_NAME[name], text) is None


def test_csv_cells_are_marked_but_numbers_are_not() -> None:
    table = OutTable("t", ("a", "b"), ({"a": "=1+1", "b": -0.3}, {"a": None, "b": True}))
    rows = list(csv.reader(io.StringIO(csv_bytes(table).decode(), newline="")))
    assert rows == [["a", "b"], ["'=1+1", "-0.3"], ["", "yes"]]
