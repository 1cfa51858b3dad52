"""The store of a practice: opened in one place, read by many, written by one."""

from __future__ import annotations

import importlib
import threading
import uuid
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from sqlalchemy import Connection, Engine, select
from sqlalchemy.exc import DBAPIError

from clinic_app.domain.record import Case, CaseKey, HistoryEntry, ModelEntry, StoredForecast
from clinic_app.errors import Refusal
from clinic_app.store import backup, engine, lock, place, reading, verify
from clinic_app.store.head import HEAD_NAME, Head, read_head, write_head
from clinic_app.store.history import case_subject, patient_subject, read_history
from clinic_app.store.rowio import Stamp
from clinic_app.store.schema import HISTORY, SCHEMA
from clinic_app.store.writing import Writer
from models.codebook import Stage
from models.progress import Report, silent

Clock = Callable[[], datetime]
WAL_KEPT = 1024 * 1024
"""A log above this size is brought into the file after a commit."""


def _migrations() -> Any:
    # the one import inside a function here: Alembic would delay the first picture of the window at every start
    return importlib.import_module("clinic_app.store.migrate")


class Store:
    """An open practice. Any thread may read; one transaction at a time writes. Close it, or use it in a `with`.

    `notice` is a sentence for the user when something about the store is not as it should be; `read_only` says whether
    it takes changes.
    """

    def __init__(self, path: Path, held: lock.Lock | None, clock: Clock, program: str, *, read_only: bool) -> None:
        self.path = path
        self.read_only = read_only
        self.notice: str | None = None
        self._lock = held
        self._clock = clock
        self._program = program
        self._writing = threading.RLock()
        self._within = False
        self._open_engines()

    def _open_engines(self) -> None:
        lies_still = self._lock is None  # read as it lies: no lock, no log, nothing made in the folder
        self._reader: Engine = engine.open_engine(self.path, write=False, immutable=lies_still)
        self._writer: Engine | None = None if self.read_only else engine.open_engine(self.path, write=True)
        if self._writer is not None:
            self._writer.connect().close()  # the writer comes first: it holds the file against other programs

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Bring the log into the file and let go of it; harmless when repeated."""
        if self._lock is not None and not self.read_only:
            self.checkpoint()
        self._dispose()
        if self._lock is not None:
            self._lock.release()

    def _dispose(self) -> None:
        self._reader.dispose()
        if self._writer is not None:
            self._writer.dispose()

    def checkpoint(self) -> None:
        """Bring the log into the file; to be called when nobody types. On a full disk the log stays, just as safe."""
        if self._writer is not None:
            with self._writing:
                engine.checkpoint(self._writer)

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        try:
            with engine.plainly(), self._reader.connect() as connection:
                yield connection
        except (ValueError, TypeError):  # a cell holds what was never written; its text may name a patient
            raise engine.damaged() from None

    # --- reading ---

    def case(self, key: CaseKey) -> Case | None:
        """Everything written about one eye; None when it is not known."""
        with self._reading() as connection:
            found = reading.read_cases(connection, key=key)
        return found[0] if found else None

    def cases(
        self,
        *,
        from_: date | None = None,
        to: date | None = None,
        patient_id: str | None = None,
        patients: Collection[str] | None = None,
        without: Stage | None = None,
    ) -> list[Case]:
        """Cases by surgery date, both days included, of all patients, one or some; `without`: where not written."""
        with self._reading() as connection:
            return reading.read_cases(connection, from_, to, patient_id, patients, without=without)

    def rows(
        self, *, from_: date | None = None, to: date | None = None, patients: Collection[str] | None = None
    ) -> list[dict[str, object]]:
        """The same cases as flat rows (`Case.row`), for arithmetic and export: fast. Of all patients, or of some."""
        with self._reading() as connection:
            return reading.read_rows(connection, from_, to, patients)

    def keys(self, *, patient_id: str | None = None) -> set[CaseKey]:
        """The keys of all cases, or of one patient's."""
        with self._reading() as connection:
            return set(reading.read_keys(connection, patient_id=patient_id).values())

    def patients(self) -> set[str]:
        """The numbers of all patients who have a case."""
        with self._reading() as connection:
            return reading.read_patients(connection)

    def stood_down(self) -> set[CaseKey]:
        """The keys of cases whose surgery will not happen."""
        with self._reading() as connection:
            return set(reading.read_keys(connection, stood_down=True).values())

    def counts(self) -> reading.Counts:
        """How much there is."""
        with self._reading() as connection:
            return reading.read_counts(connection)

    def signed(self, key: CaseKey) -> set[Stage]:
        """The moments of the case that were entered in the program, not only brought by a file."""
        return self.signed_stages().get(key, set())

    def signed_stages(self) -> dict[CaseKey, set[Stage]]:
        """The same for all cases at once; a case with none is left out."""
        with self._reading() as connection:
            return reading.read_signed(connection)

    def models(self) -> list[ModelEntry]:
        """All models by kind and number."""
        with self._reading() as connection:
            return reading.read_models(connection)

    def model(self, model_id: str) -> ModelEntry:
        """One model; refused when there is none of that id."""
        with self._reading() as connection:
            return reading.read_model(connection, model_id)

    def in_use(self, model: str) -> ModelEntry | None:
        """The model in use of a kind, or None."""
        with self._reading() as connection:
            found = reading.read_models(connection, in_use=model)
        return found[0] if found else None

    def forecasts(
        self, *, key: CaseKey | None = None, model: str | None = None, locked: bool | None = None
    ) -> list[StoredForecast]:
        """Forecasts in the order in which they were made."""
        with self._reading() as connection:
            return reading.read_forecasts(connection, key=key, model=model, locked=locked)

    def history(
        self, *, key: CaseKey | None = None, subject: str | None = None, newest: int | None = None
    ) -> list[HistoryEntry]:
        """Lines in order: of all, of a case (its patient included), of a subject such as a model; or the newest n."""
        with self._reading() as connection:
            subjects = None if subject is None else [subject]
            if key is not None:
                row = reading.case_row(connection, key)
                numbers = None if row is None else (int(str(row["case_no"])), int(str(row["patient_no"])))
                subjects = [] if numbers is None else [case_subject(numbers[0]), patient_subject(numbers[1])]
            return read_history(connection, subjects, newest)

    def verify(self, report: Report = silent) -> list[verify.Check]:
        """All checks of the store; each says what was looked at or what is wrong."""
        with self._reading() as connection:
            return verify.check_store(connection, head=read_head(self.path.parent), beside_head=True, report=report)

    def head(self) -> Head:
        """Number and hash of the newest line of the history, for reports and for a second place."""
        with self._reading() as connection:
            return verify.store_head(connection)

    def backup(self, target: Path, report: Report = silent) -> Path:
        """A checked copy as one single file; an existing file is never replaced."""
        self.checkpoint()
        return backup.back_up(self.path, target, report)

    # --- writing ---

    @contextmanager
    def writing(
        self, *, by: str, act: str, reason: str | None = None, request_id: str | None = None
    ) -> Iterator[Writer]:
        """One transaction: everything inside goes in with its history, or nothing.

        Returns only after the change is on the disk. `Refusal` when the disk is full or fails, and when it could not be
        learnt whether the change went in. Reading through the store meanwhile shows the state before.
        """
        if self.read_only or self._writer is None:
            raise Refusal(
                "The change was not saved.",
                self.notice or "The practice is open for reading only.",
                "Open it for writing, or restore the newest backup first.",
            )
        if not by.strip() or not act.strip():
            raise ValueError("a change needs a person and an act")
        with self._writing:
            if self._within:
                raise RuntimeError("a transaction cannot begin within another")
            self._within = True
            try:
                yield from self._transaction(
                    Stamp(by, self._clock(), act, reason, request_id or uuid.uuid4().hex, self._program)
                )
            finally:
                self._within = False

    def _transaction(self, stamp: Stamp) -> Iterator[Writer]:
        if self._writer is None:
            raise RuntimeError("not open for writing")
        fault: DBAPIError | None = None
        with engine.plainly(), self._writer.connect() as connection:
            connection.begin()
            yield Writer(connection, stamp)
            try:
                engine.commit(connection)
            except DBAPIError as error:
                fault = error
        if fault is not None:
            self._after_doubt(stamp.request_id, fault)
        self.write_head()
        wal = engine.log_of(self.path)
        if wal.exists() and wal.stat().st_size > WAL_KEPT:
            self.checkpoint()

    def _after_doubt(self, request_id: str, fault: DBAPIError) -> None:
        """A commit gave no answer: close all, open again, look for the request. Returns only when it is there."""
        try:
            self._dispose()
            self._open_engines()
            with self._reader.connect() as connection:
                known = select(HISTORY.c.number).where(HISTORY.c.request_id == request_id).limit(1)
                saved = connection.execute(known).first() is not None
        except (DBAPIError, Refusal, OSError) as error:
            self.read_only = True
            self.notice = "The last change could not be confirmed; open the practice again before going on."
            raise Refusal(
                "The change could not be confirmed.",
                "The disk gave no answer, and the records could not be opened again.",
                "Check the disk, open the practice again, and look whether the change is there.",
            ) from error
        if not saved:
            raise engine.plain(fault) or Refusal(
                "The change was not saved; everything saved before is still there.",
                "The database reported an error.",
                "Try again; if it happens again, verify the practice.",
            ) from fault

    def stop_writing(self) -> None:
        """From now on for reading only."""
        self.read_only = True

    def write_head(self) -> None:
        """Write down beside the store how far the history has come."""
        try:
            write_head(self.path.parent, self.head())
        except Refusal:
            # the change itself is on the disk; an older head file is behind the store, which is allowed
            self.notice = f"The file {HEAD_NAME} could not be written; is the disk full?"


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
