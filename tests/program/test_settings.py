"""The practice's choices: kept whole, read strictly."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from clinic_app.errors import Refusal
from clinic_app.files import write_whole
from clinic_app.settings import FILE_NAME, Settings, read_settings, write_settings


def test_what_is_written_is_read(tmp_path: Path) -> None:
    chosen = Settings(practice_name="Practice Ä", zone="Europe/Berlin", decimal=",", planning_line=15.0, outcome_cut=1)
    write_settings(tmp_path, chosen)
    assert read_settings(tmp_path) == chosen


def test_a_practice_without_settings_has_the_usual_ones(tmp_path: Path) -> None:
    assert read_settings(tmp_path) == Settings()


@pytest.mark.parametrize(
    ("content", "word"),
    [
        ("{", "JSON"),
        ('{"planing_line": 15}', "unknown"),
        ('{"planning_line": "15"}', "planning_line"),
        ('{"planning_line": true}', "planning_line"),
        ('{"planning_line": 0}', "planning_line"),
        ('{"outcome_cut": 4}', "outcome_cut"),
        ('{"outcome_cut": true}', "outcome_cut"),
        ('{"zone": "Nowhere/Never"}', "zone"),
        ('{"zone": "../../etc/passwd"}', "zone"),
        ('{"decimal": ";"}', "decimal"),
        ('{"text_percent": 300}', "text_percent"),
        ("[]", "unknown"),
    ],
)
def test_settings_that_make_no_sense_are_refused_by_name(tmp_path: Path, content: str, word: str) -> None:
    (tmp_path / FILE_NAME).write_text(content, encoding="utf-8")
    with pytest.raises(Refusal) as refused:
        read_settings(tmp_path)
    assert word in refused.value.why
    assert FILE_NAME in refused.value.next


def test_a_file_is_replaced_whole_or_stays(tmp_path: Path) -> None:
    target = tmp_path / "card.json"
    write_whole(target, b"old")
    with pytest.raises(Refusal):
        write_whole(tmp_path / "missing folder" / "card.json", b"new")
    assert target.read_bytes() == b"old"
    write_whole(target, b"new")
    assert target.read_bytes() == b"new"
    assert [path.name for path in tmp_path.iterdir()] == ["card.json"]


def test_a_failed_write_leaves_the_old_file_and_nothing_else(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "card.json"
    write_whole(target, b"old")

    def full(handle: int) -> None:
        raise OSError(28, os.strerror(28))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(Refusal) as refused:
        write_whole(target, b"new")
    assert "No space left" in refused.value.why
    assert target.read_bytes() == b"old"
    assert [path.name for path in tmp_path.iterdir()] == ["card.json"]


def test_settings_are_readable_json(tmp_path: Path) -> None:
    write_settings(tmp_path, Settings(practice_name="Our practice"))
    assert json.loads((tmp_path / FILE_NAME).read_text(encoding="utf-8"))["practice_name"] == "Our practice"
