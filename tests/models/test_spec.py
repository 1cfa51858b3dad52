"""A model on paper: what may enter it, how answers become numbers, the prior table behind it."""

from __future__ import annotations

import json
import math

import pytest

from models.codebook import BY_NAME, CODINGS, FIELDS, MODEL_STAGES, Kind, Stage, may_predict
from models.columns import column_reader, depth_from_front, energy_readings
from models.errors import ModelError
from models.prior_table import read_prior_table
from models.spec import MODELS, Outcome, Spec, Term, TermKind, default_spec

BOOKING = (
    "age", "female", "hardness", "guttae_1_2", "guttae_3_up", "depth", "thickness", "cell_count", "diabetes",
    "glaucoma", "pseudoexfoliation", "axial_length",
)  # fmt: skip
THEATRE = (
    "energy", "fluid", "minutes", "plane_iris", "plane_anterior_chamber", "capsule_rupture", "divide_and_conquer",
    "junior", "soft_shell",
)  # fmt: skip


@pytest.mark.parametrize("model", MODELS)
@pytest.mark.parametrize("field", FIELDS, ids=lambda field: field.name)
def test_no_field_enters_a_model_that_may_not(field: object, model: str) -> None:
    name = field.name  # type: ignore[attr-defined]
    one = BY_NAME[name]
    refused = []
    for kind in TermKind:
        names = [coding for coding, how in CODINGS.items() if how.field == name] or ["new"]
        for term in names:
            try:
                Spec(model, (Term(term, name, kind),))
            except ModelError as error:
                refused.append(error)
            else:
                assert may_predict(name, model)
    if one.stage in (Stage.DAY_ONE, Stage.RECHECK) or one.kind in (Kind.IDENTIFIER, Kind.TEXT):
        assert len(refused) >= len(TermKind)
    if model == "booking" and one.stage is not Stage.BOOKING:
        assert len(refused) >= len(TermKind)
    if not may_predict(name, model):
        assert all("may not be a predictor" in error.why for error in refused)


def test_the_default_models_have_exactly_the_columns_of_the_prior_table() -> None:
    assert tuple(term.name for term in default_spec("booking").terms) == BOOKING
    assert tuple(term.name for term in default_spec("end_of_case").terms) == BOOKING + THEATRE
    curved = default_spec("end_of_case", curve=True)
    assert tuple(term.name for term in curved.terms) == (*BOOKING, *THEATRE, "depth_curve")
    assert curved.with_curve() is curved
    assert curved.without_curve() == default_spec("end_of_case")
    assert {"depth", "depth_curve"}.isdisjoint(term.name for term in curved.without(frozenset({"depth"})).terms)
    assert set(read_prior_table().rows) == {*BOOKING, *THEATRE, "depth_curve"}


@pytest.mark.parametrize("model", MODELS)
def test_what_says_how_to_read_a_field_is_known_by_then(model: str) -> None:
    spec = default_spec(model)
    assert set(spec.fields) - set(spec.predictors) <= {
        "acd_definition", "us_energy_value", "us_energy_metric", "us_motion", "phaco_machine_id",
    }  # fmt: skip
    assert all(BY_NAME[name].stage in MODEL_STAGES[model] for name in spec.fields)


def test_the_prior_table_holds_the_published_effects() -> None:
    table = read_prior_table()
    # Int Eye Sci 2021;21(11): odds ratios 1.301 a grade and 0.651 (presumably per mm); age 1.162 (unit not given).
    assert table.row("hardness").mean == pytest.approx(math.log(1.301), abs=5e-4)
    assert table.row("depth").mean == pytest.approx(math.log(0.651), abs=5e-4)
    assert table.row("age").mean == pytest.approx(math.log(1.162), abs=5e-4)
    assert table.strength == 0.5
    assert all(row.sd > 0 and row.source for row in table.rows.values())
    with pytest.raises(ModelError, match="no row for the term"):
        table.row("unheard_of")


@pytest.mark.parametrize("model", MODELS)
def test_a_spec_comes_back_from_json(model: str) -> None:
    spec = default_spec(model, curve=True)
    assert Spec.from_dict(json.loads(json.dumps(spec.as_dict()))) == spec


def test_json_with_a_changed_meaning_or_key_is_refused() -> None:
    written = default_spec("booking").as_dict()
    fields = dict(written["fields"])  # type: ignore[call-overload]
    fields["glaucoma"] = "0" * 16
    with pytest.raises(ModelError, match=r"come to mean something else: glaucoma"):
        Spec.from_dict({**written, "fields": fields})
    with pytest.raises(ModelError, match="missing or unknown: extra"):
        Spec.from_dict({**written, "extra": 1})
    with pytest.raises(ModelError, match="does not say what its fields mean"):
        Spec.from_dict({**written, "fields": {}})
    with pytest.raises(ModelError, match="wrong kind"):
        Spec.from_dict({**written, "terms": [{**written["terms"][0], "kind": "cubic"}]})  # type: ignore[index]
    for broken in ({"terms": [1]}, {"terms": 1}, {"outcome": 1}):
        with pytest.raises(ModelError):
            Spec.from_dict({**written, **broken})


def test_impossible_plans_are_refused() -> None:
    depth = Term("depth", "acd_mm", TermKind.DEPTH)
    curve = Term("depth_curve", "acd_mm", TermKind.CURVE)
    plans = (
        lambda: default_spec("next_week"),
        lambda: Spec("booking", ()),
        lambda: Spec("booking", (depth, depth)),
        lambda: Spec("booking", (curve, depth)),
        lambda: Spec("booking", (curve,)),
        lambda: Spec("booking", (depth,), Outcome(cut=0)),
        lambda: Spec("booking", (depth,), Outcome(window=(36, 12))),
        lambda: Spec("booking", (depth,), missing="indicator"),
        lambda: Spec("booking", (depth,), weights="loud"),
        lambda: Spec("booking", (Term("depth", "acd_mm", TermKind.DEPTH, 0.0),)),
        lambda: Spec("booking", (Term("diabetes", "diabetes", TermKind.LINEAR),)),
    )
    for plan in plans:
        with pytest.raises(ModelError):
            plan()


@pytest.mark.parametrize("name", list(CODINGS))
def test_every_code_of_a_coded_field_is_read_as_the_table_says(name: str) -> None:
    coding = CODINGS[name]
    read = column_reader(Term(name, coding.field, TermKind.CODED))
    codes = {int(code) if BY_NAME[coding.field].kind is Kind.GRADE else code for code in BY_NAME[coding.field].codes}
    assert codes == coding.one | coding.zero | coding.missing
    for code in codes:
        value = read({coding.field: code})
        assert math.isnan(value) if code in coding.missing else value == float(code in coding.one)
    assert math.isnan(read({}))
    assert math.isnan(read({f"{coding.field}_missing": "not_possible"}))
    with pytest.raises(ModelError, match="not in its list"):
        read({coding.field: "something else"})


@pytest.mark.parametrize(
    ("term", "field", "answer", "value"),
    [
        ("glaucoma", "glaucoma", "OHT", 0.0),
        ("pseudoexfoliation", "pseudoexfoliation", "suspect", 1.0),
        ("plane_iris", "working_plane", "mixed", 1.0),
        ("junior", "surgeon_grade", "trainee", 1.0),
        ("capsule_rupture", "pcr", "zonular_dialysis", 0.0),
        ("capsule_rupture", "pcr", "PCR+vitreous", 1.0),
        ("female", "sex", "other", math.nan),
        ("guttae_1_2", "guttae_grade", 3, 0.0),
        ("guttae_3_up", "guttae_grade", 3, 1.0),
    ],
)
def test_codings_that_were_decided(term: str, field: str, answer: object, value: float) -> None:
    read = column_reader(Term(term, field, TermKind.CODED))({field: answer})
    assert read == value or (math.isnan(read) and math.isnan(value))


def test_depth_is_brought_to_the_front_of_the_cornea() -> None:
    # Aqueous depth 3.10 - 0.540 = 2.56 mm: the same eye under both definitions.
    assert depth_from_front({"acd_mm": 2.56, "acd_definition": "endothelium", "cct_um": 540.0}) == pytest.approx(3.10)
    assert depth_from_front({"acd_mm": 3.10, "acd_definition": "epithelium", "cct_um": 540.0}) == 3.10
    assert depth_from_front({"acd_mm": 3.10}) == 3.10
    assert math.isnan(depth_from_front({"acd_mm": 2.56, "acd_definition": "endothelium"}))


def test_numbers_in_steps_and_logarithms() -> None:
    assert column_reader(Term("age", "age_years", TermKind.LINEAR, 10.0))({"age_years": 73.0}) == pytest.approx(7.3)
    log = column_reader(Term("fluid", "irrigation_volume_ml", TermKind.LOG))
    assert log({"irrigation_volume_ml": 100}) == pytest.approx(math.log(100))
    assert math.isnan(log({"irrigation_volume_ml": 0}))
    assert column_reader(Term("high", "hypertension", TermKind.LINEAR))({"hypertension": True}) == 1.0
    for wrong in ("73", math.inf, math.nan):
        with pytest.raises(ModelError, match="not a number"):
            column_reader(Term("age", "age_years", TermKind.LINEAR, 10.0))({"age_years": wrong})


def test_energy_readings_keep_machine_metric_and_motion_apart() -> None:
    row = {
        "phaco_machine_id": "M1", "us_motion": "torsional", "effective_phaco_time_s": 9.0, "us_energy_value": 99.0,
        "us_energy_metric": "console_cumulative",
    }  # fmt: skip
    assert energy_readings(row) == [
        (("M1", "effective_time_s", "torsional"), math.log(10.0)),
        (("M1", "console_cumulative", "torsional"), math.log(100.0)),
    ]
    assert energy_readings({**row, "phaco_machine_id": None}) == []
    assert len(energy_readings({**row, "us_energy_metric": None})) == 1
    assert len(energy_readings({**row, "us_energy_metric": "effective_time_s"})) == 1
