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
from models.update import eyes_to_test
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
    assert higher.words == "The overall level moved by +1.50 in log-odds."
    flatter = closed_test(x, y, expit(3.0 * eta))
    assert flatter.choice == "intercept_and_slope"
    assert flatter.words == "The spread of risks changed: the slope is 0.33."
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


def test_the_refit_is_tried_from_five_events_a_coefficient_on() -> None:
    x, y = birthwt()
    risk = fit_logistic(x, y).predict(x)
    for events, tried in ((50, True), (49, False), (45, False)):  # nine columns and an intercept: 50
        eyes = np.concatenate([np.flatnonzero(y == 1)[:events], np.flatnonzero(y == 0)])
        assert (closed_test(x[eyes], y[eyes], risk[eyes]).log_likelihoods[3] is not None) is tried


def test_a_refit_without_optimum_is_not_tried() -> None:
    x, y = birthwt()
    risk = fit_logistic(x, y).predict(x)
    apart = np.column_stack([x[:, :2], np.where((x[:, 6] == 1) & (y == 1), 1.0, 0.0)])
    assert closed_test(apart, y, risk).log_likelihoods[3] is None


def test_columns_that_never_vary_are_not_counted() -> None:
    x, y = birthwt()
    risk = fit_logistic(x, y).predict(x)
    padded = np.column_stack([x, np.zeros(189), np.ones(189), np.full(189, 0.1)])
    plain, more = closed_test(x, y, risk), closed_test(padded, y, risk)
    assert more.log_likelihoods == pytest.approx(plain.log_likelihoods, abs=1e-9)
    assert more.p_values == pytest.approx(plain.p_values, abs=1e-9)
    nothing = closed_test(np.zeros((189, 2)), y, risk)
    assert nothing.log_likelihoods[3] is None
    assert nothing.choice == "keep"


def test_the_level_decides_what_is_said() -> None:
    x, y = birthwt()
    eta = fit_logistic(x, y).linear_predictor(x)
    near = expit(eta - 0.35)  # intercept ratio about 3.6 on 10 degrees: no sign at 5 %
    assert closed_test(x, y, near).choice == "keep"
    p = closed_test(x, y, near).p_values[0]
    assert p is not None
    assert closed_test(x, y, near, level=p + 1e-6).choice == "intercept"
    for level in (5.0, 1.0, 0.0, -0.1, float("nan")):
        with pytest.raises(ModelError, match="level lies outside"):
            closed_test(x, y, near, level=level)


def test_which_quarters_are_tested() -> None:
    each, cloudy = 100, 10

    def quarters(number: int, k: int = cloudy) -> tuple[Array, Array]:
        return np.repeat(np.arange(number), each), np.tile((np.arange(each) < k) * 1.0, number)

    def taken(number: int, k: int = cloudy) -> list[int] | None:
        when, y = quarters(number, k)
        chosen = eyes_to_test(when, y)
        return None if chosen is None else sorted(set(when[chosen].tolist()))

    assert taken(8, 13) == [4, 5, 6, 7]  # 52 cloudy eyes in the last four
    assert taken(8) == [3, 4, 5, 6, 7]  # 40 in four, 50 in five
    assert taken(6, 2) == [0, 1, 2, 3, 4, 5]  # never 50: all there are
    assert taken(4, 1) == [0, 1, 2, 3]
    assert taken(3) is None  # 30 cloudy eyes in three quarters
    assert taken(3, 25) == [0, 1, 2]
    assert taken(1, 60) is None  # never on one quarter
    assert taken(5, 0) is None
    assert taken(5, 100) is None
    named, y = np.array(["2031-Q1", "2031-Q2"] * 50), np.tile([1.0, 0.0], 50)
    assert eyes_to_test(named, y) is not None
    with pytest.raises(ModelError, match="no quarter"):
        eyes_to_test([1, 2], [1.0])


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
    assert moved.reasons == ("glaucoma moved by 3.4 standard errors without an explanation.",)
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


def test_every_clause_at_its_edge() -> None:
    eyes = forward()
    better = expit(logit(eyes["risk"]) + 0.8)

    def word(**given: object) -> str:
        return verdict(eyes, better, eyes["risk"], **given).word  # type: ignore[arg-type]

    assert word(new_events=10) == "adopt_may_be_considered"
    assert word(new_events=9) == "stop"
    assert word(new_quarters=1) == "adopt_may_be_considered"
    assert word(new_quarters=0) == "stop"
    assert word(moved={"age": 3.0}) == "adopt_may_be_considered"
    assert word(moved={"age": 3.01}) == "keep"
    assert word(moved={"age": -3.01}) == "keep"
    assert word(moved={"age": 9.0}, explained=("age",)) == "adopt_may_be_considered"
    assert word(moved={"age": 9.0, "depth": 4.0}, explained=("age",)) == "keep"


def test_what_stops_is_said_before_what_keeps() -> None:
    eyes = forward()
    worse = expit(logit(eyes["risk"]) + 0.8)
    found = verdict(eyes, eyes["risk"], worse, new_quarters=0, new_events=0, moved={"age": 4.0}, stops=("Too few.",))
    assert found.word == "stop"
    assert [reason.split()[0] for reason in found.reasons] == ["Too", "No", "There", "The", "Seen", "age"]


def test_one_standard_error_is_the_line() -> None:
    eyes = forward()
    rng = np.random.default_rng(2)
    noise = rng.normal(0, 1, 750)
    words = {}
    for size in (0.02, 0.1, 0.3, 1.0):
        found = verdict(eyes, eyes["risk"], expit(logit(eyes["risk"]) + size * noise))
        beyond = found.difference < -found.se
        words[beyond] = words.get(beyond, 0) + 1
        assert any("farther off by more" in reason for reason in found.reasons if found.word == "keep") is beyond
    assert set(words) == {True, False}
    # farther off on every eye by the same: there is no spread, and it still is farther off
    flat = np.full(600, 0.5)
    same = {"y": np.tile([0.0, 1.0], 300), "quarter": np.repeat(np.arange(4), 150), "patient": np.arange(600) // 2}
    off = np.where(same["y"] == 1.0, 0.4, 0.6)
    found = verdict(same, flat, off)
    assert (found.se == pytest.approx(0.0, abs=1e-12), found.word) == (True, "keep")


def test_only_the_last_four_quarters_count() -> None:
    eyes = forward(quarters=6)
    candidate = eyes["risk"].copy()
    candidate[:300] = 0.001 + 0.998 * (1 - eyes["y"][:300])  # hopeless in the first two quarters
    found = verdict(eyes, expit(logit(eyes["risk"]) + 0.5), candidate)
    assert found.word == "adopt_may_be_considered"
    assert (found.quarters, found.n) == (4, 600)


def test_the_standard_error_is_that_of_patients() -> None:
    eyes = forward()
    off = expit(logit(eyes["risk"]) + 0.8)
    alone = verdict(eyes | {"patient": np.arange(750)}, off, eyes["risk"])
    one_each = verdict(eyes | {"patient": np.repeat(np.arange(75), 10)}, off, eyes["risk"])
    last = slice(150, 750)
    gain = log_loss(off[last], eyes["y"][last]) - log_loss(eyes["risk"][last], eyes["y"][last])
    assert alone.se == pytest.approx(gain.std(ddof=1) / np.sqrt(600), rel=1e-9)
    sums = (gain - gain.mean()).reshape(60, 10).sum(axis=1)
    assert one_each.se == pytest.approx(np.sqrt((sums**2).sum() * 60 / 59) / 600, rel=1e-9)


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
        (lambda: closed_test(np.ones((0, 1)), [], []), "are empty"),
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
