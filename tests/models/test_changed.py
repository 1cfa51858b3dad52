"""What changed since a model was made: the closed test on a card's own columns."""

from __future__ import annotations

import numpy as np
import pytest

from models.arrays import expit, logit
from models.changed import what_changed
from models.errors import ModelError
from models.outcome import look
from models.update import closed_test
from tests.models.trained import booking, eyes


def test_a_level_that_moved_is_worded_on_the_card_columns() -> None:
    card = booking().card
    rows = [row for row in eyes() if look(row).cloudy is not None]
    told = [(row, one.risk) for row, one in zip(rows, card.forecast(rows), strict=True) if one.risk is not None]
    rows, chances = [row for row, _ in told], expit(logit(np.array([risk for _, risk in told])) - 0.7).tolist()
    found = what_changed(card, rows, chances)
    assert found.test is not None
    assert (found.test.choice, found.quarters) == ("intercept", 4)
    assert found.words.startswith("The overall level moved by +0.")
    last = [i for i, row in enumerate(rows) if row["surgery_date"].year == 2024]  # type: ignore[attr-defined]
    assert found.n == len(last)
    assert found.events == sum(look(rows[i]).cloudy is True for i in last) < sum(look(r).cloudy is True for r in rows)
    working = card.forecaster.working
    by_hand = closed_test(
        [working.work(working.columns(rows[i])).away for i in last],
        [float(bool(look(rows[i]).cloudy)) for i in last],
        [chances[i] for i in last],
    )
    assert found.test.log_likelihoods == pytest.approx(by_hand.log_likelihoods, abs=1e-9)


def test_too_few_quarters_are_said() -> None:
    card = booking().card
    rows = [row for row in eyes() if str(row["surgery_date"]).startswith("2024-0")][:60]
    rows = [row for row in rows if str(row["surgery_date"]) < "2024-07"]
    found = what_changed(card, rows, [0.1] * len(rows))
    assert found.test is None
    assert found.words == (
        f"What changed is not said yet: {len(rows)} eyes in 2 quarters, {found.events} cloudy; wanted are 4 quarters "
        "or 50 cloudy eyes."
    )


def test_an_eye_without_a_day_is_refused() -> None:
    with pytest.raises(ModelError, match="no surgery date"):
        what_changed(booking().card, [{"nucleus_hardness": 3}], [0.1])
