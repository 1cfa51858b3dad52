"""Opening the store of a practice: made when there is none, upgraded when it is older, checked against its head."""

from __future__ import annotations

import importlib
import uuid
from dataclasses import replace
from pathlib import Path
from typing import Any

from clinic_app.errors import Refusal
from clinic_app.store import backup, engine, lock, place, verify
from clinic_app.store.head import HEAD_NAME, read_head
from clinic_app.store.rowio import Stamp
from clinic_app.store.schema import SCHEMA
from clinic_app.store.store import Clock, Store


def _migrations() -> Any:
    # the one import inside a function here: Alembic would delay the first picture of the window at every start
    return importlib.import_module("clinic_app.store.migrate")


def open_store(folder: Path, *, clock: Clock, program: str, read_only: bool = False) -> Store:
    """Open the practice in `folder`, making an empty store when there is none.

    A store of an older schema is upgraded on a checked copy, the old file kept; one of a newer schema is refused and
    not touched. A store that does not reach as far as its head file opens for reading only, with a notice, and so does
    one on a nearly full disk. Refused: a folder that is missing, a file, on a share or not writable; a practice that
    another program has open.
    """
    place.check(folder)
    if not read_only:
        engine.check_version()
    path = folder / backup.STORE_NAME
    held = lock.take_if_there(folder) if read_only else lock.take(folder)
    opened = False
    try:
        with engine.plainly():
            store = _open(path, held, clock, program, read_only=read_only)
        opened = True
        return store
    finally:
        if not opened and held is not None:
            held.release()


def _open(path: Path, held: lock.Lock | None, clock: Clock, program: str, *, read_only: bool) -> Store:
    folder = path.parent
    room = place.has_room(folder)
    stamp = Stamp("the program", clock(), "create", None, uuid.uuid4().hex, program)
    if not path.exists():
        _may_create(path, read_only=read_only, room=room)
        _migrations().create(path, stamp, uuid.uuid4().hex)
    if held is None:
        _may_read_as_it_lies(path)
    number = engine.schema_number(path)
    if number > SCHEMA:
        raise backup.newer_schema(path)
    if number < SCHEMA:
        if read_only or not room:
            raise Refusal(
                "The records were not opened.",
                "They were written by an older version of the program and must be upgraded first.",
                "Open the practice for writing, with at least 64 MB free on its disk.",
            )
        _migrations().upgrade(path, replace(stamp, act="upgrade"))
    head = read_head(folder)
    store = Store(path, held, clock, program, read_only=read_only)
    try:
        with store._reading() as connection:
            now = verify.store_head(connection)
            store.notice = None if head is None else verify.against_head(connection, head)
    except BaseException:
        store.close()
        raise
    if store.notice is None and not room and not read_only:
        store.notice = "The disk that holds the practice is nearly full; the records open for reading only."
    if store.notice is not None:
        store.stop_writing()
    elif not read_only:
        if head is None and now.number > 1:
            store.notice = f"The file {HEAD_NAME} was missing and was written anew."
        if head != now:
            store.write_head()
    return store


def _may_create(path: Path, *, read_only: bool, room: bool) -> None:
    if read_only or read_head(path.parent) is not None:
        raise Refusal(
            "The practice was not opened.",
            f"There is no {path.name} in the folder {path.parent}.",
            "Choose the practice's folder, or restore a backup into it.",
        )
    if not room:
        raise Refusal(
            "The practice was not made.",
            f"Less than 64 MB are free on the disk that holds {path.parent}.",
            "Free some space, or choose a folder on another disk.",
        )


def _may_read_as_it_lies(path: Path) -> None:
    """Refuse to read a store without its log while the log holds something: the last changes would be missed."""
    log = engine.log_of(path)
    if engine.log_holds(path):
        raise Refusal(
            "The practice was not opened.",
            f"The last changes are still in {log.name} and not in {path.name}, and reading must not bring them in.",
            "Close the program that has the practice open. If none has, open it once for writing, in a copy of the "
            "folder where you may write if need be.",
        )
