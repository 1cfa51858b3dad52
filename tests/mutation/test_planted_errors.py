"""The table of planted errors fits the code as it stands, and the check can tell a caught error from a missed one."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

FILE = Path(__file__).with_name("run.py")


def load() -> ModuleType:
    spec = importlib.util.spec_from_file_location("planted_errors", FILE)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


def test_every_original_text_occurs_once_and_every_test_file_is_there() -> None:
    run = load()
    planted = run.table()
    assert run.faults(planted) == []
    assert len({(one.file, one.text, one.error) for one in planted}) == len(planted)


def test_every_area_of_formulas_has_planted_errors() -> None:
    files = {one.file.removeprefix("models/").removesuffix(".py") for one in load().table()}
    assert files >= {
        "fit", "prior", "spline", "separation", "arrays", "missing", "blanks", "recipe", "energy", "columns", "refit",
        "discrimination", "calibration", "usefulness", "judging", "formula", "working", "patterns", "batch", "ranges",
        "monitor", "alarm", "update", "adequacy", "penalty", "optimism", "scoring", "training", "standardised", "path",
        "nucleus", "usual", "stability", "subgroups", "changed", "watching",
    }  # fmt: skip


def test_a_table_that_has_gone_stale_is_told(tmp_path: Path) -> None:
    run = load()
    (tmp_path / "one.py").write_text("a + b + b")
    (tmp_path / "test_one.py").write_text("")
    told = run.faults(
        [
            run.Planted("one.py", "a +", "a -", "sign", "test_one.py"),
            run.Planted("one.py", "b", "c", "twice", "test_one.py"),
            run.Planted("two.py", "b", "c", "no file", "test_one.py"),
            run.Planted("one.py", "a +", "a +", "same", "test_one.py"),
            run.Planted("one.py", "a +", "a -", "no tests", "test_two.py"),
            run.Planted("one.py", "a +", "a -", "none named", "-k word"),
        ],
        tmp_path,
    )
    assert [line.count("twice") + line.count("no file") for line in told[:2]] == [1, 1]
    assert [word in line for word, line in zip(("same", "no tests", "none named"), told[2:], strict=True)] == [True] * 3


def test_the_first_failure_is_named() -> None:
    first_failure = load().first_failure
    output = "..F\nFAILED tests/models/test_fit.py::test_a[1 - 2] - assert 1 == 2\nFAILED tests/x.py::test_b\n1 failed"
    assert first_failure(output).startswith("test_fit.py::test_a[1")
    assert first_failure("FAILED tests/models/test_fit.py::test_a\n") == "test_fit.py::test_a"
    assert first_failure("3 passed") is None
