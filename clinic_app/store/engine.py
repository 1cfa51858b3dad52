"""The one way to open the database file: one driver, one journal, one set of promises, read back at every connect."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Literal

import sqlcipher3.dbapi2 as driver
from sqlalchemy import Connection, Engine, QueuePool, create_engine, event
from sqlalchemy.exc import DBAPIError

from clinic_app.errors import Refusal
from clinic_app.store.place import disk_full
from clinic_app.store.schema import APPLICATION_ID, SchemaNumber

LEAST_SQLITE = (3, 51, 3)
"""Older ones can damage a write-ahead log while two connections use it."""

PRAGMAS: tuple[tuple[str, object], ...] = (
    ("foreign_keys", 1),
    ("trusted_schema", 0),
    ("cell_size_check", 1),
    ("mmap_size", 0),
    ("synchronous", 2),
)
"""Set and read back at every connect; synchronous 2 is FULL."""

Mode = Literal["ro", "rw", "rwc"]


def check_version(version: tuple[int, ...] = driver.sqlite_version_info) -> None:
    """Refuse to write with a database library that is too old."""
    if version < LEAST_SQLITE:
        raise Refusal(
            "The practice was not opened for writing.",
            f"The database library is {'.'.join(map(str, version))}; versions before "
            f"{'.'.join(map(str, LEAST_SQLITE))} can damage the records.",
            "Install the program again with the libraries that it names.",
        )


def connect(path: Path, mode: Mode, *, immutable: bool = False) -> Any:
    """A plain connection, transactions left to us. `immutable` reads the file as it lies, without its log."""
    # unix-excl needs no shared-memory file: on a full disk that file ends the process
    vfs = "" if sys.platform == "win32" else "&vfs=unix-excl"
    as_it_lies = "&immutable=1" if immutable else ""
    address = f"{path.absolute().as_uri()}?mode={mode}{vfs}{as_it_lies}"
    # a store with a key would set it on this connection, before any other statement
    return driver.connect(address, uri=True, isolation_level=None, check_same_thread=False, timeout=10)


def _settle(connection: Any, *, writing: bool, foreign_keys: bool = True) -> None:
    wanted = [(name, value) for name, value in PRAGMAS if foreign_keys or name != "foreign_keys"]
    if not foreign_keys:
        wanted.append(("foreign_keys", 0))
    if sys.platform == "darwin":
        wanted += [("fullfsync", 1), ("checkpoint_fullfsync", 1)]
    for name, value in wanted:
        connection.execute(f"PRAGMA {name} = {value}").close()
    got = {name: connection.execute(f"PRAGMA {name}").fetchone() for name, _ in wanted}
    kept = all((got[name] or (0,))[0] == value for name, value in wanted)
    if writing:
        journal = connection.execute("PRAGMA journal_mode = WAL").fetchone()[0]
        kept = kept and journal == "wal"
    if not kept:
        raise Refusal(
            "The practice was not opened for writing.",
            "The database does not keep the promises that make a save safe.",
            "Choose a folder on an ordinary disk of this computer, or install the program again.",
        )


def open_engine(path: Path, *, write: bool, immutable: bool = False, foreign_keys: bool = True) -> Engine:
    """An engine whose transactions begin at once for writing (`write`), or read a steady picture.

    The one that writes holds a single connection and must come first: while it is open, readers need no shared-memory
    file either. Readers are told to refuse changes. `immutable` is for files that lie still. `foreign_keys=False`
    is for migrations, which check them at the end.
    """

    def creator() -> Any:
        connection = connect(path, "ro" if immutable else "rw", immutable=immutable)
        try:
            _settle(connection, writing=write, foreign_keys=foreign_keys)
            if not write:
                connection.execute("PRAGMA query_only = 1").close()
        except UnicodeDecodeError as error:  # the driver stumbles over the database's own words of a damaged schema
            connection.close()
            raise damaged() from error
        except (Refusal, driver.Error):
            connection.close()
            raise
        return connection

    engine = create_engine(
        "sqlite://",
        module=driver,
        creator=creator,
        poolclass=QueuePool,
        pool_size=1 if write else 4,
        max_overflow=0 if write else 8,
        hide_parameters=True,
    )
    beginning = "BEGIN IMMEDIATE" if write else "BEGIN"

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        connection.exec_driver_sql(beginning)

    return engine


def checkpoint(writer: Engine) -> None:
    """Bring the log into the file if readers and disk allow it; what was committed is on the disk either way."""
    connection = writer.raw_connection()
    try:
        connection.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)").close()
    except driver.OperationalError:
        return
    finally:
        connection.close()


def commit(connection: Connection) -> None:
    """The one place where a change becomes lasting."""
    connection.commit()


_MAGIC = b"SQLite format 3\0"
"""How every such file begins; the user version stands in bytes 60 to 63, the application's mark in 68 to 71
(sqlite.org/fileformat2.html, section 1.3)."""


def log_of(path: Path) -> Path:
    """The log beside a store's file."""
    return path.with_name(f"{path.name}-wal")


def log_holds(path: Path) -> bool:
    """Whether changes still wait in the log."""
    log = log_of(path)
    return log.exists() and log.stat().st_size > 0


def schema_number(path: Path) -> SchemaNumber:
    """Which schema the file has, by its header, without touching it; refused when it is no store of this program.

    After a crash in the middle of bringing in the log the file does not hang together without it. Its first bytes say
    enough then, and opening it for writing brings the log in.
    """
    try:
        connection = connect(path, "ro", immutable=True)
        try:
            mark = connection.execute("PRAGMA application_id").fetchone()[0]
            number = connection.execute("PRAGMA user_version").fetchone()[0]
        finally:
            connection.close()
    except (driver.DatabaseError, UnicodeDecodeError) as error:
        with path.open("rb") as file:
            header = file.read(100)
        if not log_holds(path) or not header.startswith(_MAGIC):
            raise damaged() from error
        number, mark = (int.from_bytes(header[at : at + 4], "big") for at in (60, 68))
    if mark != APPLICATION_ID:
        raise Refusal(
            "The file was not opened.",
            "It is a database, but not one of this program.",
            "Choose the folder or the backup of a practice.",
        )
    return SchemaNumber.unpacked(number)


def damaged() -> Refusal:
    """What to say when the file cannot be read as a database."""
    return Refusal(
        "The records could not be read.",
        "The database file is damaged or is not a database.",
        "Nothing was changed; restore the newest backup, and keep the file for those who may mend it.",
    )


@contextmanager
def plainly() -> Iterator[None]:
    """Turn faults of disk or file into refusals; faults of ours pass as they are."""
    try:
        yield
    except DBAPIError as error:
        refusal = plain(error)
        if refusal is None:
            raise
        raise refusal from error


def plain(error: DBAPIError) -> Refusal | None:
    """The refusal for a fault of disk or file; None when the fault is ours."""
    words = str(error.orig)
    if "disk is full" in words:
        return disk_full()
    if any(part in words for part in ("malformed", "not a database", "no such column", "no such table", "UTF-8")):
        return damaged()
    if "disk I/O error" in words or "unable to open" in words:
        return Refusal(
            "The change was not saved; everything saved before is still there.",
            "The disk reported an error.",
            "Check the disk and its free space, then open the practice again.",
        )
    if "readonly" in words:
        return Refusal(
            "The change was not saved.",
            "The database file is open for reading only.",
            "Ask for the right to write to it, then open the practice again.",
        )
    return None
