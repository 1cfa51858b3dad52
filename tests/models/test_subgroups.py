"""Seen beside forecast in groups of eyes, and the share of eyes unlike those learnt from."""

from __future__ import annotations

import numpy as np
import pytest

from models import ModelError, subgroup_table, unlike_ours


def test_groups_with_published_style_limits() -> None:
    # exact Poisson limits of O 12, E 6: 1.0334-3.4936; of O 0, E 4: 0-0.9222; shrunken 1.35 and 0.74
    risk, seen = np.full(120, 0.1), np.zeros(120)
    risk[60:100] = 0.1
    seen[:12] = 1.0
    labels = ["west"] * 60 + ["east"] * 40 + [None] * 20
    found = subgroup_table(risk, seen, {"site": labels, "sex": ["f", "m"] * 60})
    assert [(row.field, row.counts.group) for row in found.rows[:2]] == [("site", "east"), ("site", "west")]
    east, west = found.rows[:2]
    assert west.ratio is not None
    assert east.ratio is not None
    assert (west.ratio.value, west.ratio.low, west.ratio.high) == pytest.approx((2.0, 1.0334, 3.4936), abs=1e-4)
    assert (east.ratio.value, east.ratio.low, east.ratio.high) == pytest.approx((0.0, 0.0, 0.9222), abs=1e-4)
    assert west.counts.shrunken.value == pytest.approx(23.1 / 17.1, abs=1e-12)
    assert east.counts.verdict == "too_few"
    assert west.counts.verdict == "inside"
    assert (found.looked_at, found.judged) == (4, 3)
    assert found.by_chance == pytest.approx(0.15, abs=1e-12)


def test_each_group_is_judged_by_its_own_chances() -> None:
    # 50 eyes at 4 % expect 2, 50 at 20 % expect 10; by the practice's average both would expect 6
    risk = np.repeat([0.04, 0.2], 50)
    seen = np.zeros(100)
    seen[[0, 1, *range(50, 60)]] = 1.0
    found = subgroup_table(risk, seen, {"site": ["low"] * 50 + ["high"] * 50})
    assert [row.counts.expected for row in found.rows] == pytest.approx([2.0, 10.0], abs=1e-12)
    assert [row.ratio.value for row in found.rows if row.ratio is not None] == pytest.approx([1.0, 1.0], abs=1e-12)
    # binomial of 50 eyes at 20 %: 2.5 and 97.5 % points 5 and 16 (scipy.stats.binom.ppf)
    assert (found.rows[1].counts.low, found.rows[1].counts.high) == (5, 16)


def test_too_few_everywhere_and_nothing_forecast() -> None:
    found = subgroup_table(np.zeros(4), np.zeros(4), {"sex": ["f", "m", None, "f"]})
    assert [row.ratio for row in found.rows] == [None, None]
    assert (found.looked_at, found.judged, found.by_chance) == (2, 0, 0.0)


def test_share_of_unlike_eyes() -> None:
    # Wilson: 3 of 40 0.02584-0.19864, 0 of 30 up to 0.11351 (scipy)
    found = unlike_ours([1, 1, 1] + [0] * 37, [0] * 40)
    assert (found.edge.value, found.edge.low, found.edge.high) == pytest.approx((0.075, 0.02584, 0.19864), abs=1e-5)
    assert found.n == 40
    apart = unlike_ours([1, 1, 0, 0, 0], [0, 0, 1, 0, 0])
    assert (apart.edge.value, apart.beyond.value) == pytest.approx((0.4, 0.2), abs=1e-12)
    assert unlike_ours([0] * 30, [0] * 30).beyond.high == pytest.approx(0.11351, abs=1e-5)


def test_refusals() -> None:
    with pytest.raises(ModelError, match="groups of sex"):
        subgroup_table([0.1, 0.2], [0, 1], {"sex": ["f"]})
    for edge, beyond in (([], []), ([1], [1]), ([2], [0])):
        with pytest.raises(ModelError, match="unlike eyes"):
            unlike_ours(edge, beyond)
