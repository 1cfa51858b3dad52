"""How the benchmarks measure: one thread on both sides, ours and the plain way in turn, ratios of CPU time, medians.

A lone time says more about the machine than about the program. Each figure therefore is the ratio of two measurements
of the same run, beside what the machine gave in that run: the speed of a matrix product and of copying memory, before
and after. A ratio without its accuracy is worth nothing: each case says how far the two answers lie apart.
"""

from __future__ import annotations

import os
import platform
import statistics
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import scipy
import sklearn
from sklearn.linear_model import LogisticRegression  # brings OpenMP, so that its threads are limited too
from threadpoolctl import threadpool_limits

__all__ = ["LogisticRegression"]

SEED = 20


def one_thread() -> threadpool_limits:
    """Linear algebra and OpenMP at one thread for both sides."""
    return threadpool_limits(limits=1)


def control() -> dict[str, float]:
    """What the machine gives now: billions of operations a second in a product of two matrices, GB/s of copying."""
    rng = np.random.default_rng(0)
    found = {}
    for kind in (np.float32, np.float64):
        a, b = (rng.standard_normal((768, 768)).astype(kind) for _ in range(2))
        out = np.empty_like(a)
        seconds = min(cpu(lambda: np.matmul(a, b, out=out)) for _ in range(8))
        found[f"gemm_{np.dtype(kind).name}_gflops"] = 2 * 768**3 / seconds / 1e9
    big = rng.standard_normal(4_000_000)
    copy = np.empty_like(big)
    found["copy_gb_s"] = 2 * big.nbytes / min(cpu(lambda: np.copyto(copy, big)) for _ in range(8)) / 1e9
    return found


def machine() -> dict[str, object]:
    """Where and with what it ran."""
    features = np.show_config("dicts")["SIMD Extensions"]["found"]
    return {
        "system": platform.system(),
        "processors": os.cpu_count(),
        "load": os.getloadavg()[0] if hasattr(os, "getloadavg") else None,
        "simd": features,
        "python": platform.python_version(),
        "numpy": np.__version__,
        "scipy": scipy.__version__,
        "scikit-learn": sklearn.__version__,
        "seed": SEED,
    }


def cpu(work: Callable[[], object]) -> float:
    """CPU seconds of this process."""
    start = time.process_time()
    work()
    return max(time.process_time() - start, 1e-9)


@dataclass
class Case:
    """One comparison: the task, its size, seconds of ours and of each plain way, how far the answers lie apart."""

    task: str
    size: str
    ours: list[float] = field(default_factory=list)
    plain: dict[str, list[float]] = field(default_factory=dict)
    error: str = ""
    peak_mb: float | None = None
    notes: str = ""
    goal: str = ""

    def run(
        self, ours: Callable[[], object], plain: dict[str, tuple[Callable[[], object], float]], pairs: int = 3
    ) -> Case:
        """Measure in turn. plain: {name: (one unit of the work, how many units the whole is)}."""
        ours()
        for _ in range(pairs):
            self.ours.append(cpu(ours))
            for name, (unit, times) in plain.items():
                self.plain.setdefault(name, []).append(cpu(unit) * times)
        return self

    def weigh(self, ours: Callable[[], object]) -> Case:
        """Peak of memory above what was held before, in a run of its own that is not timed."""
        tracemalloc.start()
        ours()
        self.peak_mb = tracemalloc.get_traced_memory()[1] / 1e6
        tracemalloc.stop()
        return self

    def as_dict(self) -> dict[str, object]:
        ratios = {
            name: sorted(base / own for base, own in zip(seconds, self.ours, strict=True))
            for name, seconds in self.plain.items()
        }
        return {
            "task": self.task, "size": self.size, "ours_cpu_s": self.ours, "plain_cpu_s": self.plain,
            "ratio": {name: statistics.median(found) for name, found in ratios.items()},
            "ratio_min": {name: found[0] for name, found in ratios.items()},
            "ratio_max": {name: found[-1] for name, found in ratios.items()},
            "error": self.error, "peak_mb": self.peak_mb, "notes": self.notes, "goal": self.goal,
        }  # fmt: skip


def columns(n: int, p: int, seed: int = SEED) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Invented columns [n, p] (a third yes-or-no), outcomes [n] (about 1 in 9), patients [n] of 1.7 eyes each."""
    rng = np.random.default_rng(seed)
    x = rng.standard_normal((n, p))
    x[:, p - p // 3 :] = x[:, p - p // 3 :] > 0.8
    x[:, 1] = 0.6 * x[:, 0] + 0.8 * x[:, 1]
    eta = -2.4 + x @ rng.normal(0.0, 0.25, p)
    y = (rng.random(n) < 1.0 / (1.0 + np.exp(-eta))).astype(float)
    patients = np.repeat(np.arange(n), 2)[: n + n // 3]
    patients = np.sort(rng.choice(patients, n, replace=False))
    return x, y, np.unique(patients, return_inverse=True)[1]


def exponent(sizes: list[int], seconds: list[float]) -> list[float]:
    """How time grows between neighbouring sizes: 1 is proportional."""
    return [float(np.log(seconds[k + 1] / seconds[k]) / np.log(sizes[k + 1] / sizes[k])) for k in range(len(sizes) - 1)]
