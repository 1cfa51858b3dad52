"""The mapping file: what it may say, and that it refuses what it does not know."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest

from clinic_app.errors import Refusal
from clinic_app.exchange.columns import columns_of
from clinic_app.exchange.mapping import header_print, read_mapping


def written(folder: Path, found: object) -> Path:
    path = folder / "intake-map.json"
    path.write_text(found if isinstance(found, str) else json.dumps(found), encoding="utf-8")
    return path


def test_a_mapping_is_read_whole(tmp_path: Path) -> None:
    mapping = read_mapping(
        written(
            tmp_path,
            {
                "map_version": 1,
                "made_by": "Dr A",
                "delimiter": ";",
                "encoding": "cp1252",
                "decimal": ",",
                "date_order": "dmy",
                "header_print": None,
                "constants": {"acd_definition": "epithelium", "pain_0_10": 3},
                "columns": [
                    {"heading": " Hornhaut ", "field": "cct_um", "unit": "mm"},
                    {"heading": "Notiz", "field": None},
                ],
            },
        )
    )
    assert mapping.columns == {"hornhaut": ("cct_um", "mm"), "notiz": (None, "")}
    assert mapping.constants == {"acd_definition": "epithelium", "pain_0_10": "3"}
    assert (mapping.delimiter, mapping.encoding, mapping.decimal, mapping.date_order) == (";", "cp1252", ",", "dmy")


@pytest.mark.parametrize(
    ("found", "word"),
    [
        ({"sheet": "x"}, "'sheet' is not known"),
        ({"map_version": 2}, "map_version"),
        ({"columns": {"a": "cct_um"}}, "must be a list"),
        ({"columns": [{"heading": "a", "field": "thickness"}]}, "no field"),
        ({"columns": [{"heading": "a", "field": "cct_um", "ask_if": 1}]}, "nothing else"),
        ({"columns": [{"heading": "a", "field": "cct_um"}, {"heading": "A", "field": "acd_mm"}]}, "twice"),
        ({"columns": [{"heading": "a", "field": "cct_um"}, {"heading": "b", "field": "cct_um"}]}, "same field"),
        ({"constants": {"height": "1"}}, "no field"),
        ({"constants": {"hypertension": True}}, "text or a number"),
        ({"decimal": ";"}, "decimal must be"),
        ({"date_order": "ydm"}, "date_order must be"),
        ({"delimiter": ";;"}, "one character"),
        ([], "one JSON object"),
        ('{"decimal": ".", "decimal": ","}', "twice"),
        ("[" * 100_000, "not JSON"),
        ("no", "not JSON"),
    ],
)
def test_what_it_does_not_know_is_refused(tmp_path: Path, found: object, word: str) -> None:
    with pytest.raises(Refusal) as no:
        read_mapping(written(tmp_path, found))
    assert word in no.value.why


def test_missing_file(tmp_path: Path) -> None:
    with pytest.raises(Refusal, match="cannot be read"):
        read_mapping(tmp_path / "none.json")


def test_header_print_is_the_hash_of_the_plain_headings() -> None:
    expected = hashlib.sha256(b"patient_id\neye").hexdigest()
    assert header_print((" Patient_ID", "EYE ", "", "why_left_out")) == expected


def test_headings_of_another_file_are_refused(tmp_path: Path) -> None:
    mapping = read_mapping(written(tmp_path, {"header_print": header_print(("a", "b"))}))
    mapping.check_headings(("A", " b"), "x.csv")
    with pytest.raises(Refusal, match="not those that the mapping file was made for"):
        mapping.check_headings(("a", "c"), "x.csv")


def test_columns_are_known_by_name_with_their_companions() -> None:
    names = (
        "Patient_ID",
        "cct_um",
        "cct_um_missing",
        "cct_um_source",
        "cct_um_at",
        "cct_um_typed",
        "confirmed",
        "why_left_out",
    )
    columns = columns_of(names, {}, "x.csv")
    assert [(one.field.name if one.field else None, one.part.value) for one in columns.known] == [
        ("patient_id", "value"),
        ("cct_um", "value"),
        ("cct_um", "_missing"),
        ("cct_um", "_source"),
        ("cct_um", "_at"),
        ("cct_um", "_typed"),
        (None, "confirmed"),
    ]


def test_an_unknown_heading_gets_a_hint_and_is_never_taken() -> None:
    columns = columns_of(("Pachymetry (µm)", "shoe size", "surgeon_id_source"), {}, "x.csv")
    assert columns.known == ()
    assert columns.unknown == (("Pachymetry (µm)", "cct_um"), ("shoe size", ""), ("surgeon_id_source", ""))


@pytest.mark.parametrize("headings", [("eye", "Eye"), ("eye", "side")])
def test_two_columns_for_one_thing_refuse_the_file(headings: tuple[str, ...]) -> None:
    with pytest.raises(Refusal):
        columns_of(headings, {"side": ("eye", "")}, "x.csv")
