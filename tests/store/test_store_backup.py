"""Backups are read back before they count, and bringing one back destroys nothing."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import sqlcipher3.dbapi2 as driver

from clinic_app.errors import Refusal
from clinic_app.store import Store, backup, engine, restore
from clinic_app.store.head import read_head

Opener = Callable[..., Store]


def test_a_backup_is_one_file_with_the_same_records(filled: Store, tmp_path: Path) -> None:
    steps: list[float] = []
    target = filled.backup(tmp_path / "copy.sqlite", lambda fraction, _: steps.append(fraction))
    assert target == tmp_path / "copy.sqlite"
    assert sorted(one.name for one in tmp_path.iterdir()) == ["copy.sqlite", "own practice"]
    assert steps == sorted(steps)
    assert steps[-1] == 1.0
    assert [check.name for check in backup.check_file(target) if not check.ok] == []
    assert target.stat().st_mode & 0o77 == 0 or engine.sys.platform == "win32"


def test_a_backup_never_replaces_a_file_and_says_where_it_cannot_go(filled: Store, tmp_path: Path) -> None:
    (tmp_path / "copy.sqlite").write_text("mine")
    with pytest.raises(Refusal, match="already"):
        filled.backup(tmp_path / "copy.sqlite")
    assert (tmp_path / "copy.sqlite").read_text() == "mine"
    with pytest.raises(Refusal, match="does not exist"):
        filled.backup(tmp_path / "none" / "copy.sqlite")


def test_a_damaged_store_gives_no_backup(filled: Store, folder: Path, tmp_path: Path, opener: Opener) -> None:
    filled.close()
    connection = driver.connect(str(folder / "practice.sqlite"), isolation_level=None)
    connection.execute("UPDATE booking SET cct_um = 1.0 WHERE case_no = 1")
    connection.close()
    with pytest.raises(Refusal, match="row sums"):
        opener().backup(tmp_path / "copy.sqlite")
    assert not (tmp_path / "copy.sqlite").exists()


def test_restoring_brings_back_the_records_and_keeps_the_others(
    filled: Store, folder: Path, tmp_path: Path, opener: Opener, invented: Any
) -> None:
    copy = filled.backup(tmp_path / "copy.sqlite")
    rows, head = filled.rows(), filled.head()
    with filled.writing(by="A", act="correct") as w:
        w.put_stage(invented.key, invented.booking(cct_um=600.0))
    later = filled.rows()
    with pytest.raises(Refusal, match="has it open"):
        restore(folder, copy)
    filled.close()
    aside = restore(folder, copy)
    assert aside == folder / "practice.before-restore-1.sqlite"
    assert read_head(folder) == head
    store = opener()
    assert (store.read_only, store.notice) == (False, None)
    assert store.rows() == rows
    store.close()
    assert restore(folder, aside) == folder / "practice.before-restore-2.sqlite"
    assert opener().rows() == later
    assert copy.exists()


def test_a_bad_backup_is_not_restored(filled: Store, folder: Path, tmp_path: Path, opener: Opener) -> None:
    copy = filled.backup(tmp_path / "copy.sqlite")
    rows = filled.rows()
    filled.close()
    names = sorted(one.name for one in folder.iterdir())
    sound = copy.read_bytes()
    connection = driver.connect(str(copy), isolation_level=None)
    connection.execute("UPDATE booking SET cct_um = 1.0 WHERE case_no = 1")
    connection.close()
    with pytest.raises(Refusal, match="row sums"):
        restore(folder, copy)
    copy.write_bytes(sound[: len(sound) // 2])
    with pytest.raises(Refusal, match="integrity|cannot be read|damaged"):
        restore(folder, copy)
    copy.write_bytes(sound)
    connection = driver.connect(str(copy), isolation_level=None)
    connection.execute("PRAGMA user_version = 1001")
    connection.close()
    with pytest.raises(Refusal, match="newer version"):
        restore(folder, copy)
    with pytest.raises(Refusal, match="There is no file"):
        restore(folder, tmp_path / "none.sqlite")
    assert sorted(one.name for one in folder.iterdir()) == names
    assert opener().rows() == rows


def test_restoring_over_a_damaged_store_and_into_an_empty_folder(
    filled: Store, folder: Path, tmp_path: Path, opener: Opener
) -> None:
    copy = filled.backup(tmp_path / "copy.sqlite")
    rows = filled.rows()
    filled.close()
    (folder / "practice.sqlite").write_bytes(b"rubbish" * 1000)
    (folder / "practice.sqlite-wal").write_bytes(b"rubbish too" * 1000)
    aside = restore(folder, copy)
    assert aside is not None
    assert aside.read_bytes() == b"rubbish" * 1000
    assert aside.with_name(aside.name + "-wal").read_bytes() == b"rubbish too" * 1000
    store = opener()
    assert store.rows() == rows
    store.close()
    bare = tmp_path / "bare"
    bare.mkdir()
    assert restore(bare, copy) is None
    assert opener(bare).rows() == rows
