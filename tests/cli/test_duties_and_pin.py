"""The command line knows duties, PINs and the seal like the window does."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from clinic_app.cli import main as cli
from clinic_app.domain.people import Duty
from clinic_app.services import people
from clinic_app.session import open_session

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def practice(tmp_path: Path) -> Path:
    """Four eyes; Osei looks after people, Ito operates and leads the data, Berg grades and has a PIN."""
    folder = tmp_path / "practice"
    assert cli.main(["--practice", str(folder), "selftest", "save-forever", "--count", "4"]) == 0
    with open_session(folder, person="account") as session:
        people.register(session, "Osei", [])
        osei = session.acting("Osei")
        people.register(osei, "Ito", [Duty.SURGEON, Duty.DATA_LEAD])
        people.register(osei, "Berg", [Duty.DAY_ONE])
        people.set_pin(session.acting("Berg"), "4417")
    return folder


def told(capsys: pytest.CaptureFixture[str], practice: Path, *words: str) -> tuple[int, dict[str, str]]:
    capsys.readouterr()
    status = cli.main(["--practice", str(practice), "--json", *words])
    answer = json.loads(capsys.readouterr().out)
    return status, answer.get("error", answer)


def test_an_account_that_is_not_registered_is_refused(practice: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for words in (("cases",), ("--as", "Nobody", "cases"), ("models",), ("verify",)):
        status, error = told(capsys, practice, *words)
        assert status == 1
        assert set(error) == {"what", "why", "next"}
        assert "not registered" in error["why"]


@pytest.mark.parametrize(
    ("words", "duty"),
    [
        (("import", "x.csv"), "Data lead"), (("export", "x.csv"), "Data lead"),
        (("train", "--model", "booking"), "Data lead"), (("compare", "booking-1"), "Data lead or Surgeon"),
        (("forecast",), "Booking or Surgeon or Data lead"), (("forecast", "x.csv"), "Booking or Surgeon or Data lead"),
        (("review", "--out", "x"), "Surgeon or Data lead"), (("backup", "x.sqlite"), "Data lead or People"),
        (("restore", "x.sqlite"), "Data lead or People"),
    ],
)  # fmt: skip
def test_each_command_names_the_duty_that_it_needs(
    practice: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    words: tuple[str, ...],
    duty: str,
) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO("4417\n"))
    status, error = told(capsys, practice, "--as", "Berg", *words)
    assert status == 1
    assert f"needs the duty {duty}; the duties of Berg are: Day one" in error["why"]


@pytest.mark.parametrize("words", [("adopt", "booking-1"), ("keep", "--model", "booking"),
                                   ("shift", "--model", "booking"), ("set-back", "--model", "booking")])  # fmt: skip
def test_whoever_signs_is_asked_not_whoever_calls(
    practice: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...]
) -> None:
    status, error = told(capsys, practice, "--as", "Ito", *words, "--by", "Osei", "--reason", "Good")
    assert (status, error["what"]) == (1, "Deciding about a model is not open to you; nothing was changed.")
    status, error = told(capsys, practice, *words, "--by", "Ito", "--reason", "Good")
    assert status == 1
    assert "duty" not in error["why"]  # Ito may; there only is no model yet
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))
    status, error = told(capsys, practice, *words, "--by", "Berg", "--reason", "Good")
    assert (status, error["what"]) == (1, "Berg is not signed in.")


def test_the_pin_is_the_first_line_of_an_input_that_is_no_terminal(
    practice: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO("4417\n"))
    status, found = told(capsys, practice, "--as", "Berg", "cases")
    assert (status, len(found["cases"])) == (0, 4)
    for typed, why in (("4418\n", "not the right one"), ("", "none was typed")):
        monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
        status, error = told(capsys, practice, "--as", "Berg", "cases")
        assert status == 1
        assert why in error["why"]


def test_on_a_terminal_the_pin_is_asked_and_not_shown(practice: Path) -> None:
    pty = pytest.importorskip("pty", reason="this system has no such terminals")
    ours, theirs = pty.openpty()
    call = [sys.executable, "-m", "clinic_app", "--practice", str(practice), "--as", "Berg", "cases"]
    # a session of its own: the terminal then is the one of this program
    running = subprocess.Popen(
        call, cwd=ROOT, stdin=theirs, stdout=subprocess.PIPE, stderr=theirs, start_new_session=True
    )
    os.close(theirs)
    seen = b""
    while b"PIN of Berg" not in seen:
        seen += os.read(ours, 1000)
    os.write(ours, b"4417\n")
    out, _ = running.communicate(timeout=60)
    os.close(ours)
    assert running.returncode == 0
    assert out.count(b"T-0000000") == 4
    assert b"4417" not in seen + out


def test_acts_for_testing_are_refused_where_people_work(practice: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for words in (("selftest", "dump"), ("selftest", "save-forever", "--count", "1")):
        status, error = told(capsys, practice, "--as", "Ito", *words)
        assert status == 1
        assert "know neither duties nor the seal" in error["why"]


def test_a_damaged_practice_does_not_bar_its_way_back(
    practice: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    copy = tmp_path / "copy.sqlite"
    assert told(capsys, practice, "--as", "Osei", "backup", str(copy))[0] == 0
    assert told(capsys, practice, "--as", "Osei", "restore", str(copy))[0] == 0
    (practice / "practice.sqlite").write_bytes(b"SQLite format 3\0" + bytes(4000))
    status, found = told(capsys, practice, "--as", "account", "restore", str(copy))
    assert (status, found["restored"]) == (0, str(copy))
    assert told(capsys, practice, "--as", "Osei", "verify")[0] == 0
