"""The store of a practice: opened in one place, read by many, written by one."""

from __future__ import annotations

import threading
import uuid
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from types import TracebackType
from typing import Self

from sqlalchemy import Connection, Engine, select
from sqlalchemy.exc import DBAPIError

from clinic_app.domain.record import (
    Case,
    CaseEvent,
    CaseKey,
    Draft,
    HistoryEntry,
    ModelEntry,
    RegisterEntry,
    StoredForecast,
)
from clinic_app.errors import Refusal
from clinic_app.store import backup, drafts, engine, events, lock, reading, register, verify
from clinic_app.store.head import HEAD_NAME, Head, read_head, write_head
from clinic_app.store.history import case_subject, patient_subject, read_history
from clinic_app.store.rowio import Stamp
from clinic_app.store.schema import HISTORY
from clinic_app.store.writing import Writer
from models.codebook import Stage
from models.progress import Report, silent

Clock = Callable[[], datetime]
WAL_KEPT = 1024 * 1024
"""A log above this size is brought into the file after a commit."""


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
        self._registers: dict[str, tuple[int, list[RegisterEntry]]] = {}
        self._changes = 0
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

    def ungraded(self) -> dict[str, set[Stage]]:
        """The cases without a centre grade, each as the history names it, with the moments that are written."""
        with self._reading() as connection:
            return {case_subject(number): moments for number, moments in reading.read_ungraded(connection).items()}

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

    def register(self, kind: str) -> list[RegisterEntry]:
        """The entries of one of the practice's registers, by name. Remembered until the next change of the store, so
        that what follows each key may ask who is acting."""
        changes = self._changes
        known = self._registers.get(kind)
        if known is not None and known[0] == changes:
            return list(known[1])
        with self._reading() as connection:
            found = register.read_register(connection, kind)
        self._registers[kind] = (changes, found)
        return list(found)

    def events(self, *, key: CaseKey | None = None, kind: str | None = None) -> list[CaseEvent]:
        """What happened about cases, in order: of all or of one, of any kind or of one."""
        with self._reading() as connection:
            return events.read_events(connection, key=key, kind=kind)

    def drafts(self, person: str | None = None) -> list[Draft]:
        """What was typed and not yet booked, signed or locked: by all people or by one."""
        with self._reading() as connection:
            return drafts.read_drafts(connection, person)

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
        self._may_write()
        if not by.strip() or not act.strip():
            raise ValueError("a change needs a person and an act")
        with self._alone():
            try:
                yield from self._transaction(
                    Stamp(by, self._clock(), act, reason, request_id or uuid.uuid4().hex, self._program)
                )
            finally:
                self._changes += 1

    def _may_write(self) -> None:
        if self.read_only or self._writer is None:
            raise Refusal(
                "The change was not saved.",
                self.notice or "The practice is open for reading only.",
                "Open it for writing, or restore the newest backup first.",
            )

    @contextmanager
    def _alone(self) -> Iterator[None]:
        """One transaction at a time, whatever the thread."""
        with self._writing:
            if self._within:
                raise RuntimeError("a transaction cannot begin within another")
            self._within = True
            try:
                yield
            finally:
                self._within = False

    @contextmanager
    def _drafting(self) -> Iterator[Connection]:
        self._may_write()
        if self._writer is None:
            raise RuntimeError("not open for writing")
        with self._alone(), engine.plainly(), self._writer.begin() as connection:
            yield connection

    def keep_draft(self, draft: Draft) -> Draft:
        """Keep what is typed, over the draft of the same number if it has one; returned with its number.

        On the disk when this returns, so that a crash does not lose it; no line of the history.
        """
        with self._drafting() as connection:
            return drafts.keep_draft(connection, draft)

    def drop_draft(self, draft_no: int) -> None:
        """Forget a draft; harmless when it is gone already."""
        with self._drafting() as connection:
            drafts.drop_draft(connection, draft_no)

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
