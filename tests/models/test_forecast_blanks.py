"""How much may be missing, and properties that hold for every formula and every pattern of blanks."""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.forecast import MOST_OPEN, Forecast, Forecaster
from models.formula import Formula
from models.spec import Spec, Term, TermKind
from models.working import Working
from tests.models.trained import booking, end_of_case, usual_eye

SHORT_FORM = ("age_years", "guttae_grade", "nucleus_hardness", "acd_mm", "acd_definition", "diabetes", "glaucoma")
"""What the short form of a booking gives a model: eight answers with patient, eye and date among them."""


def answered(*names: str, **answers: object) -> dict[str, object]:
    whole = usual_eye()
    return {name: whole[name] for name in ("patient_id", "eye", "surgery_date", *names)} | answers


def share(row: dict[str, object]) -> float:
    working = booking().card.forecaster.working
    return working.eye(working.read(row)).pattern.open_share


def test_the_short_form_is_enough_for_a_number() -> None:
    found = booking().card.forecast([answered(*SHORT_FORM)])[0]
    assert found.status == "forecast"
    assert set(found.missing) == {"sex", "cct_um", "ecd_per_mm2", "pseudoexfoliation", "axial_length_mm"}
    assert share(answered(*SHORT_FORM)) == pytest.approx(0.025, abs=0.01)


def test_age_and_sex_alone_are_not() -> None:
    found = booking().card.forecast([answered("age_years", "sex")])[0]
    assert found.status == "refused_missing"
    assert found.risk is found.low is found.high is found.would_narrow_most is None
    assert found.note == (
        "9 of the 11 answers the model needs are missing, and they hold most of what tells eyes apart. No forecast is "
        "shown."
    )
    assert found.missing[0] == "nucleus_hardness"
    assert share(answered("age_years", "sex")) == pytest.approx(0.879, abs=0.01)


def test_a_card_is_checked_with_an_eye_that_leaves_too_much_open() -> None:
    for trained in (booking, end_of_case):
        expected = [vector["expected"]["status"] for vector in trained().card.written["test_vectors"]]
        assert expected[0] == "forecast"
        assert expected[-1] == "refused_missing"


def test_one_answer_can_hold_most() -> None:
    formula = worked([0.1, 1.0, 0.1, 0.1], np.eye(4))
    row: dict[str, object] = {"nucleus_hardness": 0.0, "cct_um": 0.0, "ecd_per_mm2": 0.0}
    found = Forecaster(formula).forecast(row)
    assert found.status == "refused_missing"
    assert found.missing == ("acd_mm",)
    assert found.note == (
        "1 of the 4 answers the model needs is missing, and it holds most of what tells eyes apart. No forecast is "
        "shown."
    )


def test_an_answer_that_cannot_be_used_counts_as_open_but_is_not_asked_for() -> None:
    formula = worked([1.0], np.array([[0.25]]), (Term("female", "sex", TermKind.CODED),))
    found = Forecaster(formula).forecast({"sex": "other"})
    assert (found.status, found.missing) == ("refused_missing", ())
    assert found.note == ("Answers that the model cannot use hold most of what tells eyes apart. No forecast is shown.")


def test_not_possible_counts_as_open() -> None:
    most = dict.fromkeys(("nucleus_hardness", "guttae_grade", "acd_mm"))
    reasons = {f"{name}_missing": "not_possible" for name in most}
    for answers in (most, {**most, **reasons}):
        found = booking().card.forecast([usual_eye(**answers)])[0]
        assert found.status == "refused_missing"
        assert set(found.missing) == set(most)


def test_two_thirds_is_not_more_than_two_thirds() -> None:
    covariance = np.diag([1.0, 2.0])
    terms = (Term("hardness", "nucleus_hardness", TermKind.LINEAR), Term("thickness", "cct_um", TermKind.LINEAR))
    row: dict[str, object] = {"nucleus_hardness": 0.0}
    assert Forecaster(worked([1.0, 0.999999], covariance, terms)).forecast(row).status == "forecast"
    assert Forecaster(worked([1.0, 1.001], covariance, terms)).forecast(row).status == "refused_missing"


def test_where_nothing_tells_eyes_apart_nothing_is_refused() -> None:
    found = Forecaster(worked([0.0, 0.0, 0.0, 0.0], np.eye(4))).forecast({})
    assert found.status == "forecast"
    assert found.missing == ("acd_mm", "cct_um", "ecd_per_mm2", "nucleus_hardness")


def test_what_is_missing_is_told_by_what_it_would_tell() -> None:
    card = booking().card
    terms = [term.field for term in card.spec.base]
    base = {name: tuple(j for j, field in enumerate(terms) if field == name) for name in terms}
    for blank in itertools.combinations(card.spec.predictors, 3):
        found = card.forecast([usual_eye(**dict.fromkeys(blank))])[0]
        assert found.numbers is not None
        alone = {name: card.forecaster.working.gain(found.numbers, base[name]) for name in blank}
        assert list(found.missing) == sorted(blank, key=lambda name: (-alone[name], name))
        if found.would_narrow_most is not None:
            assert found.would_narrow_most.field == found.missing[0]


def test_open_answers_add_up_to_all_and_no_answer_takes_a_forecast_away() -> None:
    """Along every order of answering, the share falls and a forecast is never withdrawn."""
    rng = np.random.default_rng(3)
    for trained in (booking, end_of_case):
        card = trained().card
        working = card.forecaster.working
        q = len(card.spec.base)
        assert working.patterns[()].open_share == 0.0
        assert working.patterns[tuple(range(q))].open_share == pytest.approx(1.0, abs=1e-12)
        for _ in range(40):
            order = rng.permutation(q)
            shares = [working.patterns[tuple(sorted(order[:m].tolist()))].open_share for m in range(q + 1)]
            assert all(0.0 <= a <= b + 1e-12 for a, b in itertools.pairwise(shares))
            refused = [one > MOST_OPEN for one in shares]
            assert refused == sorted(refused)


@pytest.mark.parametrize("seed", range(6))
def test_refusals_for_blanks_are_monotone_in_the_answers(seed: int) -> None:
    card = booking().card
    order = np.random.default_rng(seed).permutation(list(card.spec.predictors)).tolist()
    found: list[Forecast] = [card.forecast([usual_eye(**dict.fromkeys(order[:m]))])[0] for m in range(len(order) + 1)]
    refused = [one.status == "refused_missing" for one in found]
    assert refused == sorted(refused)
    assert not refused[0]
    assert refused[-1]


# --- every formula ---------------------------------------------------------------------------------------------------

TERMS = (
    Term("hardness", "nucleus_hardness", TermKind.LINEAR),
    Term("depth", "acd_mm", TermKind.DEPTH),
    Term("thickness", "cct_um", TermKind.LINEAR),
    Term("cell_count", "ecd_per_mm2", TermKind.LINEAR),
)
CURVED = (*TERMS, Term("depth_curve", "acd_mm", TermKind.CURVE))


def worked(slopes: Any, fields: Any, terms: tuple[Term, ...] = TERMS, **changed: Any) -> Formula:
    q = np.asarray(fields).shape[0]
    p = len(terms)
    given: dict[str, Any] = {
        "spec": Spec("booking", terms), "intercept": -2.0, "centre": np.zeros(p), "coefficients": np.asarray(slopes),
        "covariance": 0.01 * np.eye(p + 1), "form_sd": 0.15, "mean": np.zeros(q),
        "field_covariance": np.asarray(fields), "knots": None, "curve_sd": 1.0, "energy": None,
        "lowest": np.full(q, -1e9), "highest": np.full(q, 1e9), "edge": 1e9, "beyond": 1e9,
    }  # fmt: skip
    return Formula(**{**given, **changed})


@st.composite
def formulas(draw: st.DrawFn) -> Formula:
    """Four fields that go together in any way, with or without a curve of the depth."""
    number = st.floats(-2.0, 2.0, allow_subnormal=False)
    half = np.array(draw(st.lists(number, min_size=16, max_size=16))).reshape(4, 4)
    sigma = half @ half.T + 0.05 * np.eye(4)
    sigma = (sigma + sigma.T) / 2.0
    curved = draw(st.booleans())
    p = 5 if curved else 4
    slopes = np.array(draw(st.lists(number, min_size=p, max_size=p)))
    root = np.array(draw(st.lists(number, min_size=(p + 1) ** 2, max_size=(p + 1) ** 2))).reshape(p + 1, p + 1)
    spread = 0.02 * (root @ root.T) + 0.001 * np.eye(p + 1)
    return worked(
        slopes, sigma, CURVED if curved else TERMS, covariance=(spread + spread.T) / 2.0,
        mean=np.array(draw(st.lists(number, min_size=4, max_size=4))),
        centre=np.array(draw(st.lists(number, min_size=p, max_size=p))),
        knots=(-1.0, 0.25, 1.5) if curved else None, curve_sd=0.7,
    )  # fmt: skip


columns = st.lists(st.one_of(st.floats(-3.0, 3.0), st.just(math.nan)), min_size=4, max_size=4)


@given(formulas(), columns)
@settings(deadline=None)
def test_measuring_a_blank_at_its_conditional_mean_changes_nothing(formula: Formula, eye: list[float]) -> None:
    """Of the log-odds; and step by step, in any order."""
    working = Working(formula)
    numbers = working.eye(eye)
    filled = (numbers.away + formula.centre)[:4].tolist()
    for j in range(4):
        eye = [*eye[:j], filled[j], *eye[j + 1 :]]
        assert working.eye(eye).eta == pytest.approx(numbers.eta, abs=1e-9)
    assert working.eye(eye).missing_variance == 0.0


@given(formulas(), columns)
@settings(deadline=None)
def test_gains_and_shares_stay_within_what_is_open(formula: Formula, eye: list[float]) -> None:
    working = Working(formula)
    numbers = working.eye(eye)
    open_ = numbers.pattern.open
    for size in range(len(open_) + 1):
        for wanted in itertools.combinations(open_, size):
            assert 0.0 <= working.gain(numbers, wanted) <= numbers.missing_variance
    assert working.gain(numbers, open_) == pytest.approx(numbers.missing_variance, rel=1e-7, abs=1e-12)
    bent = numbers.slope[list(open_)]
    steepest = float(np.abs(bent).max(initial=0.0))
    if steepest > 1e-6:
        assert numbers.missing_variance > 0.0
    elif steepest == 0.0:
        assert numbers.missing_variance == pytest.approx(0.0, abs=1e-14)
    assert 0.0 <= numbers.pattern.open_share <= 1.0
    assert 0.0 <= numbers.low <= numbers.high <= 1.0


@given(formulas(), columns)
@settings(deadline=None)
def test_a_gain_is_what_recording_the_expected_answers_takes_off(formula: Formula, eye: list[float]) -> None:
    working = Working(formula)
    numbers = working.eye(eye)
    filled = (numbers.away + formula.centre)[:4].tolist()
    for size in (1, 2, 3):
        for wanted in itertools.combinations(numbers.pattern.open, size):
            after = working.eye([filled[j] if j in wanted else value for j, value in enumerate(eye)])
            taken = numbers.missing_variance - after.missing_variance
            assert working.gain(numbers, wanted) == pytest.approx(taken, rel=1e-6, abs=1e-9)


@given(formulas(), columns, st.integers(0, 3))
@settings(deadline=None)
def test_one_blank_more_never_tells_more(formula: Formula, eye: list[float], j: int) -> None:
    working = Working(formula)
    more = [*eye[:j], math.nan, *eye[j + 1 :]]
    fewer, many = (working.eye(one).pattern.open_share for one in (eye, more))
    assert fewer <= many + 1e-12


@given(formulas(), columns, st.permutations(range(4)))
@settings(deadline=None)
def test_the_order_of_the_terms_changes_nothing(formula: Formula, eye: list[float], order: list[int]) -> None:
    p = formula.centre.shape[0]
    whole = [*order, *range(4, p)]
    both = [0, *(j + 1 for j in whole)]
    other = worked(
        formula.coefficients[whole], formula.field_covariance[np.ix_(order, order)],
        tuple(formula.spec.terms[j] for j in whole), centre=formula.centre[whole], mean=formula.mean[order],
        covariance=formula.covariance[np.ix_(both, both)], knots=formula.knots, curve_sd=formula.curve_sd,
    )  # fmt: skip
    numbers, again = Working(formula).eye(eye), Working(other).eye([eye[j] for j in order])
    assert (again.risk, again.low, again.high) == pytest.approx((numbers.risk, numbers.low, numbers.high), abs=1e-9)
    assert again.pattern.open_share == pytest.approx(numbers.pattern.open_share, abs=1e-9)


@given(formulas(), columns, st.lists(st.floats(0.01, 100.0), min_size=4, max_size=4))
@settings(deadline=None)
def test_other_units_change_nothing(formula: Formula, eye: list[float], units: list[float]) -> None:
    """Columns in other units, with everything that goes with them; the curve's depth keeps its own."""
    p = formula.centre.shape[0]
    scale = np.array([*units, *([1.0] * (p - 4))])
    if formula.knots is not None:
        scale[1] = 1.0
    both = np.append(1.0, scale)
    other = worked(
        formula.coefficients * scale, formula.field_covariance / np.outer(scale[:4], scale[:4]), formula.spec.terms,
        centre=formula.centre / scale, mean=formula.mean / scale[:4],
        covariance=formula.covariance * np.outer(both, both), knots=formula.knots, curve_sd=formula.curve_sd,
    )  # fmt: skip
    numbers, again = Working(formula).eye(eye), Working(other).eye([v / u for v, u in zip(eye, scale, strict=False)])
    assert (again.risk, again.low, again.high) == pytest.approx((numbers.risk, numbers.low, numbers.high), abs=1e-9)
    assert again.distance == pytest.approx(numbers.distance, rel=1e-9, abs=1e-9)
    assert again.pattern.open_share == pytest.approx(numbers.pattern.open_share, abs=1e-9)
