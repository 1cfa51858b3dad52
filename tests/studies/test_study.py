"""The study runs, its figures against a known truth are right, and Firth's fit is the published one."""

from __future__ import annotations

import importlib
import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from scipy.special import expit

from tests.models.reference_data import birthwt

FOLDER = Path(__file__).resolve().parent


@pytest.fixture
def piece(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[str], ModuleType]]:
    """Loads a file of the study as the study itself does, beside its siblings, and forgets all of them again."""
    monkeypatch.syspath_prepend(str(FOLDER))
    yield importlib.import_module
    for file in FOLDER.glob("*.py"):
        sys.modules.pop(file.stem, None)


def test_a_small_study_runs_and_writes_its_tables(tmp_path: Path) -> None:
    command = [sys.executable, str(FOLDER / "run.py"), str(tmp_path), "--quick", "--processes", "1"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=240, check=False)
    assert done.returncode == 0, done.stderr
    cells = json.loads((tmp_path / "study.json").read_text(encoding="utf-8"))
    assert [(cell["truth"], cell["eyes"], len(cell["practices"])) for cell in cells] == [
        ("papers_right", 150, 2),
        ("papers_wrong", 150, 2),
    ]
    for cell in cells:
        for one in cell["practices"]:
            assert one["cloudy"] >= 15
            assert 0.5 < one["coverage_whole"] <= 1.0
            assert 0.02 < one["width_whole"] < 0.8
            assert {"default", "ridge, grouped CV", "Firth + FLIC", "maximum likelihood"} < set(one["scores"])
            assert one["scores"]["default"]["error"] < one["scores"]["maximum likelihood"]["error"]
    page = (tmp_path / "study.md").read_text(encoding="utf-8")
    assert page.count("\n| 150 | ") == 12
    assert "nan" not in page


def test_figures_against_a_known_truth(piece: Callable[[str], ModuleType]) -> None:
    scores = piece("scores").scores
    draw = np.random.default_rng(3)
    eta = draw.normal(-2.2, 0.9, 4000)
    chance = expit(eta)
    right = scores(eta, chance)
    assert right["slope"] == pytest.approx(1.0, abs=1e-9)
    assert right["level"] == pytest.approx(0.0, abs=1e-9)
    assert right["error"] == pytest.approx(0.0, abs=1e-12)
    assert right["ici"] == pytest.approx(0.0, abs=1e-12)
    assert right["brier"] == pytest.approx(float(np.mean(chance * (1 - chance))), abs=1e-12)
    bent = scores(0.4 + 1.25 * eta, chance)
    assert bent["slope"] == pytest.approx(0.8, abs=1e-9)
    assert bent["c"] == pytest.approx(right["c"], abs=1e-12)
    assert bent["log_loss"] > right["log_loss"]
    # the expected share of pairs in order, by all pairs of a few eyes
    some, odds = chance[:60], np.round(eta[:60])
    pair = some[:, None] * (1 - some[None, :]) * ~np.eye(60, dtype=bool)
    order = (odds[:, None] > odds[None, :]) + 0.5 * (odds[:, None] == odds[None, :])
    assert scores(odds, some)["c"] == pytest.approx(float((pair * order).sum() / pair.sum()), abs=1e-12)
    # noise that the forecast cannot see is error, but no miscalibration
    noisy = expit(eta + draw.normal(0.0, 0.5, 4000))
    assert scores(eta, noisy)["error"] > 5 * scores(eta, noisy)["ici"]


def test_chances_of_a_practice_are_those_that_its_outcomes_come_from(piece: Callable[[str], ModuleType]) -> None:
    practices = piece("practices")
    for truth in practices.TRUTHS:
        eyes = practices.Practice(truth, (9,)).eyes(20_000)
        cloudy = np.array([row["edema_grade_central"] == 2 for row in eyes.rows], dtype=float)
        groups = np.digitize(eyes.chance, np.quantile(eyes.chance, [0.25, 0.5, 0.75, 0.95]))
        for k in range(5):
            chance, seen = eyes.chance[groups == k], cloudy[groups == k]
            # pairs of eyes and few surgeons: twice the spread of independent eyes
            assert seen.mean() == pytest.approx(chance.mean(), abs=6 * np.sqrt(chance.mean() / chance.size))
        assert 0.06 < cloudy.mean() < 0.17
        assert 0.3 < eyes.whole.mean() < 0.7
        assert sum("ecd_per_mm2" not in row for row in eyes.rows) / 20_000 == pytest.approx(0.4, abs=0.15)
    again = practices.Practice("papers_right", (9,)).eyes(50)
    assert again.rows == practices.Practice("papers_right", (9,)).eyes(50).rows


def test_firth_is_the_published_fit(piece: Callable[[str], ModuleType]) -> None:
    # coefficients and FLIC intercept of an open implementation (firthmodels 0.8.2)
    x, y = birthwt()
    fit = piece("estimators").firth
    known = [0.336489, -0.027826, -0.013863, 1.212148, 0.841617, 0.895834, 0.503393, 1.729352, 0.742869, 0.074265]
    table = np.asarray(x, dtype=float)
    assert fit(table, np.asarray(y), flic=False) == pytest.approx(known, abs=2e-4)
    assert fit(table, np.asarray(y))[0] == pytest.approx(0.308508, abs=2e-4)
