"""Facts to weigh: each with its outcome, number, people and source; no total, no odds for the wrong people."""

import dataclasses

import pytest

from clinic_app.domain.facts import Facts, facts_to_weigh

PLAIN = {
    "guttae_grade": 0, "cct_um": 545.0, "morning_blur": False, "ecd_per_mm2": 2480.0, "endo_cv_pct": 34.0,
    "endo_hex_pct": 62.0, "nucleus_hardness": 2, "nuclear_opalescence_no": 2.4, "acd_mm": 3.15, "axial_length_mm": 23.5,
    "diabetes": "none", "pseudoexfoliation": "no", "uveitis_history": "none", "prior_angle_closure_attack": False,
    "prior_keratoplasty": "none", "prior_glaucoma_surgery": ("none",),
}  # fmt: skip


def told(change):
    return [(fact.field, fact.outcome) for fact in facts_to_weigh(PLAIN | change).facts]


def test_a_plain_eye_has_nothing_to_weigh():
    found = facts_to_weigh(PLAIN)
    assert found.facts == ()
    assert found.cannot_judge == ()
    assert set(found.nothing) == set(PLAIN) - {"diabetes"}


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({"guttae_grade": 1}, [("guttae_grade", "Graft years later")]),
        ({"cct_um": 660.0}, []),
        (
            {"guttae_grade": 2, "cct_um": 660.0},
            [("guttae_grade", "Graft years later"), ("cct_um", "Graft within a year")],
        ),
        ({"guttae_grade": 2, "cct_um": 580.0}, [("guttae_grade", "Graft years later"), ("cct_um", "Graft later")]),
        ({"guttae_grade": 2, "cct_um": 570.0}, [("guttae_grade", "Graft years later")]),
        ({"morning_blur": True}, [("morning_blur", "Graft later")]),
        ({"ecd_per_mm2": 999.0}, [("ecd_per_mm2", "Lasting blisters of the cornea")]),
        ({"ecd_per_mm2": 1000.0}, [("ecd_per_mm2", "Cell loss")]),
        ({"ecd_per_mm2": 2000.0}, [("ecd_per_mm2", "Cell loss")]),
        ({"ecd_per_mm2": 2001.0}, []),
        (
            {"ecd_per_mm2": 600.0},
            [("ecd_per_mm2", "Lasting blisters of the cornea"), ("ecd_per_mm2", "Failure of the cornea")],
        ),
        ({"endo_cv_pct": 41.0}, [("endo_cv_pct", "Weak reserve of cells")]),
        ({"endo_hex_pct": 59.0}, [("endo_hex_pct", "Weak reserve of cells")]),
        ({"acd_mm": 2.5, "nucleus_hardness": 3}, [("acd_mm", "Cell loss")]),
        ({"acd_mm": 2.5}, [("acd_mm", "Cells left after four weeks")]),
        ({"acd_mm": 2.9}, [("acd_mm", "Cells left after four weeks")]),
        ({"acd_mm": 2.6, "acd_definition": "endothelium"}, []),
        ({"acd_mm": 2.4, "acd_definition": "endothelium"}, [("acd_mm", "Cells left after four weeks")]),
        ({"nuclear_opalescence_no": 4.0}, [("nuclear_opalescence_no", "Descemet detachment")]),
        ({"axial_length_mm": 21.9}, [("axial_length_mm", "Cell loss")]),
        ({"axial_length_mm": 22.5}, []),
        (
            {"axial_length_mm": 22.5, "ecd_per_mm2": 900.0},
            [("ecd_per_mm2", "Lasting blisters of the cornea"), ("axial_length_mm", "Lasting blisters of the cornea")],
        ),
        ({"pseudoexfoliation": "suspect"}, [("pseudoexfoliation", "Cell loss")]),
        ({"uveitis_history": "active"}, [("uveitis_history", "A cloudy cornea")]),
        ({"uveitis_history": "past"}, []),
        ({"prior_angle_closure_attack": True}, [("prior_angle_closure_attack", "Fewer cells before surgery")]),
        ({"prior_keratoplasty": "DMEK"}, [("prior_keratoplasty", "A low count")]),
        ({"prior_glaucoma_surgery": ("laser_iridotomy", "tube")}, [("prior_glaucoma_surgery", "A low count")]),
    ],
)
def test_each_finding_at_its_limit(change, expected):
    assert told(change) == expected


def test_odds_found_in_diabetics_are_for_diabetics_only():
    hard = {"nucleus_hardness": 4, "uveitis_history": "past"}
    with_diabetes = facts_to_weigh(PLAIN | hard | {"diabetes": "type2", "diabetes_years": 14.0})
    assert [fact.number for fact in with_diabetes.facts] == [
        "hardness 4-5: odds 8.7 times (2.6 to 28.9)",
        "more than 10 years: odds 6.9 times (1.9 to 25.1)",
        "chronic uveitis: odds 2.6 times (1.1 to 6.2)",
    ]
    without = facts_to_weigh(PLAIN | hard | {"diabetes_years": 14.0})
    assert [fact.number for fact in without.facts] == ["odds 1.3 times, presumably for each grade"]
    assert all("diabetes" not in fact.population for fact in without.facts)
    unknown = facts_to_weigh(PLAIN | hard | {"diabetes": None})
    assert unknown.facts == ()
    assert ("nucleus_hardness", "Diabetes: not yet answered") in unknown.cannot_judge


def test_missing_answers_cannot_be_judged_and_say_why():
    found = facts_to_weigh(PLAIN | {"ecd_per_mm2": None, "ecd_per_mm2_missing": "not_done", "cct_um": None})
    assert found.cannot_judge == (("cct_um", "not yet answered"), ("ecd_per_mm2", "not done"))
    thick = facts_to_weigh(PLAIN | {"cct_um": 660.0, "guttae_grade": None})
    assert ("cct_um", "Guttae, centre: not yet answered") in thick.cannot_judge
    deep = facts_to_weigh(PLAIN | {"acd_mm": 2.6, "acd_definition": "endothelium", "cct_um": None})
    assert ("acd_mm", "Thickness: not yet answered") in deep.cannot_judge
    shallow = facts_to_weigh(PLAIN | {"acd_mm": 2.4, "nucleus_hardness": None})
    assert ("acd_mm", "Nucleus hardness: not yet answered") in shallow.cannot_judge


def test_what_does_not_apply_is_not_listed():
    found = facts_to_weigh(PLAIN | {"morning_blur": None, "morning_blur_missing": "not_applicable"})
    assert "morning_blur" not in {name for name, _ in found.cannot_judge}


def test_every_fact_says_outcome_number_people_and_source():
    seen = {}
    for change in ({"guttae_grade": 5, "cct_um": 610.0, "morning_blur": True, "ecd_per_mm2": 500.0, "endo_cv_pct": 50.0,
                    "endo_hex_pct": 40.0, "nucleus_hardness": 4, "nuclear_opalescence_no": 5.0, "acd_mm": 2.4,
                    "axial_length_mm": 21.0, "diabetes": "type1", "diabetes_years": 20.0, "pseudoexfoliation": "yes",
                    "uveitis_history": "active", "prior_angle_closure_attack": True, "prior_keratoplasty": "PK",
                    "prior_glaucoma_surgery": ("tube",)},):  # fmt: skip
        for fact in facts_to_weigh(PLAIN | change).facts:
            seen[fact.field] = fact
            assert all(dataclasses.astuple(fact)), fact
    assert set(seen) == (set(PLAIN) | {"diabetes_years"}) - {"diabetes"}


def test_there_is_no_total():
    assert [one.name for one in dataclasses.fields(Facts)] == ["facts", "cannot_judge", "nothing"]
