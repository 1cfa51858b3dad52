"""Opening the practice for a command, for a person who is known there and, where one is set, types the PIN."""

from __future__ import annotations

import contextlib
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import click

from clinic_app.cli.call import Call
from clinic_app.opening import open_practice
from clinic_app.services.people import sign_in
from clinic_app.session import Session, holds_practice, open_session
from clinic_app.settings import read_settings
from clinic_app.store.head import HEAD_NAME


@contextlib.contextmanager
def opened(call: Call, *, person: str | None = None, create: bool = False, reading: bool = False) -> Iterator[Session]:
    """Open the practice for the person of the call, or for `person`; only commands that put records in may create one.

    A command that only reads also works where the practice folder cannot be written; the others are refused there. Once
    people are registered, the person must be one of them.
    """
    name = person or call.person
    with open_practice(call.practice, person=name, create=create, reading=reading) as session:
        yield signed_in(session, name)


def signed_in(session: Session, name: str) -> Session:
    """The practice with that person acting, who is asked for the PIN if there is one."""
    has_pin = any(one.has_pin for one in session.people if one.name == name)
    return sign_in(session, name, ask_pin(name) if has_pin else None)


def ask_pin(name: str) -> str:
    """The PIN as typed on the terminal, unseen; where the input is no terminal, its first line.

    Never an argument or a variable of the environment: those can be read by others of the same computer.
    """
    if sys.stdin is not None and sys.stdin.isatty():
        return str(click.prompt(f"PIN of {name}", hide_input=True, err=True, default="", show_default=False))
    return "" if sys.stdin is None else sys.stdin.readline().strip()


@contextlib.contextmanager
def trial(call: Call) -> Iterator[Session]:
    """The practice for an act that leaves nothing; where none was begun, an empty one that is thrown away."""
    begun = holds_practice(call.practice) or (call.practice / HEAD_NAME).exists()
    if begun or call.practice.is_file():
        with opened(call) as session:
            yield session
        return
    with (
        tempfile.TemporaryDirectory(prefix="clinic-app-") as folder,
        open_session(Path(folder), person=call.person) as session,
    ):
        yield session.with_settings(read_settings(call.practice))
