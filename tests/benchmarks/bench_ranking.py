"""The C statistic with its interval, and the judging of many eyes."""

from __future__ import annotations

import numpy as np
from protocol import Case, cpu, exponent
from sklearn.metrics import roc_auc_score

from models import judge
from models.discrimination import c_measure, c_statistic


def _forecasts(n: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(2)
    risk = 1.0 / (1.0 + np.exp(-rng.normal(-2.4, 0.9, n)))
    y = (rng.random(n) < risk).astype(float)
    return risk, y, np.arange(n) // 2


def ranking(n: int = 1_000_000) -> Case:
    """C statistic and interval by patient, against scikit-learn's area alone (it has no interval)."""
    risk, y, patients = _forecasts(n)
    case = Case("C statistic with interval", f"{n} eyes", goal="answers in a fraction of a second; no pair matrix")
    case.run(
        lambda: c_measure(risk, y, patients), {"roc_auc_score, no interval": (lambda: roc_auc_score(y, risk), 1.0)}
    )
    case.error = f"{abs(c_statistic(risk, y) - roc_auc_score(y, risk)):.1e} from roc_auc_score"
    return case.weigh(lambda: c_measure(risk, y, patients))


def judging(sizes: tuple[int, ...] = (2_000, 20_000, 200_000)) -> Case:
    """The whole judgement with 200 resamples, by number of eyes."""
    seconds = []
    for n in sizes:
        risk, y, patients = _forecasts(n)
        seconds.append(min(cpu(lambda: judge(risk, y, clusters=patients)) for _ in range(2)))
    powers = ", ".join(f"{power:.2f}" for power in exponent(list(sizes), seconds))
    return Case("judge, 200 resamples", f"{list(sizes)} eyes", ours=seconds, notes=f"exponents in n {powers}")
