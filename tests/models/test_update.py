"""The closed test, the shift of the average, and the verdict on a candidate."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest
from scipy.stats import chi2

from models import (
    ModelError,
    Verdict,
    closed_test,
    fit_logistic,
    forward_verdict,
    level_shift,
    log_loss,
)
from models.arrays import expit, logit
from tests.models.reference_data import Array, birthwt, cancer

TOLERANCE = 1e-4


def marker() -> tuple[Array, Array]:
    table = cancer()
    return table.cancerpredmarker.to_numpy(dtype=float), table.cancer.to_numpy(dtype=float)


@pytest.mark.parametrize(
    ("a", "b", "keep_or_move", "move_or_stretch"),
    [(0.4, 1.0, 10.9238, 0.0), (0.0, 1.5, 16.2320, 21.5531), (-0.3, 0.7, 1.0948, 11.4827)],
)
def test_likelihood_ratios_of_distorted_forecasts(
    a: float, b: float, keep_or_move: float, move_or_stretch: float
) -> None:
    # own run on the data of dcurves 1.1.7 with logit* = a + b logit
    risk, y = marker()
    found = closed_test(cancer()[["age", "marker"]], y, expit(a + b * logit(risk)))
    kept, moved, stretched, refitted = found.log_likelihoods
    assert kept is not None
    assert moved is not None
    assert stretched is not None
    assert refitted is not None
    assert 2 * (moved - kept) == pytest.approx(keep_or_move, abs=TOLERANCE)
    assert 2 * (stretched - moved) == pytest.approx(move_or_stretch, abs=TOLERANCE)
    assert found.spread == pytest.approx(1 / b, abs=TOLERANCE)


def test_the_ladder_on_birthwt() -> None:
    x, y = birthwt()
    own = fit_logistic(x, y)
    eta = own.linear_predictor(x)
    # 59 events carry p + 1 = 10 coefficients
    same = closed_test(x, y, own.predict(x))
    assert same.choice == "keep"
    assert same.words == "No sign of change."
    assert same.statistics == pytest.approx((0.0, 0.0, 0.0), abs=1e-6)
    higher = closed_test(x, y, expit(eta - 1.5))
    assert higher.choice == "intercept"
    assert higher.level_moved == pytest.approx(1.5, abs=1e-6)
    assert "+1.50" in higher.words
    flatter = closed_test(x, y, expit(3.0 * eta))
    assert flatter.choice == "intercept_and_slope"
    assert "0.33" in flatter.words
    wrong = closed_test(x, y, expit(-0.7 + 0.8 * (x[:, 0] - 23.0) / 5.3))
    assert wrong.choice == "refit"
    assert wrong.words == "The pattern changed."
    assert own.log_likelihood == pytest.approx(wrong.log_likelihoods[3], abs=1e-9)
    kept, moved, stretched, refitted = wrong.log_likelihoods
    for smaller, statistic, p, df in zip(
        (kept, moved, stretched), wrong.statistics, wrong.p_values, (10, 9, 8), strict=True
    ):
        assert smaller is not None
        assert refitted is not None
        assert statistic == pytest.approx(2 * (refitted - smaller), abs=1e-9)
        assert p == pytest.approx(chi2.sf(2 * (refitted - smaller), df), rel=1e-6)


def test_few_events_drop_the_refit() -> None:
    x, y = birthwt()
    eta = fit_logistic(x, y).linear_predictor(x)
    first = np.concatenate([np.flatnonzero(y == 1)[:40], np.flatnonzero(y == 0)])  # 40 events for 10 coefficients
    found = closed_test(x[first], y[first], expit(eta[first] - 2.0))
    assert found.log_likelihoods[3] is None
    assert found.statistics[2] is None
    assert found.p_values[2] is None
    kept, moved, stretched, _ = found.log_likelihoods
    assert kept is not None
    assert moved is not None
    assert stretched is not None
    assert found.statistics[:2] == pytest.approx((2 * (stretched - kept), 2 * (stretched - moved)), abs=1e-9)
    assert found.p_values[:2] == pytest.approx(
        (chi2.sf(2 * (stretched - kept), 2), chi2.sf(2 * (stretched - moved), 1)), rel=1e-6
    )
    assert found.choice == "intercept"
    assert closed_test(x[first], y[first], expit(4.0 * eta[first])).choice == "intercept_and_slope"


def test_a_refit_without_optimum_is_not_tried() -> None:
    x, y = birthwt()
    risk = fit_logistic(x, y).predict(x)
    apart = np.column_stack([x[:, :2], np.where((x[:, 6] == 1) & (y == 1), 1.0, 0.0)])
    assert closed_test(apart, y, risk).log_likelihoods[3] is None


def test_one_column_has_no_third_step() -> None:
    risk, y = marker()
    found = closed_test(logit(risk)[:, None], y, expit(2 * logit(risk)))
    assert found.p_values[2] == 1.0
    assert found.choice == "intercept_and_slope"


def test_shift_is_shrunk() -> None:
    risk, y = marker()
    low = expit(logit(risk) - 0.4)
    found = level_shift(low, y)
    assert found.events == 105
    assert found.estimate == pytest.approx(0.4, abs=TOLERANCE)
    assert found.se is not None
    assert found.applied == pytest.approx(0.4 * 0.09 / (0.09 + found.se**2), abs=TOLERANCE)
    assert level_shift(low, y, clusters=np.arange(750) // 2).applied == pytest.approx(found.applied, abs=0.01)
    few = level_shift(low[:200], y[:200])
    assert few.events < 50
    assert (few.applied, few.estimate, few.se) == (0.0, None, None)


def forward(seed: int = 1, quarters: int = 5, each: int = 150) -> dict[str, Array]:
    """Invented eyes of some quarters, with their true chances."""
    rng = np.random.default_rng(seed)
    n = quarters * each
    risk = expit(rng.normal(-2.0, 1.0, n))
    return {
        "risk": risk,
        "y": (rng.random(n) < risk).astype(float),
        "quarter": np.repeat(np.arange(quarters), each),
        "patient": np.arange(n) // 2,
    }


def verdict(
    eyes: dict[str, Array],
    in_use: Array,
    candidate: Array,
    *,
    new_quarters: int = 1,
    new_events: int = 20,
    moved: Mapping[str, float] | None = None,
    explained: tuple[str, ...] = (),
    stops: tuple[str, ...] = (),
) -> Verdict:
    return forward_verdict(
        in_use,
        candidate,
        eyes["y"],
        quarters=eyes["quarter"],
        patients=eyes["patient"],
        new_quarters=new_quarters,
        new_events=new_events,
        moved=moved,
        explained=explained,
        stops=stops,
    )


def test_a_nearer_candidate_may_be_adopted() -> None:
    eyes = forward()
    off = expit(logit(eyes["risk"]) + 0.8)
    found = verdict(eyes, off, eyes["risk"])
    assert found.word == "adopt_may_be_considered"
    assert found.difference > 0.0
    assert (found.quarters, found.n, found.patients) == (4, 600, 300)
    last = eyes["quarter"] >= 1
    gain = log_loss(off[last], eyes["y"][last]) - log_loss(eyes["risk"][last], eyes["y"][last])
    assert found.difference == pytest.approx(gain.mean(), abs=1e-12)
    by_patient = (gain - gain.mean()).reshape(-1, 2).sum(axis=1)
    assert found.se == pytest.approx(np.sqrt(by_patient.var(ddof=1) / 300) / 2, rel=1e-2)
    assert found.events == int(eyes["y"][last].sum())
    newest = eyes["quarter"] == 4
    assert found.mean_change == pytest.approx(np.abs(off - eyes["risk"])[newest].mean(), abs=1e-12)


def test_a_tie_may_be_adopted_a_clear_loss_not() -> None:
    eyes = forward()
    same = verdict(eyes, eyes["risk"], eyes["risk"])
    assert same.word == "adopt_may_be_considered"
    assert (same.difference, same.se, same.mean_change) == (0.0, 0.0, 0.0)
    worse = verdict(eyes, eyes["risk"], expit(logit(eyes["risk"]) + 0.8))
    assert worse.word == "keep"
    assert "farther off" in worse.reasons[0]
    assert worse.difference < -worse.se
    # by less than one standard error farther off: adoption may still be considered
    rng = np.random.default_rng(6)
    little = expit(logit(eyes["risk"]) + rng.normal(0, 0.05, 750))
    close = verdict(eyes, eyes["risk"], little)
    assert abs(close.difference) < close.se
    assert close.word == "adopt_may_be_considered"


def test_gates() -> None:
    eyes = forward()
    better = expit(logit(eyes["risk"]) + 0.8)
    moved = verdict(eyes, better, eyes["risk"], moved={"glaucoma": -3.4, "age": 2.0})
    assert moved.word == "keep"
    assert moved.reasons == ("glaucoma moved by 3.4 standard deviations without an explanation.",)
    explained = verdict(eyes, better, eyes["risk"], moved={"glaucoma": -3.4}, explained=("glaucoma",))
    assert explained.word == "adopt_may_be_considered"
    # level of the candidate excludes 1 and is farther from it than in use, though its ranking is much better
    flat = np.full(750, eyes["y"].mean())
    high = verdict(eyes, flat, expit(1.1 * logit(eyes["risk"]) + 0.65))
    assert "Seen over forecast" in high.reasons[-1]
    assert high.word == "keep"
    # it excludes 1 but is nearer to it
    nearer = verdict(eyes, expit(logit(eyes["risk"]) + 1.5), expit(logit(eyes["risk"]) + 0.5))
    assert nearer.word == "adopt_may_be_considered"
    assert nearer.observed_expected_candidate.high is not None
    assert nearer.observed_expected_candidate.high < 1.0


def test_none_seen_in_a_year_that_forecast_many() -> None:
    eyes = forward()
    eyes["y"] = np.zeros(750)
    found = verdict(eyes, eyes["risk"], eyes["risk"] * 1.2)
    assert found.word == "keep"
    assert found.observed_expected_candidate.value == 0.0


def test_stop() -> None:
    eyes = forward()
    assert verdict(eyes, eyes["risk"], eyes["risk"], new_quarters=0).word == "stop"
    few = verdict(eyes, eyes["risk"], eyes["risk"], new_events=9)
    assert few.word == "stop"
    assert few.reasons == ("There are 9 new cloudy eyes; 10 are needed.",)
    told = verdict(eyes, eyes["risk"], eyes["risk"], stops=("Fewer than 60 patients.",))
    assert (told.word, told.reasons) == ("stop", ("Fewer than 60 patients.",))


def test_quarters_may_be_named() -> None:
    eyes = forward()
    named = eyes | {"quarter": np.array([f"2031-Q{q}" for q in eyes["quarter"]])}
    off = expit(logit(eyes["risk"]) + 0.3)
    assert verdict(named, off, eyes["risk"]) == verdict(eyes, off, eyes["risk"])


@pytest.mark.parametrize(
    ("work", "why"),
    [
        (lambda: closed_test(np.ones((3, 1)), [0, 1], [0.1, 0.2]), "differ in length"),
        (lambda: closed_test(np.ones((2, 1)), [0, 1], [0.0, 0.2]), "exactly 0 or 1"),
        (lambda: log_loss([1.0], [1]), "exactly 0 or 1"),
        (
            lambda: forward_verdict([], [], [], quarters=[], patients=[], new_quarters=1, new_events=20),
            "no eyes with a quarter",
        ),
        (
            lambda: forward_verdict([0.1], [0.1], [1], quarters=[], patients=[1], new_quarters=1, new_events=20),
            "no eyes with a quarter",
        ),
    ],
)
def test_refusals_say_why(work: object, why: str) -> None:
    assert callable(work)
    with pytest.raises(ModelError, match=why):
        work()
