"""Copies of a store that are proven readable before they get their name, and the way back from one."""

from __future__ import annotations

from pathlib import Path

import sqlcipher3.dbapi2 as driver

from clinic_app.errors import Refusal
from clinic_app.store import lock, place
from clinic_app.store.disk import keep_aside, make_private, sync_file, sync_folder
from clinic_app.store.engine import connect, damaged, open_engine, plainly, schema_number
from clinic_app.store.head import write_head
from clinic_app.store.schema import SCHEMA
from clinic_app.store.verify import Check, check_store, store_head
from models.progress import Report, silent

STORE_NAME = "practice.sqlite"
COMPANIONS = ("-wal", "-shm", "-journal")
SQLITE = b"SQLite format 3\0"
"""How every database file begins."""


def remove_store(path: Path) -> None:
    """Remove a temporary store with its logs."""
    for name in ("", *COMPANIONS):
        path.with_name(path.name + name).unlink(missing_ok=True)


def check_file(path: Path, report: Report = silent) -> list[Check]:
    """All checks on a store that lies still (a backup, a copy), without changing it."""
    schema_number(path)
    engine = open_engine(path, write=False, immutable=True)
    try:
        with plainly(), engine.connect() as connection:
            return check_store(connection, head=None, beside_head=False, report=report)
    finally:
        engine.dispose()


def demand_sound(checks: list[Check], what: str) -> None:
    """Refuse when a check failed."""
    failed = [one for one in checks if not one.ok]
    if failed:
        raise Refusal(
            what,
            f"The check of its contents failed: {failed[0].name}: {failed[0].detail}",
            "Verify the practice and use the newest backup that passes.",
        )


def copy_store(source: Path, target: Path, *, still: bool) -> None:
    """A steady copy as one single file, flushed to the disk. `still`: the source is not open in this process."""
    make_private(target)
    try:
        reader = connect(source, "ro" if still else "rw", immutable=still)
        try:
            writer = connect(target, "rw")
            try:
                reader.backup(writer)  # in one step: in small steps it never ends beside a writer
                writer.execute("PRAGMA journal_mode = DELETE").close()
            finally:
                writer.close()
        finally:
            reader.close()
        sync_file(target)
    except (driver.Error, OSError, UnicodeDecodeError) as error:
        remove_store(target)
        words = str(error)
        if "full" in words or "No space" in words or "too large" in words:
            raise place.disk_full() from error
        raise damaged() from error


def back_up(source: Path, target: Path, report: Report = silent) -> Path:
    """Copy the store to `target`, read the copy back, and only then give it its name. Nothing is overwritten."""
    if target.exists():
        raise Refusal(
            "The backup was not made.",
            f"There is a file {target.name} already.",
            "Choose another name; a backup never replaces one.",
        )
    if not target.parent.is_dir():
        raise Refusal(
            "The backup was not made.",
            f"The folder {target.parent} does not exist.",
            "Make the folder, or connect the disk.",
        )
    part = target.with_name(target.name + ".part")
    try:
        remove_store(part)
        copy_store(source, part, still=False)
    except PermissionError as error:
        raise Refusal(
            "The backup was not made.", f"Nothing can be written in {target.parent}.", "Choose another folder."
        ) from error
    try:
        demand_sound(check_file(part, report), "The backup was not made.")
        part.replace(target)
    finally:
        remove_store(part)
    sync_folder(target.parent)
    return target


def restore(folder: Path, backup: Path, report: Report = silent) -> Path | None:
    """Put a backup in the place of the practice's store, after checking it. Returns where the store before now lies.

    The store before stays in the folder under a name of its own; nothing is deleted. None when there was
    no store before. The practice must not be open.
    """
    place.check(folder)
    if not backup.is_file():
        raise Refusal("Nothing was restored.", f"There is no file {backup}.", "Choose a backup.")
    with backup.open("rb") as file:
        if file.read(len(SQLITE)) != SQLITE:
            raise Refusal(
                "Nothing was restored.",
                f"{backup.name} is not a backup of this program.",
                "Choose a file that was written by backup; the records are as they were.",
            )
    held = lock.take(folder)
    fresh = folder / (STORE_NAME + ".restored")
    try:
        if schema_number(backup) > SCHEMA:
            raise newer_schema(backup)
        demand_sound(check_file(backup, report), "Nothing was restored.")
        remove_store(fresh)
        copy_store(backup, fresh, still=True)
        demand_sound(check_file(fresh), "Nothing was restored.")
        aside = swap(fresh, folder / STORE_NAME, "before-restore")
        engine = open_engine(folder / STORE_NAME, write=False, immutable=True)
        try:
            with engine.connect() as connection:
                write_head(folder, store_head(connection))
        finally:
            engine.dispose()
        return aside
    finally:
        remove_store(fresh)
        held.release()


def swap(fresh: Path, path: Path, word: str) -> Path | None:
    """Put `fresh` in the place of `path` in one step; the file before keeps a name of its own, which is returned."""
    aside = None
    if path.exists():
        settle(path)
        aside = keep_aside(path, word)
        for name in COMPANIONS:
            beside = path.with_name(path.name + name)
            if beside.exists():  # a log that could not be settled must never meet the new file
                beside.replace(aside.with_name(aside.name + name))
    fresh.replace(path)
    sync_folder(path.parent)
    return aside


def settle(path: Path) -> None:
    """Bring the log into the file, so that the file alone is the store. A damaged store stays as it is."""
    try:
        schema_number(path)  # a file that is no database would lose its log at the first opening
        connection = connect(path, "rw")
        try:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").close()
        finally:
            connection.close()
    except (driver.DatabaseError, UnicodeDecodeError, Refusal):
        return


def newer_schema(path: Path) -> Refusal:
    """What to say of a store that a newer program wrote."""
    return Refusal(
        "The records were not opened.",
        f"{path.name} was written by a newer version of the program: schema {schema_number(path)}, not {SCHEMA}.",
        "Install the newer version; the file was not changed.",
    )
