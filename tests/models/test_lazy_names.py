"""The library's door: every name is there, and opening it is light."""

from __future__ import annotations

import importlib
import subprocess
import sys

import pytest

import models


@pytest.mark.parametrize("name", models.__all__)
def test_every_name_is_found(name: str) -> None:
    assert getattr(models, name) is not None
    assert name in dir(models)


def test_a_module_never_takes_the_place_of_a_name() -> None:
    importlib.import_module("models.judging")
    assert callable(models.judge)
    found = {name for name in models.__all__ if type(getattr(models, name)).__name__ == "module"}
    assert not found


def test_an_unknown_name_is_refused() -> None:
    with pytest.raises(AttributeError, match="no attribute 'predict_all'"):
        models.predict_all  # type: ignore[attr-defined]  # noqa: B018


def test_the_door_is_light() -> None:
    script = """
import sys
import models
assert not {"numpy", "scipy", "sklearn"} & set(sys.modules), "import models is heavy"
models.Prior, models.Normal, models.averaged_risk, models.risk_range, models.curve_term
assert "numpy" in sys.modules
assert not {"scipy", "sklearn", "joblib"} & set(sys.modules), "the keystroke path is heavy"
"""
    result = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=60, check=False)
    assert result.returncode == 0, result.stderr
