"""Where a practice may be kept: a writable folder on a disk of this computer, with room left."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

from clinic_app.errors import Refusal

ROOM = 64 * 1024 * 1024
"""Bytes that must be free before the store is opened for writing."""

NETWORK_KINDS = frozenset(
    {
        "9p", "afs", "beegfs", "ceph", "cifs", "coda", "fuse", "glusterfs", "lustre", "ncpfs", "nfs", "nfs4", "ocfs2",
        "orangefs", "smb3", "smbfs", "vboxsf", "virtiofs", "vmhgfs", "webdav",
    }
)  # fmt: skip
"""File systems whose locks and flushes a database cannot trust; all kinds `fuse.*` count too."""

ROOT_KINDS = frozenset({"9p", "fuse", "virtiofs"})
"""Of these, the ones a virtual computer or a container may have as its own system disk."""


def mount_of(path: str, table: str) -> tuple[str, str]:
    """Mount point and kind of file system of an absolute path, by the text of Linux's `mountinfo`."""
    found = ("/", "")
    for line in table.splitlines():
        before, dash, after = line.partition(" - ")
        fields = before.split()
        if not dash or len(fields) < 5:
            continue
        point = fields[4].encode().decode("unicode_escape")  # a blank is written \040
        inside = path == point or path.startswith(point.rstrip("/") + "/")
        if inside and len(point) >= len(found[0]):
            found = (point, after.split()[0])
    return found


def is_network(point: str, kind: str) -> bool:
    """Whether that kind of file system, mounted there, is a share of another computer."""
    family = kind.split(".", 1)[0]
    if family not in NETWORK_KINDS:
        return False
    return not (point == "/" and family in ROOT_KINDS)


def on_network(folder: Path) -> bool:
    """Whether the folder lies on a network share. Known for Linux and Windows; elsewhere taken as local."""
    if sys.platform == "win32":
        import ctypes  # noqa: PLC0415 - only Windows has windll

        drive = folder.resolve().drive
        return drive.startswith("\\\\") or ctypes.windll.kernel32.GetDriveTypeW(drive + "\\") == 4
    table = Path("/proc/self/mountinfo")
    if not table.exists():
        return False
    return is_network(*mount_of(str(folder.resolve()), table.read_text(encoding="utf-8", errors="replace")))


def check(folder: Path) -> None:
    """Refuse a folder that is missing, is a file, or lies on a share."""
    if not folder.exists():
        raise Refusal(
            "The practice was not opened.",
            f"The folder {folder} does not exist.",
            "Make the folder, or choose another one; if it is on an external disk, connect the disk.",
        )
    if not folder.is_dir():
        raise Refusal(
            "The practice was not opened.",
            f"{folder} is a file, not a folder.",
            "Choose the folder that holds practice.sqlite.",
        )
    if on_network(folder):
        raise Refusal(
            "The practice was not opened.",
            f"The folder {folder} is on a network share or a synchronised drive, where a database can be damaged.",
            "Choose a folder on a disk of this computer; backups may go to the share.",
        )


def not_writable(folder: Path) -> Refusal:
    """What to say when nothing can be written in the folder."""
    return Refusal(
        "The practice was not opened for writing.",
        f"Nothing can be written in the folder {folder}.",
        "Ask for the right to write there, or choose another folder.",
    )


def disk_full() -> Refusal:
    """What to say when the disk had no room for a change."""
    return Refusal(
        "The change was not saved; everything saved before is still there.",
        "The disk that holds the practice is full.",
        "Free at least 64 MB on it and save again.",
    )


def has_room(folder: Path) -> bool:
    """Whether enough is free to write without running out in the middle of a day."""
    return shutil.disk_usage(folder).free >= ROOM
