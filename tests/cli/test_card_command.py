"""`card`: a page for people, the JSON itself for programs, and the JSON in a file."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest

from clinic_app.cli import main as cli
from clinic_app.session import open_session
from models.card import read_card
from tests.models.trained import booking


@pytest.fixture
def practice(tmp_path: Path) -> Path:
    folder = tmp_path / "practice"
    folder.mkdir()
    now = datetime(2026, 10, 1, 8, tzinfo=UTC)
    with (
        open_session(folder, person="Dr Test", clock=lambda: now) as session,
        session.store.writing(by="Dr Test", act="train") as write,
    ):
        write.add_model("booking", booking().card.to_text())
    return folder


def test_a_page_is_printed(practice: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["--practice", str(practice), "card", "booking-1"]) == 0
    printed = capsys.readouterr().out
    assert printed == booking().card.as_page()
    assert not printed.lstrip().startswith("{")


def test_json_is_the_card_itself(practice: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["--practice", str(practice), "--json", "card", "booking-1"]) == 0
    assert read_card(capsys.readouterr().out).hash == booking().card.hash


def test_a_file_gets_the_json_and_the_screen_says_where(
    practice: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "card.json"
    assert cli.main(["--practice", str(practice), "card", "booking-1", "--out", str(out)]) == 0
    assert capsys.readouterr().out == f"The card of booking-1 is in {out}.\n"
    assert out.read_text(encoding="utf-8") == booking().card.to_text()
    assert cli.main(["--practice", str(practice), "--json", "card", "booking-1", "--out", str(out)]) == 0
    assert json.loads(capsys.readouterr().out) == {"model_id": "booking-1", "file": str(out)}
