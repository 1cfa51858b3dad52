"""Backups of the practice: which there are, and whether each can still be read."""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from clinic_app.domain.record import CaseKey, StageRecord
from clinic_app.errors import Refusal
from clinic_app.services import backups, care
from clinic_app.session import open_session
from models.codebook import Stage

NOW = datetime(2026, 3, 2, 8, tzinfo=UTC)


def test_backups_are_listed_the_newest_first_with_their_age_and_checked_whole(tmp_path: Path) -> None:
    heard: list[str] = []
    with open_session(tmp_path, person="Osei", clock=lambda: NOW) as session:
        assert backups.backups(session) == []
        with session.store.writing(by="Osei", act="book") as write:
            write.put_stage(CaseKey("1", "R", NOW.date()), StageRecord(Stage.BOOKING, {"cct_um": 540.0}))
        first = care.backup(session, report=lambda _, words: heard.append(words))
        second = care.backup(session, tmp_path / "backups" / "by-hand.sqlite")
        for path, days in ((first, 3), (second, 0)):
            then = (NOW - timedelta(days=days)).timestamp()
            os.utime(path, (then, then))
        (tmp_path / "backups" / "note.txt").write_text("not a backup")
        found = backups.backups(session)
    assert [one.path for one in found] == [second, first]
    assert [one.days for one in found] == [0, 3]
    assert found[0].size == second.stat().st_size > 10_000
    assert heard
    checked = backups.check_backup(first)
    assert checked["ok"]
    assert {one["name"] for one in checked["checks"]} >= {"history", "schema"}


def test_a_backup_that_was_changed_is_not_sound_and_another_file_is_refused(tmp_path: Path) -> None:
    with open_session(tmp_path, person="Osei", clock=lambda: NOW) as session:
        with session.store.writing(by="Osei", act="book") as write:
            write.put_stage(CaseKey("1", "R", NOW.date()), StageRecord(Stage.BOOKING, {"preop_va_raw": "6/12 TWELVE"}))
        path = care.backup(session)
    held = path.read_bytes()
    assert held.count(b"6/12 TWELVE") >= 1
    path.write_bytes(held.replace(b"6/12 TWELVE", b"6/12 ELEVEN"))
    assert not backups.check_backup(path)["ok"]
    with pytest.raises(Refusal, match="There is no file"):
        backups.check_backup(tmp_path / "nothing.sqlite")
