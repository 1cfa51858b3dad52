"""What changed since a model was made, in words, from eyes that it forecast without having seen them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from models.card import Card
from models.dataset import quarter_of
from models.errors import ModelError
from models.outcome import look
from models.update import FEWEST_EVENTS_TO_TEST, QUARTERS, ClosedTest, closed_test, eyes_to_test

Row = Mapping[str, object]


@dataclass(frozen=True)
class Changed:
    """test: the closed test, or None where too few eyes are there; n, events, quarters: what it rests on, or what
    there is. It words, and decides nothing."""

    test: ClosedTest | None
    n: int
    events: int
    quarters: int

    @property
    def words(self) -> str:
        """What changed, in words, or what is wanted before that can be said."""
        if self.test is not None:
            return self.test.words
        return (
            f"What changed is not said yet: {self.n} eyes in {self.quarters} quarters, {self.events} cloudy; wanted "
            f"are {QUARTERS} quarters or {FEWEST_EVENTS_TO_TEST} cloudy eyes."
        )


def what_changed(card: Card, rows: Sequence[Row], chances: Sequence[float]) -> Changed:
    """The closed test of a card on the last four quarters of `rows`, or more until they hold 50 cloudy eyes.

    rows: graded eyes that the card had not seen, with their derived values; chances: what it gave each beforehand.
    The refit is of the card's own columns, blanks filled as the card fills them.
    """
    seen = np.array([1.0 if look(row, card.spec.outcome.cut).cloudy else 0.0 for row in rows])
    quarters = np.array([_quarter(row) for row in rows], dtype=np.int64)
    chosen = eyes_to_test(quarters, seen)
    if chosen is None:
        return Changed(None, len(rows), int(seen.sum()), len(np.unique(quarters)))
    taken = np.flatnonzero(chosen).tolist()
    working = card.forecaster.working
    columns = [working.work(working.columns(rows[i])).away for i in taken]
    test = closed_test(columns, seen[taken], [chances[i] for i in taken])
    return Changed(test, len(taken), int(seen[taken].sum()), len(np.unique(quarters[taken])))


def _quarter(row: Row) -> int:
    day = row.get("surgery_date")
    if not isinstance(day, date):
        raise ModelError("The test cannot be done.", "An eye has no surgery date.", "Give every row its surgery date.")
    return quarter_of(day)
