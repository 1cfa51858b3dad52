"""Rows to training table: who is left out and why, what the outcome is, energy made comparable."""

from __future__ import annotations

import math
from datetime import date, datetime, time

import numpy as np
import pytest

from models.dataset import build, quarter_of, quarter_words
from models.eligibility import REASONS, reason_words
from models.energy import learn_energy
from models.errors import ModelError
from models.outcome import look, seen
from models.spec import default_spec
from tests.models.invented_practice import practice

BOOKING = default_spec("booking")
SEEN: dict[str, object] = {"visit_status": "attended", "hours_since_surgery": 20.0, "edema_grade_central": 1}


def eye(number: int, **answers: object) -> dict[str, object]:
    row: dict[str, object] = {"patient_id": f"P{number}", "eye": "R", "surgery_date": date(2025, 5, number), **SEEN}
    row.update(age_years=70.0, **answers)
    return row


@pytest.mark.parametrize(
    ("rule", "answers"),
    [
        ("combined_planned", {"planned_combined": "graft"}),
        ("graft_eye", {"prior_keratoplasty": "DMEK"}),
        ("guttae_6", {"guttae_grade": 6}),
        ("under_18", {"age_years": 17.9}),
        ("consent_withdrawn", {"consent_audit_model": "no"}),
        ("no_graded_visit", {"edema_grade_central": None}),
        ("no_graded_visit", {"hours_since_surgery": 41.0}),
        ("no_graded_visit", {"visit_status": "missed"}),
    ],
)
def test_every_rule_leaves_an_eye_out_and_is_counted(rule: str, answers: dict[str, object]) -> None:
    left = eye(1)
    left.update(answers)
    data = build([left, eye(2)], BOOKING)
    assert data.excluded == {rule: 1}
    assert [key[0] for key in data.keys] == ["P2"]
    assert reason_words(rule, left).startswith(REASONS[rule])


def test_answers_that_leave_nobody_out() -> None:
    harmless = eye(1, planned_combined="none", prior_keratoplasty="none", consent_audit_model="not_asked", pcr="PCR")
    harmless.update(age_years=18.0, guttae_grade=5, combined_procedure="vitrectomy")
    assert build([harmless], BOOKING).excluded == {}


def test_a_second_operation_on_the_same_eye_is_left_out_even_after_an_ungraded_first() -> None:
    again = eye(9)
    again.update(patient_id="P1")
    first = eye(1)
    first["edema_grade_central"] = None
    data = build([again, first, {**eye(5), "patient_id": "P1", "eye": "L"}], BOOKING)
    assert data.excluded == {"no_graded_visit": 1, "second_operation": 1}
    assert data.n == 1
    assert data.unseen == {"no_grade": 1}


def test_until_leaves_later_eyes_uncounted() -> None:
    data = build([eye(1), eye(9)], BOOKING, until=date(2025, 5, 1))
    assert (data.n, data.excluded) == (1, {})


def test_repeated_or_nameless_rows_are_refused() -> None:
    with pytest.raises(ModelError, match="same eye at the same operation"):
        build([eye(1), eye(1)], BOOKING)
    with pytest.raises(ModelError, match="lacks its patient number"):
        build([{**eye(1), "eye": None}], BOOKING)


@pytest.mark.parametrize(
    ("answers", "cloudy", "reason", "inferred"),
    [
        ({}, False, None, False),
        ({"edema_grade_central": 2}, True, None, False),
        ({"hours_since_surgery": 12.0}, False, None, False),
        ({"hours_since_surgery": 36.0}, False, None, False),
        ({"hours_since_surgery": 11.9}, None, "off_time", False),
        ({"hours_since_surgery": 36.1}, None, "off_time", False),
        ({"hours_since_surgery": None}, None, "no_time", False),
        ({"hours_since_surgery": None, "exam_at": datetime(2025, 5, 2, 9)}, False, None, True),
        ({"hours_since_surgery": None, "exam_at": date(2025, 5, 2)}, False, None, True),
        ({"hours_since_surgery": None, "exam_at": datetime(2025, 5, 3, 9)}, None, "off_time", False),
        (
            {"hours_since_surgery": None, "exam_at": datetime(2025, 5, 2, 9), "surgery_time": time(8, 30)},
            False, None, False,
        ),
        (
            {"hours_since_surgery": None, "exam_at": datetime(2025, 5, 2, 23), "surgery_time": time(8, 30)},
            None, "off_time", False,
        ),
        ({"edema_grade_central": None}, None, "no_grade", False),
        ({"edema_grade_central": None, "visit_status": None}, None, "not_seen", False),
        ({"visit_status": "remote_only"}, None, "not_seen", False),
        ({"visit_status": "seen_elsewhere"}, False, None, False),
        ({"visit_status": None}, False, None, False),
    ],
)  # fmt: skip
def test_the_outcome(answers: dict[str, object], cloudy: bool | None, reason: str | None, inferred: bool) -> None:
    row = eye(1)
    row.update(answers)
    assert (look(row).cloudy, look(row).reason, look(row).inferred) == (cloudy, reason, inferred)
    assert seen(row) is cloudy


def test_cut_and_window_are_the_models_own() -> None:
    row = {**eye(1), "edema_grade_central": 2}
    assert seen(row, cut=3) is False
    assert seen(row, window=(21.0, 36.0)) is None


def test_inferred_visits_are_counted() -> None:
    row = {**eye(1), "hours_since_surgery": None, "exam_at": datetime(2025, 5, 2, 9)}
    assert build([row, eye(2)], BOOKING).inferred == 1


def test_columns_patients_and_quarters() -> None:
    rows = [eye(3), {**eye(2), "eye": "L", "patient_id": "P3"}, eye(1, nucleus_hardness=4)]
    data = build(rows, BOOKING)
    assert [key[2] for key in data.keys] == ["2025-05-01", "2025-05-02", "2025-05-03"]
    assert data.patients.tolist() == [0, 1, 1]
    assert data.columns[:, 2].tolist()[0] == 4.0
    assert np.isnan(data.columns[1, 2])
    assert data.patient_count == 2
    assert not data.columns.flags.writeable
    assert set(data.quarters.tolist()) == {quarter_of(date(2025, 4, 1))}
    assert quarter_words(quarter_of(date(2025, 12, 31))) == "2025 Q4"
    assert build([], BOOKING).patient_count == 0


def test_energy_is_standardised_within_its_group_on_the_training_eyes() -> None:
    spec = default_spec("end_of_case")
    assert spec.energy is not None
    data = build(practice(300), spec)
    assert data.energy is not None
    assert data.energy.machines == ("M1", "M2")
    column = data.columns[:, spec.energy]
    for group in data.energy.yardsticks:
        mine = [i for i, found in enumerate(data.readings) if found and found[0][0] == group]
        scores = column[mine] / 0.55
        low, middle, high = np.quantile(scores, (0.25, 0.5, 0.75))
        assert middle == pytest.approx(0.0, abs=1e-12)
        assert high - low == pytest.approx(1.349, abs=1e-12)
        raw = np.asarray([data.readings[i][0][1] for i in mine])
        stick = data.energy.yardsticks[group]
        assert scores == pytest.approx((raw - np.median(raw)) / stick.spread, abs=1e-12)


def test_a_small_or_constant_group_has_no_yardstick() -> None:
    few = [[(("A", "effective_time_s", ""), float(k))] for k in range(29)]
    flat = [[(("B", "effective_time_s", ""), 1.0)]] * 40
    scale = learn_energy([*few, *flat], ["A", "B"])
    assert dict(scale.yardsticks) == {}
    assert math.isnan(scale.score(few[0]))
    enough = learn_energy([*few, [(("A", "effective_time_s", ""), 29.0)]], ["A"])
    assert enough.score([(("A", "other", ""), 1.0), (("A", "effective_time_s", ""), 14.5)]) == pytest.approx(0.0)
