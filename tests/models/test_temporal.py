"""Forward validation and the shift of the average: nothing of a quarter, nor of its patients, makes its own model."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from models.card import read_card
from models.errors import ModelError
from models.outcome import look
from models.shifting import shift_average
from models.spec import default_spec
from models.temporal import first_day, forward_forecasts
from models.training import train
from models.update import level_shift
from tests.models.invented_practice import practice

ROWS = practice(700, seed=12)
START = date(2024, 7, 1)


def test_each_quarter_is_forecast_by_the_quarters_before_it_without_its_patients() -> None:
    judged = [i for i, row in enumerate(ROWS) if first_day(row["surgery_date"]) == START]
    found = forward_forecasts(ROWS, judged, spec=default_spec("booking"))
    patients = {ROWS[i]["patient_id"] for i in judged}
    earlier = [row for row in ROWS if row["surgery_date"] < START and row["patient_id"] not in patients]
    by_hand = train(earlier, model="booking", resamples=0).card.forecast([ROWS[i] for i in judged])
    assert [one.start for one in found] == [START] * len(judged)
    assert [one.forecast.risk for one in found if one.forecast] == [one.risk for one in by_hand]
    assert any(row["patient_id"] in patients for row in ROWS if row["surgery_date"] < START)


def test_outcomes_of_the_quarter_and_later_change_nothing() -> None:
    judged = [i for i, row in enumerate(ROWS) if first_day(row["surgery_date"]) == START]
    turned = [{**row, "edema_grade_central": 4} if row["surgery_date"] >= START else row for row in ROWS]
    spec = default_spec("booking")
    before, after = forward_forecasts(ROWS, judged, spec=spec), forward_forecasts(turned, judged, spec=spec)
    told = [[one.forecast and one.forecast.as_dict() for one in found] for found in (before, after)]
    assert told[0] == told[1]


def test_the_first_quarters_carry_no_model_and_say_so() -> None:
    first = min(range(len(ROWS)), key=lambda i: ROWS[i]["surgery_date"])
    (found,) = forward_forecasts(ROWS, [first], spec=default_spec("booking"))
    assert found.forecast is None
    with pytest.raises(ModelError, match="no surgery date"):
        forward_forecasts([{"patient_id": "P", "surgery_date": None}], [0], spec=default_spec("booking"))


def test_the_shift_is_the_shrunken_difference_and_leaves_the_rest() -> None:
    # a practice whose new grader sees more: every third clear eye of the later period is called cloudy
    card = train([row for row in ROWS if row["surgery_date"] < START], model="booking", resamples=0).card
    later = [
        {**row, "edema_grade_central": 2} if place % 3 == 0 else row
        for place, row in enumerate(row for row in ROWS if row["surgery_date"] >= START)
    ]
    moved, shift = shift_average(card, later)
    kept = [
        (forecast.risk, float(bool(look(row).cloudy)), row["patient_id"])
        for row, forecast in zip(later, card.forecast(later), strict=True)
        if forecast.risk is not None and look(row).cloudy is not None
    ]
    expected = level_shift(*([one[part] for one in kept] for part in (0, 1)), clusters=[one[2] for one in kept])
    assert shift == expected
    assert 0.3 < shift.applied < shift.estimate  # type: ignore[operator]
    assert moved.formula.intercept == pytest.approx(card.formula.intercept + shift.applied, abs=1e-12)
    assert np.array_equal(moved.formula.covariance, card.formula.covariance)
    assert moved.written["weights"]["intercept_shift"] == pytest.approx(shift.applied, abs=1e-15)
    assert read_card(moved.to_text()).to_text() == moved.to_text()
    before, after = card.forecast(later[:20]), moved.forecast(later[:20])
    raised = [new.risk > old.risk for old, new in zip(before, after, strict=True) if old.risk is not None and new.risk]
    assert raised
    assert all(raised)
    assert [one.missing for one in after] == [one.missing for one in before]
