"""The guards that hold for every test can fail: stray logs, missing logs, threads, warnings, Qt's messages."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

from tests.architecture.rules import ROOT

PROBES = """
import logging
import os
import threading
import warnings
from pathlib import Path


def test_bad_log():
    logging.getLogger("store.engine").warning("slow disk")


def test_good_log_expected(log_watch):
    log_watch.expect("store", "slow disk")
    logging.getLogger("store.engine").warning("slow disk")


def test_bad_log_absent(log_watch):
    log_watch.expect("store", "slow disk")


def test_good_log_looked_at(caplog):
    logging.getLogger("store.engine").warning("slow disk")
    assert "slow disk" in caplog.text


def test_bad_warning():
    warnings.warn("old")


def test_bad_thread():
    threading.Thread(target=threading.Event().wait, args=(60,), daemon=True).start()


def test_good_thread():
    worker = threading.Thread(target=int)
    worker.start()


def test_bad_qt_message(qtbot):
    from PySide6.QtCore import qWarning

    qWarning("a layout has a parent already")


def test_good_folders():
    import platformdirs

    assert str(Path.home()) != os.environ["USERS_HOME"]
    assert platformdirs.user_data_path("x").is_relative_to(Path.home())
    assert os.environ["QT_QPA_PLATFORM"] == "offscreen"
    assert os.environ["OPENBLAS_NUM_THREADS"] == os.environ["OMP_NUM_THREADS"] == "1"
"""


def run_probes(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    import os

    (folder / "tests").mkdir()
    (folder / "pyproject.toml").write_bytes((ROOT / "pyproject.toml").read_bytes())
    (folder / "tests" / "conftest.py").write_bytes((ROOT / "tests" / "conftest.py").read_bytes())
    (folder / "tests" / "test_probes.py").write_text(PROBES)
    environment = {key: value for key, value in os.environ.items() if not key.startswith(("QT_", "PYTEST_", "COV_"))}
    environment["USERS_HOME"] = environment["HOME"]
    return subprocess.run(
        [sys.executable, "-m", "pytest", "-rA", "-p", "no:cacheprovider", *arguments],
        cwd=folder, env=environment, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip


def test_each_guard_fails_what_it_guards_against(tmp_path: Path) -> None:
    result = run_probes(tmp_path)
    assert result.returncode == 1, result.stdout + result.stderr
    faults = set(re.findall(r"^(?:FAILED|ERROR) tests/test_probes\.py::(\w+)", result.stdout, flags=re.MULTILINE))
    assert faults == {name for name in re.findall(r"def (test_\w+)", PROBES) if name.startswith("test_bad")}


def test_headless_tests_need_neither_qt_nor_its_plugin(tmp_path: Path) -> None:
    result = run_probes(tmp_path, "-p", "no:pytest-qt", "-k", "good")
    assert result.returncode == 0, result.stdout + result.stderr
