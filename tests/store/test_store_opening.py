"""Opening: what is wrong is said in three sentences, and nothing is touched that should not be."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
import sqlcipher3.dbapi2 as driver
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError

from clinic_app.errors import Refusal
from clinic_app.store import Store, engine, lock, open_store, place
from clinic_app.store.opening import _migrations

ROOT = Path(__file__).parents[2]

Opener = Callable[..., Store]


def run(code: str, *arguments: str) -> str:
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code, *arguments], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


OPEN = """
import sys
from datetime import UTC, datetime
from pathlib import Path
from clinic_app.errors import Refusal
from clinic_app.store import open_store
try:
    store = open_store(Path(sys.argv[1]), clock=lambda: datetime.now(UTC), program="0.1.0")
    print("open", sorted(name for name in sys.modules if name == "alembic"), len(store.keys()), store.notice)
    store.close()
except Refusal as refusal:
    print("refused:", refusal)
"""


def test_a_missing_folder_and_a_file_are_named(tmp_path: Path, opener: Opener) -> None:
    with pytest.raises(Refusal, match="does not exist"):
        opener(tmp_path / "none")
    (tmp_path / "file").write_text("x")
    with pytest.raises(Refusal, match="is a file, not a folder"):
        opener(tmp_path / "file")
    assert [one.name for one in tmp_path.iterdir() if one.name == "none"] == []


def test_each_refusal_has_three_sentences(tmp_path: Path) -> None:
    for refusal in (place.not_writable(tmp_path), place.disk_full(), engine.damaged()):
        assert all(part.strip().endswith(".") for part in (refusal.what, refusal.why, refusal.next))


def test_nothing_can_be_written_in_the_folder(folder: Path, opener: Opener, monkeypatch: pytest.MonkeyPatch) -> None:
    real = os.open

    def refuse(path: Any, flags: int, *rest: Any, **named: Any) -> int:
        if flags & (os.O_CREAT | os.O_RDWR):
            raise PermissionError(13, "Permission denied")
        return real(path, flags, *rest, **named)

    monkeypatch.setattr(lock.os, "open", refuse)
    with pytest.raises(Refusal, match="Nothing can be written in the folder"):
        opener()
    store = opener(read_only=True)
    assert store.rows() == []
    assert all(check.ok for check in store.verify())
    with pytest.raises(Refusal, match="reading only"), store.writing(by="A", act="book"):
        pass


def test_a_nearly_full_disk_opens_for_reading_only(
    folder: Path, opener: Opener, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(place, "ROOM", 2**62)
    store = opener()
    assert store.read_only
    assert "nearly full" in str(store.notice)
    new = tmp_path / "new"
    new.mkdir()
    with pytest.raises(Refusal, match="Less than 64 MB"):
        opener(new)
    assert not (new / "practice.sqlite").exists()


@pytest.mark.parametrize(
    "kind",
    ["nfs", "nfs4", "cifs", "smb3", "smbfs", "fuse.sshfs", "fuse", "9p", "virtiofs", "ceph", "glusterfs", "vboxsf"],
)
def test_shares_are_refused_by_their_kind(kind: str) -> None:
    table = (
        "22 1 254:1 / / rw,relatime shared:1 - ext4 /dev/vda1 rw\n"
        f"40 22 0:41 / /mnt/our\\040share rw shared:9 master:2 - {kind} //server/x rw\n"
        "41 40 254:2 / /mnt/our\\040share/disk rw - xfs /dev/vdb rw\n"
        "nonsense\n"
    )
    assert place.mount_of("/mnt/our share/practice", table) == ("/mnt/our share", kind)
    assert place.is_network(*place.mount_of("/mnt/our share/practice", table))
    assert not place.is_network(*place.mount_of("/mnt/our share/disk/practice", table))
    assert not place.is_network(*place.mount_of("/mnt/our shares", table))


def test_a_container_s_own_system_disk_is_no_share() -> None:
    assert not place.is_network("/", "fuse.fuse-overlayfs")
    assert not place.is_network("/", "9p")
    assert place.is_network("/", "nfs4")
    assert not place.is_network("/home", "fuseblk")


def test_a_practice_on_a_share_is_refused(folder: Path, opener: Opener, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(place, "on_network", lambda _: True)
    with pytest.raises(Refusal, match="network share"):
        opener()


def test_a_second_program_is_refused_and_comes_in_after_the_first(opener: Opener, folder: Path, invented: Any) -> None:
    store = opener()
    invented.fill(store)
    with pytest.raises(Refusal, match="has it open"):
        opener()
    with pytest.raises(Refusal, match="has it open"):
        opener(read_only=True)
    said = run(OPEN, str(folder))
    assert said == (
        "refused: The practice was not opened. Another window or program on this computer has it open. "
        "Go on there, or close it and try again."
    )
    store.close()
    store.close()
    assert run(OPEN, str(folder)) == "open [] 3 None"
    assert len(opener().keys()) == 3


def test_opening_a_store_of_today_does_not_load_the_migrations(folder: Path) -> None:
    assert run(OPEN, str(folder)).startswith("open [] ")
    assert _migrations().SCRIPTS.is_dir()


def test_an_empty_folder_gets_a_store_that_only_its_owner_reads(tmp_path: Path, opener: Opener) -> None:
    store = opener(tmp_path)
    assert store.notice is None
    assert all(check.ok for check in store.verify())
    assert sorted(one.name for one in tmp_path.iterdir() if not one.name.startswith("own")) == [
        "practice.head.json", "practice.lock", "practice.sqlite", "practice.sqlite-wal",
    ]  # fmt: skip
    if os.name == "posix":
        assert (tmp_path / "practice.sqlite").stat().st_mode & 0o77 == 0


def test_a_practice_whose_store_is_gone_is_not_begun_anew(folder: Path, opener: Opener, tmp_path: Path) -> None:
    (folder / "practice.sqlite").unlink()
    with pytest.raises(Refusal, match=r"There is no practice\.sqlite"):
        opener()
    bare = tmp_path / "bare"
    bare.mkdir()
    with pytest.raises(Refusal, match=r"There is no practice\.sqlite"):
        opener(bare, read_only=True)


@pytest.mark.parametrize(("number", "words"), [(1001, "schema 1.1"), (2000, "schema 2.0")])
def test_a_newer_store_is_refused_untouched(folder: Path, opener: Opener, number: int, words: str) -> None:
    path = folder / "practice.sqlite"
    connection = driver.connect(str(path), isolation_level=None)
    connection.execute(f"PRAGMA user_version = {number}")
    connection.close()
    before = hashlib.sha256(path.read_bytes()).hexdigest()
    names = sorted(one.name for one in folder.iterdir())
    with pytest.raises(Refusal, match=words):
        opener()
    assert hashlib.sha256(path.read_bytes()).hexdigest() == before
    assert sorted(one.name for one in folder.iterdir()) == names


def test_another_database_and_a_damaged_file_are_refused(folder: Path, opener: Opener) -> None:
    path = folder / "practice.sqlite"
    path.unlink()
    connection = driver.connect(str(path), isolation_level=None)
    connection.execute("CREATE TABLE t (a)")
    connection.close()
    with pytest.raises(Refusal, match="not one of this program"):
        opener()
    path.write_bytes(b"no database at all, but some other file " * 200)
    with pytest.raises(Refusal, match="damaged or is not a database"):
        opener()


def test_reading_only_changes_nothing(folder: Path, opener: Opener, invented: Any) -> None:
    store = opener()
    invented.fill(store)
    rows = store.rows()
    store.close()
    files = {one.name: one.read_bytes() for one in folder.iterdir()}
    reader = opener(read_only=True)
    assert reader.rows() == rows
    assert reader.notice is None
    with pytest.raises(Refusal, match="open for reading only"), reader.writing(by="A", act="book"):
        pass
    reader.close()
    assert {one.name: one.read_bytes() for one in folder.iterdir()} == files


def test_reading_only_makes_no_file_beside_the_store(folder: Path, opener: Opener, invented: Any) -> None:
    store = opener()
    invented.fill(store)
    rows = store.rows()
    store.close()
    (folder / lock.LOCK_NAME).unlink()
    names = {one.name for one in folder.iterdir()}
    reader = opener(read_only=True)
    assert reader.rows() == rows
    assert {one.name for one in folder.iterdir()} == names
    reader.close()
    assert {one.name for one in folder.iterdir()} == names


def test_a_store_is_not_read_without_what_its_log_holds(
    folder: Path, opener: Opener, invented: Any, tmp_path: Path
) -> None:
    store = opener()
    with store.writing(by="A", act="book") as w:
        w.put_stage(invented.key, invented.booking())
    bare = tmp_path / "bare"
    bare.mkdir()
    for name in ("practice.sqlite", "practice.sqlite-wal"):
        (bare / name).write_bytes((folder / name).read_bytes())
    assert (bare / "practice.sqlite-wal").stat().st_size > 0
    files = {one.name: one.read_bytes() for one in bare.iterdir()}
    with pytest.raises(Refusal, match="last changes are still in practice.sqlite-wal"):
        opener(bare, read_only=True)
    assert {one.name: one.read_bytes() for one in bare.iterdir()} == files
    again = opener(bare)
    assert again.keys() == {invented.key}
    again.close()
    reader = opener(bare, read_only=True)
    assert reader.keys() == {invented.key}


def test_the_promises_are_read_back_at_every_connect(
    folder: Path, opener: Opener, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = opener()
    for source in (store._reader, store._writer):
        assert source is not None
        with source.connect() as connection:
            got = {name: connection.exec_driver_sql(f"PRAGMA {name}").scalar() for name, _ in engine.PRAGMAS}
            assert got | {"mmap_size": got["mmap_size"] or 0} == dict(engine.PRAGMAS)
            assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
    with store._reader.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA query_only").scalar() == 1
    store.close()
    monkeypatch.setattr(engine, "PRAGMAS", (("synchronous", 7), *engine.PRAGMAS[:4]))
    with pytest.raises(Refusal, match="promises that make a save safe"):
        opener()


def test_an_old_database_library_does_not_write() -> None:
    engine.check_version()
    engine.check_version((3, 51, 3))
    with pytest.raises(Refusal, match=r"3\.40\.1; versions before 3\.51\.3"):
        engine.check_version((3, 40, 1))


def test_no_shared_memory_file_is_made(opener: Opener, folder: Path, invented: Any) -> None:
    store = opener()
    invented.fill(store)
    store.rows()
    assert not (folder / "practice.sqlite-shm").exists() or os.name == "nt"
    store.close()
    assert not (folder / "practice.sqlite-wal").exists()


def test_error_texts_hold_no_patient_value(store: Store) -> None:
    writer = store._writer
    assert writer is not None
    told = {"no": 1, "id": "SECRET-7"}
    insert = text("INSERT INTO patients (patient_no, patient_id) VALUES (:no, :id)")
    with writer.connect() as connection, pytest.raises(IntegrityError) as caught:
        connection.execute(insert, told)
    assert "SECRET-7" not in str(caught.value)
    assert "SECRET-7" not in repr(caught.value)


def test_a_person_and_an_act_are_needed_and_clocks_need_a_zone(folder: Path, store: Store) -> None:
    for by, act in (("", "book"), ("A", " ")):
        with pytest.raises(ValueError, match="a person and an act"), store.writing(by=by, act=act):
            pass
    store.close()
    bare = open_store(folder, clock=lambda: datetime(2026, 1, 1), program="0.1.0")
    with pytest.raises(ValueError, match="zone"), bare.writing(by="A", act="note") as w:
        w.note("store", "x")
    bare.close()
