"""Rows of text as CSV: the one way in which the program writes such files."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence


def csv_of(rows: Iterable[Sequence[str]], *, delimiter: str = ",") -> bytes:
    """The rows as CSV in UTF-8, each ended by carriage return and line feed; cells are quoted where they must be."""
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=delimiter).writerows(rows)
    return out.getvalue().encode()
