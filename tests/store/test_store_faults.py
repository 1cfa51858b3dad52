"""What is saved stays saved: kills, full disks, commits without an answer."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Connection
from sqlalchemy.exc import OperationalError

from clinic_app.errors import Refusal
from clinic_app.store import Store, engine, open_store, place
from clinic_app.store.head import read_head

ROOT = Path(__file__).parents[2]
Opener = Callable[..., Store]

KILLER = """
import os, random, signal, sys, time
from datetime import UTC, date, datetime
from pathlib import Path
from clinic_app.domain.record import CaseKey, StageRecord
from clinic_app.store import open_store
from models.codebook import Stage

def write_for_ever(told):
    store = open_store(Path(sys.argv[1]), clock=lambda: datetime.now(UTC), program="0.1.0")
    number = len(store.keys())
    while True:
        key = CaseKey(f"T{number:05d}", "R", date(2026, 3, 1))
        with store.writing(by="A. Invented", act="book") as w:
            w.put_stage(key, StageRecord(Stage.BOOKING, {"cct_um": 500.0 + number, "sex": "female"}))
            w.put_stage(key, StageRecord(Stage.THEATRE, {"us_time_s": float(number)}))
            w.put_stage(key, StageRecord(Stage.DAY_ONE, {"edema_grade_central": number % 5}))
        number += 1
        os.write(told, f"{number}\\n".encode())

rng = random.Random(3)
for _ in range(20):
    hears, told = os.pipe()
    writer = os.fork()
    if writer == 0:
        write_for_ever(told)
    os.close(told)
    said = os.read(hears, 4)
    time.sleep(rng.uniform(0.0, 0.05))
    os.kill(writer, signal.SIGKILL)
    assert os.waitstatus_to_exitcode(os.waitpid(writer, 0)[1]) == -signal.SIGKILL
    while more := os.read(hears, 65536):
        said += more
    os.close(hears)
    print(said.decode().split()[-1])
"""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system has no fork")
def test_twenty_kills_lose_no_acknowledged_case(folder: Path, opener: Opener) -> None:
    done = subprocess.run(
        [sys.executable, "-c", KILLER, str(folder)], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    acknowledged = [int(line) for line in done.stdout.split()]
    assert len(acknowledged) == 20
    assert acknowledged == sorted(set(acknowledged))
    store = opener()
    assert not store.read_only
    cases = store.cases()
    assert len(cases) >= acknowledged[-1] >= 20
    for case in cases:
        number = int(case.key.patient_id[1:])
        row = case.row()
        assert (row["cct_um"], row["us_time_s"], row["edema_grade_central"]) == (500.0 + number, number, number % 5)
    assert all(check.ok for check in store.verify())


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path | None]:
    """A disk of 6 MiB; None where nothing can be mounted."""
    mounted = tmp_path / "small disk"
    mounted.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=6m", "none", str(mounted)]
    try:
        done = subprocess.run(command, capture_output=True, check=False).returncode == 0
    except FileNotFoundError:
        done = False
    yield mounted if done else None
    if done:
        subprocess.run(["umount", "-l", str(mounted)], check=True)


LIMITED = """
import resource, sys
from datetime import UTC, date, datetime
from pathlib import Path
from clinic_app.domain.record import CaseKey, StageRecord
from clinic_app.errors import Refusal
from clinic_app.store import open_store
from models.codebook import Stage
folder = Path(sys.argv[1])
store = open_store(folder, clock=lambda: datetime.now(UTC), program="0.1.0")
size = (folder / "practice.sqlite").stat().st_size + 100_000
resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))
saved = 0
try:
    for number in range(2000):
        with store.writing(by="A. Invented", act="book") as w:
            key = CaseKey(f"T{number}", "R", date(2026, 3, 1))
            w.put_stage(key, StageRecord(Stage.BOOKING, {"preop_va_raw": "x" * 900}))
        saved += 1
except Refusal as refusal:
    assert refusal.what and refusal.why and refusal.next
    assert len(store.rows()) == saved > 0, (len(store.rows()), saved)
    print("refused", refusal)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such limit")
def test_a_file_that_cannot_grow_is_told_and_nothing_saved_is_lost(folder: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", LIMITED, str(folder)], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("refused The change was not saved; everything saved before is still there.")


def test_a_full_disk_is_told_and_work_goes_on_when_there_is_room(
    small_disk: Path | None, opener: Opener, tmp_path: Path, invented: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    if small_disk is None:  # the test before has tried the limit of a file instead
        return
    monkeypatch.setattr(place, "ROOM", 0)
    store = opener(small_disk)
    filler = small_disk / "filler"
    free = os.statvfs(small_disk)
    filler.write_bytes(b"\0" * (free.f_bavail * free.f_frsize - 300_000))

    def save(number: int) -> None:
        with store.writing(by="A", act="book") as w:
            w.put_stage(replace(invented.key, patient_id=f"T{number}"), invented.booking(preop_va_raw="x" * 5000))

    saved, full = 0, None
    while full is None and saved < 500:
        try:
            save(saved + 100)
            saved += 1
        except Refusal as refusal:
            full = refusal
    assert full is not None
    assert full.why == "The disk that holds the practice is full."
    assert full.next == "Free at least 64 MB on it and save again."
    assert saved > 0
    assert len(store.rows()) == saved
    with pytest.raises(Refusal, match="disk that holds the practice is full"):
        store.backup(small_disk / "copy.sqlite")
    assert not any(one.name.startswith("copy") for one in small_disk.iterdir())
    filler.unlink()
    with store.writing(by="A", act="book") as w:
        w.put_stage(invented.key, invented.booking())
    assert len(store.rows()) == saved + 1
    assert all(check.ok for check in store.verify())
    store.close()


def broken(statement: str = "COMMIT") -> OperationalError:
    return OperationalError(statement, None, Exception("disk I/O error"))


def test_a_commit_that_failed_is_looked_up_and_told_as_not_saved(
    store: Store, invented: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(_: Connection) -> None:
        raise broken()

    with monkeypatch.context() as patch:
        patch.setattr(engine, "commit", fail)
        with pytest.raises(Refusal, match="was not saved") as caught, store.writing(by="A", act="book") as w:
            w.put_stage(invented.key, invented.booking())
    assert caught.value.why == "The disk reported an error."
    assert store.keys() == set()
    with store.writing(by="A", act="book") as w:
        w.put_stage(invented.key, invented.booking())
    assert store.keys() == {invented.key}


def test_a_commit_whose_answer_was_lost_counts_when_it_is_found(
    store: Store, invented: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    def late(connection: Connection) -> None:
        connection.commit()
        raise broken()

    with monkeypatch.context() as patch:
        patch.setattr(engine, "commit", late)
        with store.writing(by="A", act="book") as w:
            w.put_stage(invented.key, invented.booking())
    assert store.keys() == {invented.key}
    assert read_head(store.path.parent) == store.head()
    assert all(check.ok for check in store.verify())


def test_what_cannot_be_looked_up_is_told_as_not_confirmed_and_writing_stops(
    store: Store, invented: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: Any, **__: Any) -> None:
        raise broken()

    with monkeypatch.context() as patch:
        patch.setattr(engine, "commit", fail)
        patch.setattr(engine, "open_engine", fail)
        with pytest.raises(Refusal, match="could not be confirmed"), store.writing(by="A", act="book") as w:
            w.put_stage(invented.key, invented.booking())
    assert store.read_only
    with pytest.raises(Refusal, match="open the practice again"), store.writing(by="A", act="book"):
        pass


def test_a_head_file_that_cannot_be_written_does_not_undo_the_change(
    store: Store, invented: Any, monkeypatch: pytest.MonkeyPatch, folder: Path, opener: Opener
) -> None:
    from clinic_app.store import store as store_module

    def full(*_: Any) -> None:
        raise Refusal("The file was not written.", "No space left on device.", "Make room.")

    before = read_head(folder)
    with monkeypatch.context() as patch:
        patch.setattr(store_module, "write_head", full)
        with store.writing(by="A", act="book") as w:
            w.put_stage(invented.key, invented.booking())
    assert "disk full" in str(store.notice)
    assert read_head(folder) == before
    store.close()
    again = opener()
    assert (again.read_only, again.notice) == (False, None)
    assert read_head(folder) == again.head() != before


def test_many_threads_read_while_one_writes(store: Store, invented: Any) -> None:
    from concurrent.futures import ThreadPoolExecutor

    invented.fill(store)

    def write(number: int) -> int:
        with store.writing(by=f"Seat {number}", act="book") as w:
            w.put_stage(invented.key, invented.booking(cct_um=500.0 + number))
        return len(store.rows()) + len(store.cases())

    with ThreadPoolExecutor(6) as pool:
        assert list(pool.map(write, range(30))) == [6] * 30
    assert len({one.by for one in store.history()} & {f"Seat {n}" for n in range(30)}) == 30
    assert all(check.ok for check in store.verify())


def test_a_store_made_here_is_not_left_half_made(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from clinic_app.store import migrate

    def fail(*_: Any) -> None:
        raise broken("CREATE TABLE")

    monkeypatch.setattr(migrate, "run", fail)
    with pytest.raises(Refusal, match="disk reported an error"):
        open_store(tmp_path, clock=lambda: datetime.now(UTC), program="0.1.0")
    assert not (tmp_path / "practice.sqlite").exists()


LEAVER = """
import os, sys
from datetime import UTC, date, datetime
from pathlib import Path
from clinic_app.domain.record import CaseKey, StageRecord
from clinic_app.store import open_store
from models.codebook import Stage
store = open_store(Path(sys.argv[1]), clock=lambda: datetime.now(UTC), program="0.1.0")
for number in range(120):
    with store.writing(by="A. Invented", act="book") as w:
        w.put_stage(CaseKey(f"T{number}", "R", date(2026, 3, 1)), StageRecord(Stage.BOOKING, {"cct_um": 540.0}))
os._exit(0)
"""


def test_a_crash_while_the_log_is_brought_in_is_no_damage(folder: Path, opener: Opener, tmp_path: Path) -> None:
    subprocess.run([sys.executable, "-c", LEAVER, str(folder)], cwd=ROOT, check=True)
    file = folder / "practice.sqlite"
    assert engine.log_holds(file)
    # Pages are brought in from the first on: the first says already how long the file will be, the rest is missing.
    whole = tmp_path / "whole"
    shutil.copytree(folder, whole)
    connection = engine.connect(whole / "practice.sqlite", "rw")
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    connection.close()
    first = (whole / "practice.sqlite").read_bytes()[:4096]
    with file.open("r+b") as handle:
        handle.write(first)
    alone = engine.connect(file, "ro", immutable=True)
    with pytest.raises(engine.driver.DatabaseError, match="malformed"):
        alone.execute("PRAGMA application_id").fetchone()
    alone.close()
    store = opener()
    assert len(store.cases()) == 120
    assert all(check.ok for check in store.verify())
