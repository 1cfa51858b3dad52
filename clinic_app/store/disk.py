"""Bytes and names that are on the disk when a function returns."""

from __future__ import annotations

import os
import sys
from pathlib import Path


def sync_file(path: Path) -> None:
    """Wait until the bytes of the file are on the disk."""
    handle = os.open(path, os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def sync_folder(folder: Path) -> None:
    """Wait until the folder's names are on the disk; Windows does that by itself."""
    if sys.platform == "win32":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def keep_aside(path: Path, word: str) -> Path:
    """A second name for the file, `<stem>.<word>-<n><suffix>` with the first free n; the file itself stays in place."""
    number = 1
    while True:
        aside = path.with_name(f"{path.stem}.{word}-{number}{path.suffix}")
        try:
            os.link(path, aside)
        except FileExistsError:
            number += 1
            continue
        sync_folder(path.parent)
        return aside


def make_private(path: Path) -> None:
    """An empty file that only its owner may read, in place of whatever stood there."""
    path.unlink(missing_ok=True)
    os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
