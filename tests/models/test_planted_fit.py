"""Covariances under weights and offsets, separation that a prior ends, the numbering of patients."""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose

from models.arrays import cluster_codes
from models.fit import fit_logistic, range_covariance
from models.prior import Prior
from models.separation import separating_columns


def eyes(n: int = 120) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Columns, outcomes and patients, two eyes each."""
    draw = np.random.default_rng(31)
    X = draw.normal(0.0, 1.0, (n, 2))
    y = (draw.random(n) < 1.0 / (1.0 + np.exp(1.2 - 0.8 * X[:, 0]))).astype(float)
    return X, y, np.arange(n) // 2


PRIOR = Prior.published([0.5, -0.3], [0.3, 0.4])


def test_in_a_range_too_a_weight_is_that_many_eyes() -> None:
    X, y, patients = eyes()
    weights = np.random.default_rng(5).integers(0, 4, y.shape[0]).astype(float)
    kept = weights > 0.0  # a patient without any eye left is no patient
    X, y, patients, weights = X[kept], y[kept], patients[kept], weights[kept]
    many = np.repeat(np.arange(y.shape[0]), weights.astype(int))
    weighted = fit_logistic(X, y, prior=PRIOR, weights=weights, clusters=patients)
    repeated = fit_logistic(X[many], y[many], prior=PRIOR, clusters=patients[many])
    assert_allclose(
        range_covariance(weighted, X, y, prior=PRIOR, weights=weights, clusters=patients),
        range_covariance(repeated, X[many], y[many], prior=PRIOR, clusters=patients[many]),
        rtol=1e-8,
    )


def test_the_same_offset_for_all_leaves_the_range_as_it_is() -> None:
    X, y, patients = eyes()
    plain = fit_logistic(X, y, prior=PRIOR, clusters=patients)
    moved = fit_logistic(X, y, prior=PRIOR, clusters=patients, offset=np.full(y.shape[0], 1.5))
    assert_allclose(moved.intercept, plain.intercept - 1.5, rtol=1e-8)
    assert plain.robust_covariance is not None
    assert moved.robust_covariance is not None
    assert_allclose(moved.robust_covariance, plain.robust_covariance, rtol=1e-8)
    assert_allclose(
        range_covariance(moved, X, y, prior=PRIOR, clusters=patients, offset=np.full(y.shape[0], 1.5)),
        range_covariance(plain, X, y, prior=PRIOR, clusters=patients),
        rtol=1e-8,
    )


def test_patients_are_numbered_as_they_first_appear() -> None:
    assert cluster_codes(["z", "a", "z", "m", "a"], 5).tolist() == [0, 1, 0, 2, 1]
    assert cluster_codes([9, 9, 3], 3).tolist() == [0, 0, 1]
    assert cluster_codes(["ä", "a", "ä"], 3).tolist() == [0, 1, 0]


def test_only_columns_that_nothing_holds_separate() -> None:
    y = np.array([0.0, 0.0, 0.0, 1.0, 1.0, 1.0])
    design = np.column_stack([np.ones(6), [-3.0, -2.0, -1.0, 1.0, 2.0, 3.0], [0.3, -1.0, 0.8, 0.1, -0.9, 0.7]])
    held = np.diag([0.0, 4.0, 0.0])
    assert separating_columns(design, y, np.zeros((3, 3))) == (0, 1)
    assert separating_columns(design, y, held) == ()
    assert separating_columns(design, y, np.diag([0.0, 0.0, 4.0])) == (0,)
