"""Opening a practice folder for a command or for the window."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path

from clinic_app.errors import Refusal
from clinic_app.session import Session, can_be_written, open_session


@contextlib.contextmanager
def open_practice(folder: Path, *, person: str, create: bool = False, reading: bool = False) -> Iterator[Session]:
    """Open the practice in `folder` for `person`; with `create` it is begun where there is none.

    `reading`: whoever only reads may also use a folder that cannot be written; the others are refused there. Raises
    `Refusal` when the folder cannot be used, another program has the practice open, or a newer program wrote it.
    """
    if create:
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as fault:
            raise Refusal(
                what="The practice folder cannot be made.",
                why=f"{fault.strerror or 'The system refused it'}.",
                next="Name a folder, not a file, in a place where you may write: --practice DIR",
            ) from None
    writable = can_be_written(folder)
    if not (writable or reading):
        raise Refusal(
            what="This practice cannot be written here; nothing was changed.",
            why=f"Nothing can be written in the folder {folder}.",
            next="Ask for the right to write there, or work on a copy of the folder; commands that only read work.",
        )
    with open_session(folder, person=person, read_only=not writable) as session:
        yield session
