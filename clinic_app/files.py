"""Writing a file whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from clinic_app.errors import Refusal


def write_whole(path: Path, content: bytes) -> Path:
    """Put `content` at `path`: the old file stays untouched until the new one is complete on disk.

    A temporary file in the same folder is written, synced and moved over the target, then the folder is synced, so
    that a crash or a full disk leaves either the old file or the new one. Raises `Refusal` when the folder is missing,
    not writable or full.
    """
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=".part-")
    except OSError as fault:
        raise _refusal(fault) from None
    part = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
        _sync_folder(path.parent)
    except OSError as fault:
        part.unlink(missing_ok=True)
        raise _refusal(fault) from None
    return path


def _sync_folder(folder: Path) -> None:
    if os.name != "posix":  # other systems cannot open a folder to sync it; their rename is journalled
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _refusal(fault: OSError) -> Refusal:
    return Refusal(
        what="The file was not written.",
        why=f"{os.strerror(fault.errno) if fault.errno else 'The system refused it'}.",
        next="Choose a folder that exists, may be written to and has room; what was there before is unchanged.",
    )
