"""Looking after the practice's records: checks, copies, putting a copy back."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from clinic_app.domain.people import EVERYTHING, Duty
from clinic_app.errors import Refusal
from clinic_app.session import Session, restore_session
from models.errors import ModelError
from models.progress import Report, silent

TOLERANCE = 1e-9
"""How far a stored forecast may lie from the one its card gives again: the tolerance of the card's own test vectors."""


def verify(session: Session, *, report: Report = silent) -> dict[str, Any]:
    """Database, history, cards and forecasts, each with what was found: the document of the `verify` command."""
    session.need(*EVERYTHING, act="Checking the records")
    checks = [{"name": one.name, "ok": one.ok, "detail": one.detail} for one in session.store.verify(report=report)]
    checks.append(_cards(session))
    checks.append(_forecasts(session))
    return {"ok": all(one["ok"] for one in checks), "checks": checks}


def _cards(session: Session) -> dict[str, Any]:
    entries = session.store.models()
    broken = []
    for entry in entries:
        try:
            session.card(entry.model_id)
        except ModelError:
            broken.append(entry.model_id)
    detail = f"{len(entries)} read, test vectors reproduced" if not broken else f"cannot be read: {', '.join(broken)}"
    return {"name": "cards", "ok": not broken, "detail": detail}


def _forecasts(session: Session) -> dict[str, Any]:
    """Every stored forecast must follow again from its card and the inputs stored with it."""
    stored = session.store.forecasts()
    differing = 0
    for model_id in sorted({one.model_id for one in stored}):
        mine = [one for one in stored if one.model_id == model_id]
        try:
            again = session.card(model_id).forecast([dict(one.inputs) for one in mine])
        except ModelError:
            differing += len(mine)
            continue
        for old, new in zip(mine, again, strict=True):
            pairs = ((old.risk, new.risk), (old.low, new.low), (old.high, new.high))
            same = old.status == new.status and all(
                (a is None) == (b is None) and (a is None or b is None or abs(a - b) <= TOLERANCE) for a, b in pairs
            )
            differing += not same
    detail = f"{len(stored)} follow again from their cards" if not differing else f"{differing} of {len(stored)} differ"
    return {"name": "forecasts", "ok": not differing, "detail": detail}


def backup(session: Session, file: Path | None = None, *, report: Report = silent) -> Path:
    """A consistent copy of the practice, opened and checked after writing; without `file` into its backups folder.

    Whoever takes the copy elsewhere takes the whole record along, and needs the duty Data lead or People.
    """
    if file is None:
        session.need(*EVERYTHING, act="A backup")
    else:
        session.need(Duty.DATA_LEAD, Duty.PEOPLE, act="A backup into a place of your choice")
    if file is None:
        folder = session.folder / "backups"
        try:
            folder.mkdir(exist_ok=True)
        except OSError:
            raise Refusal(
                what="The copy was not written.",
                why="This practice cannot be written here, and its backups lie in its folder.",
                next="Name a file in a folder where you may write: clinic-app backup FILE",
            ) from None
        file = folder / f"practice-{session.clock():%Y%m%dT%H%M%SZ}.sqlite"
    return session.store.backup(file, report)


def demand_restoring(session: Session) -> None:
    """Refuse somebody who may not put a backup in place of the records: it needs the duty Data lead or People."""
    session.need(Duty.DATA_LEAD, Duty.PEOPLE, act="Restoring a backup")


def restore(folder: Path, file: Path) -> Path | None:
    """Put the backup `file` in place of the practice in `folder`; the old database is kept aside and named."""
    return restore_session(folder, file)
