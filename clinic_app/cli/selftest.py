"""Commands for harnesses that try the program from outside."""

from __future__ import annotations

import itertools
import json

import click

from clinic_app.cli.call import Call
from clinic_app.cli.opening import opened
from clinic_app.cli.status import DONE, REFUSED
from clinic_app.services import selftest as acts


@click.group("selftest")
def selftest() -> None:
    """Acts for testing the program from outside; use a practice folder made for it."""


@selftest.command("save-forever")
@click.option("--count", type=click.IntRange(1), default=None, help="Stop after so many saves.")
@click.pass_obj
def save_forever(call: Call, count: int | None) -> int:
    """Save invented eyes one after another; each prints ACK and its number after the commit has returned."""
    with opened(call, create=True) as session:
        start = acts.first_number(session)
        for number in itertools.count(start) if count is None else range(start, start + count):
            click.echo(f"ACK {acts.save_one(session, number)}")
    return DONE


@selftest.command("self-check")
@click.pass_obj
def self_check(call: Call) -> int:
    """Whether this installation can do its work: driver, arithmetic, card, store, and the window's toolkit."""
    found = acts.self_check()
    lines = [f"{'good' if one['ok'] else 'FAULT':6}{one['name']}: {one['detail']}" for one in found["checks"]]
    call.answer(found, lines)
    return DONE if found["ok"] else REFUSED


@selftest.command("dump")
@click.pass_obj
def dump(call: Call) -> int:
    """Everything the practice holds, one JSON line each, in a fixed order: equal dumps mean equal practices.

    With --json the lines are the list `lines` of one document.
    """
    with opened(call, reading=True) as session:
        if call.as_json:
            call.answer({"lines": list(acts.dump(session))}, [])
            return DONE
        for line in acts.dump(session):
            click.echo(json.dumps(line, ensure_ascii=False, sort_keys=True, default=str))
    return DONE
