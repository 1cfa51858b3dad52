"""Refits by the thousand and the choice of a penalty, against scikit-learn."""

from __future__ import annotations

import time

import numpy as np
from joblib import Parallel, delayed
from protocol import Case, columns, exponent
from sklearn.linear_model import LogisticRegression, LogisticRegressionCV
from sklearn.model_selection import GridSearchCV
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler

from models import Prior
from models.path import Folds
from models.penalty import FOLDS, PENALTIES, REPEATS, folds_of
from models.refit import refit_counted
from models.resampling import drawn_patients

PARAMETERS = 20
RESAMPLES = 1000


def refits(n: int) -> Case:
    """1000 refits on resampled patients: ours, a plain loop, a loop to the same accuracy, and joblib over it."""
    x, y, patients = columns(n, PARAMETERS)
    x = (x - x.mean(axis=0)) / x.std(axis=0)
    weights = np.concatenate(
        [drawn_patients(slice(k, k + 100), patients, y, 1)[patients].T for k in range(0, RESAMPLES, 100)]
    )
    prior = Prior.ridge(1.0, PARAMETERS)
    units = {2_000: 12, 20_000: 5}.get(n, 2)

    def ours() -> tuple[np.ndarray, object]:
        return refit_counted(x, y, weights, prior=prior, threads=1)

    def plain(k: int) -> LogisticRegression:
        rows = np.repeat(np.arange(n), weights[k])
        return make_pipeline(StandardScaler(), LogisticRegression()).fit(x[rows], y[rows])

    def exact(k: int) -> LogisticRegression:
        model = LogisticRegression(solver="newton-cholesky", tol=1e-10, max_iter=100)
        return model.fit(x, y, sample_weight=weights[k].astype(float))

    def loop(fit: object) -> object:
        return lambda: [fit(k) for k in range(units)]

    times = RESAMPLES / units
    goal = "x40 / x15 at 2 000, x60 / x20 at 20 000, x140 / x27 at 200 000 (gate x20 / x8, x30 / x9, x60 / x12)"
    case = Case("1000 refits", f"{n} x {PARAMETERS}", goal=goal)
    case.run(ours, {"pipeline loop": (loop(plain), times), "same accuracy": (loop(exact), times)})
    found, work = ours()
    apart = max(float(np.abs(found[k, 1:] - exact(k).coef_[0]).max()) for k in range(units))
    case.error = f"{apart:.1e} from scikit-learn's coefficients at tolerance 1e-10"
    start = time.perf_counter()
    Parallel(n_jobs=2, prefer="threads")(delayed(exact)(k) for k in range(units))
    spread = (time.perf_counter() - start) * times
    start = time.perf_counter()
    refit_counted(x, y, weights, prior=prior, threads=2)
    own = time.perf_counter() - start
    # A pass is two products; what is done in double precision (certificate, and one product for the sums) counts twice.
    flops = 4.0 * n * (PARAMETERS + 1) * RESAMPLES * (work.passes + 2 * work.exact_passes + 1)
    speed = flops / min(case.ours) / 1e9
    case.notes = (
        f"joblib, 2 threads, wall: {spread:.2f} s, ours {own:.2f} s (x{spread / own:.0f}); passes {work.passes}, exact "
        f"{work.exact_passes}, informations {work.informations}, later tiers {work.by_newton}; "
        f"{speed:.0f} GF/s of matrix products, double precision counted twice"
    )
    return case.weigh(ours)


def growth(n: int = 20_000) -> Case:
    """How time grows with the number of refits."""
    x, y, patients = columns(n, PARAMETERS)
    sizes = [250, 500, 1000]
    drawn = drawn_patients(slice(0, 1000), patients, y, 1)[patients].T
    seconds = []
    for size in sizes:
        case = Case("", "").run(lambda size=size: refit_counted(x, y, drawn[:size], threads=1), {})
        seconds.append(min(case.ours))
    powers = ", ".join(f"{power:.2f}" for power in exponent(sizes, seconds))
    return Case("growth in refits", f"{n} x {PARAMETERS}, {sizes}", ours=seconds, notes=f"exponents {powers}")


def penalty(n: int) -> Case:
    """10 folds x 5 repeats x 20 penalties, patients kept whole."""
    x, y, patients = columns(n, PARAMETERS)
    z = (x - x.mean(axis=0)) / x.std(axis=0)
    folds = folds_of(patients, 1, FOLDS, REPEATS)
    splits = [(np.flatnonzero(fold != k), np.flatnonzero(fold == k)) for fold in folds for k in range(FOLDS)]
    ones = np.ones(n)

    def ours() -> np.ndarray:
        return Folds(z, y, ones, folds, PENALTIES[10]).held_out_losses(PENALTIES)

    grid_units = {2_000: 2, 20_000: 1}.get(n, 1)
    few = list(PENALTIES[2::6])

    def grid() -> object:
        search = GridSearchCV(
            make_pipeline(StandardScaler(), LogisticRegression()),
            {"logisticregression__C": [1.0 / penalty for penalty in few]},
            scoring="neg_log_loss", cv=splits[:grid_units], refit=False,
        )  # fmt: skip
        return search.fit(x, y)

    def warm() -> object:
        search = LogisticRegressionCV(
            Cs=[1.0 / penalty for penalty in PENALTIES], cv=splits[:grid_units], scoring="neg_log_loss",
            solver="lbfgs", l1_ratios=(0.0,), use_legacy_attributes=False, max_iter=1000, refit=False,
        )  # fmt: skip
        return search.fit(z, y)

    whole = len(splits) / grid_units
    case = Case(
        "penalty of own records", f"{n} x {PARAMETERS}", goal="x50 / x24 at 2 000, x60 / x18 at 20 000 (half: gate)"
    )
    case.run(
        ours,
        {
            "GridSearchCV": (grid, whole * len(PENALTIES) / len(few)),
            "LogisticRegressionCV (warm starts)": (warm, whole),
        },
    )
    walk = Folds(z, y, ones, folds, PENALTIES[10])
    chosen = list(PENALTIES[10:13])
    found = walk.coefficients(chosen)
    apart = 0.0
    for k, value in enumerate(chosen):
        train = splits[0][0]
        pipe = make_pipeline(StandardScaler(), LogisticRegression(C=1.0 / value, tol=1e-10, max_iter=10_000))
        fitted = pipe.fit(z[train], y[train])
        apart = max(apart, float(np.abs(fitted[1].coef_[0] / fitted[0].scale_ - found[k][0, 1:]).max()))
    case.error = f"{apart:.1e} from scikit-learn's coefficients at tolerance 1e-10"
    case.notes = f"{walk.passes} passes for {len(chosen)} penalties"
    return case.weigh(ours)
