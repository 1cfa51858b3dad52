"""Commands that look after the practice's records."""

from __future__ import annotations

import contextlib
from pathlib import Path

import click

from clinic_app.cli.call import Call
from clinic_app.cli.opening import opened, signed_in
from clinic_app.cli.status import DONE, REFUSED
from clinic_app.errors import Refusal
from clinic_app.opening import open_practice
from clinic_app.services.care import backup as backed_up
from clinic_app.services.care import demand_restoring
from clinic_app.services.care import restore as restored
from clinic_app.services.care import verify as verified
from clinic_app.session import holds_practice


@click.command("verify")
@click.pass_obj
def verify(call: Call) -> int:
    """Check the database, the history, the cards and every stored forecast."""
    with opened(call, reading=True) as session, call.progress("Verify") as report:
        found = verified(session, report=report)
    lines = [f"{'good' if one['ok'] else 'FAULT':6}{one['name']}: {one['detail']}" for one in found["checks"]]
    good = "Everything checked is as it was written."
    bad = "Something is not as it was written. Keep the folder as it is and restore a backup into another."
    call.answer(found, [*lines, good if found["ok"] else bad])
    return DONE if found["ok"] else REFUSED


@click.command("backup")
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.pass_obj
def backup(call: Call, file: Path | None) -> int:
    """Write a consistent copy of the practice, checked after writing.

    Into a FILE of your choice it needs the duty Data lead or People.
    """
    with opened(call, reading=True) as session:
        written = backed_up(session, file)
    call.answer({"file": str(written)}, [f"The copy is in {written}; it was opened and checked."])
    return DONE


@click.command("restore")
@click.argument("file", type=click.Path(path_type=Path))
@click.pass_obj
def restore(call: Call, file: Path) -> int:
    """Put a backup in place of the practice's records; the old ones are kept aside.

    Needs the duty Data lead or People.
    """
    _demand_restoring(call)
    aside = restored(call.practice, file)
    kept = f" The records until now are kept in {aside}." if aside is not None else ""
    document = {"restored": str(file), "kept_aside": str(aside) if aside else None}
    call.answer(document, [f"The backup is in place.{kept}"])
    return DONE


def _demand_restoring(call: Call) -> None:
    """Ask who restores, where the practice can still say who may: a damaged one must not bar its own way back."""
    if not holds_practice(call.practice):
        return
    with contextlib.ExitStack() as stack:
        try:
            session = stack.enter_context(open_practice(call.practice, person=call.person, reading=True))
            session.people  # noqa: B018 - read here, since the register may be damaged too
        except Refusal:
            return
        demand_restoring(signed_in(session, call.person))
