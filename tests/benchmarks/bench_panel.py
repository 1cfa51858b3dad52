"""How soon the forecast panel follows an answer: `python tests/benchmarks/bench_panel.py [TIMES]`.

Fills a throw-away practice from the invented one, opens its Bookings page without a screen, changes answers of an eye,
and prints the median and the 95th percentile, from the answer to the painted panel, by the clock and in time of the
processor, beside the time of one frame at 60 a second and beside the bare arithmetic. It asserts nothing.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from clinic_app.demonstration import ACTS
from clinic_app.desktop.app import application
from clinic_app.desktop.look import Look
from clinic_app.desktop.pictures import settle
from clinic_app.desktop.window import Window
from clinic_app.services import demo
from clinic_app.services.bookings import forecast_for, list_eyes
from clinic_app.session import open_session

FRAME_MS = 1000 / 60
ANSWERS = (("nucleus_hardness", "12345"), ("guttae_grade", "0123"))


def spread(name: str, seconds: list[float]) -> None:
    """Median and 95th percentile in milliseconds, and as shares of a frame."""
    ms = sorted(1000 * one for one in seconds)
    median, late = statistics.median(ms), ms[int(0.95 * (len(ms) - 1))]
    print(f"{name:32} median {median:6.2f} ms ({median / FRAME_MS:4.0%} of a frame), 95th {late:6.2f} ms")


def main(times: int = 200) -> None:
    """Measure and print."""
    demo.RESAMPLES_NOW = 0
    with tempfile.TemporaryDirectory(prefix="bench-panel-") as name:
        demo.build_demo(Path(name), ACTS)
        with open_session(Path(name), person="Demo") as session:
            app = application()
            look = Look("light")
            look.apply()
            window = Window(look, session.settings, session.person)
            window.fill(session)
            window.resize(1440, 900)
            window.show()
            settle(app, window)
            page = window.page["bookings"]
            key = next(eye.key for eye in list_eyes(session) if eye.forecast and eye.forecast.risk is not None)
            page.go_to(key)
            settle(app, window)
            whole: list[float] = []
            work: list[float] = []
            bare: list[float] = []
            for turn in range(times):
                field, codes = ANSWERS[turn % len(ANSWERS)]
                started, worked = time.perf_counter(), time.process_time()
                page.form.answers[field].choose(codes[turn // len(ANSWERS) % len(codes)], move=False)
                app.processEvents()
                whole.append(time.perf_counter() - started)
                work.append(time.process_time() - worked)
                row = page.row()
                started = time.perf_counter()
                forecast_for(session, row)
                bare.append(time.perf_counter() - started)
            spread("answer to painted panel", whole)
            spread("the same, processor time", work)
            spread("forecast alone", bare)
            window.close()


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
