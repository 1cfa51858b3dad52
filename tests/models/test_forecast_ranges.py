"""Ranges by hand, and what is no range."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from models import ModelError, logit_variance, risk_range
from models.columns import number

V = np.array([[0.04, -0.01], [-0.01, 0.09]])


def test_the_variance_of_the_log_odds_is_the_quadratic_form() -> None:
    assert logit_variance(V, [[0.0], [2.0]]) == pytest.approx([0.04, 0.04 - 0.04 + 0.36], abs=1e-15)


def test_the_range_adds_up_what_is_unsure() -> None:
    low, high = risk_range([0.0, -2.0], [0.01, 0.04], 0.25, form_sd=0.3)
    for k, (eta, spread) in enumerate(((0.0, 0.35), (-2.0, 0.38))):
        half = 1.959963984540054 * math.sqrt(spread)
        assert low[k] == pytest.approx(1 / (1 + math.exp(half - eta)), abs=1e-15)
        assert high[k] == pytest.approx(1 / (1 + math.exp(-half - eta)), abs=1e-15)


@pytest.mark.parametrize(
    "call",
    [
        lambda: risk_range(math.nan, 0.1),
        lambda: risk_range(0.1, math.nan),
        lambda: risk_range(0.1, 0.1, math.inf),
        lambda: risk_range(0.1, -0.1),
        lambda: risk_range(0.1, 0.2, -0.1),
        lambda: risk_range(0.1, 0.2, form_sd=-0.15),
        lambda: risk_range(0.1, 0.2, form_sd=math.nan),
        lambda: risk_range(0.1, 0.2, form_sd=math.inf),
        lambda: risk_range([0.1, 0.2], [0.1, 0.2, 0.3]),
        lambda: risk_range([0.1, 0.2], [[0.1], [0.2]]),
        lambda: risk_range("a", 0.1),
        lambda: logit_variance(V, [[math.nan]]),
        lambda: logit_variance(V, [[0.0, 1.0]]),
        lambda: logit_variance(V[:1], [[0.0]]),
        lambda: logit_variance([[math.nan, 0.0], [0.0, 1.0]], [[0.0]]),
        lambda: logit_variance([[0.01, 0.0], [0.0, -1.0]], [[2.0]]),
    ],
)
def test_odd_arguments_are_refused_in_words(call: Callable[[], object]) -> None:
    with pytest.raises(ModelError):
        call()


@pytest.mark.parametrize("value", ["3", math.nan, math.inf, 10**400, [3], 3j])
def test_a_field_that_is_no_number_is_refused(value: object) -> None:
    with pytest.raises(ModelError, match="acd_mm holds something that is not a number"):
        number({"acd_mm": value}, "acd_mm")
