"""Newton's bare steps: the optimum of the safe fit, or no answer at all."""

from __future__ import annotations

import numpy as np
import pytest

from models import fit_logistic
from models.newton import newton
from models.prior import Prior
from tests.models.reference_data import Array

PRIOR = Prior([0.2, 0.4, -0.1], [[4.0, 1.0, -0.5], [1.0, 2.0, 0.3], [-0.5, 0.3, 3.0]])
FREE = Prior.ridge(0.0, 3)


def practice() -> tuple[Array, Array, Array]:
    rng = np.random.default_rng(3)
    X = rng.normal(2.0, 3.0, size=(300, 3))
    return X, (rng.random(300) < 1.0 / (1.0 + np.exp(2.0 - 0.5 * X[:, 0]))) * 1.0, rng.random(300)


@pytest.mark.parametrize("prior", [PRIOR, FREE])
def test_the_optimum_is_that_of_the_safe_fit_from_wherever_the_steps_start(prior: Prior) -> None:
    X, y, weight = practice()
    fit = fit_logistic(X, y, prior=prior, weights=weight)
    expected = [fit.intercept, *fit.coefficients]
    assert newton(X, weight, weight * y, prior) == pytest.approx(expected, abs=1e-11)
    start = np.add(expected, [0.3, -0.1, 0.1, 0.0])
    assert newton(X, weight, weight * y, prior, start) == pytest.approx(expected, abs=1e-11)


def test_parts_of_eyes_may_be_cloudy() -> None:
    X, y, weight = practice()
    share = 0.2 + 0.6 * y
    both = fit_logistic(
        np.vstack([X, X]), np.repeat([1.0, 0.0], 300), prior=PRIOR,
        weights=np.concatenate([weight * share, weight * (1.0 - share)]),
    )  # fmt: skip
    found = newton(X, weight, weight * share, PRIOR)
    assert found == pytest.approx([both.intercept, *both.coefficients], abs=1e-11)


def test_there_is_no_answer_where_steps_do_not_settle() -> None:
    X, y, weight = practice()
    assert newton(X, weight, np.zeros(300), PRIOR) is None
    assert newton(X, weight, weight, PRIOR) is None
    # a column that is constant, one that another repeats, one that separates
    assert newton(np.column_stack([X[:, :2], np.full(300, 0.3)]), weight, weight * y, FREE) is None
    assert newton(np.column_stack([X[:, :2], X[:, 0] - X[:, 1]]), weight, weight * y, FREE) is None
    assert newton(np.column_stack([X[:, :2], y]), weight, weight * y, FREE) is None
    # a start from which the first full step goes beyond all numbers
    with np.errstate(all="ignore"):
        assert newton(X, weight, weight * y, FREE, np.array([np.inf, 0.0, 0.0, 0.0])) is None
