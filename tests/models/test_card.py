"""The card: exact to the byte, and strict with everything that it did not write itself."""

from __future__ import annotations

import copy
import hashlib
import json
import math
import os
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from models.card import Card, compose, read_card
from models.card_form import content_hash, write
from models.errors import ModelError
from models.spec import Spec, Term, TermKind
from tests.models.trained import booking, end_of_case, eyes, fresh_json

Change = Callable[[dict[str, Any]], object]


def resealed(change: Change) -> str:
    """The booking card changed and given a fitting hash, as a careless editor would."""
    written = fresh_json(booking())
    change(written)
    written["hash"] = content_hash(written)
    return write(written)


@pytest.mark.parametrize("training", [booking, end_of_case])
def test_reading_and_writing_again_gives_the_same_bytes(training: Callable[[], Any], tmp_path: Path) -> None:
    card: Card = training().card
    path = tmp_path / "card.json"
    card.write(path)
    again = read_card(path)
    assert path.read_bytes() == card.to_text().encode("utf-8") == again.to_text().encode("utf-8")
    assert read_card(card.to_text()).hash == read_card(path.read_bytes()).hash == card.hash
    assert [entry.name for entry in tmp_path.iterdir()] == ["card.json"]
    rows = list(eyes()[:40])
    assert [one.as_dict() for one in again.forecast(rows)] == [one.as_dict() for one in card.forecast(rows)]
    for name in ("centre", "coefficients", "covariance", "mean", "field_covariance", "lowest", "highest"):
        assert np.array_equal(getattr(again.formula, name), getattr(card.formula, name))


def test_the_hash_is_that_of_the_canonical_json() -> None:
    written = fresh_json(booking())
    given = written.pop("hash")
    canonical = json.dumps(written, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert hashlib.sha256(canonical.encode()).hexdigest() == given


def test_a_card_that_cannot_be_written_leaves_nothing(tmp_path: Path) -> None:
    target = tmp_path / "taken"
    target.mkdir()
    with pytest.raises(OSError, match="taken"):
        booking().card.write(target)
    assert [entry.name for entry in tmp_path.iterdir()] == ["taken"]


def test_a_card_is_written_where_folders_cannot_be_settled(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(os, "O_DIRECTORY")
    booking().card.write(tmp_path / "card.json")
    assert read_card(tmp_path / "card.json").hash == booking().card.hash


def test_the_worked_example_through_a_card() -> None:
    """Worked example of the methods' reference, from JSON to the forecast: hardness +1.2, depth -1.1, two blanks."""
    names = {"hardness": 0.50, "depth": -0.30, "cell_count": -0.45, "thickness": 0.15}
    kinds = {
        "hardness": ("nucleus_hardness", TermKind.LINEAR), "depth": ("acd_mm", TermKind.DEPTH),
        "cell_count": ("ecd_per_mm2", TermKind.LINEAR), "thickness": ("cct_um", TermKind.LINEAR),
    }  # fmt: skip
    covariance = np.diag([0.010, 0.012, 0.012, 0.020, 0.014])
    covariance[0, 1] = covariance[1, 0] = -0.002
    covariance[3, 4] = covariance[4, 3] = 0.004
    sections = fresh_json(booking())
    sections["spec"] = Spec("booking", tuple(Term(name, *kinds[name]) for name in names)).as_dict()
    sections["own_records_only"] = None
    sections["formula"] = {
        "intercept": -2.40,
        "terms": [
            {
                "name": name, "coefficient": b, "posterior_se": 0.1, "low": b, "high": b, "centre": 0.0,
                "prior_mean": 0.0, "prior_sd": 1.0, "source": "worked example", "own_choice": True,
            }
            for name, b in names.items()
        ],
        "covariance": covariance.tolist(), "form_sd": 0.0, "knots": None, "curve_sd": 1.0,
        "blanks": {
            "linked": True, "mean": [0.0] * 4,
            "covariance": [[1, -0.2, -0.15, 0.05], [-0.2, 1, 0.1, 0], [-0.15, 0.1, 1, -0.3], [0.05, 0, -0.3, 1]],
        },
        "energy": None, "lowest": [-9.0] * 4, "highest": [9.0] * 4, "edge": 50.0, "beyond": 60.0,
    }  # fmt: skip
    eye: dict[str, object] = {"nucleus_hardness": 1.2, "acd_mm": -1.1}
    card = read_card(compose(sections, [eye]).to_text())
    found = card.forecast([eye])[0]
    assert (found.risk, found.low, found.high) == pytest.approx((0.215994, 0.0816, 0.4293), abs=5e-5)
    assert found.would_narrow_most is not None
    assert found.would_narrow_most.gain == pytest.approx(0.23849, abs=1e-5)
    page = card.as_page()
    assert "An invented eye with blanks: nucleus_hardness 1.2, acd_mm -1.1" in page
    assert "eta = -2.4 + 1.046875 = -1.353125" in page
    variances = re.search(r"vs = (\S+), vm = (\S+),", page)
    assert variances is not None
    assert [float(one) for one in variances.groups()] == pytest.approx([0.038116, 0.258938], abs=1.1e-6)
    assert "curve: knots" not in page


def _shake_covariance(written: dict[str, Any]) -> None:
    written["formula"]["covariance"][0][1] += 1e-9


def _negative_variance(written: dict[str, Any]) -> None:
    written["formula"]["covariance"][2][2] = -1e-6


def _shift_vector(written: dict[str, Any]) -> None:
    written["test_vectors"][0]["expected"]["risk"] += 1e-8


def _shift_coefficient(written: dict[str, Any]) -> None:
    written["formula"]["terms"][2]["coefficient"] += 1e-6


def _wrong_status(written: dict[str, Any]) -> None:
    written["test_vectors"][0]["expected"]["status"] = "refused_missing"


def _short_mean(written: dict[str, Any]) -> None:
    written["formula"]["blanks"]["mean"].pop()


def _ragged(written: dict[str, Any]) -> None:
    written["formula"]["covariance"][0].pop()


def _changed_meaning(written: dict[str, Any]) -> None:
    written["spec"]["fields"]["guttae_grade"] = "0123456789abcdef"


def _swap_terms(written: dict[str, Any]) -> None:
    terms = written["formula"]["terms"]
    terms[0], terms[1] = terms[1], terms[0]


def _other_kind(written: dict[str, Any]) -> None:
    written["model"] = "end_of_case"


def _no_vectors(written: dict[str, Any]) -> None:
    written["test_vectors"] = []


def _leak(written: dict[str, Any]) -> None:
    written["spec"]["terms"][0]["field"] = "cct_pod1_um"


def _own_stranger(written: dict[str, Any]) -> None:
    written["own_records_only"]["terms"][0]["name"] = "stranger"


CHANGES: tuple[tuple[Change, str], ...] = (
    (_shake_covariance, "not symmetric"),
    (_negative_variance, "negative variance"),
    (_shift_vector, "test vectors do not reproduce"),
    (_shift_coefficient, "test vectors do not reproduce"),
    (_wrong_status, "test vectors do not reproduce"),
    (_short_mean, "shape"),
    (_ragged, "not equally long"),
    (_changed_meaning, "come to mean something else: guttae_grade"),
    (_swap_terms, "do not belong together"),
    (_other_kind, "two kinds of model"),
    (_no_vectors, "no test vectors"),
    (_leak, "may not be a predictor"),
    (_own_stranger, "terms that it does not have"),
    (lambda card: card.update(extra=1), "missing or unknown keys extra"),
    (lambda card: card["training"].pop("n"), "missing or unknown keys n"),
    (lambda card: card["formula"].update(remark=""), "missing or unknown keys remark"),
    (lambda card: card.update(format=2), "not a card of format 1"),
    (lambda card: card.update(seed=1.5), "does not hold what it must"),
    (lambda card: card.update(seed=True), "does not hold what it must"),
    (lambda card: card["training"].update(first="yesterday"), "does not hold what it must"),
    (lambda card: card["spec"].update(terms={}), "is no list"),
    (lambda card: card.update(training=[]), "is no object"),
    (lambda card: card["formula"].update(knots=None), "do not belong together"),
    (lambda card: card["formula"].update(knots=[1.0, 2.0]), "three knots"),
    (lambda card: card["formula"].update(knots=[3.0, 2.0, 4.0]), "not in order"),
    (lambda card: card["formula"].update(curve_sd=0.0), "not possible"),
    (lambda card: card["formula"].update(energy={"machines": [], "yardsticks": []}), "do not belong together"),
)


@pytest.mark.parametrize(("change", "why"), CHANGES)
def test_a_changed_card_is_refused_even_with_a_fitting_hash(change: Change, why: str) -> None:
    with pytest.raises(ModelError, match=why) as caught:
        read_card(resealed(change))
    assert all((caught.value.what, caught.value.why, caught.value.next))


def test_a_yardstick_without_spread_is_refused() -> None:
    written = fresh_json(end_of_case())
    written["formula"]["energy"]["yardsticks"][0]["spread"] = 0.0
    written["hash"] = content_hash(written)
    with pytest.raises(ModelError, match="no spread"):
        read_card(write(written))


def test_tampering_shows_in_the_hash() -> None:
    written = fresh_json(booking())
    written["training"]["n"] += 1
    with pytest.raises(ModelError, match="does not match its own hash"):
        read_card(write(written))


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_only_finite_numbers_are_read(number: str) -> None:
    text = booking().card.to_text().replace('"form_sd": 0.15', f'"form_sd": {number}')
    with pytest.raises(ModelError, match=r"finite|must"):
        read_card(text)


def test_text_that_is_no_card_is_refused(tmp_path: Path) -> None:
    text = booking().card.to_text()
    cases: tuple[tuple[str | bytes, str], ...] = (
        (text[:-10], "not JSON"),
        (text.replace('"seed": 1', '"seed": 1, "seed": 1'), "names a key twice"),
        (text.encode("utf-16"), "not UTF-8"),
        ("{" + " " * (1 << 20) + "}", "larger than 1 MiB"),
        ("{" + '"a": ' + "[" * 12 + "]" * 12 + "}", "nested deeper than 12"),
        ('{"format": 1, "model": "\\"[[[[[[[[[[[[[[["}', "missing or unknown keys"),
        ("{}", "not a card of format 1"),
        (b"[1]", "not a card of format 1"),
        ('{"seed": ' + "1" * 5000 + "}", "number that no card holds"),
        (text.replace('"seed": 1', '"seed": 1' + "0" * 400), "must"),
        (text.replace('"form_sd": 0.15', '"form_sd": 1' + "0" * 400), "must"),
        (text.replace('"numpy": "', '"numpy": "\\ud800'), "own hash"),
        (text.replace('"numpy": "', '"numpy": "\ud800'), "not UTF-8"),
    )
    for given, why in cases:
        with pytest.raises(ModelError, match=why):
            read_card(given)
    with pytest.raises(ModelError, match="cannot be read"):
        read_card(tmp_path / "nowhere.json")


def test_the_card_says_what_it_is() -> None:
    card = booking().card
    assert card.model == "booking"
    assert set(card.fields) >= {"guttae_grade", "acd_mm", "acd_definition", "cct_um"}
    assert card.outcome == "central grade 2 or more, 12-36 h after surgery"
    assert card.cloudy == card.training["events"]
    assert card.judgement["corrected"]["c_statistic"] < card.judgement["apparent"]["c_statistic"]
    page = card.as_page()
    assert f"{card.training['n']} eyes of {card.training['patients']} patients" in page
    assert "odds ratio 0.651" in page
    assert card.hash in page
    assert all(len(line) for line in card.summary_lines())


def test_test_vectors_hold_no_patient() -> None:
    rows = [vector["row"] for vector in fresh_json(booking())["test_vectors"]]
    known = [{name: eye.get(name) for name in rows[0]} for eye in eyes()]
    assert rows[0] not in known
    assert not any("patient_id" in row or "surgery_date" in row for row in rows)


def test_the_own_records_model_can_be_worked_out_beside_the_card() -> None:
    card = booking().card
    own = fresh_json(booking())["own_records_only"]
    row = next(row for row in eyes() if not any(np.isnan(card.forecaster.working.columns(row))))
    columns = dict(zip([t.name for t in card.spec.base], card.forecaster.working.columns(row), strict=True))
    eta = own["intercept"] + sum(t["coefficient"] * (columns[t["name"]] - t["centre"]) for t in own["terms"])
    assert card.own_records_risk(row) == pytest.approx(1 / (1 + math.exp(-eta)), abs=1e-12)
    assert card.own_records_risk({**row, "guttae_grade": 6}) is None
    written = copy.deepcopy(fresh_json(booking()))
    written["own_records_only"] = None
    written["hash"] = content_hash(written)
    assert read_card(write(written)).own_records_risk(row) is None
