"""How soon the table of cases shows, scrolls, sorts and chooses: `python tests/benchmarks/bench_list.py [CASES]`.

Invented columns, twenty of them, in a table of 1400 x 800 without a screen. Prints medians and 95th percentiles in time
of the processor, each with its paint, beside the time of one frame at 60 a second. It asserts nothing.
"""

from __future__ import annotations

import os
import statistics
import sys
import time
from collections.abc import Callable

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import numpy as np

from clinic_app.desktop.app import application
from clinic_app.desktop.look import Look
from clinic_app.desktop.parts.case_list import CaseList, Column, coded

FRAME_MS = 1000 / 60
SURGEONS = ("Halvorsen", "Mbeki", "Osei", "Okafor")


def columns(cases: int, many: int = 20, seed: int = 20) -> list[Column]:
    """A patient number, an eye, a surgeon, a day, and numbers with a tenth unanswered."""
    rng = np.random.default_rng(seed)
    days = np.datetime64("2019-01-01") + rng.integers(0, 2500, cases)
    found = [
        Column("Patient", rng.permutation(cases), lambda code: f"P-{code:07d}", numeric=False),
        coded("Eye", list(np.array(["Right", "Left"])[rng.integers(0, 2, cases)])),
        coded("Surgeon", list(np.array(SURGEONS)[rng.integers(0, 4, cases)])),
        Column("Day", days, str),
    ]
    while len(found) < many:
        values = rng.gamma(2.0, 8.0, cases)
        values[rng.random(cases) < 0.1] = np.nan
        found.append(Column(f"Measure {len(found) - 3}", values, lambda value: f"{value:.1f}"))
    return found


def tell(name: str, ms: list[float]) -> None:
    """Median and 95th percentile in milliseconds, and as shares of a frame."""
    ms = sorted(ms)
    median, late = statistics.median(ms), ms[int(0.95 * (len(ms) - 1))]
    print(f"{name:34} median {median:7.2f} ms ({median / FRAME_MS:5.0%} of a frame), 95th {late:7.2f} ms")


def main(cases: int = 1_000_000) -> None:
    """Measure and print."""
    app = application()
    look = Look("light")
    look.apply()
    made = columns(cases)
    print(f"{cases} cases, {len(made)} columns")

    def timed(work: Callable[[], object], times: int) -> list[float]:
        found = []
        for _ in range(times):
            started = time.process_time()
            work()
            app.processEvents()
            found.append(1000 * (time.process_time() - started))
        return found

    views: list[CaseList] = []

    def show() -> None:
        view = CaseList(look, "Invented cases")
        view.resize(1400, 800)
        view.show_cases(made)
        view.show()
        views.append(view)

    tell("show", timed(show, 7))
    view = views[-1]
    for one in views[:-1]:
        one.deleteLater()
    bar = view.verticalScrollBar()
    rng = np.random.default_rng(0)
    paint = view.viewport().repaint
    tell("jump, a frame", timed(lambda: (bar.setValue(int(rng.integers(0, bar.maximum()))), paint()), 200))
    tell("wheel, a frame", timed(lambda: (bar.setValue(bar.value() + 3), paint()), 200))
    turn = iter(range(1000))
    tell("sort, from the last row", timed(lambda: (bar.setValue(bar.maximum()), view.sort_by(4 + next(turn) % 16)), 15))
    age, risk = made[4].values, made[5].values
    cuts = iter(np.linspace(4, 30, 100))
    tell("choose on two conditions", timed(lambda: view.choose((age > next(cuts)) & (risk < 20.0)), 30))  # type: ignore[operator]
    view.close()


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
