"""The practice that the window stands on: opened, closed and exchanged on the worker, never while somebody types.

Like the window it must not bring in the store before the first paint; `stations` is fetched by name.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, Signal

from clinic_app.desktop.jobs import Job, Jobs
from models.progress import Report

if TYPE_CHECKING:
    from clinic_app.session import Session

Close = Callable[[], None]


def _stations() -> object:
    return importlib.import_module("clinic_app.desktop.stations")


class Door(QObject):
    """`opened` carries the session once a practice is open, `failed` why it is not; `progress` tells of long work."""

    opened = Signal(object)
    failed = Signal(object)
    progress = Signal(float, str)

    def __init__(self, jobs: Jobs, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.jobs = jobs
        self._close: Close | None = None
        self._where: tuple[Path, str] | None = None
        self._job: Job | None = None
        self._again: Callable[[], None] = lambda: None

    def open(self, folder: Path, person: str) -> None:
        """Open the practice in `folder` in place of the one that is open."""
        self._again = lambda: self.open(folder, person)
        self._where = folder, person
        self._work(_exchange, self._taken(), folder, person)

    def restore(self, folder: Path, backup: Path, person: str) -> None:
        """Put a backup in place of the practice in `folder`, and open that."""
        self._again = lambda: self.open(folder, person)
        self._work(_restore, self._taken(), folder, backup, person)

    def demo(self) -> None:
        """Make the invented practice in a folder of its own and open it; the folder goes when it is closed."""
        self._again = self.demo
        self._work(_demo, self._taken(), reports=True)

    def stop(self) -> None:
        """Stop what takes long; the practice that was open before is opened again."""
        if self._job is not None:
            self._job.stop()

    def _back(self) -> None:
        if self._where is not None:
            self.open(*self._where)

    def again(self) -> None:
        """Try once more what failed."""
        self._again()

    def after(self, again: Callable[[], None]) -> None:
        """What to try once more when nothing has been tried here yet."""
        self._again = again

    def close(self) -> None:
        """Close the practice; harmless when none is open."""
        close = self._taken()
        if close is not None:
            close()

    def _taken(self) -> Close | None:
        close, self._close = self._close, None
        return close

    def _work(self, work: Callable[..., object], *args: object, reports: bool = False) -> None:
        job = self._job = self.jobs.start(work, *args, reports=reports)
        job.stopped.connect(self._back)
        job.done.connect(self._done)
        job.failed.connect(self.failed)
        job.progress.connect(self.progress)

    def _done(self, found: tuple[Session, Close]) -> None:
        session, self._close = found
        self.opened.emit(session)


def _exchange(close: Close | None, folder: Path, person: str) -> object:
    if close is not None:
        close()
    return _stations().open_for_window(folder, person)  # type: ignore[attr-defined]


def _restore(close: Close | None, folder: Path, backup: Path, person: str) -> object:
    if close is not None:
        close()
    return _stations().restore_for_window(folder, backup, person)  # type: ignore[attr-defined]


def _demo(close: Close | None, report: Report) -> object:
    if close is not None:
        close()
    return _stations().demo_for_window(report)  # type: ignore[attr-defined]
