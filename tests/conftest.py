"""What holds for every test: no window system, one thread for BLAS, throw-away folders, no stray log or thread."""

from __future__ import annotations

import importlib.util
import logging
import os
import shutil
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

# All of this must stand in the environment before numpy, matplotlib or Qt is imported, here or in a child process.
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"):
    os.environ[name] = "1"

HOME = Path(tempfile.mkdtemp(prefix="clinic-tests-"))
for name, folder in {
    "HOME": ".",
    "USERPROFILE": ".",
    "APPDATA": "roaming",
    "LOCALAPPDATA": "local",
    "XDG_DATA_HOME": "data",
    "XDG_CONFIG_HOME": "config",
    "XDG_CACHE_HOME": "cache",
    "XDG_STATE_HOME": "state",
    "XDG_RUNTIME_DIR": "runtime",
    "MPLCONFIGDIR": "matplotlib",
}.items():
    (HOME / folder).mkdir(mode=0o700, exist_ok=True)
    os.environ[name] = str(HOME / folder)

# Speed is never asserted, and a run is the same as the last one.
settings.register_profile("everyday", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("everyday")

# Without the `desktop` extra (and with -p no:pytest-qt) the headless tests still run.
collect_ignore = [] if importlib.util.find_spec("PySide6") else ["desktop"]


def pytest_unconfigure() -> None:
    shutil.rmtree(HOME, ignore_errors=True)


class LogWatch(logging.Handler):
    """Collects warnings and worse; a test says beforehand which ones it expects."""

    # matplotlib says so after five seconds of building its list of fonts, which a loaded machine can need
    HARMLESS = ("matplotlib.font_manager",)

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.seen: list[tuple[str, str]] = []
        self.expected: list[tuple[str, str]] = []

    def emit(self, record: logging.LogRecord) -> None:
        if not record.name.startswith(self.HARMLESS):
            self.seen.append((record.name, f"{record.levelname}: {record.getMessage()}"))

    def expect(self, logger: str, part: str) -> None:
        """A warning of this logger (or one below it) with this part in its text will come; the test fails if not."""
        self.expected.append((logger, part))

    def stray(self) -> list[str]:
        return [f"{name}: {text}" for name, text in self.seen if not any(_fits(name, text, e) for e in self.expected)]

    def absent(self) -> list[str]:
        return [f"{e[0]}: {e[1]}" for e in self.expected if not any(_fits(name, text, e) for name, text in self.seen)]


def _fits(name: str, text: str, expected: tuple[str, str]) -> bool:
    logger, part = expected
    return (name == logger or name.startswith(logger + ".")) and part in text


@pytest.fixture(autouse=True)
def log_watch(request: pytest.FixtureRequest) -> Iterator[LogWatch]:
    """Fails a test that leaves a warning in the log; a test that takes `caplog` looks by itself."""
    watch = LogWatch()
    root = logging.getLogger()
    root.addHandler(watch)
    try:
        yield watch
    finally:
        root.removeHandler(watch)
    if "caplog" not in request.fixturenames:
        assert not watch.stray(), f"stray log: {watch.stray()}"
    assert not watch.absent(), f"expected log did not come: {watch.absent()}"


@pytest.fixture(autouse=True)
def no_thread_left() -> Iterator[None]:
    """No thread outlives its test; threads that Qt or C started (Python calls them dummies) are not ours to end."""
    before = set(threading.enumerate())
    yield
    until = time.monotonic() + 3
    while left := [t.name for t in set(threading.enumerate()) - before if not isinstance(t, threading._DummyThread)]:
        assert time.monotonic() < until, f"threads left: {left}"
        time.sleep(0.01)
