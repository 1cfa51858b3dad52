"""What theatre usually takes for a nucleus like this one: learnt, frozen in a card, and a case beside it."""

from __future__ import annotations

import copy
import json
import math
from datetime import date
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import statsmodels.datasets
from scipy.stats import norm
from sklearn.linear_model import QuantileRegressor

import models.usual as usual_module
from models.card import Card, compose, read_card
from models.card_form import content_hash, write
from models.errors import ModelError
from models.nucleus import SMALL_PUPIL_MM, UsualUse, nucleus_columns
from models.training import train
from models.usual import learn_usual, usual_lines, usual_range
from tests.models.trained import booking, end_of_case, eyes, fresh_json

Row = dict[str, object]
SHARES = (0.1, 0.5, 0.9)
Z = np.array(norm.ppf(SHARES))


def cases(n: int, seed: int = 3, **more: object) -> list[Row]:
    """Invented cases: fluid and minutes log-normal about the nucleus, energy by two machines."""
    rng = np.random.default_rng(seed)
    rows: list[Row] = []
    for _ in range(n):
        hardness = int(rng.integers(1, 6))
        machine = str(rng.choice(["A", "B"]))
        scale = 8.0 if machine == "A" else 3.0
        rows.append(
            {
                "nucleus_hardness": hardness, "age_years": float(np.round(rng.normal(73, 9), 1)),
                "acd_mm": float(np.round(rng.normal(3.1, 0.35), 2)), "acd_definition": "epithelium",
                "irrigation_volume_ml": math.exp(math.log(42.0) + math.log(94 / 42) / 4 * (hardness - 1)
                                                 + 0.36 * rng.normal()),
                "case_minutes": math.exp(2.2 + 0.1 * hardness + 0.3 * rng.normal()),
                "phaco_machine_id": machine, "us_motion": "longitudinal",
                "effective_phaco_time_s": scale * math.exp(0.3 * (hardness - 3) + 0.5 * rng.normal()),
            }
            | more
        )  # fmt: skip
    return rows


def learnt(rows: list[Row]) -> UsualUse:
    found = learn_usual(rows)
    assert found is not None
    return found


def eye(**answers: object) -> Row:
    row: Row = {"nucleus_hardness": 3, "age_years": 73.0, "acd_mm": 3.1, "acd_definition": "epithelium"}
    return row | answers


# True medians, 10 and 90 % of the invented fluid by hardness 1 to 5: own simulation, 42-94, 27-59, 67-149.
def test_fluid_by_nucleus_is_the_true_one() -> None:
    usual = learnt(cases(6000))
    for hardness in range(1, 6):
        found = usual.of(eye(nucleus_hardness=hardness))["irrigation_volume_ml"]
        middle = math.log(42.0) + math.log(94 / 42) / 4 * (hardness - 1)
        assert [found.low, found.median, found.high] == pytest.approx(np.exp(middle + 0.36 * Z), rel=0.06)
    ends = [usual.of(eye(nucleus_hardness=h))["irrigation_volume_ml"] for h in (1, 5)]
    assert [(round(e.low), round(e.high)) for e in ends] == [
        (pytest.approx(27, abs=1.5), pytest.approx(67, abs=3)), (pytest.approx(59, abs=3), pytest.approx(149, abs=7))
    ]  # fmt: skip


def test_shares_of_new_cases_beyond_the_lines() -> None:
    usual = learnt(cases(4000))
    found = [usual.of(row)["irrigation_volume_ml"] for row in cases(3000, seed=8) if usual.of(row)]
    assert len(found) > 2900
    below = np.mean([one.value < one.low for one in found if one.value is not None])
    above = np.mean([one.value > one.high for one in found if one.value is not None])
    assert (below, above) == pytest.approx((0.1, 0.1), abs=0.015)


def test_energy_is_compared_within_its_machine_only() -> None:
    usual = learnt(cases(4000))
    low, high = (usual.of(eye(phaco_machine_id=m, us_motion="longitudinal", effective_phaco_time_s=8.0)) for m in "BA")
    assert low["effective_phaco_time_s"].median == pytest.approx(3.0, rel=0.1)
    assert high["effective_phaco_time_s"].median == pytest.approx(8.0, rel=0.1)
    assert "higher than 9 of 10" in low["effective_phaco_time_s"].words
    assert "as usual" in high["effective_phaco_time_s"].words
    other = usual.of(eye(phaco_machine_id="A", us_motion="torsional", effective_phaco_time_s=8.0))
    assert "effective_phaco_time_s" not in other
    assert {line.group[0] for line in usual.lines if line.field == "effective_phaco_time_s"} == {"A", "B"}


def test_another_metric_is_its_own_group() -> None:
    rows = cases(200)
    for row in rows:
        row["us_energy_value"], row["us_energy_metric"] = row.pop("effective_phaco_time_s"), "console_cumulative"
    found = learnt(rows).of(
        eye(phaco_machine_id="A", us_motion="longitudinal", us_energy_value=1.0, us_energy_metric="console_cumulative")
    )
    assert found["us_energy_value"].words.count("lower than 9 of 10") == 1
    assert "effective_phaco_time_s" not in found


def test_words() -> None:
    usual = learnt(cases(4000))
    high = usual.of(eye(irrigation_volume_ml=120.0))["irrigation_volume_ml"]
    assert high.words == (
        f"Fluid 120 mL: higher than 9 of 10 cases with this nucleus "
        f"(median {high.median:.0f}, 10-90 % {high.low:.0f}-{high.high:.0f})"
    )
    assert "lower than 9 of 10 cases" in usual.of(eye(irrigation_volume_ml=20.0))["irrigation_volume_ml"].words
    middle = usual.of(eye(irrigation_volume_ml=60.0))["irrigation_volume_ml"]
    assert (middle.value, "as usual with this nucleus (median" in middle.words) == (pytest.approx(60.0), True)
    above = usual.of(eye(irrigation_volume_ml=0.5 * (high.median + high.high)))["irrigation_volume_ml"]
    assert "as usual with this nucleus (median" in above.words
    without = usual.of(eye())["irrigation_volume_ml"]
    assert without.value is None
    assert without.words.startswith("Fluid: not recorded; usual with this nucleus: median ")


def test_where_there_is_no_case_like_this_one_nothing_is_said() -> None:
    rows = [row | {"white_or_brunescent": "none"} for row in cases(300)]
    rows += [row | {"white_or_brunescent": "white_intumescent"} for row in cases(9, seed=5)]
    usual = learnt(rows)
    assert usual.of(eye())
    for unlike in ({"white_or_brunescent": "white_intumescent"}, {"age_years": 20.0}, {"acd_mm": 5.5}):
        assert usual.of(eye(**unlike)) == {}
    assert usual.of({"age_years": 73.0, "acd_mm": 3.1}) == {}
    fluid = next(line for line in usual.lines if line.field == "irrigation_volume_ml")
    assert fluid.n == 300  # nine white ones are too few to learn from
    rows += [row | {"white_or_brunescent": "white_intumescent", "irrigation_volume_ml": 200.0} for row in cases(20, 6)]
    white = learnt(rows).of(eye(white_or_brunescent="white_intumescent"))["irrigation_volume_ml"]
    assert white.median > 1.5 * learnt(rows).of(eye())["irrigation_volume_ml"].median


def test_columns_of_a_case() -> None:
    narrow = {"pupil_dilated_mm": SMALL_PUPIL_MM - 0.1, "white_or_brunescent": "brunescent"}
    found = nucleus_columns(eye(**narrow))
    assert found == pytest.approx([3.0, 7.3, 3.1, 1.0, 0.0])
    assert nucleus_columns(eye(pupil_dilated_mm=SMALL_PUPIL_MM))[3] == 0.0
    assert np.isnan(nucleus_columns({})).all()
    back = nucleus_columns(eye(acd_mm=2.6, acd_definition="endothelium", cct_um=500.0))
    assert back[2] == pytest.approx(3.1)


def test_blanks_take_the_median_and_yes_or_no_counts_as_no() -> None:
    usual = learnt(cases(300))
    assert usual.fill[1] == pytest.approx(7.3, abs=0.15)
    rows = cases(300)
    rows[0]["age_years"], rows[1]["acd_mm"] = 105.0, 5.9
    ages, depths = ([float(str(row[name])) for row in rows] for name in ("age_years", "acd_mm"))
    assert learnt(rows).fill[1:3] == pytest.approx([np.median(ages) / 10.0, np.median(depths)], abs=1e-12)
    assert usual.fill[3:].tolist() == [0.0, 0.0]
    bare = {"nucleus_hardness": 3}
    filled = {"nucleus_hardness": 3, "age_years": 10 * usual.fill[1], "acd_mm": usual.fill[2]}
    assert usual.of(bare)["case_minutes"].median == pytest.approx(usual.of(filled)["case_minutes"].median, rel=1e-12)


def test_too_few_cases() -> None:
    assert learn_usual([]) is None
    assert learn_usual(cases(29)) is None
    assert learn_usual([{"age_years": 70.0, "irrigation_volume_ml": 50.0}] * 50) is None
    no_depth = [{k: v for k, v in row.items() if k != "acd_mm"} for row in cases(60)]
    assert learnt(no_depth).fill[2] == 0.0
    assert {line.method for line in learnt(cases(60)).lines} == {"log_normal"}
    # with four columns and an intercept the 10 % line needs 400 cases
    assert {line.method for line in learnt(cases(399)).lines if line.field == "case_minutes"} == {"log_normal"}
    assert {line.method for line in learnt(cases(400)).lines if line.field == "case_minutes"} == {"quantile"}


def test_lines_of_few_cases_rise_with_the_share_as_the_normal_does() -> None:
    rng = np.random.default_rng(5)
    x = rng.normal(size=(40, 2))
    y = 1.0 + x @ [0.5, -0.2] + 0.3 * rng.normal(size=40)
    method, found = usual_lines(x, y, SHARES)
    assert method == "log_normal"
    # the ordinary line with the residual SD on 40 - 3 degrees of freedom (numpy's least squares)
    design = np.column_stack([np.ones(40), x])
    b, left, *_ = np.linalg.lstsq(design, y, rcond=None)
    assert found[:, 1:] == pytest.approx(np.tile(b[1:], (3, 1)), abs=1e-12)
    assert found[:, 0] == pytest.approx(b[0] + np.sqrt(left[0] / 37.0) * Z, abs=1e-12)


def test_lines_never_cross_for_a_case() -> None:
    flat = learnt(cases(60))
    crossed = copy.deepcopy(flat.as_dict())
    for line in crossed["lines"]:
        line["coefficients"].reverse()
    found = UsualUse.from_dict(crossed).of(eye())["case_minutes"]
    assert found.low < found.median < found.high


def test_the_quick_way_finds_the_lines_of_the_classic_food_data() -> None:
    # Koenker and Bassett's Engel data; published values (from memory), reproduced by statsmodels and scikit-learn
    table = statsmodels.datasets.engel.load_pandas().data
    method, lines = usual_lines(table[["income"]], table.foodexp, (0.1, 0.25, 0.5))
    assert method == "quantile"
    assert lines == pytest.approx(np.array([[110.1416, 0.4018], [95.4835, 0.4741], [81.4823, 0.5602]]), abs=6e-5)
    x = np.random.default_rng(1).normal(size=(700, 3))
    y = x @ [1.0, -0.5, 0.2] + np.exp(0.3 * x[:, 0]) * np.random.default_rng(2).normal(size=700)
    _, lines = usual_lines(x, y)
    for share, line in zip(SHARES, lines, strict=True):
        off = y - np.column_stack([np.ones(700), x]) @ line
        theirs = y - QuantileRegressor(quantile=share, alpha=0.0, solver="highs").fit(x, y).predict(x)
        loss = lambda r, q=share: float(np.where(r > 0, q * r, (q - 1) * r).sum())  # noqa: E731
        assert loss(off) <= loss(theirs) + 1e-9
        assert (off <= 1e-12).mean() == pytest.approx(share, abs=4 / 700)
    assert usual_range(x, np.zeros(700), x[:2]) == pytest.approx(0.0, abs=1e-12)


def carded(usual: UsualUse | None) -> Card:
    sections = fresh_json(end_of_case())
    rows = [vector["row"] for vector in sections.pop("test_vectors")]
    for name in ("format", "hash"):
        sections.pop(name)
    sections["usual"] = None if usual is None else usual.as_dict()
    return compose(sections, rows)


def test_a_card_holds_the_lines_to_the_bit() -> None:
    usual = learnt(cases(800))
    card = read_card(carded(usual).to_text())
    again = json.loads(card.to_text())["usual"]
    assert again == json.loads(json.dumps(usual.as_dict()))
    row = eye(irrigation_volume_ml=120.0, phaco_machine_id="A", us_motion="longitudinal", effective_phaco_time_s=4.0)
    assert card.usual(row) == usual.of(row)
    assert set(card.usual(row)) == {"irrigation_volume_ml", "case_minutes", "effective_phaco_time_s"}
    assert carded(None).usual(row) == {}
    assert booking().card.usual(row) == {}


def test_training_freezes_the_lines_of_its_own_cases() -> None:
    usual = learn_usual(eyes())
    assert usual is not None
    assert end_of_case().card.written["usual"] == json.loads(json.dumps(usual.as_dict()))
    until = date(2024, 3, 31)
    early = train(iter(eyes()), model="end_of_case", resamples=0, until=until).card
    before = learn_usual([row for row in eyes() if row["surgery_date"] <= until])  # type: ignore[operator]
    assert before is not None
    assert early.written["usual"] == json.loads(json.dumps(before.as_dict()))
    assert {one.field for one in early.usual(eyes()[3]).values()} <= {
        "irrigation_volume_ml", "case_minutes", "effective_phaco_time_s"
    }  # fmt: skip


def _meaning(usual: dict[str, Any]) -> None:
    usual["fields"]["nucleus_hardness"] = "0123456789abcdef"


def _quantiles(usual: dict[str, Any]) -> None:
    usual["quantiles"] = [0.2, 0.5, 0.8]


def _short(usual: dict[str, Any]) -> None:
    usual["lines"][0]["lowest"].pop()


def _ragged(usual: dict[str, Any]) -> None:
    usual["lines"][0]["coefficients"][0].pop()


def _method(usual: dict[str, Any]) -> None:
    usual["lines"][0]["method"] = "by eye"


def _twice(usual: dict[str, Any]) -> None:
    usual["lines"].append(copy.deepcopy(usual["lines"][0]))


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (_meaning, "come to mean something else"), (_quantiles, "other columns or quantiles"), (_short, "shape"),
        (_ragged, "too short"), (_method, "unknown kind"), (_twice, "two usual ranges"),
    ],
)  # fmt: skip
def test_a_card_with_changed_lines_is_refused(change: Any, why: str) -> None:
    written = json.loads(carded(learnt(cases(60))).to_text())
    change(written["usual"])
    written["hash"] = content_hash(written)
    with pytest.raises(ModelError, match=why):
        read_card(write(written))


def test_a_line_that_cannot_be_found_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(ModelError, match="too few"):
        usual_lines(np.ones((2, 1)), [1.0, 2.0])
    with pytest.raises(ModelError, match="must rise"):
        usual_lines(np.arange(300.0)[:, None], np.arange(300.0), ())
    monkeypatch.setattr(usual_module, "linprog", lambda *_, **__: SimpleNamespace(status=4))
    with pytest.raises(ModelError, match="could not be found"):
        usual_lines(np.arange(300.0)[:, None], np.arange(300.0))
