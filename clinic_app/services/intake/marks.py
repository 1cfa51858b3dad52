"""How a file writes its numbers and days: found out from the file as a whole, before any row is read."""

from __future__ import annotations

import re
from collections import Counter

from clinic_app.domain.dates import alternatives
from clinic_app.exchange.columns import Columns, Part
from clinic_app.exchange.row_reader import shown
from clinic_app.exchange.tables import Table
from models.codebook import Kind

_SURE = re.compile(r"[+-]?\d{1,6}([.,])(?:\d{1,2}|\d{4,})(?!\d)[^.,]*\Z", re.ASCII)
_DAYS = frozenset({Kind.DATE, Kind.MOMENT})
_SAMPLE = 5_000


def _places(columns: Columns) -> tuple[list[int], list[int]]:
    numbers = [
        one.place for one in columns.known if one.field and one.part is Part.VALUE and one.field.kind is Kind.NUMBER
    ]
    days = [
        one.place
        for one in columns.known
        if one.field and (one.part is Part.AT or (one.part is Part.VALUE and one.field.kind in _DAYS))
    ]
    return numbers, days


def marks_of(table: Table, columns: Columns) -> tuple[str | None, str | None]:
    """Decimal mark and order of days in digits that the file itself shows, each None when it shows none.

    The mark by the majority of numbers that can be read in one way only; the order when some day over 12 decides it
    and no other speaks against it.
    """
    numbers, days = _places(columns)
    votes: Counter[str] = Counter()
    orders = {"dmy", "mdy"}
    seen: set[str] = set()
    met = False
    for at, (_, cells) in enumerate(table.rows()):
        if at < _SAMPLE:
            for place in numbers:
                cell = cells[place] if place < len(cells) else ""
                if isinstance(cell, str) and cell and (sure := _SURE.match(cell.strip())):
                    votes[sure[1]] += 1
        for place in days:
            cell = cells[place] if place < len(cells) else ""
            if not isinstance(cell, str) or not cell or cell in seen:
                continue
            if len(seen) < 500_000:
                seen.add(cell)
            words = shown(cell).split("T")[0].split()
            found = alternatives(words[0]) if words else ()
            if found:
                met = True
                orders &= set(found)
    mark = votes.most_common(1)[0][0] if votes else None
    return mark, next(iter(orders)) if met and len(orders) == 1 else None
