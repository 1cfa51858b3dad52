"""The copies of the practice that lie in its backups folder: which there are, and whether each can be read."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from clinic_app.errors import Refusal
from clinic_app.session import Session
from clinic_app.store.backup import check_file
from models.progress import Report, silent

FOLDER = "backups"


@dataclass(frozen=True, slots=True)
class Backup:
    """A copy: where it lies, when it was written by the practice's clock, how many days ago, how many bytes it has."""

    path: Path
    made: datetime
    days: int
    size: int


def backups(session: Session) -> list[Backup]:
    """The copies in the practice's backups folder, the newest first. Raises `Refusal` when it cannot be read."""
    folder = session.folder / FOLDER
    try:
        found = [one for one in folder.glob("*.sqlite") if one.is_file()] if folder.is_dir() else []
        listed = [_backup(session, one) for one in found]
    except OSError as fault:
        raise Refusal(
            "The backups were not listed.",
            f"The folder {folder} cannot be read: {fault.strerror or 'the system refused it'}.",
            "Ask for the right to read it.",
        ) from None
    return sorted(listed, key=lambda one: (one.made, one.path.name), reverse=True)


def _backup(session: Session, path: Path) -> Backup:
    zone = ZoneInfo(session.settings.zone) if session.settings.zone else None
    facts = path.stat()
    made = datetime.fromtimestamp(facts.st_mtime, UTC).astimezone(zone)
    return Backup(path, made, (session.today() - made.date()).days, facts.st_size)


def check_backup(path: Path, *, report: Report = silent) -> dict[str, Any]:
    """Read a copy whole, without changing it: each check with what was found. Raises `Refusal` for another file."""
    if not path.is_file():
        raise Refusal("The backup was not checked.", f"There is no file {path.name}.", "Choose another backup.")
    checks = [{"name": one.name, "ok": one.ok, "detail": one.detail} for one in check_file(path, report)]
    return {"ok": all(one["ok"] for one in checks), "checks": checks}
