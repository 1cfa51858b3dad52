"""Long work on one other thread. What became of it is read from the future alone; news travels as queued signals."""

from __future__ import annotations

import threading
import traceback
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

from PySide6.QtCore import QObject, Qt, Signal

from clinic_app.errors import Refusal
from models.errors import ModelError
from models.progress import Cancelled


class Job(QObject):
    """One piece of work. Exactly one of `done` (result), `failed` (exception) and `stopped` is raised, in our thread.

    `progress` carries fraction and sentence. `leave()` lets go of it: nothing more is raised.
    """

    done = Signal(object)
    failed = Signal(object)
    stopped = Signal()
    progress = Signal(float, str)
    _ended = Signal()
    _told = Signal(float, str)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.future: Future[object] | None = None
        self._stop = threading.Event()
        self._left = False
        # queued by hand: the work may tell and end before its caller has connected anything
        self._ended.connect(self._settle, Qt.ConnectionType.QueuedConnection)
        self._told.connect(self._pass_on, Qt.ConnectionType.QueuedConnection)

    def report(self, fraction: float, sentence: str) -> None:
        """Called by the work on its own thread; raises `Cancelled` once the person stopped it."""
        if self._stop.is_set():
            raise Cancelled
        self._told.emit(fraction, sentence)

    def stop(self) -> None:
        """Ask the work to end; it ends at its next report."""
        self._stop.set()
        if self.future is not None:
            self.future.cancel()

    def leave(self) -> None:
        """Stop the work and hear nothing more of it."""
        self._left = True
        self.stop()

    @property
    def left(self) -> bool:
        """Whether nobody waits for it any more."""
        return self._left

    @property
    def running(self) -> bool:
        """Whether it has not yet come to an end."""
        return self.future is not None and not self.future.done()

    def follow(self, future: Future[object]) -> None:
        """Watch the future."""
        self.future = future
        future.add_done_callback(lambda _: self._ended.emit())

    def _pass_on(self, fraction: float, sentence: str) -> None:
        if not self._left:
            self.progress.emit(fraction, sentence)

    def _settle(self) -> None:
        if self._left or self.future is None:
            return
        if self.future.cancelled():
            self.stopped.emit()
            return
        fault = self.future.exception()
        if isinstance(fault, Cancelled):
            self.stopped.emit()
        elif fault is not None:
            self.failed.emit(fault)
        else:
            self.done.emit(self.future.result())


class Jobs(QObject):
    """The one worker. Work starts in the order it was given; `close` waits for the piece in hand."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="work")
        self._open: set[Job] = set()
        self._closed = False

    def start(self, work: Callable[..., object], *args: object, reports: bool = False, **named: object) -> Job:
        """Give the work to the worker; with `reports` it is called with `report=`. Once closed nothing is begun."""
        job = Job(self)
        if self._closed:
            job.leave()
            return job
        if reports:
            named["report"] = job.report
        self._open.add(job)
        for signal in (job.done, job.failed, job.stopped):
            signal.connect(lambda *_: self._open.discard(job))
        job.follow(self._pool.submit(work, *args, **named))
        return job

    @property
    def busy(self) -> bool:
        """Whether any work that somebody waits for has not yet told its end."""
        self._open = {job for job in self._open if not job.left}
        return bool(self._open)

    def leave(self) -> None:
        """Let go of everything that is under way: nobody waits for it any more."""
        for job in list(self._open):
            job.leave()
        self._open.clear()

    def close(self) -> None:
        """Stop everything and wait for the worker to end."""
        self.leave()
        self._closed = True
        self._pool.shutdown(wait=True, cancel_futures=True)


def sentences(fault: BaseException) -> tuple[str, str, str]:
    """What happened, why, what to do: of a refusal its own words, of a fault of ours none of a patient's values."""
    if isinstance(fault, Refusal | ModelError):
        return fault.what, fault.why, fault.next
    return (
        "This could not be done.",
        f"The program met a fault of its own ({type(fault).__name__}).",
        "Nothing was changed. Try again; if it happens again, copy the details for whoever looks after the program.",
    )


def details(fault: BaseException) -> str:
    """Where a fault arose: kinds, files and lines, without any value."""
    frames = traceback.extract_tb(fault.__traceback__)
    lines = [f"{Path(one.filename).name}:{one.lineno} {one.name}" for one in frames]
    return "\n".join([type(fault).__name__, *lines])
