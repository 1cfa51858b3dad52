"""The whole job on the invented practice, from its files to the review, as a newcomer would do it."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from clinic_app.cli import main as cli
from clinic_app.demonstration import ACTS
from clinic_app.domain.invented import DEMO_PERSON
from clinic_app.services import demo
from clinic_app.session import open_session
from models.codebook import Stage


@pytest.fixture(scope="module")
def replay(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, demo.Story]]:
    folder = tmp_path_factory.mktemp("invented")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(demo, "RESAMPLES_NOW", 2)
        yield folder, demo.build_demo(folder, ACTS)


def run(folder: Path, *words: str) -> int:
    return cli.main(["--practice", str(folder), "--as", DEMO_PERSON, *words])


def answer(folder: Path, capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    capsys.readouterr()
    assert run(folder, "--json", *words) == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def test_the_import_takes_what_it_can_and_says_what_it_left(replay: tuple[Path, demo.Story]) -> None:
    _, story = replay
    counts = story.imported
    assert counts["rows"] == sum(counts[name] for name in ("added", "amended", "unchanged", "refused", "asked"))
    assert counts["refused"] > 0
    assert counts["asked"] > 0
    assert all(one["reason"] and one["row"] for one in story.problems)
    typed = {one["typed"] for one in story.problems}
    assert {"OU", "0.54", "2.4", "#N/A"} <= typed


def test_every_forecast_of_the_review_was_locked_before_the_outcome(replay: tuple[Path, demo.Story]) -> None:
    folder, story = replay
    with open_session(folder, person="test") as session:
        locked = session.store.forecasts(model="booking", locked=True)
        assert len(locked) > 700
        for one in locked:
            assert one.made_at.date() <= one.key.surgery_date
            last = date.fromisoformat(str(session.card(one.model_id).training["last"]))
            assert last < one.key.surgery_date
        assert len({one.model_id for one in locked}) == 6
        assert story.models[-2:] == ["booking-6", "end_of_case-6"]
        assert len(session.store.forecasts(model="end_of_case", locked=True)) > 600


def test_no_eye_waits_for_ever(replay: tuple[Path, demo.Story]) -> None:
    folder, _ = replay
    with open_session(folder, person="test") as session:
        waiting = [case for case in session.store.cases() if not case.has(Stage.THEATRE)]
    assert len(waiting) == 27
    assert min(case.key.surgery_date for case in waiting) >= demo.BOOKING_DAY


def test_verify_finds_everything_as_it_was_written(
    replay: tuple[Path, demo.Story], capsys: pytest.CaptureFixture[str]
) -> None:
    found = answer(replay[0], capsys, "verify")
    assert found["ok"], [one for one in found["checks"] if not one["ok"]]


def test_forecasts_for_the_booked_eyes(replay: tuple[Path, demo.Story], capsys: pytest.CaptureFixture[str]) -> None:
    found = answer(replay[0], capsys, "forecast")
    assert found["model_id"] == "booking-6"
    rows = found["rows"]
    assert len(rows) == 27
    assert [one["surgery_date"] for one in rows] == sorted(one["surgery_date"] for one in rows)
    for one in rows:
        if one["status"] == "forecast":
            assert 0 < one["low"] < one["risk"] < one["high"] < 1
        else:
            assert one["risk"] is one["low"] is one["high"] is None
            assert one["note"]
    assert {one["status"] for one in rows} == {"forecast", "refused_unlike_ours", "refused_missing"}
    by_chance = answer(replay[0], capsys, "forecast", "--by-chance")["rows"]
    chances = [one["risk"] for one in by_chance if one["risk"] is not None]
    assert chances == sorted(chances, reverse=True)


def test_a_file_of_eyes_is_forecast_and_nothing_is_stored(
    replay: tuple[Path, demo.Story], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, _ = replay
    with open_session(folder, person="test") as session:
        before = len(session.store.forecasts())
    card, out = tmp_path / "card.json", tmp_path / "forecasts.csv"
    assert run(folder, "card", "booking-6", "--out", str(card)) == 0
    booked = str(demo.SAMPLES / demo.BOOKED)
    from_practice = answer(folder, capsys, "forecast", booked)
    from_card = answer(folder, capsys, "forecast", booked, "--card", str(card), "--out", str(out))
    assert [one["risk"] for one in from_card["rows"]] == [one["risk"] for one in from_practice["rows"]]
    assert len(out.read_text(encoding="utf-8").splitlines()) == 31
    with open_session(folder, person="test") as session:
        assert len(session.store.forecasts()) == before


def test_the_printed_review_equals_its_numbers_and_its_page(
    replay: tuple[Path, demo.Story], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, _ = replay
    capsys.readouterr()
    assert run(folder, "review", "--out", str(tmp_path)) == 0
    printed = capsys.readouterr().out
    numbers = json.loads((tmp_path / "review.json").read_text(encoding="utf-8"))
    page = (tmp_path / "review.html").read_text(encoding="utf-8")
    assert numbers["basis"] == "beforehand"
    assert f"{numbers['n']} eyes judged, {numbers['events']} cloudy" in printed
    assert f"C statistic: {numbers['c_statistic']['value']:.3f}" in printed
    assert f"Seen / forecast: {numbers['observed_expected']['value']:.3f}" in printed
    assert sum(one["n"] for one in numbers["by_quarter"]) == numbers["n"]
    assert sum(one["n"] for one in numbers["by_surgeon"]) == numbers["n"]
    assert re.search(rf"\b{numbers['n']} eyes", page)
    assert "Demo data: invented, not for care." in page
    assert list(tmp_path.glob("*.svg"))
    assert list(tmp_path.glob("*.png"))


def test_the_first_quarters_are_worked_out_afterwards(
    replay: tuple[Path, demo.Story], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    found = answer(replay[0], capsys, "review", "--to", "2025-06-30", "--out", str(tmp_path))
    assert found["basis"] == "afterwards"
    assert found["model_id"] is None


def test_the_whole_record_comes_back(
    replay: tuple[Path, demo.Story], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, _ = replay
    target, again = tmp_path / "all.xlsx", tmp_path / "again"
    assert run(folder, "export", str(target)) == 0
    capsys.readouterr()
    assert run(again, "--json", "import", str(target)) == 0
    assert json.loads(capsys.readouterr().out)["refused"] == 0
    with open_session(folder, person="test") as old, open_session(again, person="test") as new:
        assert [case.row() for case in new.store.cases()] == [case.row() for case in old.store.cases()]
    before = answer(again, capsys, "cases")
    second = answer(again, capsys, "import", str(target))
    assert second["unchanged"] == second["rows"]
    assert answer(again, capsys, "cases") == before


def test_rows_without_a_forecast_are_told_and_change_the_exit_status(
    replay: tuple[Path, demo.Story], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, _ = replay
    with open_session(folder, person="test") as session:
        operated = min(case.key for case in session.store.cases() if case.has(Stage.DAY_ONE))
    heading = "patient_id,eye,surgery_date,birth_date,sex,guttae_grade,nucleus_hardness,acd_mm,cct_um"
    rest = "1950-01-01,female,0,3,3.1"
    file = tmp_path / "eyes.csv"
    lines = [
        heading,
        f"Q-1,R,2026-12-03,{rest},545",
        f"Q-2,R,2026-12-03,{rest},54",
        f"Q-3,R,2026-12-03,{rest},545",
        f"Q-3,R,2026-12-03,{rest},560",
        f"{operated.patient_id},{operated.eye},2026-12-03,{rest},545",
    ]
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    capsys.readouterr()
    assert run(folder, "forecast", str(file)) == 3
    told = capsys.readouterr().out
    assert "missing zero" in told
    assert "say different things" in told
    assert "second operation" in told
    assert run(folder, "forecast", "--out", str(tmp_path / "none" / "out.csv")) == 1


def test_few_cloudy_eyes_are_judged_without_a_range(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "guesses.csv"
    file.write_text("p,y\n" + "\n".join(f"0.{place},{place % 2}" for place in range(1, 9)) + "\n", encoding="utf-8")
    assert run(tmp_path, "judge", str(file), "--risk", "p", "--outcome", "y") == 0
    assert "too few cloudy eyes" in capsys.readouterr().out


def test_a_misspelt_heading_is_told_with_the_name_it_may_mean(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "eyes.csv"
    file.write_text("patient_id,eye,surgery_date,nucleus_hardnes\nQ-1,R,2026-12-03,3\n", encoding="utf-8")
    assert run(tmp_path / "practice", "import", str(file)) == 0
    told = capsys.readouterr().out
    assert "'nucleus_hardnes' was not read" in told
    assert "nucleus_hardness" in told
    assert run(tmp_path / "practice", "forecast") == 0
    assert "has no model of this kind in use yet" in capsys.readouterr().out


def test_folders_and_backups_that_cannot_be_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "eyes.csv"
    file.write_text("patient_id,eye,surgery_date\nQ-1,R,2026-12-03\n", encoding="utf-8")
    assert run(file, "import", str(file)) == 1
    assert "folder" in capsys.readouterr().err
    assert run(tmp_path, "import", str(file)) == 0
    assert run(tmp_path, "restore", str(file)) == 1
    assert "is not a backup" in capsys.readouterr().err
