"""The alarm chart of a review: begun anew with each model, its limit for this practice's own forecasts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest

from clinic_app.domain.record import CaseKey
from clinic_app.services.review.alarm import AFTERWARDS, FALSE_ALARM, TOO_FEW, alarm_chart
from clinic_app.services.review.eyes import Eye
from models.alarm import cusum, cusum_false_alarm


@dataclass
class Card:
    """What the chart asks of a card."""

    cloudy: int = 60

    @property
    def training(self) -> dict[str, int]:
        return {"n": 600}


def eyes(count: int, *, cloudy_odds: float = 1.0, seed: int = 3, models: tuple[str, ...] = ("booking-1",)) -> list[Eye]:
    rng = np.random.default_rng(seed)
    risks = rng.beta(2, 18, count)
    odds = cloudy_odds * risks / (1 - risks)
    seen = rng.random(count) < odds / (1 + odds)
    return [
        Eye(
            CaseKey(f"P-{i:04}", "R", date(2025, 1, 1) + timedelta(days=i)), {}, float(risks[i]),
            models[i * len(models) // count], None, bool(seen[i]), "",
        )
        for i in range(count)
    ]  # fmt: skip


def card(_: str) -> Any:
    return Card()


def test_it_begins_anew_with_the_first_eye_of_each_model() -> None:
    some = eyes(300, models=("booking-1", "booking-2"))
    found = alarm_chart(some, "beforehand", card)
    assert found.restarts == (some[150].key.surgery_date,)
    assert found.worse is not None
    heights = [point.height for point in found.worse.points]
    second = cusum([eye.risk for eye in some[150:]], [eye.seen for eye in some[150:]], odds_ratio=2.0).path
    assert heights[150:] == pytest.approx(second.tolist(), abs=1e-12)


def test_its_limit_gives_a_false_alarm_within_a_year_in_one_of_five() -> None:
    some = eyes(400)
    found = alarm_chart(some, "beforehand", card)
    assert found.eyes_a_year == 365
    assert found.level_error == pytest.approx((600 * 0.1 * 0.9) ** -0.5)
    for side in (found.worse, found.better):
        assert side is not None
        chance = cusum_false_alarm(
            [eye.risk for eye in some[-365:]], odds_ratio=side.odds_ratio, limit=side.limit, eyes=365,
            level_sd=found.level_error,
        )  # fmt: skip
        assert chance == pytest.approx(FALSE_ALARM, abs=1e-3)


def test_tripled_odds_give_an_alarm_of_the_worse_side_alone() -> None:
    found = alarm_chart(eyes(500, cloudy_odds=3.0), "beforehand", card)
    assert found.worse is not None
    assert found.better is not None
    assert len(found.worse.signals) == 1
    assert not found.better.signals
    assert "first" in found.first_look


def test_where_it_cannot_be_drawn_it_says_why() -> None:
    assert alarm_chart(eyes(300), "afterwards", card).why == AFTERWARDS
    assert alarm_chart(eyes(49), "beforehand", card).why == TOO_FEW
    assert alarm_chart(eyes(49), "beforehand", card).worse is None
