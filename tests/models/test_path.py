"""Cross-validation of the penalty where folds are awkward: one kind of eyes, a column that does not vary, bad steps."""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.linear_model import LogisticRegression
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler

from models import path
from models.errors import ModelError
from models.path import Folds, with_more_precision
from models.penalty import FEWER_PENALTIES, FOLDS, PENALTIES, REPEATS, fit_own, folds_of
from models.steps import inverses
from tests.models.reference_data import Array

TRIED = (30.0, 10.0, 3.0, 1.0, 0.3)


def eyes(n: int = 120) -> tuple[Array, Array]:
    """Invented eyes; three columns of mean 0 and SD 1."""
    rng = np.random.default_rng(4)
    X = rng.normal(size=(n, 3))
    y = (rng.random(n) < 1.0 / (1.0 + np.exp(1.0 - X[:, 0]))).astype(float)
    return (X - X.mean(axis=0)) / X.std(axis=0), y


def scikit_learns_losses(X: Array, y: Array, fold: Array) -> Array:
    """Held-out log loss of each penalty over the folds whose training part has both kinds of eyes."""
    losses = np.zeros(len(TRIED))
    for k, penalty in enumerate(TRIED):
        for held in range(int(fold.max()) + 1):
            rest = fold != held
            if 0.0 < y[rest].sum() < rest.sum():
                model = make_pipeline(StandardScaler(), LogisticRegression(C=1 / penalty, tol=1e-10, max_iter=10_000))
                eta = model.fit(X[rest], y[rest]).decision_function(X[~rest])
                losses[k] += (np.logaddexp(0.0, eta) - y[~rest] * eta).sum()
    return losses


def test_a_training_part_with_one_kind_of_eyes_is_left_out_and_counted() -> None:
    X, y = eyes()
    fold = np.arange(120) % 4
    y[fold != 2] = 0.0  # without fold 2 no eye is cloudy
    assert y[fold == 2].sum() > 3
    folds = Folds(X, y, np.ones(120), fold[None], 3.0)
    assert (folds.parts, folds.left_out) == (4, 1)
    assert folds.held_out_losses(TRIED) == pytest.approx(scikit_learns_losses(X, y, fold), rel=1e-6)
    both = Folds(X, y, np.ones(120), np.stack([fold, np.arange(120) // 4 % 5]), 3.0)
    assert (both.parts, both.left_out) == (9, 1)
    second = scikit_learns_losses(X, y, np.arange(120) // 4 % 5)
    assert both.held_out_losses(TRIED) == pytest.approx(scikit_learns_losses(X, y, fold) + second, rel=1e-6)
    assert len(folds.coefficients([3.0])[0]) == 3


def test_many_eyes_too_give_scikit_learns_losses() -> None:
    # from 4000 eyes on the steps start from the information of all eyes
    X, y = eyes(4200)
    fold = np.arange(4200) % 3
    losses = Folds(X, y, np.ones(4200), fold[None], 3.0).held_out_losses(TRIED)
    assert losses == pytest.approx(scikit_learns_losses(X, y, fold), rel=1e-6)


def test_eyes_of_weight_nothing_are_no_eyes_of_a_training_part() -> None:
    X, y = eyes()
    fold = np.arange(120) % 4
    y[fold != 2] = 0.0
    y[0] = 1.0  # a cloudy eye outside fold 2, which a resample did not draw
    weights = np.ones(120)
    assert Folds(X, y, weights, fold[None], 3.0).left_out == 0
    weights[0] = 0.0
    assert Folds(X, y, weights, fold[None], 3.0).left_out == 1


def test_no_penalty_is_chosen_where_no_training_part_has_both_kinds() -> None:
    X, y = eyes()
    with pytest.raises(ModelError, match="only cloudy or only clear"):
        Folds(X, y, np.ones(120), y.astype(np.int64)[None], 3.0)
    # one patient alone: the only training part is empty
    with pytest.raises(ModelError, match="only cloudy or only clear"):
        fit_own(X, y, np.ones(120), np.zeros(120, dtype=np.int64), (0,), seed=1)


def test_the_own_fit_says_how_many_parts_had_no_say() -> None:
    X, y = eyes()
    patients = np.arange(120) // 2
    whole = fit_own(X, y, np.ones(120), patients, (0, 1), seed=1)
    assert (whole.folds, whole.folds_left_out) == (FOLDS * REPEATS, 0)
    # all cloudy eyes in one patient: in each repeat the part without that patient is left out
    y[:] = 0.0
    y[10:12] = 1.0
    one = fit_own(X, y, np.ones(120), patients, (0, 1), seed=1)
    assert (one.folds, one.folds_left_out) == (FOLDS * REPEATS, REPEATS)
    assert one.penalty in PENALTIES
    quick = fit_own(X, y, np.ones(120), patients, (0, 1), seed=1, exact=False)
    assert (quick.folds, quick.folds_left_out) == (5, 1)
    assert quick.penalty in FEWER_PENALTIES


def test_a_column_that_does_not_vary_in_a_part_has_no_say_there() -> None:
    X, y = eyes()
    fold = np.arange(120) % 4
    X[:, 1] = (fold == 1) & (np.arange(120) % 8 < 4)  # ones in fold 1 alone: constant in the part without it
    y[X[:, 1] > 0] = np.arange(int(X[:, 1].sum())) % 3 > 0
    X = (X - X.mean(axis=0)) / X.std(axis=0)
    ours = Folds(X, y, np.ones(120), fold[None], 3.0)
    assert ours.held_out_losses(TRIED) == pytest.approx(scikit_learns_losses(X, y, fold), rel=1e-5)
    assert ours.coefficients([3.0])[0][1, 2] == pytest.approx(0.0, abs=1e-3)


def test_an_inverse_takes_more_precision_even_where_it_is_singular() -> None:
    rng = np.random.default_rng(1)
    root = rng.normal(size=(4, 3, 3))
    inverse, change = root @ np.swapaxes(root, 1, 2), np.stack([np.diag([0.0, 1.0, 2.0])] * 4)
    assert with_more_precision(inverse, change) == pytest.approx(inverses(inverses(inverse) + change), rel=1e-8)
    inverse[2] = np.outer([1.0, 2.0, 0.0], [1.0, 2.0, 0.0])  # steps along one line only: no inverse of its own
    with pytest.raises(np.linalg.LinAlgError):
        inverses(inverse)
    found = with_more_precision(inverse, change)
    assert found is not None
    assert found[2] == pytest.approx(inverse[2] / 5.0, abs=1e-12)  # Sherman-Morrison: 1 + 2 * 1 * 2
    # what the step took off is all that the inverse had: no answer, and no error of numpy's
    inverse[0], change[0] = np.eye(3), np.diag([0.0, -1.0, 0.0])
    assert with_more_precision(inverse, change) is None


def test_without_a_carried_inverse_each_part_starts_from_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    X, y = eyes()
    fold = np.arange(120) % 4
    usual = Folds(X, y, np.ones(120), fold[None], 3.0).held_out_losses(TRIED)
    monkeypatch.setattr(path, "with_more_precision", lambda inverse, change: None)
    assert Folds(X, y, np.ones(120), fold[None], 3.0).held_out_losses(TRIED) == pytest.approx(usual, rel=1e-6)


def test_a_part_whose_steps_do_not_settle_is_fitted_alone_or_named(monkeypatch: pytest.MonkeyPatch) -> None:
    X, y = eyes()
    folds = folds_of(np.arange(120), 1, 4, 2)
    usual = Folds(X, y, np.ones(120), folds, 3.0).held_out_losses(TRIED)
    monkeypatch.setattr(path, "_MOST_PASSES", 1)
    assert Folds(X, y, np.ones(120), folds, 3.0).held_out_losses(TRIED) == pytest.approx(usual, rel=1e-6)

    def refuse(*_: object) -> Array:
        raise ModelError("The model cannot be fitted.", "Nothing settled.", "Use a prior.")

    monkeypatch.setattr(path, "fit_both_kinds", refuse)
    with pytest.raises(ModelError, match=r"Without fold 1 of repeat 1 there is no best fit: Nothing settled\. Use"):
        Folds(X, y, np.ones(120), folds, 3.0).held_out_losses(TRIED)
