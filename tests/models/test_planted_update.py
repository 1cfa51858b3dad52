"""The shift of the average takes both eyes of a patient for what they are."""

from __future__ import annotations

import numpy as np
import pytest

from models.update import level_shift


def test_an_eye_doubled_as_its_own_fellow_says_nothing_new() -> None:
    draw = np.random.default_rng(8)
    risk = np.clip(draw.beta(2.0, 12.0, 900), 0.01, 0.9)
    outcome = (draw.random(900) < np.minimum(1.3 * risk, 1.0)).astype(float)
    once = level_shift(risk, outcome, clusters=np.arange(900))
    twice = level_shift(np.repeat(risk, 2), np.repeat(outcome, 2), clusters=np.repeat(np.arange(900), 2))
    assert once.se is not None
    assert twice.estimate == pytest.approx(once.estimate, abs=1e-9)
    assert twice.se == pytest.approx(once.se, rel=1e-9)
    assert twice.applied == pytest.approx(once.applied, rel=1e-9)
    apart = level_shift(np.repeat(risk, 2), np.repeat(outcome, 2), clusters=np.arange(1800))
    assert apart.se is not None
    assert apart.se * np.sqrt(2.0) == pytest.approx(once.se, rel=1e-3)
    assert abs(apart.applied) > abs(once.applied)
