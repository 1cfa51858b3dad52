"""Training: who may train, what comes out, that everything is redone in the resamples, and invariances."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pytest
from scipy.special import expit, logit
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import log_loss
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler

from models import optimism
from models.blanks import Blanks
from models.dataset import build
from models.errors import ModelError
from models.fit import fit_logistic, range_covariance
from models.judging import performance
from models.missing import Normal, learn_normal
from models.optimism import Study, correct_optimism, figures
from models.path import Folds
from models.penalty import PENALTIES, fit_own, folds_of, usable_columns
from models.prior import Prior
from models.prior_table import read_prior_table
from models.progress import Cancelled
from models.recipe import EnergyColumn, one_pass, published_prior
from models.resampling import counted_draws
from models.spec import Spec, Term, TermKind, default_spec
from models.training import Training, halving_weights, tier_of, train
from tests.models.invented_practice import Row, practice
from tests.models.trained import booking, end_of_case, eyes, fresh_json

SMALL = 650


def trained(rows: list[Row], **settings: Any) -> Training:
    return train(rows, **{"model": "booking", "resamples": 2, **settings})


def few_cloudy(cloudy: int) -> list[Row]:
    """A practice of 400 eyes with that many cloudy ones."""
    rows = practice(400)
    for number, row in enumerate(rows):
        row["edema_grade_central"] = 2 if number < cloudy else 0
    return rows


def test_the_summary_has_the_agreed_keys() -> None:
    summary = booking().summary
    assert set(summary) == {
        "model", "n", "events", "patients", "excluded", "penalty", "terms", "apparent", "corrected", "adequacy",
        "prior", "own_records_only", "stability",
    }  # fmt: skip
    figures_ = {"c_statistic", "brier", "calibration_in_the_large", "calibration_slope"}
    assert set(summary["apparent"]) == set(summary["corrected"]) == figures_
    assert set(summary["own_records_only"]) == {"terms", "apparent", "corrected"}
    assert set(summary["prior"]) == {"version", "strength", "own_data_share"}
    assert {"name", "coefficient", "low", "high", "posterior_se"} == set(summary["terms"][0])
    assert summary["penalty"] in PENALTIES
    assert summary["n"] == len(eyes())


def test_the_fit_is_the_published_prior_fit_on_filled_centred_columns() -> None:
    """From the parts up: EM, spline, prior of the table, weighted fit, range with doubled widths by patient."""
    card = booking().card
    data = build(eyes(), default_spec("booking"))
    normal = learn_normal(data.columns)
    filled = normal.fill(data.columns).values
    knots = np.quantile(filled[:, 5], [0.1, 0.5, 0.9])
    cubes = np.maximum(filled[:, 5][:, None] - knots, 0) ** 3
    t1, t2, t3 = knots
    curve = (cubes[:, 0] - cubes[:, 1] * (t3 - t1) / (t3 - t2) + cubes[:, 2] * (t2 - t1) / (t3 - t2)) / (t3 - t1) ** 2
    X = np.column_stack([filled, curve / curve.std()])
    X -= X.mean(axis=0)
    rows = read_prior_table().rows
    prior = Prior.published([rows[t.name].mean for t in card.spec.terms], [rows[t.name].sd for t in card.spec.terms])
    fit = fit_logistic(X, data.y, prior=prior)
    assert card.formula.intercept == pytest.approx(fit.intercept, abs=1e-8)
    assert card.formula.coefficients == pytest.approx(fit.coefficients, abs=1e-8)
    V = range_covariance(fit, X, data.y, prior=prior, clusters=data.patients)
    assert card.formula.covariance == pytest.approx(V, abs=1e-9)
    assert card.written["prior"]["own_data_share"] == pytest.approx(fit.own_data_share, abs=1e-8)
    assert float(expit(fit.intercept + X @ fit.coefficients).mean()) == pytest.approx(data.y.mean(), abs=1e-6)
    half = 1.959963984540054 * np.sqrt(np.diag(V)[1:])
    assert [t["low"] for t in booking().summary["terms"]] == pytest.approx(fit.coefficients - half, abs=1e-8)


def test_the_apparent_figures_are_those_of_the_cards_own_forecasts() -> None:
    card = booking().card
    working = card.forecaster.working
    rows = sorted(eyes(), key=lambda r: (r["surgery_date"], r["patient_id"], r["eye"]))
    risk = [working.work(working.columns(row)).risk for row in rows]
    y = [float(int(str(row["edema_grade_central"])) >= 2) for row in rows]
    expected = performance(risk, y)
    apparent = booking().summary["apparent"]
    for name in ("c_statistic", "brier", "calibration_in_the_large", "calibration_slope"):
        assert apparent[name] == pytest.approx(getattr(expected, name), abs=1e-8)


def test_too_few_eyes_are_refused_with_the_counts() -> None:
    with pytest.raises(ModelError) as caught:
        trained(few_cloudy(14))
    assert "400 graded eyes" in caught.value.why
    assert "14 of them cloudy" in caught.value.why
    assert "15 cloudy eyes" in caught.value.next
    assert tier_of(few_cloudy(14)).letter == "A"
    with pytest.raises(ModelError, match="too few eyes"):
        trained([])


def test_between_15_and_49_cloudy_eyes_there_is_a_booking_model_only() -> None:
    rows = few_cloudy(30)
    with pytest.raises(ModelError, match="end-of-case model needs 50"):
        trained(rows, model="end_of_case")
    done = trained(rows)
    assert done.summary["adequacy"]["tier"] == "B"
    assert done.summary["adequacy"]["mostly_published"]
    assert "own-data share" in done.summary["adequacy"]["words"]
    assert "Mostly published evidence." in done.card.summary_lines()


def test_the_curve_comes_with_100_cloudy_eyes() -> None:
    assert booking().summary["events"] >= 100
    assert booking().card.spec.curved
    small = trained(practice(SMALL))
    assert small.summary["events"] < 100
    assert not small.card.spec.curved
    assert not trained(practice(SMALL), spec=booking().card.spec).card.spec.curved


def test_the_same_seed_gives_the_same_card_to_the_byte() -> None:
    rows = practice(SMALL)
    first, again = trained(rows, seed=7), trained(rows, seed=7)
    assert first.card.to_text() == again.card.to_text()
    assert trained(rows, seed=8).summary["corrected"] != first.summary["corrected"]


def test_order_of_rows_and_names_of_patients_change_nothing() -> None:
    rows = practice(SMALL)
    plain = trained(rows).card
    order = np.random.default_rng(1).permutation(len(rows))
    names = {row["patient_id"]: f"Z{k}" for k, row in enumerate(reversed(rows))}
    moved = trained([{**rows[i], "patient_id": names[rows[i]["patient_id"]]} for i in order.tolist()]).card
    for before, after in zip(plain.forecast(rows), moved.forecast(rows), strict=True):
        assert before.status == after.status
        if before.risk is not None:
            assert (after.risk, after.low, after.high) == pytest.approx(
                (before.risk, before.low, before.high), abs=1e-9
            )


def test_a_rare_or_constant_column_of_the_prior_table_is_carried_by_the_prior() -> None:
    rows = practice(SMALL)
    for row in rows:
        row["pseudoexfoliation"] = "no"
    done = trained(rows)
    term = next(t for t in fresh_json(done)["formula"]["terms"] if t["name"] == "pseudoexfoliation")
    # The strength term moves all published effects together, so a constant column follows its mean, scaled.
    assert term["coefficient"] == pytest.approx(0.2, abs=0.12)
    assert "pseudoexfoliation" not in [t["name"] for t in done.summary["own_records_only"]["terms"]]


def test_a_mostly_blank_column_is_left_out_and_said() -> None:
    rows = practice(SMALL)
    for number, row in enumerate(rows):
        if number % 4:
            row.pop("ecd_per_mm2", None)
    done = trained(rows)
    assert "cell_count" not in [term.name for term in done.card.spec.terms]
    assert "blank in" in done.card.training["terms_left_out"]["cell_count"]
    assert "term cell_count: blank in" in done.card.as_page()
    for row in rows:
        for name in ("effective_phaco_time_s", "phaco_machine_id"):
            row.pop(name, None)
    without = trained(rows, model="end_of_case").card
    assert without.formula.energy is None
    for row in rows:
        for term in default_spec("booking").terms:
            row.pop(term.field, None)
    with pytest.raises(ModelError, match="blank in most eyes"):
        trained(rows)


def test_fields_never_seen_together_fall_back_to_means_and_the_card_says_so() -> None:
    rows = practice(SMALL)
    for number, row in enumerate(rows):
        row.pop("ecd_per_mm2" if number % 2 else "cct_um", None)
    done = trained(rows)
    assert fresh_json(done)["formula"]["blanks"]["linked"] is False
    assert (
        np.count_nonzero(done.card.formula.field_covariance - np.diag(np.diag(done.card.formula.field_covariance))) == 0
    )
    found = [one for one in done.card.forecast(rows) if one.status == "forecast"]
    assert len(found) > 600


def test_a_coefficient_far_from_everything_published_stops_the_training() -> None:
    rows = practice(1200)
    for row in rows:
        cloudy = row["edema_grade_central"] in (2, 3, 4)
        row["cct_um"] = 700.0 if cloudy else 500.0 + float(str(row["age_years"]))
    with pytest.raises(ModelError, match="far from everything published: Thickness") as caught:
        trained(rows)
    assert "fault" in caught.value.next


def test_until_and_the_training_period() -> None:
    rows = practice(1250)
    done = trained(rows, until=date(2024, 6, 30))
    assert done.card.training["last"] <= "2024-06-30"
    assert done.card.training["until"] == "2024-06-30"
    assert done.summary["n"] == sum(row["surgery_date"] <= date(2024, 6, 30) for row in rows)


def test_exclusions_are_counted_in_the_summary() -> None:
    rows = practice(SMALL)
    rows[0]["prior_keratoplasty"] = "PK"
    rows[1]["guttae_grade"] = 6
    rows[2]["edema_grade_central"] = None
    done = trained(rows)
    assert done.summary["excluded"] == {"graft_eye": 1, "guttae_6": 1, "no_graded_visit": 1}
    assert "a graft in this eye: 1" in done.card.as_page()


def test_halving_weights_and_the_moved_average() -> None:
    quarters = np.array([8000, 8004, 8008])
    assert halving_weights(quarters).tolist() == [0.25, 0.5, 1.0]
    rows = practice(1600)
    done = trained(rows, weights="halving")
    written = fresh_json(done)
    data = build(rows, default_spec("booking"))
    weights = halving_weights(data.quarters)
    assert written["weights"]["rule"] == "halving"
    assert written["weights"]["effective_n"] == pytest.approx(weights.sum() ** 2 / (weights**2).sum())
    late = data.quarters > data.quarters.max() - 4
    assert data.y[late].sum() >= 50
    # The shift by hand: intercept of the outcome on the unshifted chances, shrunken by 0.09 / (0.09 + se^2).
    working = done.card.forecaster.working
    eta = np.array([working.work(row).eta for row in data.columns])
    v = np.array([working.work(row).missing_variance for row in data.columns])
    unshifted = logit(expit((eta - written["weights"]["intercept_shift"]) / np.sqrt(1 + np.pi * v / 8)))
    fit = fit_logistic(np.empty((late.sum(), 0)), data.y[late], offset=unshifted[late], clusters=data.patients[late])
    assert fit.robust_standard_errors is not None
    se = fit.robust_standard_errors[0]
    assert written["weights"]["intercept_shift"] == pytest.approx(fit.intercept * 0.09 / (0.09 + se**2), abs=1e-6)
    assert "An eye's weight halves every four quarters." in done.card.summary_lines()


def test_the_optimism_is_honest_about_direction() -> None:
    done = trained(practice(SMALL), resamples=30)
    apparent, corrected = done.summary["apparent"], done.summary["corrected"]
    assert corrected["c_statistic"] < apparent["c_statistic"]
    assert corrected["brier"] > apparent["brier"]
    assert corrected["calibration_slope"] < apparent["calibration_slope"]
    own = done.summary["own_records_only"]
    assert own["apparent"]["c_statistic"] - own["corrected"]["c_statistic"] > (
        apparent["c_statistic"] - corrected["c_statistic"]
    )
    assert done.card.judgement["resamples"] == 30


def test_without_resamples_nothing_is_corrected_away() -> None:
    done = trained(practice(SMALL), resamples=0)
    assert set(done.summary["corrected"].values()) == {None}
    assert "not estimable" in done.card.as_page()


def test_stopping_and_progress() -> None:
    told: list[float] = []

    def stop(fraction: float, sentence: str) -> None:
        told.append(fraction)
        if "resamples" in sentence:
            raise Cancelled

    with pytest.raises(Cancelled):
        trained(practice(SMALL), report=stop)
    assert told == sorted(told)
    told.clear()
    trained(practice(SMALL), report=lambda fraction, sentence: told.append(fraction))
    assert (told[0], told[-1]) == (0.0, 1.0)
    assert told == sorted(told)


def test_another_plan_may_be_trained_with_a_field_the_table_does_not_name() -> None:
    rows = practice(SMALL)
    rng = np.random.default_rng(3)
    for row in rows:
        row["preop_iop_mmhg"] = float(round(rng.normal(15, 3)))
        row["hypertension"] = bool(rng.random() < 0.5)
    base = default_spec("booking")
    extra = (
        Term("pressure", "preop_iop_mmhg", TermKind.LINEAR, 1.0, "Eye pressure, per mmHg"),
        Term("high_pressure", "hypertension", TermKind.LINEAR, 1.0, "High blood pressure"),
    )
    spec = Spec("booking", (*base.terms, *extra), prior=base.prior)
    written = fresh_json(trained(rows, spec=spec))
    terms = {term["name"]: term for term in written["formula"]["terms"]}
    sd = np.std([row["preop_iop_mmhg"] for row in rows])
    assert terms["pressure"]["prior_sd"] == pytest.approx(0.175 / sd, rel=1e-9)
    assert terms["pressure"]["prior_mean"] == 0.0
    assert terms["pressure"]["own_choice"]
    with pytest.raises(ModelError, match="another kind of model"):
        trained(rows, model="end_of_case", spec=spec)


def test_a_yes_no_field_outside_the_table_has_its_own_width() -> None:
    spec = Spec("booking", (Term("high", "hypertension", TermKind.LINEAR), *default_spec("booking").terms[:2]))
    prior = published_prior(spec, read_prior_table(), np.array([0.0, 1.0, 1.0]))
    assert prior.sd is not None
    assert prior.sd[0] == 0.25


def test_relearning_in_a_resample_is_the_em_of_those_eyes() -> None:
    data = build(practice(500), default_spec("end_of_case"))
    blanks = Blanks(data.columns)
    counts = np.bincount(np.random.default_rng(2).integers(0, data.n, data.n), minlength=data.n)
    start = learn_normal(data.columns)
    quick = blanks.relearn(data.columns, counts.astype(float), start, tolerance=1e-9)
    slow = learn_normal(np.repeat(data.columns, counts, axis=0), tolerance=1e-9, rounds=5000)
    scale = np.sqrt(np.diag(slow.covariance))
    assert (quick.mean - slow.mean) / scale == pytest.approx(np.zeros(21), abs=1e-6)
    assert (quick.covariance - slow.covariance) / np.outer(scale, scale) == pytest.approx(np.zeros((21, 21)), abs=1e-6)
    usual = blanks.relearn(data.columns, counts.astype(float), start)
    assert np.abs((usual.mean - slow.mean) / scale).max() < 0.01


def test_one_pass_under_counts_is_the_pass_over_repeated_eyes() -> None:
    spec = default_spec("booking", curve=True)
    rows = practice(400)
    data = build(rows, spec)
    counts = np.bincount(np.random.default_rng(4).integers(0, data.n, data.n), minlength=data.n)
    normal = learn_normal(data.columns, weights=counts.astype(float))
    papers = read_prior_table()
    light = one_pass(
        spec, data, Blanks(data.columns), data.columns, normal, papers, weights=counts.astype(float), counts=counts
    )
    table = np.repeat(data.columns, counts, axis=0)
    heavy_data = type(data)(
        **{**{f: getattr(data, f) for f in data.__dataclass_fields__}, "y": np.repeat(data.y, counts), "columns": table}
    )
    heavy = one_pass(spec, heavy_data, Blanks(table), table, normal, papers, weights=np.ones(table.shape[0]))
    assert light.fit.coefficients == pytest.approx(heavy.fit.coefficients, abs=1e-8)
    assert light.knots == pytest.approx(heavy.knots, abs=1e-12)
    assert np.repeat(light.risk, counts) == pytest.approx(heavy.risk, abs=1e-8)


def test_energy_is_scored_anew_on_the_eyes_drawn() -> None:
    spec = default_spec("end_of_case")
    data = build(practice(400), spec)
    column = EnergyColumn(spec, data)
    assert spec.energy is not None
    ones = np.ones(data.n, dtype=np.int64)
    assert np.nan_to_num(column.rescored(data.columns, ones)) == pytest.approx(np.nan_to_num(data.columns), abs=1e-12)
    drawn = np.bincount(np.random.default_rng(0).integers(0, data.n, data.n), minlength=data.n)
    scored = column.rescored(data.columns, drawn)[:, spec.energy]
    mine = [i for i, r in enumerate(data.readings) if r and r[0][0][0] == "M1"]
    assert np.median(np.repeat(scored[mine], drawn[mine])) == pytest.approx(0.0, abs=1e-12)
    nobody = np.zeros(data.n, dtype=np.int64)
    twice = nobody.copy()
    twice[mine[0]] = 3
    assert np.nan_to_num(column.rescored(data.columns, twice)) == pytest.approx(np.nan_to_num(data.columns), abs=1e-12)
    assert np.nan_to_num(column.rescored(data.columns, nobody)) == pytest.approx(np.nan_to_num(data.columns), abs=1e-12)


def study_of(rows: list[Row], spec: Spec, *, own: bool) -> Study:
    data = build(rows, spec)
    blanks, weights = Blanks(data.columns), np.ones(data.n)
    full = one_pass(
        spec, data, blanks, data.columns, learn_normal(data.columns), read_prior_table(), weights=weights
    )  # fmt: skip
    fitted = fit_own(full.filled.values, data.y, weights, data.patients, (0,), seed=1) if own else None
    return Study(spec, data, blanks, read_prior_table(), weights, full, True, fitted, 1)


def test_a_resample_without_a_cloudy_eye_is_drawn_anew() -> None:
    rows = practice(120)
    for number, row in enumerate(rows):
        row["edema_grade_central"] = 3 if number == 60 else 0
    found = correct_optimism(study_of(rows, default_spec("booking"), own=False), 20)
    # One cloudy eye: about 1 draw in e holds none of it.
    assert (found.resamples, found.failed) == (20, 0)
    assert found.own_apparent is None


def test_a_resample_may_leave_own_records_without_a_column() -> None:
    rows = practice(300)
    for number, row in enumerate(rows):
        row["diabetes"] = "type2" if number % 30 == 0 else "none"
    plan = Spec("booking", (Term("diabetes", "diabetes", TermKind.CODED),))
    found = correct_optimism(study_of(rows, plan, own=True), 12)
    assert found.own_corrected is not None
    assert found.resamples == 12


def test_resamples_without_a_fit_are_left_out_and_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    study = study_of(practice(200), default_spec("booking"), own=True)
    usual = correct_optimism(study, 5)
    work = {"_redo": optimism._redo, "fit_own": optimism.fit_own}

    def kept(name: str, places: set[int]) -> tuple[dict[str, float], dict[str, float]]:
        """Mean optimism of both models when only the resamples at these places have this fit."""
        asked = iter(range(5))

        def some(*given: Any, **more: Any) -> Any:
            if next(asked) not in places:
                raise ModelError("The model cannot be fitted.", "It was refused.", "Go on.")
            return work[name](*given, **more)

        monkeypatch.setattr(optimism, name, some)
        found = correct_optimism(study, 5)
        monkeypatch.setattr(optimism, name, work[name])
        assert found.failed == (5 - len(places) if name == "_redo" else 0)
        assert found.resamples == 5 - found.failed
        assert found.own_apparent is not None
        assert found.own_corrected is not None
        pairs = ((found.apparent, found.corrected), (found.own_apparent, found.own_corrected))
        ours, own = ({key: one[key] - two[key] for key in ("c_statistic", "brier")} for one, two in pairs)  # type: ignore[operator]
        return ours, own

    for name, which in (("_redo", 0), ("fit_own", 1)):
        alone = [kept(name, {place})[which] for place in range(5)]
        assert len({one["brier"] for one in alone}) == 5
        for key, mean in kept(name, {0, 2, 4})[which].items():
            assert mean == pytest.approx(np.mean([alone[k][key] for k in (0, 2, 4)]), abs=1e-12)
    # where the quick steps find nothing, the safe fit gives the same
    monkeypatch.setattr(optimism, "newton", lambda *_: None)
    again = correct_optimism(study, 5)
    assert list(again.corrected.values()) == pytest.approx(list(usual.corrected.values()), abs=1e-8)


def test_a_practice_without_a_column_for_own_records_still_gets_a_card() -> None:
    rows = practice(SMALL)
    for number, row in enumerate(rows):
        row["diabetes"] = "type2" if number % 90 == 0 else "none"
    done = trained(rows, spec=Spec("booking", (Term("diabetes", "diabetes", TermKind.CODED, 1.0, "Diabetes"),)))
    assert done.summary["own_records_only"] is None
    assert done.summary["penalty"] is None


def test_with_200_cloudy_eyes_the_model_is_the_practices_own() -> None:
    done = trained(practice(2600), resamples=0)
    assert done.summary["adequacy"]["tier"] == "D"
    assert not done.summary["adequacy"]["mostly_published"]
    assert "Mostly published evidence." not in done.card.summary_lines()


def test_a_machine_with_one_number_of_its_own_is_enough() -> None:
    rows = practice(SMALL)
    for row in rows:
        row["us_energy_value"] = 3.0 * float(str(row.pop("effective_phaco_time_s", 5.0)))
        row["us_energy_metric"] = "console_cumulative"
        row.pop("us_motion")
    done = trained(rows, model="end_of_case")
    sticks = fresh_json(done)["formula"]["energy"]["yardsticks"]
    assert {(stick["metric"], stick["motion"]) for stick in sticks} == {("console_cumulative", "")}
    assert fresh_json(done)["test_vectors"][0]["row"]["us_energy_metric"] == "console_cumulative"


def test_one_far_eye_does_not_upset_the_search_for_the_penalty() -> None:
    rng = np.random.default_rng(0)
    Z = 0.01 * rng.normal(size=(2000, 2))
    Z[0] = (400.0, 0.0)
    y = (rng.random(2000) < 0.02).astype(float)
    y[0] = 1.0
    patients = np.arange(2000)
    ours = fit_own(Z, y, np.ones(2000), patients, (0, 1), seed=1, exact=False)
    standard = (Z - Z.mean(axis=0)) / Z.std(axis=0)
    theirs = LogisticRegression(C=1 / ours.penalty, tol=1e-10, max_iter=10_000).fit(standard, y)
    assert ours.coefficients * Z.std(axis=0) == pytest.approx(theirs.coef_[0], rel=1e-4)


def test_an_impossible_covariance_is_refused() -> None:
    table = np.array([[1.0, np.nan], [2.0, 1.0]])
    with pytest.raises(ModelError, match="not positive"):
        Blanks(table).fill(table, Normal(np.zeros(2), np.array([[1.0, 2.0], [2.0, 1.0]])))


def test_quick_figures_are_those_of_the_judge() -> None:
    rng = np.random.default_rng(6)
    risk = rng.uniform(0.02, 0.4, 300)
    y = (rng.random(300) < risk * 1.2).astype(float)
    w = rng.integers(0, 4, 300).astype(float)
    quick, slow = figures(risk, y, w), performance(risk, y, weights=w)
    for name, value in quick.items():
        assert value == pytest.approx(getattr(slow, name), abs=1e-8)
    assert figures(risk, np.zeros(300), w)["c_statistic"] is None
    apart = figures(np.where(y == 1, 0.6, 0.1), y, np.ones(300))
    assert apart["calibration_slope"] is None
    assert figures(np.full(300, 0.1), y, np.ones(300))["calibration_slope"] is None


def test_the_own_records_model_is_scikit_learns_answer() -> None:
    data = build(practice(SMALL), default_spec("booking"))
    filled = learn_normal(data.columns).fill(data.columns).values
    used = usable_columns(data.columns, np.ones(data.n), np.isin(np.arange(12), (1, 3, 4, 8, 9, 10)))
    weights = np.ones(data.n)
    own = fit_own(filled, data.y, weights, data.patients, used, seed=3)
    chosen = filled[:, used]
    Z = (chosen - chosen.mean(axis=0)) / chosen.std(axis=0)
    folds = folds_of(data.patients, 3, 10, 5)
    losses = np.zeros(len(PENALTIES))
    for k, penalty in enumerate(PENALTIES):
        for fold in folds:
            for held in range(10):
                rest = fold != held
                model = make_pipeline(StandardScaler(), LogisticRegression(C=1 / penalty, tol=1e-10, max_iter=10_000))
                chance = model.fit(Z[rest], data.y[rest]).predict_proba(Z[~rest])
                losses[k] += log_loss(data.y[~rest], chance, normalize=False)
    ours = Folds(Z, data.y, weights, folds, PENALTIES[10]).held_out_losses(PENALTIES)
    assert ours == pytest.approx(losses, rel=1e-6)
    assert own.penalty == PENALTIES[int(np.argmin(losses))]
    final = LogisticRegression(C=1 / own.penalty, tol=1e-10, max_iter=10_000).fit(Z, data.y)
    assert own.coefficients * chosen.std(axis=0) == pytest.approx(final.coef_[0], abs=1e-9)
    quick = fit_own(filled, data.y, weights, data.patients, used, seed=3, exact=False)
    same = LogisticRegression(C=1 / quick.penalty, tol=1e-10, max_iter=10_000).fit(Z, data.y)
    assert quick.coefficients * chosen.std(axis=0) == pytest.approx(same.coef_[0], abs=1e-6)
    assert quick.intercept == pytest.approx(same.intercept_[0], abs=1e-6)


def test_both_eyes_of_a_patient_fall_into_one_fold() -> None:
    data = build(practice(SMALL), default_spec("booking"))
    (fold,) = folds_of(data.patients, 1, 5, 1)
    assert all(len(set(fold[data.patients == g].tolist())) == 1 for g in range(data.patient_count))
    assert folds_of(data.patients, 1, 5, 1)[0].tolist() == fold.tolist()
    assert np.bincount(fold).min() > 0


def test_columns_that_own_records_cannot_carry() -> None:
    n = 40
    table = np.full((n, 5), np.nan)
    table[:, 0] = np.arange(n)
    table[:, 1] = np.arange(n) < 9
    table[:, 2] = 1.0
    table[:11, 3] = np.arange(11)
    table[:, 4] = np.arange(n) < 10
    yes_no = np.array([False, True, False, False, True])
    assert usable_columns(table, np.ones(n), yes_no) == (0, 4)
    with pytest.raises(ModelError, match="carry no model"):
        fit_own(np.zeros((2, 1)), np.zeros(2), np.ones(2), np.zeros(2, dtype=np.int64), (), seed=1)


def test_the_end_of_case_model_has_its_own_fields_and_normal() -> None:
    card = end_of_case().card
    assert [term.name for term in card.spec.base][:12] == [term.name for term in default_spec("booking").terms]
    assert card.formula.mean.shape == (21,)
    assert card.formula.energy is not None
    assert card.formula.energy.machines == ("M1", "M2")


def test_each_figure_says_in_how_many_resamples_it_could_be_worked_out(monkeypatch: pytest.MonkeyPatch) -> None:
    for blanks in ("redone", "frozen"):
        scored = optimism.score_many

        def without_slope(*given: Any, **more: Any) -> Any:
            found = scored(*given, **more)  # noqa: B023 - called within the loop
            if len(found) == 2:
                found[0].calibration_slope[0] = np.nan
            return found

        monkeypatch.setattr(optimism, "score_many", without_slope)
        judgement = trained(practice(SMALL), resamples=3, blanks=blanks).card.judgement
        monkeypatch.setattr(optimism, "score_many", scored)
        counted = judgement["figure_resamples"]
        assert (counted["c_statistic"], counted["brier"], counted["calibration_in_the_large"]) == (3, 3, 3)
        assert counted["calibration_slope"] == 2
        assert (judgement["resamples"], judgement["failed_resamples"], judgement["redrawn_resamples"]) == (3, 0, 0)
        assert judgement["stability"]["resamples"] == 3
        assert 0 < judgement["stability"]["median"] < judgement["stability"]["p95"] < 0.5


def test_draws_of_one_kind_of_eyes_are_drawn_anew_and_counted() -> None:
    # one patient of twenty has the only cloudy eye: (19 / 20)^20 = 36 % of draws miss it
    y = np.zeros(20)
    y[3] = 1.0
    patients = np.arange(20)
    drawn, redrawn = counted_draws(slice(0, 2000), patients, y, 1)
    assert (drawn[3] > 0).all()
    share = redrawn / (redrawn + 2000)
    assert share == pytest.approx(0.95**20, abs=4 * np.sqrt(0.36 * 0.64 / (redrawn + 2000)))
    parts = [counted_draws(slice(k, k + 500), patients, y, 1)[1] for k in range(0, 2000, 500)]
    assert sum(parts) == redrawn
