"""One program at a time: a lock of the operating system on a small file beside the store."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from clinic_app.errors import Refusal
from clinic_app.store.place import not_writable

LOCK_NAME = "practice.lock"


class Lock:
    """Held until `release`, or until the process ends in whatever way; the file itself stays."""

    def __init__(self, handle: int) -> None:
        self._handle = handle

    def release(self) -> None:
        """Let another program in; harmless when repeated."""
        if self._handle >= 0:
            os.close(self._handle)
            self._handle = -1


def take(folder: Path) -> Lock:
    """The lock of that practice; refused when another program has it or when nothing can be written there."""
    held = _take(folder, os.O_RDWR | os.O_CREAT)
    if held is None:
        raise not_writable(folder)
    return held


def take_if_there(folder: Path) -> Lock | None:
    """The same without making its file, for reading only; None when there is none or nothing can be written there."""
    return _take(folder, os.O_RDWR)


def _take(folder: Path, flags: int) -> Lock | None:
    try:
        handle = os.open(folder / LOCK_NAME, flags, 0o600)
    except OSError:
        return None
    try:
        _grasp(handle)
    except OSError as error:
        os.close(handle)
        raise Refusal(
            "The practice was not opened.",
            "Another window or program on this computer has it open.",
            "Go on there, or close it and try again.",
        ) from error
    return Lock(handle)


def _grasp(handle: int) -> None:
    if sys.platform == "win32":
        import msvcrt  # noqa: PLC0415 - only Windows has it

        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
    else:
        import fcntl  # noqa: PLC0415 - Windows has it not

        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
