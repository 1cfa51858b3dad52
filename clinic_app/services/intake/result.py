"""What an import came to: counts, and every row or cell that a person should look at."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

COUNTS = ("added", "amended", "unchanged", "refused", "asked")
MAX_NOTES = 10_000
MAX_LEFT = 2_000
"""So many rows left out are kept to be corrected by hand; more are corrected in the file of refused rows."""


@dataclass(frozen=True, slots=True)
class Problem:
    """Why a row was left out, or a note about one that went in. `row` counts as a spreadsheet does (heading = 1);
    None where a note is about the whole file. `confirm` is the word that lets the cell in as it stands, if any does."""

    file: str
    row: int | None
    column: str
    typed: str
    reason: str
    confirm: str = ""

    def as_dict(self) -> dict[str, object]:
        """As it stands in JSON."""
        return {"file": self.file, "row": self.row, "column": self.column, "typed": self.typed, "reason": self.reason}


@dataclass(frozen=True, slots=True)
class LeftRow:
    """A row left out: where it stood, its cells by heading as text, and what is against it."""

    file: str
    row: int
    cells: Mapping[str, str]
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class ImportResult:
    """Rows = added + amended + unchanged + refused + asked.

    `problems` lists each cell that kept its row out, `notes` what went in and should be looked at; no more than
    `MAX_NOTES` notes are kept, `notes_left_out` counts the others. `refused_file` is where the rows left out were
    written, None when there were none or no file was named. `left` are the first `MAX_LEFT` rows left out, whole.
    """

    files: tuple[str, ...]
    counts: Counter[str]
    problems: tuple[Problem, ...]
    notes: tuple[Problem, ...]
    notes_left_out: int
    dry_run: bool
    refused_file: str | None = None
    left: tuple[LeftRow, ...] = ()

    @property
    def rows(self) -> int:
        """How many rows the files hold."""
        return sum(self.counts[name] for name in COUNTS)

    def as_dict(self) -> dict[str, object]:
        """The JSON document of the command `import`."""
        return {
            "files": list(self.files),
            "rows": self.rows,
            **{name: self.counts[name] for name in COUNTS},
            "problems": [one.as_dict() for one in self.problems],
            "notes": [one.as_dict() for one in self.notes],
            "notes_left_out": self.notes_left_out,
            "refused_file": self.refused_file,
            "dry_run": self.dry_run,
        }
