"""What papers say about each term before a practice has eyes of its own: a versioned table with its sources."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from types import MappingProxyType

from models.errors import ModelError


@dataclass(frozen=True, slots=True)
class PriorRow:
    """One term: log-odds per `unit`, its width, where it comes from; `own_choice` marks a size that no paper gives."""

    term: str
    unit: str
    mean: float
    sd: float
    source: str
    own_choice: bool


@dataclass(frozen=True, slots=True)
class PriorTable:
    """The table: `strength` is the SD of the factor by which all published effects may be stronger or weaker.

    `other_continuous_sd` (per SD) and `other_yes_no_sd` are the widths, around 0, of fields the table does not name.
    """

    version: str
    strength: float
    strength_source: str
    other_continuous_sd: float
    other_yes_no_sd: float
    rows: Mapping[str, PriorRow]

    def row(self, term: str) -> PriorRow:
        """The row of a term; ModelError when the table has none."""
        found = self.rows.get(term)
        if found is None:
            raise ModelError(
                "The model cannot be set up.",
                f"The prior table {self.version} has no row for the term {term}.",
                "Add the row with its source, or leave the term out.",
            )
        return found


def read_prior_table() -> PriorTable:
    """The table that comes with the library, `prior_table.json`."""
    text = resources.files("models").joinpath("prior_table.json").read_text(encoding="utf-8")
    table = json.loads(text)
    rows = {row["term"]: PriorRow(**row) for row in table.pop("rows")}
    return PriorTable(rows=MappingProxyType(rows), **table)
