"""The command line: exit status, refusals in three sentences, JSON and nothing else."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from clinic_app.cli import main as cli
from clinic_app.cli.call import Bar, Stop, table
from clinic_app.settings import Settings, write_settings
from models.progress import Cancelled
from tests.models.trained import booking

ROOT = Path(__file__).resolve().parents[2]


def run(*words: str, practice: Path | None = None) -> int:
    at = [] if practice is None else ["--practice", str(practice)]
    return cli.main([*at, *words])


@pytest.fixture
def practice(tmp_path: Path) -> Path:
    folder = tmp_path / "practice"
    assert run("selftest", "save-forever", "--count", "4", practice=folder) == 0
    return folder


def test_saving_acknowledges_each_eye_after_its_commit(practice: Path, capsys: pytest.CaptureFixture[str]) -> None:
    capsys.readouterr()
    assert run("selftest", "save-forever", "--count", "2", practice=practice) == 0
    assert capsys.readouterr().out.split() == ["ACK", "T-00000004", "ACK", "T-00000005"]


def test_cases_as_json_hold_codebook_names(practice: Path, capsys: pytest.CaptureFixture[str]) -> None:
    capsys.readouterr()
    assert run("--json", "cases", "--from", "2026-01-02", "--to", "2026-01-03", practice=practice) == 0
    found = json.loads(capsys.readouterr().out)["cases"]
    assert [one["patient_id"] for one in found] == ["T-00000001", "T-00000002"]
    assert found[0]["surgery_date"] == "2026-01-02"
    assert found[0]["nucleus_hardness"] == 2
    assert found[0]["age_years"] == pytest.approx(76.0, abs=0.01)


def test_an_empty_practice_says_what_to_do(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("models", practice=tmp_path) == 0
    assert "train --model booking" in capsys.readouterr().out


def test_too_few_records_refuse_in_three_sentences(practice: Path, capsys: pytest.CaptureFixture[str]) -> None:
    capsys.readouterr()
    assert run("--json", "train", "--model", "booking", practice=practice) == 1
    captured = capsys.readouterr()
    error = json.loads(captured.out)["error"]
    assert set(error) == {"what", "why", "next"}
    assert "0 graded eyes" in error["why"] or "graded eyes" in error["why"]
    assert run("train", "--model", "booking", practice=practice) == 1
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.strip().count("\n") == 2


@pytest.mark.parametrize(
    "words",
    [
        ("nonsense",),
        ("train",),
        ("train", "--model", "other"),
        ("adopt", "booking-1"),
        ("review",),
        ("cases", "--from", "3 March"),
        ("judge", "file.csv"),
    ],
)
def test_wrong_use_ends_with_2(words: tuple[str, ...], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*words, practice=tmp_path) == 2
    assert "Traceback" not in capsys.readouterr().err


@pytest.mark.parametrize(
    "words",
    [
        ("adopt", "booking-1", "--by", "A", "--reason", "r"),
        ("card", "booking-1"),
        ("compare", "booking-1"),
        ("keep", "--model", "booking", "--by", "A", "--reason", "r"),
        ("shift", "--model", "booking", "--by", "A", "--reason", "r"),
        ("set-back", "--model", "booking", "--by", "A", "--reason", "r"),
    ],
)
def test_acts_on_models_that_are_not_there_are_refused(
    words: tuple[str, ...], practice: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    assert run("--json", *words, practice=practice) == 1
    error = json.loads(capsys.readouterr().out)["error"]
    assert error["what"]
    assert error["why"]
    assert error["next"]


EYES = "patient_id,eye,surgery_date,cct_um\np1,R,2026-03-10,540\n"


@pytest.mark.parametrize("made", [False, True])
def test_a_dry_run_where_no_practice_was_begun_leaves_nothing(
    made: bool, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, eyes = tmp_path / "none" / "practice", tmp_path / "eyes.csv"
    eyes.write_text(EYES, encoding="utf-8")
    if made:
        folder.mkdir(parents=True)
    assert run("--json", "import", str(eyes), "--dry-run", practice=folder) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["added"], found["dry_run"]) == (1, True)
    assert list(folder.iterdir()) == [] if made else not folder.parent.exists()


def test_a_dry_run_without_a_practice_reads_as_the_folder_is_set(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    eyes = tmp_path / "eyes.csv"
    eyes.write_text(EYES.replace("2026-03-10", "03/10/2026"), encoding="utf-8")
    folder = tmp_path / "practice"
    folder.mkdir()
    write_settings(folder, Settings(date_order="mdy"))
    before = [path.name for path in folder.iterdir()]
    assert run("--json", "import", str(eyes), "--dry-run", practice=folder) == 0
    assert json.loads(capsys.readouterr().out)["added"] == 1
    assert [path.name for path in folder.iterdir()] == before


def test_a_dry_run_is_no_way_around_a_lost_store(practice: Path, capsys: pytest.CaptureFixture[str]) -> None:
    eyes = practice.parent / "eyes.csv"
    eyes.write_text(EYES, encoding="utf-8")
    (practice / "practice.sqlite").unlink()
    assert run("import", str(eyes), "--dry-run", practice=practice) == 1
    assert "restore a backup" in capsys.readouterr().err


def test_the_encoding_of_a_file_can_be_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    eyes = tmp_path / "eyes.csv"
    eyes.write_bytes(EYES.replace("p1", "pé").encode("cp1252"))
    folder = tmp_path / "practice"
    assert run("import", str(eyes), practice=folder) == 1
    offered = "--encoding windows-1252"
    assert offered in capsys.readouterr().err
    assert run("import", str(eyes), *offered.split(), practice=folder) == 0
    capsys.readouterr()
    assert run("--json", "cases", practice=folder) == 0
    assert json.loads(capsys.readouterr().out)["cases"][0]["patient_id"] == "pé"


def test_the_encoding_of_a_file_to_forecast_can_be_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    eyes, card = tmp_path / "eyes.csv", tmp_path / "card.json"
    eyes.write_bytes(EYES.replace("p1", "pé").encode("cp1252"))
    card.write_text(booking().card.to_text(), encoding="utf-8")
    asked = ("--json", "forecast", str(eyes), "--card", str(card))
    assert run(*asked, practice=tmp_path / "none") == 1
    offered = "--encoding windows-1252"
    assert offered in capsys.readouterr().out
    assert run(*asked, *offered.split(), practice=tmp_path / "none") == 0
    assert json.loads(capsys.readouterr().out)["rows"][0]["patient_id"] == "pé"
    # without a file there is nothing that could be written so
    assert run("forecast", *offered.split(), practice=tmp_path / "none") == 1
    assert "no file is named" in capsys.readouterr().err


def test_the_encoding_of_a_file_to_judge_can_be_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    guesses = tmp_path / "guesses.csv"
    rows = "".join(f"0.{1 + k % 8},{k % 2},José{k // 2}\n" for k in range(40))
    guesses.write_bytes(f"guess,cloudy,who\n{rows}".encode("cp1252"))
    asked = ("judge", str(guesses), "--risk", "guess", "--outcome", "cloudy", "--cluster", "who", "--resamples", "0")
    assert run("--json", *asked) == 1
    offered = "--encoding windows-1252"
    assert offered in capsys.readouterr().out
    assert run("--json", *asked, *offered.split()) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["n"], found["clusters"]) == (40, 20)


def test_a_practice_that_is_a_file_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "file"
    file.write_text("x", encoding="utf-8")
    assert run("cases", practice=file) == 1
    assert "Traceback" not in capsys.readouterr().err
    assert file.read_text(encoding="utf-8") == "x"


def test_a_missing_practice_is_refused_by_commands_that_only_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("cases", practice=tmp_path / "none") == 1
    assert not (tmp_path / "none").exists()


def test_a_fault_of_ours_shows_no_traceback_and_no_value(
    practice: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(*args: object, **kwargs: object) -> None:
        raise RuntimeError("patient P-123")

    monkeypatch.setattr("clinic_app.cli.records.listed", broken)
    assert run("cases", practice=practice) == 70
    err = capsys.readouterr().err
    assert "RuntimeError" in err
    assert "P-123" not in err
    assert "Traceback" not in err


def test_stopping_ends_with_4(
    practice: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def stopped(*args: object, **kwargs: object) -> None:
        raise Cancelled

    monkeypatch.setattr("clinic_app.cli.care.verified", stopped)
    capsys.readouterr()
    assert run("--json", "verify", practice=practice) == 4
    assert json.loads(capsys.readouterr().out)["error"]["next"] == "Nothing was changed."


def test_ctrl_c_asks_work_to_stop_at_its_next_report() -> None:
    stop = Stop()
    with stop.watching():
        signal.raise_signal(signal.SIGINT)
        assert stop.asked
        with pytest.raises(Cancelled):
            Bar("Work", stop)(0.5, "half")
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)


def test_verify_backup_restore(practice: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    copy = tmp_path / "copy.sqlite"
    assert run("backup", str(copy), practice=practice) == 0
    assert run("selftest", "save-forever", "--count", "1", practice=practice) == 0
    assert run("restore", str(copy), practice=practice) == 0
    capsys.readouterr()
    assert run("--json", "cases", practice=practice) == 0
    assert len(json.loads(capsys.readouterr().out)["cases"]) == 4
    assert run("--json", "verify", practice=practice) == 0
    assert json.loads(capsys.readouterr().out)["ok"] is True


def test_dump_of_the_same_practice_is_the_same(practice: Path, capsys: pytest.CaptureFixture[str]) -> None:
    capsys.readouterr()
    assert run("selftest", "dump", practice=practice) == 0
    first = capsys.readouterr().out
    assert run("selftest", "dump", practice=practice) == 0
    assert capsys.readouterr().out == first
    assert sum('"kind": "case"' in line for line in first.splitlines()) == 4


def test_self_check(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("--json", "selftest", "self-check") == 0
    assert json.loads(capsys.readouterr().out)["ok"] is True


def test_fields(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("fields", "--markdown") == 0
    assert capsys.readouterr().out == (ROOT / "clinic_app" / "manual" / "fields.md").read_text(encoding="utf-8")
    assert run("--json", "fields") == 0
    assert any(one["name"] == "acd_mm" for one in json.loads(capsys.readouterr().out)["booking"])


def test_columns_of_text_line_up() -> None:
    assert table(("id", "n"), [("a", 1), ("bcd", 200)]) == ["id     n", "a      1", "bcd  200"]


def test_a_killed_run_leaves_what_was_acknowledged(tmp_path: Path) -> None:
    folder = tmp_path / "practice"
    command = [sys.executable, "-m", "clinic_app", "--practice", str(folder), "selftest", "save-forever"]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        acknowledged = [process.stdout.readline().split()[1] for _ in range(5)]
        process.send_signal(signal.SIGKILL)
        acknowledged += [line.split()[1] for line in process.stdout if line.endswith("\n")]
    deadline = time.monotonic() + 10
    while run("verify", practice=folder) != 0 and time.monotonic() < deadline:
        time.sleep(0.1)
    from clinic_app.session import open_session

    with open_session(folder, person="test") as session:
        kept = {key.patient_id for key in sorted(session.store.keys())}
        assert all(check.ok for check in session.store.verify())
    assert set(acknowledged) <= kept
