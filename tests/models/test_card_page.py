"""The card's page: the model works from its printed digits alone, and everything needed to build it again is there."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from models.card import compose, read_card
from models.card_form import content_hash, write
from models.errors import ModelError
from models.prior import Prior
from models.usual import learn_usual
from tests.models.trained import booking, end_of_case, eyes, fresh_json

NUMBER = r"-?\d+(?:\.\d+)?(?:e-?\d+)?"
DIGITS = 2e-5
"""What six printed digits leave open in a log-odds or a chance."""


def printed(page: str) -> dict[str, Any]:
    """The page's digits: nothing else of the card is used."""
    text = re.sub(r"\n {4,}(?=[-\d])", " ", page)  # rows of a matrix run on over lines
    found: dict[str, Any] = {"S": [], "V": []}
    for name in "SV":
        rows = re.findall(rf"^  {name} \w+: (.*)$", text, re.MULTILINE)
        found[name] = np.zeros((len(rows), len(rows)))
        for i, row in enumerate(rows):
            found[name][i, : i + 1] = found[name][: i + 1, i] = [float(value) for value in row.split()]
    mean = re.search(r"^  mean: (.*)$", text, re.MULTILINE)
    assert mean is not None
    found["mean"] = np.array([float(value) for value in mean[1].split()])
    table = page[page.index("Numbers:") : page.index("Believed before")]
    rows = re.findall(
        rf"^  \d+ +(\w+) +({NUMBER}) +({NUMBER}) +({NUMBER}) +({NUMBER}) +({NUMBER})", table, re.MULTILINE
    )
    found["terms"] = [row[0] for row in rows]
    found["centre"], found["b"], found["se"], found["low"], found["high"] = np.array(
        [[float(value) for value in row[1:]] for row in rows]
    ).T
    found["intercept"] = float(one(rf"^  intercept ({NUMBER})", table)[0])
    found["form"] = float(one(rf"and ({NUMBER}) on the\s+log-odds", page)[0])
    curve = re.search(rf"knots ({NUMBER}) ({NUMBER}) ({NUMBER}), SD ({NUMBER})", page)
    found["curve"] = None if curve is None else [float(value) for value in curve.groups()]
    found["eyes"] = re.split(r"\n  (?=An invented eye)", page.split("How an eye is worked out")[1])[1:]
    return found


def one(pattern: str, text: str) -> tuple[str, ...]:
    match = re.search(pattern, text, re.MULTILINE)
    assert match is not None, pattern
    return match.groups()


def work(found: dict[str, Any], eye: str) -> tuple[list[float], list[float]]:
    """(worked out by hand, printed) eta, vs, vm, chance, low, high of one example."""
    rows = re.findall(rf"^    (\w+) +\(({NUMBER}) - {NUMBER}\) \* {NUMBER} = {NUMBER}( filled)?$", eye, re.MULTILINE)
    assert [row[0] for row in rows] == found["terms"]
    q = found["mean"].shape[0]
    x = np.array([float(row[1]) for row in rows])
    blank = np.array([bool(row[2]) for row in rows[:q]])
    S, mean, V, b = found["S"], found["mean"], found["V"], found["b"]
    link = S[blank][:, ~blank] @ np.linalg.inv(S[~blank][:, ~blank])
    filled = x[:q].copy()
    filled[blank] = mean[blank] + link @ (x[:q] - mean)[~blank]
    left = S[blank][:, blank] - link @ S[~blank][:, blank]
    slope = b[:q].copy()
    whole = filled
    if found["curve"] is not None:
        k1, k2, k3, sd = found["curve"]
        d = filled[found["terms"].index("depth")]
        up = [max(d - k, 0.0) for k in (k1, k2, k3)]
        ratios = (1.0, -(k3 - k1) / (k3 - k2), (k2 - k1) / (k3 - k2))
        value = sum(u**3 * r for u, r in zip(up, ratios, strict=True)) / (k3 - k1) ** 2 / sd
        steep = sum(3 * u**2 * r for u, r in zip(up, ratios, strict=True)) / (k3 - k1) ** 2 / sd
        slope[found["terms"].index("depth")] += b[-1] * steep
        whole = np.append(filled, value)
    a = np.append(1.0, whole - found["centre"])
    eta = found["intercept"] + float(b @ a[1:])
    vs, vm = float(a @ V @ a), float(slope[blank] @ left @ slope[blank])
    half = 1.959964 * math.sqrt(vs + vm + found["form"] ** 2)
    expit = lambda t: 1 / (1 + math.exp(-t))  # noqa: E731
    mine = [eta, vs, vm, expit(eta / math.sqrt(1 + math.pi * vm / 8)), expit(eta - half), expit(eta + half)]
    theirs = [
        *one(rf"eta = .* = ({NUMBER})$", eye),
        *one(rf"vs = ({NUMBER}), vm = ({NUMBER})", eye),
        *one(rf"chance = .* = ({NUMBER})$", eye),
        *one(rf"range = .* = ({NUMBER}) to ({NUMBER})$", eye),
    ]
    return mine, [float(value) for value in theirs]


@pytest.mark.parametrize("training", [booking, end_of_case])
def test_the_examples_follow_from_the_printed_digits(training: Callable[[], Any]) -> None:
    card = training().card
    found = printed(card.as_page())
    assert len(found["eyes"]) == 2
    assert "filled" not in found["eyes"][0]
    assert "filled" in found["eyes"][1]
    for eye in found["eyes"]:
        mine, theirs = work(found, eye)
        assert mine == pytest.approx(theirs, abs=DIGITS)
    written = fresh_json(training())
    complete, blank = written["test_vectors"][0]["expected"], written["test_vectors"][2]["expected"]
    for eye, expected in zip(found["eyes"], (complete, blank), strict=True):
        mine, _ = work(found, eye)
        shown = [mine[0], *mine[3:]]
        assert shown == pytest.approx([expected[name] for name in ("log_odds", "risk", "low", "high")], abs=DIGITS)


def test_the_page_has_every_number_of_the_terms() -> None:
    written = fresh_json(booking())
    found = printed(booking().card.as_page())
    assert found["terms"] == [term["name"] for term in written["formula"]["terms"]]
    for name, key in (("b", "coefficient"), ("se", "posterior_se"), ("centre", "centre"), ("low", "low")):
        assert found[name] == pytest.approx([term[key] for term in written["formula"]["terms"]], rel=1e-5)
    page = booking().card.as_page()
    training = written["training"]
    for text in (
        f"eyes {training['n']}, patients {training['patients']}, cloudy {training['events']}",
        "acd_mm from the front of the cornea",
        "1: sex female; 0: male; blank: other, unknown",
        "age_years / 10",
        "no consent to audit and model",
        "edema_grade_central is 2 or more at a visit 12-36 hours after surgery",
        f"prior table {written['prior']['version']}",
        f"ridge with penalty {written['own_records_only']['penalty']:g}",
        f"intercept {written['own_records_only']['intercept']:.6g}",
        f"above {written['formula']['beyond']:.6g}",
        f"Seed {written['seed']}",
        written["hash"],
    ):
        assert text in re.sub(r"\s+", " ", page), text
    assert max(len(line) for line in page.splitlines()) <= 120


def test_the_page_says_how_theatre_is_read() -> None:
    page = end_of_case().card.as_page()
    energy = fresh_json(end_of_case())["formula"]["energy"]
    for stick in energy["yardsticks"]:
        assert re.search(rf"{stick['machine']} +{stick['metric']} .* {stick['n']} +{stick['median']:.6g}", page)
    assert "Machines seen: M1, M2." in page
    assert "ln(irrigation_volume_ml)" in page
    assert "0.55 * (ln(1 + reading) - median) / spread" in page


def test_the_page_says_what_is_not_there() -> None:
    written = fresh_json(booking())
    written["own_records_only"] = None
    written["usual"] = None
    written["weights"]["intercept_shift"] = 0.25
    written["hash"] = content_hash(written)
    page = read_card(write(written)).as_page()
    assert "Own records only: none" in page
    assert "Usual use" not in page
    assert "of which 0.25 is a shift of the average" in page


def test_the_posterior_error_is_that_of_the_prior_as_it_is() -> None:
    """Root of the diagonal of P^-1 from the page's beliefs and the fit's own information, not the widened range's."""
    written = fresh_json(booking())
    terms = written["formula"]["terms"]
    card = booking().card
    rows = [row for row in eyes() if not np.isnan(card.forecaster.working.columns(row)).any()]
    assert len(rows) > 300
    m, s = (np.array([term[key] for term in terms]) for key in ("prior_mean", "prior_sd"))
    prior = Prior.published(m, s, written["prior"]["strength"])
    z = np.array(
        [np.append(1.0, card.forecaster.working.work(card.forecaster.working.columns(row)).away) for row in eyes()]
    )
    p = 1 / (1 + np.exp(-(written["formula"]["intercept"] + z[:, 1:] @ card.formula.coefficients)))
    P = (z * (p * (1 - p))[:, None]).T @ z
    P[1:, 1:] += prior.precision
    error = np.sqrt(np.diag(np.linalg.inv(P)))[1:]
    assert [term["posterior_se"] for term in terms] == pytest.approx(error, rel=1e-6)
    widened = np.array([(term["high"] - term["low"]) / (2 * 1.959964) for term in terms])
    assert (error < widened).all()


def test_an_error_of_nothing_is_refused() -> None:
    written = fresh_json(booking())
    written["formula"]["terms"][0]["posterior_se"] = 0.0
    written["hash"] = content_hash(written)
    with pytest.raises(ModelError, match="standard error"):
        read_card(write(written))


def test_usual_use_stands_on_the_page_and_works_from_it() -> None:
    usual = learn_usual(eyes())
    assert usual is not None
    sections = fresh_json(end_of_case())
    rows = [vector["row"] for vector in sections.pop("test_vectors")]
    sections["usual"] = usual.as_dict()
    card = read_card(
        compose({key: value for key, value in sections.items() if key not in {"format", "hash"}}, rows).to_text()
    )
    page = card.as_page()
    block = page[page.index("irrigation_volume_ml, all cases") :]
    lines = [[float(value) for value in line.split(":")[1].split()] for line in block.splitlines()[1:4]]
    fill = [float(value) for value in one(r"Blanks take ([-\d., e]+);", re.sub(r"\s+", " ", page))[0].split(", ")]
    eye = {"nucleus_hardness": 4, "age_years": 70.0, "acd_mm": 3.0, "irrigation_volume_ml": 300.0}
    found = card.usual(eye)["irrigation_volume_ml"]
    columns = [1.0, 4.0, 7.0, 3.0, *fill[3:]]
    by_hand = [math.exp(sum(b * x for b, x in zip(line, columns, strict=True))) for line in lines]
    assert [found.low, found.median, found.high] == pytest.approx(by_hand, rel=1e-4)
    assert "higher than 9 of 10 cases with this nucleus" in found.words


def test_the_page_says_how_many_resamples_each_figure_rests_on() -> None:
    written = fresh_json(booking())
    judgement, own = written["judgement"], written["own_records_only"]
    judgement |= {
        "resamples": 198, "failed_resamples": 2, "redrawn_resamples": 3,
        "figure_resamples": {
            "c_statistic": 198, "brier": 198, "calibration_in_the_large": 198, "calibration_slope": 187,
        },
    }  # fmt: skip
    judgement["corrected"]["calibration_slope"] = 0.9
    own["figure_resamples"] = judgement["figure_resamples"] | {"c_statistic": 0}
    own["corrected"]["c_statistic"] = None
    own |= {"folds": 50, "folds_left_out": 4}
    written["hash"] = content_hash(written)
    page = read_card(write(written)).as_page()
    judged, beside = page[page.index("Judged on its own eyes") :], page[page.index("Own records only, beside") :]
    assert re.search(r"calibration slope: [-\d.]+; 0\.9000 from 187 resamples\n", judged)
    assert re.search(r"c statistic: [\d.]+; [\d.]+ from 198 resamples\n", judged)
    assert re.search(r"c statistic: [\d.]+; not estimable\n", beside)
    flat = re.sub(r"\s+", " ", judged)
    assert "resamples of the patients: 198, without a fit: 2" in flat
    assert "drawn anew because all eyes were cloudy or all were clear: 3" in flat
    assert "training parts of the cross-validation 50, left out for want of cloudy or of clear eyes 4" in beside


def test_a_count_of_resamples_that_is_no_count_is_refused() -> None:
    written = fresh_json(booking())
    written["judgement"]["figure_resamples"] = {"c_statistic": 200}
    written["hash"] = content_hash(written)
    with pytest.raises(ModelError, match="figure_resamples"):
        read_card(write(written))


def test_training_writes_the_training_parts_down() -> None:
    own = booking().card.written["own_records_only"]
    assert (own["folds"], own["folds_left_out"]) == (50, 0)
