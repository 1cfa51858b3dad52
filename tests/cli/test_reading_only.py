"""A practice folder that cannot be written: commands that only read work, the others are refused in words."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import pytest

from clinic_app.cli import main as cli
from clinic_app.store import lock


def run(folder: Path, *words: str) -> int:
    return cli.main(["--practice", str(folder), *words])


@pytest.fixture
def locked_away(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A practice as it looks on a medium that takes no writing."""
    folder = tmp_path / "practice"
    assert run(folder, "selftest", "save-forever", "--count", "4") == 0
    real_access, real_open = os.access, os.open

    def access(path: Any, mode: int, **named: Any) -> bool:
        within = Path(path).is_relative_to(folder)
        return False if within and mode & os.W_OK else real_access(path, mode, **named)

    def opened(path: Any, flags: int, *rest: Any, **named: Any) -> int:
        if Path(path).is_relative_to(folder) and flags & (os.O_CREAT | os.O_WRONLY | os.O_RDWR):
            raise PermissionError(13, "Permission denied")
        return real_open(path, flags, *rest, **named)

    monkeypatch.setattr(os, "access", access)
    monkeypatch.setattr(lock.os, "open", opened)
    return folder


def files_of(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


def test_reading_commands_work_and_leave_the_folder_as_it_is(
    locked_away: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = files_of(locked_away)
    capsys.readouterr()
    assert run(locked_away, "--json", "cases") == 0
    assert len(json.loads(capsys.readouterr().out)["cases"]) == 4
    for words in (
        ("models",),
        ("verify",),
        ("fields",),
        ("selftest", "dump"),
        ("export", str(tmp_path / "out.csv")),
        ("backup", str(tmp_path / "copy.sqlite")),
    ):
        assert run(locked_away, *words) == 0, words
    assert (tmp_path / "out.csv").read_text(encoding="utf-8").count("\n") == 5
    assert files_of(locked_away) == before


@pytest.mark.parametrize(
    "words",
    [
        ("forecast",),
        ("import", "eyes.csv"),
        ("train", "--model", "booking"),
        ("adopt", "booking-1", "--by", "A", "--reason", "B"),
        ("selftest", "save-forever", "--count", "1"),
    ],
)
def test_writing_commands_are_refused_in_three_sentences(
    locked_away: Path, words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    before = files_of(locked_away)
    capsys.readouterr()
    assert run(locked_away, "--json", *words) == 1
    error = json.loads(capsys.readouterr().out)["error"]
    assert error["what"] == "This practice cannot be written here; nothing was changed."
    assert error["why"]
    assert error["next"]
    assert files_of(locked_away) == before


def test_the_whole_dump_is_one_document(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "practice"
    run(folder, "selftest", "save-forever", "--count", "2")
    capsys.readouterr()
    assert run(folder, "--json", "selftest", "dump") == 0
    whole = json.loads(capsys.readouterr().out)["lines"]
    assert run(folder, "selftest", "dump") == 0
    assert [json.loads(line) for line in capsys.readouterr().out.splitlines()] == whole
    assert [one["kind"] for one in whole[:2]] == ["case", "case"]
