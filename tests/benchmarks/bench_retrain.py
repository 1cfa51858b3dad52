"""The whole retrain as the user waits for it, against the script that one would write with scikit-learn.

Ours, from the table with its blanks: the link between the fields, the fit, the own-records-only model with its penalty,
1000 resamples of both models on frozen blanks with four figures on the eyes drawn and on all, then the judging with its
intervals, curve and band. Plain: mean for blanks, pipeline fit, GridSearchCV, 1000 resamples of the model and of the
one with the chosen penalty with the same figures, 200 calibration curves for the band. Reading rows is timed by itself:
there is no plain counterpart.
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import numpy as np
from protocol import Case, cpu
from sklearn.impute import SimpleImputer
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import brier_score_loss, roc_auc_score
from sklearn.model_selection import GridSearchCV
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import SplineTransformer, StandardScaler

from models import judge
from models.blanks import Blanks
from models.dataset import Dataset, build
from models.missing import learn_normal
from models.optimism import Study, correct_optimism, yes_no_columns
from models.penalty import FOLDS, PENALTIES, REPEATS, fit_own, usable_columns
from models.prior_table import read_prior_table
from models.recipe import one_pass
from models.spec import default_spec

_TIMES = {2_000: (3, 4), 20_000: (1, 2)}
"""Pairs, and units of each plain step, by number of eyes; 1 and 1 beyond."""


def _practice(n: int) -> list[dict[str, object]]:
    path = Path(__file__).resolve().parents[1] / "models" / "invented_practice.py"
    spec = importlib.util.spec_from_file_location("invented_practice", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["invented_practice"] = module
    spec.loader.exec_module(module)
    return module.practice(n)


def retrain(n: int) -> Case:
    """One retrain of a booking model on about `n` eyes."""
    plan = default_spec("booking")
    rows = _practice(n)
    held: list[Dataset] = []
    reading = cpu(lambda: held.append(build(rows, plan)))
    data, papers = held[0], read_prior_table()
    ones = np.ones(data.n)

    def ours() -> Study:
        blanks, normal = Blanks(data.columns), learn_normal(data.columns)
        full = one_pass(plan, data, blanks, data.columns, normal, papers, weights=ones, clusters=data.patients)
        used = usable_columns(data.columns, ones, yes_no_columns(plan))
        own = fit_own(full.filled.values, data.y, ones, data.patients, used, seed=1)
        study = Study(plan, data, blanks, papers, ones, full, True, own, 1)
        correct_optimism(study, 1000, blanks="frozen", threads=1)
        judge(full.risk, data.y, clusters=data.patients, resamples=200)
        return study

    filled = SimpleImputer().fit_transform(data.columns)
    pairs, units = _TIMES.get(n, (1, 1))
    rng = np.random.default_rng(1)

    def once() -> object:
        table = SimpleImputer().fit_transform(data.columns)
        return make_pipeline(StandardScaler(), LogisticRegression()).fit(table, data.y)

    def search() -> object:
        fits = [(np.arange(data.n) % FOLDS != k, np.arange(data.n) % FOLDS == k) for k in range(units)]
        splits = [(np.flatnonzero(train), np.flatnonzero(test)) for train, test in fits]
        grid = {"logisticregression__C": [0.01, 1.0]}
        pipe = make_pipeline(StandardScaler(), LogisticRegression())
        return GridSearchCV(pipe, grid, scoring="neg_log_loss", cv=splits, refit=False).fit(filled, data.y)

    def resample() -> None:
        for _ in range(units):
            drawn = rng.integers(0, data.n, data.n)
            model = make_pipeline(StandardScaler(), LogisticRegression()).fit(filled[drawn], data.y[drawn])
            for x, y in ((filled[drawn], data.y[drawn]), (filled, data.y)):
                risk = model.predict_proba(x)[:, 1]
                roc_auc_score(y, risk)
                brier_score_loss(y, risk)
                LogisticRegression(C=np.inf).fit(np.log(risk / (1.0 - risk))[:, None], y)

    def curves() -> None:
        risk = make_pipeline(StandardScaler(), LogisticRegression()).fit(filled, data.y).predict_proba(filled)[:, 1]
        odds = np.log(risk / (1.0 - risk))[:, None]
        for _ in range(units):
            drawn = rng.integers(0, data.n, data.n)
            curve = make_pipeline(SplineTransformer(n_knots=5, extrapolation="linear"), LogisticRegression(C=100.0))
            curve.fit(odds[drawn], data.y[drawn]).predict_proba(odds[:200])

    searched = FOLDS * REPEATS * len(PENALTIES) / (2 * units)
    case = Case(
        "whole retrain",
        f"{data.n} x {data.columns.shape[1]}",
        goal="x50 at 2 000, x60 at 20 000, x120 at 200 000 (gate x20, x25, x50)",
    )
    case.run(
        ours,
        {
            "fit": (once, 1.0),
            "penalty": (search, searched),
            "resamples": (resample, 2000 / units),
            "curves": (curves, 200 / units),
        },
        pairs,
    )
    case.plain = {"whole plain script": [sum(parts) for parts in zip(*case.plain.values(), strict=True)]}
    case.notes = f"reading {data.n} rows: {reading:.2f} s beside it; plain steps run {units} times and multiplied"
    return case.weigh(ours)
