"""The sums behind the refits, against the same sums written out eye by eye."""

from __future__ import annotations

import numpy as np
import pytest

from models.arrays import expit
from models.passes import Counts, Passes, Sums, block, single
from tests.models.reference_data import Array

Q, B = 5, 7


def case(n: int, seed: int = 1) -> tuple[Array, Array, Array, Array, Counts]:
    """Design with intercept, start as single precision holds it, weights of the eyes, steps d, counts by patient."""
    rng = np.random.default_rng(seed)
    design = np.column_stack([np.ones(n), rng.normal(size=(n, Q - 1))])
    start = single(np.array([-1.5, 0.4, 0.0, -0.3, 0.8]))
    weight = rng.uniform(0.2, 1.0, n)
    d = single(start + rng.normal(size=(B, Q)) * 0.1) - start
    patients = np.sort(rng.integers(0, n // 2, n))
    patients = np.unique(patients, return_inverse=True)[1]
    counts = Counts(rng.poisson(1.0, (int(patients.max()) + 1, B)).astype(np.uint8), patients)
    return design, start, weight, d, counts


def by_eye(counts: Counts, weight: Array) -> Array:
    return counts.of(slice(None)) * weight[:, None]


@pytest.mark.parametrize("n", [60, 1700])
def test_passes_are_the_sums_written_out(n: int) -> None:
    design, start, weight, d, counts = case(n)
    passes, w = Passes(design, start, weight), by_eye(counts, weight)
    risk = expit(design @ (start + d).T)
    apart = risk - expit(design @ start)[:, None]
    assert passes.gradient(counts, d) == pytest.approx((w * apart).T @ design, abs=3e-8 * n)
    # in double precision the last digits are right
    assert passes.expected(counts, start + d) == pytest.approx((w * risk).T @ design, rel=1e-12, abs=1e-12 * n)
    held = w * risk * (1.0 - risk)
    wanted = np.einsum("nb,ni,nj->bij", held, design, design)
    assert passes.information(counts, d) == pytest.approx(wanted, rel=1e-5, abs=1e-6 * n)


def test_eyes_of_one_weight_give_the_same_as_written_out() -> None:
    design, start, _, d, counts = case(300)
    passes, w = Passes(design, start, np.ones(300)), by_eye(counts, np.ones(300))
    wanted = (w * expit(design @ (start + d).T)).T @ design
    assert passes.expected(counts, start + d) == pytest.approx(wanted, rel=1e-12, abs=1e-10)


def test_single_precision_loses_little_of_the_gradient() -> None:
    # What is lost must stay well within the certificate, 1e-8 of the eyes: it is what the last step starts from.
    design, start, weight, d, counts = case(30_000, seed=3)
    passes = Passes(design, start, weight)
    wanted = passes.expected(counts, start + d) - passes.expected(counts, np.tile(start, (B, 1)))
    assert np.abs(passes.gradient(counts, d) - wanted).max() < 3e-9 * 30_000


def test_third_derivative_is_how_the_information_changes() -> None:
    design, start, weight, _, _ = case(400)
    third = Passes(design, start, weight).third()
    assert third == pytest.approx(np.swapaxes(third, 0, 2), rel=1e-4, abs=1e-3)
    for k in range(Q):
        ends = []
        for side in (-1e-4, 1e-4):
            b = start.copy()
            b[k] += side
            risk = expit(design @ b)
            ends.append((design * (weight * risk * (1.0 - risk))[:, None]).T @ design)
        assert third[k] == pytest.approx((ends[1] - ends[0]) / 2e-4, rel=1e-4, abs=1e-3)


def test_third_derivative_of_very_many_eyes_is_near_that_of_all() -> None:
    design, start, weight, _, _ = case(40_000)
    shares = np.stack([Passes(design[k::4], start, weight[k::4]).third() for k in range(4)])
    # an even share of the eyes, as if it were all of them
    assert Passes(design, start, weight).third() == pytest.approx(4.0 * shares[0], rel=1e-5, abs=1e-2)


def test_far_eyes_have_the_chance_0_and_warn_nobody() -> None:
    design = np.array([[1.0, -900.0], [1.0, 900.0], [1.0, 0.0]])
    passes = Passes(design, np.array([0.0, 1.0]), np.ones(3))
    found = passes.expected(Counts(np.ones((3, 1), dtype=np.uint8)), np.array([[0.0, 1.0]]))
    assert found.tolist() == [[1.5, 900.0]]


@pytest.mark.parametrize("by_patient", [False, True])
@pytest.mark.parametrize("some", [False, True])
def test_sums_over_some_eyes_and_by_patient(some: bool, by_patient: bool) -> None:
    rng = np.random.default_rng(2)
    patients = np.array([0, 2, 2, 1, 0, 3, 3, 1]) if by_patient else None
    table = rng.poisson(1.0, (4 if by_patient else 8, 3)).astype(np.uint8)
    eyes = np.array([1, 4, 5]) if some else np.arange(8)
    rows = rng.normal(size=(eyes.size, 2))
    counts = table if patients is None else table[patients]
    found = Sums(rows, eyes if some else None, patients).of(table)
    assert found == pytest.approx(counts[eyes].T.astype(float) @ rows, abs=1e-12)


def test_sums_in_single_precision_are_within_the_certificate() -> None:
    # Scores at an optimum: sums of what is 0 on average. A few times 1e-9 of the eyes, the certificate is 1e-8 of them.
    rng = np.random.default_rng(2)
    risk = expit(rng.normal(-2.4, 0.9, 20_000))
    z = np.column_stack([np.ones(20_000), rng.normal(size=(20_000, 9)), rng.normal(size=(20_000, 10)) > 1.0])
    rows = z * (risk - (rng.random(20_000) < risk))[:, None]
    table = rng.poisson(1.0, (20_000, 64)).astype(np.uint8)
    exact, fast = Sums(rows).of(table), Sums(rows, single=True).of(table)
    assert 0.0 < np.abs(fast - exact).max() < 5e-9 * 20_000


def test_blocks_keep_products_small_and_do_not_depend_on_the_eyes() -> None:
    assert [block(columns) for columns in (2, 13, 21, 31, 500)] == [512, 512, 320, 192, 64]
