"""One row in, one forecast out: arithmetic against a recomputation from the card's JSON, refusals, words."""

from __future__ import annotations

import math
import subprocess
import sys
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from models.errors import ModelError
from models.forecast import Forecast, Forecaster
from models.formula import Formula, curve_at
from models.missing import Normal
from models.spec import Spec, Term, TermKind
from models.spline import restricted_cubic
from models.synthetic import USUAL_THEATRE
from models.words import chance_sentence, effect_words, shown_range, value_words
from models.working import Working
from tests.models.trained import booking, end_of_case, eyes, fresh_json, usual_eye

DEMANDING: tuple[dict[str, object], ...] = (
    {},
    {"ecd_per_mm2": None},
    {"ecd_per_mm2": None, "acd_mm": None},
    {"guttae_grade": None, "cct_um": None, "glaucoma": "OHT"},
    {"guttae_grade": 4, "sex": "unknown", "axial_length_mm": None},
    {"acd_mm": 2.5, "acd_definition": "endothelium", "age_years": 88.2, "pseudoexfoliation": "suspect"},
    {"acd_mm": 2.5, "acd_definition": "endothelium", "cct_um": None, "diabetes": None},
)


def answers_by_hand(row: dict[str, Any]) -> list[float]:
    """Base columns of the booking model as a statistician would code them, from the published definitions."""
    nan = math.nan

    def code(value: object, one: tuple[object, ...], zero: tuple[object, ...]) -> float:
        return 1.0 if value in one else 0.0 if value in zero else nan

    depth = row.get("acd_mm", nan)
    if row.get("acd_definition") == "endothelium":
        depth += row.get("cct_um", nan) / 1000
    guttae = row.get("guttae_grade")
    return [
        row.get("age_years", nan) / 10,
        code(row.get("sex"), ("female",), ("male",)),
        row.get("nucleus_hardness", nan),
        code(guttae, (1, 2), (0, 3, 4, 5)),
        code(guttae, (3, 4, 5), (0, 1, 2)),
        depth,
        row.get("cct_um", nan) / 34,
        row.get("ecd_per_mm2", nan) / 500,
        code(row.get("diabetes"), ("type1", "type2", "other"), ("none",)),
        code(row.get("glaucoma"), ("open_angle", "angle_closure", "other"), ("none", "OHT")),
        code(row.get("pseudoexfoliation"), ("yes", "suspect"), ("no",)),
        row.get("axial_length_mm", nan) / 1.2,
    ]


def by_hand(card: dict[str, Any], x: list[float]) -> tuple[float, float, float]:
    """Chance and range from nothing but the card's JSON: regression of the blanks, curve, probit factor, range."""
    formula = card["formula"]
    mu, sigma = np.array(formula["blanks"]["mean"]), np.array(formula["blanks"]["covariance"])
    values = np.array(x)
    m, o = np.isnan(values), ~np.isnan(values)
    link = sigma[np.ix_(m, o)] @ np.linalg.inv(sigma[np.ix_(o, o)])
    values[m] = mu[m] + link @ (values[o] - mu[o])
    left = sigma[np.ix_(m, m)] - link @ sigma[np.ix_(o, m)]
    b = np.array([term["coefficient"] for term in formula["terms"]])
    slope = b[: len(x)].copy()
    if formula["knots"] is not None:
        d = [term["name"] for term in formula["terms"]].index("depth")
        t1, t2, t3 = formula["knots"]

        def curve(v: float) -> float:
            cubes = [max(v - t, 0.0) ** 3 for t in (t1, t2, t3)]
            bent = cubes[0] - cubes[1] * (t3 - t1) / (t3 - t2) + cubes[2] * (t2 - t1) / (t3 - t2)
            return float(bent / (t3 - t1) ** 2 / formula["curve_sd"])

        step = 1e-6
        slope[d] += b[-1] * (curve(values[d] + step) - curve(values[d] - step)) / (2 * step)
        values = np.append(values, curve(values[d]))
    z = values - np.array([term["centre"] for term in formula["terms"]])
    eta = formula["intercept"] + b @ z
    v_m = slope[m] @ left @ slope[m]
    a = np.append(1.0, z)
    half = 1.959963984540054 * math.sqrt(a @ np.array(formula["covariance"]) @ a + v_m + formula["form_sd"] ** 2)

    def chance(v: float) -> float:
        return 1 / (1 + math.exp(-v))

    return chance(eta / math.sqrt(1 + math.pi * v_m / 8)), chance(eta - half), chance(eta + half)


@pytest.mark.parametrize("answers", DEMANDING)
def test_a_booking_forecast_is_what_a_statistician_gets_from_the_card(answers: dict[str, object]) -> None:
    row = usual_eye(**answers)
    card = booking().card
    assert card.spec.curved
    numbers = card.forecaster.working.work(card.forecaster.working.columns(row))
    expected = by_hand(fresh_json(booking()), answers_by_hand(row))
    assert (numbers.risk, numbers.low, numbers.high) == pytest.approx(expected, abs=1e-9)
    forecast = card.forecast([row])[0]
    if forecast.status == "forecast":
        assert (forecast.risk, forecast.low, forecast.high) == pytest.approx(expected, abs=1e-9)


def test_an_end_of_case_forecast_is_what_a_statistician_gets_from_the_card() -> None:
    theatre = {
        "phaco_machine_id": "M2", "us_motion": "longitudinal", "effective_phaco_time_s": 7.5,
        "irrigation_volume_ml": 85.0, "case_minutes": 14.0, "working_plane": "mixed", "pcr": "none",
        "technique": "divide_conquer", "surgeon_grade": "trainee", "ovd_strategy": "dispersive",
    }  # fmt: skip
    row = usual_eye(**theatre)
    card = fresh_json(end_of_case())
    stick = next(s for s in card["formula"]["energy"]["yardsticks"] if s["machine"] == "M2")
    x = [
        *answers_by_hand(row), 0.55 * (math.log(8.5) - stick["median"]) / stick["spread"], math.log(85), math.log(14),
        1.0, 0.0, 0.0, 1.0, 1.0, 0.0,
    ]  # fmt: skip
    forecast = end_of_case().card.forecast([row])[0]
    assert forecast.status == "forecast"
    assert (forecast.risk, forecast.low, forecast.high) == pytest.approx(by_hand(card, x), abs=1e-9)


def worked_example() -> Formula:
    """Worked example of the methods' reference: hardness, depth, count, thickness, all standardised, no allowance."""
    terms = (
        Term("hardness", "nucleus_hardness", TermKind.LINEAR),
        Term("depth", "acd_mm", TermKind.DEPTH),
        Term("cell_count", "ecd_per_mm2", TermKind.LINEAR),
        Term("thickness", "cct_um", TermKind.LINEAR),
    )
    covariance = np.diag([0.010, 0.012, 0.012, 0.020, 0.014])
    covariance[0, 1] = covariance[1, 0] = -0.002
    covariance[3, 4] = covariance[4, 3] = 0.004
    correlation = np.array([[1, -0.2, -0.15, 0.05], [-0.2, 1, 0.1, 0], [-0.15, 0.1, 1, -0.3], [0.05, 0, -0.3, 1]])
    return Formula(
        spec=Spec("booking", terms), intercept=-2.40, centre=np.zeros(4),
        coefficients=np.array([0.50, -0.30, -0.45, 0.15]), covariance=covariance, form_sd=0.0, mean=np.zeros(4),
        field_covariance=correlation, knots=None, curve_sd=1.0, energy=None, lowest=np.full(4, -9.0),
        highest=np.full(4, 9.0), edge=50.0, beyond=60.0,
    )  # fmt: skip


def test_the_worked_example_of_a_missing_test() -> None:
    working = Working(worked_example())
    numbers = working.work(np.array([1.2, -1.1, math.nan, math.nan]))
    assert numbers.away[2:] == pytest.approx([-0.24271, 0.05104], abs=1e-5)
    assert numbers.left == pytest.approx(np.array([[0.97240, -0.29323], [-0.29323, 0.99740]]), abs=1e-5)
    assert numbers.eta == pytest.approx(-1.353125, abs=1e-6)
    assert numbers.risk == pytest.approx(0.215994, abs=1e-6)
    assert (numbers.sampling_variance, numbers.missing_variance) == pytest.approx((0.038116, 0.258938), abs=1e-6)
    assert (numbers.low, numbers.high) == pytest.approx((0.0816, 0.4293), abs=5e-5)
    assert working.gain(numbers, (2,)) == pytest.approx(0.23849, abs=1e-5)
    assert working.gain(numbers, (3,)) == pytest.approx(0.07948, abs=1e-5)
    assert working.gain(numbers, (2, 3)) == pytest.approx(numbers.missing_variance, abs=1e-12)
    assert working.gain(numbers, (0,)) == 0.0


def test_the_worked_example_names_the_count_first() -> None:
    row: dict[str, object] = {"nucleus_hardness": 1.2, "acd_mm": -1.1}
    found = Forecaster(worked_example()).forecast(row)
    assert found.missing == ("ecd_per_mm2", "cct_um")
    narrowing = found.would_narrow_most
    assert narrowing is not None
    assert narrowing.field == "ecd_per_mm2"
    assert narrowing.share == pytest.approx(0.921, abs=5e-4)
    assert (narrowing.low_if, narrowing.high_if) == pytest.approx((0.1214, 0.3258), abs=5e-5)
    assert "between 12 and 33 in 100" in narrowing.sentence


@pytest.mark.parametrize("answers", DEMANDING)
def test_measuring_a_blank_at_its_expected_value_leaves_the_log_odds(answers: dict[str, object]) -> None:
    card = booking().card
    working = card.forecaster.working
    numbers = working.work(working.columns(usual_eye(**answers)))
    q = len(card.spec.base)
    filled = (numbers.away + card.formula.centre)[:q]
    again = working.work(filled)
    assert again.eta == pytest.approx(numbers.eta, abs=1e-9)
    assert again.missing_variance == 0.0


def test_gains_lie_between_nothing_and_what_the_blanks_leave() -> None:
    card = booking().card
    working = card.forecaster.working
    for row in eyes()[:200]:
        numbers = working.work(working.columns(row))
        gains = [working.gain(numbers, (j,)) for j in numbers.open.tolist()]
        assert all(0.0 <= gain <= numbers.missing_variance for gain in gains)
        assert (numbers.missing_variance > 0.0) == bool(numbers.open.size)


def test_filling_agrees_with_the_missing_value_module() -> None:
    card = end_of_case().card
    normal = Normal(card.formula.mean, card.formula.field_covariance)
    working = card.forecaster.working
    columns = np.array([working.columns(row) for row in eyes()[:60]])
    filled = normal.fill(columns)
    for i, row in enumerate(columns):
        numbers = working.work(row)
        mine = (numbers.away + card.formula.centre)[: columns.shape[1]]
        assert mine == pytest.approx(filled.values[i], abs=1e-9)
        if numbers.open.size:
            assert numbers.left == pytest.approx(filled.spread[i][np.ix_(numbers.open, numbers.open)], abs=1e-9)


def test_the_curve_is_the_spline_and_its_slope() -> None:
    knots = (2.5, 3.1, 3.7)
    for x in (2.4, 2.8, 3.1, 3.4, 4.0):
        value, slope = curve_at(x, knots)
        assert value == pytest.approx(restricted_cubic([x], knots)[0, 1], abs=1e-12)
        step = 1e-6
        assert slope == pytest.approx((curve_at(x + step, knots)[0] - curve_at(x - step, knots)[0]) / 2e-6, abs=1e-6)


def test_a_blank_in_a_strong_field_widens_the_range() -> None:
    whole, blank = booking().card.forecast([usual_eye(), usual_eye(acd_mm=None)])

    def width(forecast: Forecast) -> float:
        assert forecast.low is not None
        assert forecast.high is not None
        return math.log(forecast.high / (1 - forecast.high)) - math.log(forecast.low / (1 - forecast.low))

    assert width(blank) > width(whole) + 0.05


@pytest.mark.parametrize(
    ("answers", "reason"),
    [
        ({"prior_keratoplasty": "DMEK"}, "a graft in this eye (DMEK)"),
        ({"age_years": 17.0}, "a patient under 18"),
        ({"planned_combined": "stent_filter"}, "combined surgery planned (stent or filter)"),
        ({"guttae_grade": 6}, "guttae over 5 mm with a swollen cornea"),
        ({"consent_audit_model": "no"}, "no consent to audit and model"),
        ({"acd_mm": 5.5}, "Chamber depth 5.50 mm lies outside our records ("),
    ],
)
def test_an_eye_unlike_ours_gets_a_reason_and_no_number(answers: dict[str, object], reason: str) -> None:
    found = booking().card.forecast([usual_eye(**answers)])[0]
    assert found.status == "refused_unlike_ours"
    assert reason in found.note
    written = found.as_dict()
    assert written["risk"] is written["low"] is written["high"] is written["would_narrow_most"] is None
    assert written["reasons"] == written["edge"] == []
    assert found.words(100) == found.note


def test_a_second_operation_is_refused_only_when_said() -> None:
    card = booking().card
    found = card.forecast([usual_eye(), {**usual_eye(), "operated_before": True}])
    assert [one.status for one in found] == ["forecast", "refused_unlike_ours"]
    assert "second operation" in found[1].note
    assert card.forecast([found[1].inputs])[0].status == "refused_unlike_ours"


def test_an_answer_never_seen_in_training_is_outside() -> None:
    formula = worked_example()
    row: dict[str, object] = {"nucleus_hardness": 9.5, "acd_mm": 0.0, "ecd_per_mm2": 0.0, "cct_um": 0.0}
    assert "lies outside our records (-9 to 9)" in Forecaster(formula).forecast(row).note


def test_answers_never_among_ours_are_named_as_people_know_them() -> None:
    formula = end_of_case().card.formula
    lowest, highest = formula.lowest.copy(), formula.highest.copy()
    place = {term.name: j for j, term in enumerate(formula.spec.base)}
    highest[place["capsule_rupture"]] = 0.0
    lowest[place["fluid"]] = math.log(50)
    highest[place["energy"]] = 0.5
    coefficients = formula.coefficients.copy()
    coefficients[place["fluid"]] = 0.3
    forecaster = Forecaster(replace(formula, lowest=lowest, highest=highest, coefficients=coefficients))
    row = usual_eye(phaco_machine_id="M1", us_motion="longitudinal", effective_phaco_time_s=5.0)
    assert "Capsule: Rupture was never among our eyes." in forecaster.forecast({**row, "pcr": "PCR"}).note
    little = forecaster.forecast({**row, "irrigation_volume_ml": 40})
    assert "Fluid 40 mL lies outside our records (50 to " in little.note
    far = forecaster.forecast({**row, "effective_phaco_time_s": 60.0})
    assert "Energy reading, for this machine, lies outside our records." in far.note
    whole = {**row, **USUAL_THEATRE, "effective_phaco_time_s": 15.0}
    reasons = end_of_case().card.forecast([whole])[0].reasons
    assert "Energy reading, for this machine" in [reason.label for reason in reasons]


def test_a_new_machine_gets_no_end_of_case_number() -> None:
    found = end_of_case().card.forecast([usual_eye(phaco_machine_id="M9", effective_phaco_time_s=6.0)])[0]
    assert found.status == "refused_unlike_ours"
    assert "Machine M9 is new to the model; the booking forecast stays." in found.note


def test_what_is_missing_is_said() -> None:
    found = booking().card.forecast([usual_eye(ecd_per_mm2=None, acd_mm=None)])[0]
    assert found.missing == ("acd_mm", "ecd_per_mm2")
    assert found.note.startswith("Missing: chamber depth and cell count.")
    assert found.would_narrow_most is not None
    assert found.as_dict()["would_narrow_most"] == found.would_narrow_most.field == "acd_mm"
    assert found.would_narrow_most.gain >= 0.02


def test_a_test_that_is_not_possible_is_not_asked_for() -> None:
    row = usual_eye(acd_mm=None, acd_mm_missing="not_possible")
    found = booking().card.forecast([row])[0]
    assert found.missing == ("acd_mm",)
    assert found.would_narrow_most is None
    assert found.inputs["acd_mm_missing"] == "not_possible"


def test_a_depth_from_the_back_asks_for_the_thickness() -> None:
    found = booking().card.forecast([usual_eye(acd_mm=2.5, acd_definition="endothelium", cct_um=None)])[0]
    assert found.missing == ("cct_um",)
    assert found.would_narrow_most is not None
    assert found.would_narrow_most.field == "cct_um"


def test_an_odd_combination_is_at_the_edge_or_beyond() -> None:
    rows = list(eyes())
    found = booking().card.forecast(rows)
    shown = [one for one in found if one.status == "forecast"]
    edge = [one for one in shown if one.edge]
    assert 0.003 < len(edge) / len(rows) < 0.012
    assert "at the edge of our records" in edge[0].edge[0]
    far = [one for one in found if one.status == "refused_unlike_ours"]
    assert 1 <= len(far) <= 4
    assert all("not seen together in our records" in one.note for one in far)


def test_reasons_add_up_and_are_told_by_size() -> None:
    card = booking().card
    row = usual_eye(nucleus_hardness=4, guttae_grade=3, age_years=86.0, acd_mm=2.6, glaucoma="open_angle")
    numbers = card.forecaster.working.work(card.forecaster.working.columns(row))
    found = card.forecast([row])[0]
    sizes = [abs(reason.effect) for reason in found.reasons]
    assert sizes == sorted(sizes, reverse=True)
    assert len(found.reasons) == 4
    assert found.reasons[0].term == "guttae_3_up"
    assert found.reasons[0].label == "Guttae, centre 3 (joined 1-2 mm)"
    assert found.reasons[0].words == "goes with a lot more"
    assert found.reasons_words[0] == "Guttae, centre 3 (joined 1-2 mm) goes with a lot more"
    parts = card.formula.coefficients * numbers.away
    names = [term.field for term in card.spec.terms]
    for reason in found.reasons:
        assert reason.effect == pytest.approx(
            sum(part for part, name in zip(parts, names, strict=True) if name == reason.field), abs=1e-12
        )


def test_smaller_reasons_are_counted() -> None:
    found = [one for one in booking().card.forecast(list(eyes()[:100])) if one.smaller == 1]
    assert found[0].reasons_words[-1] == "and 1 smaller one"
    none = [one for one in booking().card.forecast(list(eyes()[:100])) if one.reasons and not one.smaller]
    assert len(none[0].reasons_words) == len(none[0].reasons)
    more = [one for one in booking().card.forecast(list(eyes()[:100])) if one.smaller > 1]
    assert more[0].reasons_words[-1].endswith("smaller ones")


@pytest.mark.parametrize(
    ("effect", "words"),
    [
        (0.11, "goes with slightly more"), (0.3, "goes with a little more"), (0.7, "goes with more"),
        (1.2, "goes with a lot more"), (-0.3, "goes with a little fewer"), (-2.0, "goes with a lot fewer"),
    ],
)  # fmt: skip
def test_effects_in_words(effect: float, words: str) -> None:
    assert effect_words(effect) == words


@pytest.mark.parametrize(
    ("risk", "low", "high", "cloudy", "sentence"),
    [
        (0.12, 0.06, 0.21, 80, "About 12 in 100 eyes like this, treated as we usually treat them, had a cloudy centre "
         "on day one. Most likely between 6 and 21."),
        (0.12, 0.08, 0.41, 80, "Between 8 and 41 in 100 eyes like this, treated as we usually treat them, had a cloudy "
         "centre on day one; our records cannot say more closely."),
        (0.12, 0.08, 0.18, 29, "Between 8 and 18 in 100 eyes like this, treated as we usually treat them, had a cloudy "
         "centre on day one; our records cannot say more closely."),
        (0.004, 0.002, 0.006, 80, "Fewer than 1 in 100 eyes like this, treated as we usually treat them, had a cloudy "
         "centre on day one. Most likely between fewer than 1 and 1."),
        (0.70, 0.62, 0.78, 300, "More than 60 in 100 eyes like this, treated as we usually treat them, had a cloudy "
         "centre on day one. Most likely between 62 and 78."),
    ],
)  # fmt: skip
def test_the_sentence(risk: float, low: float, high: float, cloudy: int, sentence: str) -> None:
    assert chance_sentence(risk, low, high, cloudy) == sentence


def test_a_forecast_says_its_sentence() -> None:
    found = booking().card.forecast([usual_eye()])[0]
    assert found.risk is not None
    assert found.words(booking().card.cloudy).startswith(f"About {round(100 * found.risk)} in 100 eyes like this")
    assert found.words(20).startswith("Between ")


def test_answers_in_words() -> None:
    assert value_words("hypertension", True) == "yes"
    assert value_words("hypertension", False) == "no"
    assert value_words("acd_mm", 2.4) == "2.40 mm"
    assert value_words("cct_um", 545.0) == "545 µm"
    assert value_words("guttae_grade", 2) == "2 (more than 12)"
    assert value_words("nuclear_opalescence_no", 3.25) == "3.2"
    assert value_words("preop_va_raw", "6/12") == "6/12"


def test_an_impossible_number_is_never_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    forecaster = Forecaster(worked_example())
    numbers = forecaster.working.work(np.zeros(4))
    monkeypatch.setattr(forecaster.working, "eye", lambda values: replace(numbers, risk=math.nan))
    with pytest.raises(ModelError, match="came out impossible"):
        forecaster.forecast({"nucleus_hardness": 0.0, "acd_mm": 0.0, "ecd_per_mm2": 0.0, "cct_um": 0.0})


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"centre": np.array([0, 0, 0, math.nan])}, "not a finite number"),
        ({"field_covariance": np.ones((4, 4))}, "not positive"),
        ({"intercept": math.inf}, "not possible"),
        ({"coefficients": np.zeros(5)}, "shape"),
    ],
)
def test_a_formula_with_impossible_numbers_is_refused(change: dict[str, Any], why: str) -> None:
    with pytest.raises(ModelError, match=why):
        replace(worked_example(), **change)


def test_a_field_that_never_changes_is_known_exactly() -> None:
    covariance = np.diag([1.0, 1.0, 1.0, 0.0])
    numbers = Working(replace(worked_example(), field_covariance=covariance)).work(np.array([0, 0, 0, math.nan]))
    assert numbers.missing_variance == 0.0
    assert numbers.away[3] == 0.0


def test_the_shown_range_is_never_narrower_than_a_point_each_side() -> None:
    assert shown_range(0.12, 0.119, 0.121) == (11, 13)
    assert shown_range(0.001, 0.0005, 0.002) == (0, 1)
    assert shown_range(0.999, 0.998, 0.9995) == (99, 100)


def test_the_same_inputs_give_the_same_forecast() -> None:
    for card in (booking().card, end_of_case().card):
        for found in card.forecast(list(eyes()[:50])):
            again = card.forecast([found.inputs])[0]
            assert (again.status, again.risk, again.low, again.high) == (
                found.status, found.risk, found.low, found.high,
            )  # fmt: skip
            assert "edema_grade_central" not in found.inputs
            assert "patient_id" not in found.inputs


def test_the_json_form_has_the_agreed_keys() -> None:
    written = booking().card.forecast([usual_eye()])[0].as_dict()
    assert {
        "patient_id", "eye", "surgery_date", "risk", "low", "high", "status", "missing", "would_narrow_most", "reasons",
        "note",
    } <= set(written)  # fmt: skip
    assert written["surgery_date"] == "2026-11-19"
    assert set(written["reasons"][0]) >= {"term", "effect"}  # type: ignore[index]


def test_answers_that_are_no_answers_are_a_fault() -> None:
    with pytest.raises(ModelError, match="not in its list"):
        booking().card.forecast([usual_eye(diabetes="sometimes")])


def test_forecasting_needs_neither_scipy_nor_scikit_learn() -> None:
    heavy = "[name for name in ('scipy', 'sklearn', 'joblib') if name in sys.modules]"
    code = f"import sys, models.card, models.forecast; print({heavy})"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_large_difference_downwards_is_told_before_a_small_one_upwards() -> None:
    mixed = 0
    for found in booking().card.forecast(list(eyes()[:150])):
        effects = [reason.effect for reason in found.reasons]
        assert effects == sorted(effects, key=lambda effect: -abs(effect))
        mixed += effects != sorted(effects, reverse=True)
    assert mixed > 20
