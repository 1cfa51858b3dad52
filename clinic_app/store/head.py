"""The head file beside the store: how far the history had come, so that a store set back or cut is noticed."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path

from clinic_app.files import write_whole

HEAD_NAME = "practice.head.json"


@dataclass(frozen=True, slots=True)
class Head:
    """Number and hash of the last entry of the history, the schema, and which store it is."""

    store_id: str
    schema: str
    number: int
    hash: str


def write_head(folder: Path, head: Head) -> None:
    """Replace the head file in one step."""
    write_whole(folder / HEAD_NAME, (json.dumps(asdict(head), indent=1) + "\n").encode())


def read_head(folder: Path) -> Head | None:
    """The head file; None when there is none or when it cannot be understood."""
    try:
        told = json.loads((folder / HEAD_NAME).read_text(encoding="utf-8"))
        return Head(str(told["store_id"]), str(told["schema"]), int(told["number"]), str(told["hash"]))
    except (FileNotFoundError, ValueError, KeyError, TypeError):
        return None


def behind(head: Head, store: Head, hash_at_head: str | None) -> str | None:
    """The sentence when the store does not hold what the head file knew; None when it does.

    `store` is where the store stands now, `hash_at_head` the hash of its entry with the head file's number.
    """
    if head.store_id != store.store_id:
        return "These records belong to another practice than the head file beside them; they open for reading only."
    if store.number < head.number:
        return (
            f"These records end at entry {store.number} of the history, but entry {head.number} had been written: "
            "an older copy, or the end is lost; they open for reading only."
        )
    if hash_at_head != head.hash:
        return (
            f"Entry {head.number} of the history is not the one that had been written: "
            "another copy, or changed from outside; the records open for reading only."
        )
    return None
