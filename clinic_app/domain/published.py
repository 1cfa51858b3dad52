"""Published findings on other patients, one rule for each field: outcome, number, in whom, and where it was found.

Numbers were read in abstracts and excerpts of the sources named; full texts were not opened. Odds found in people with
diabetes are given only for people with diabetes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from clinic_app.domain.derived import number
from clinic_app.domain.numbers import show
from clinic_app.domain.record import Row
from models.codebook import field

INT_EYE_2020 = "Int Eye Sci 2020;20(11)"
DIABETIC = "312 patients with diabetes"
LOW_COUNT = "61 eyes with fewer than 1000 cells per mm²"
OPHTHALMOLOGY_2005 = "Ophthalmology 2005, PMID 15745771"
FRENCH = "French series of 64 eyes"
JCRS_61 = "J Cataract Refract Surg, series of 61 eyes"
REVIEW, SENSORS = "a review's introduction", "Sensors 2021;21:996"
NO_NUMBER = "no number known"


@dataclass(frozen=True, slots=True)
class Fact:
    """One finding: the field, its value as shown, the outcome found, the number as published, in whom, and where."""

    field: str
    shown: str
    outcome: str
    number: str
    population: str
    source: str


@dataclass(frozen=True, slots=True)
class Unknown:
    """A rule that cannot speak because another field, `field`, is missing."""

    field: str


Found = list[Fact] | Unknown
"""What a rule comes to: its facts, none, or that it cannot speak."""


def _one(name: str, shown: str, outcome: str, found: str, population: str, source: str) -> list[Fact]:
    return [Fact(name, shown, outcome, found, population, source)]


def _label(name: str, row: Row) -> str:
    one, value = field(name), row.get(name)
    if one.choices:
        shown = one.choice_label(value)
        return f"{one.label} {value}, {shown}" if one.kind.value == "grade" else f"{one.label}: {shown}"
    return f"{one.label} {show(number(row, name) or 0.0)}"


def _diabetic(row: Row) -> bool:
    return row.get("diabetes") in ("type1", "type2", "other")


def _guttae(row: Row) -> Found:
    grade = number(row, "guttae_grade") or 0
    if grade < 1:
        return []
    return _one(
        "guttae_grade",
        _label("guttae_grade", row),
        "Graft years later",
        "88 against 1.4 per 10 000 person-years, risk ratio 68.2",
        "eyes with guttae against eyes without",
        "J Cataract Refract Surg 2020;46:961-966",
    )


def _thickness(row: Row) -> Found:
    cct, guttae = number(row, "cct_um") or 0.0, number(row, "guttae_grade")
    if cct <= 570:
        return []
    if guttae is None:
        return Unknown("guttae_grade")
    if guttae < 1:
        return []
    shown, found = f"Thickness {show(cct)} µm with guttae", []
    if cct >= 600:
        told = "10 % of 50 eyes at 600 µm or more; of those at 640 µm or more 83 % had none"
        found.append(
            Fact("cct_um", shown, "Graft within a year", told, "136 eyes with weak endothelium", OPHTHALMOLOGY_2005)
        )
    if cct < 630:
        told = "34 % of those over 570 µm, 22 % (14 of 64) of all"
        people = "64 eyes with weak endothelium, under 630 µm, no morning blur"
        found.append(Fact("cct_um", shown, "Graft later", told, people, FRENCH))
    return found


def _blur(row: Row) -> Found:
    if row.get("morning_blur") is not True:
        return []
    return _one(
        "morning_blur",
        "Morning blur",
        "Graft later",
        "eyes with blur were not operated alone in the series; no number for them",
        "64 eyes with weak endothelium",
        FRENCH,
    )


def _count(row: Row) -> Found:
    count = number(row, "ecd_per_mm2") or 0.0
    shown = f"Cell count {show(count)} per mm²"
    if count < 1000:
        found = [
            Fact(
                "ecd_per_mm2",
                shown,
                "Lasting blisters of the cornea",
                "14.8 % (9 of 61); more in eyes under 23.0 mm, with diabetes, with capsule rupture",
                LOW_COUNT,
                JCRS_61,
            )
        ]
        if count <= 750:
            found.append(
                Fact(
                    "ecd_per_mm2",
                    shown,
                    "Failure of the cornea",
                    "likely near 500 per mm², quoted from 250 to 750",
                    REVIEW,
                    SENSORS,
                )
            )
        return found
    if count <= 2000:
        return _one(
            "ecd_per_mm2",
            shown,
            "Cell loss",
            "28.9 % between 1000 and 2000 per mm², 15.0 % above",
            "353 eyes",
            "J Clin Med 2021;10:2270",
        )
    return []


def _spread(row: Row) -> Found:
    spread = number(row, "endo_cv_pct") or 0.0
    if spread <= 40:
        return []
    return _one(
        "endo_cv_pct",
        f"Cell size spread {show(spread)} %",
        "Weak reserve of cells",
        "healthy is under 40 %",
        REVIEW,
        SENSORS,
    )


def _six_sided(row: Row) -> Found:
    share = number(row, "endo_hex_pct") or 0.0
    if share >= 60:
        return []
    return _one(
        "endo_hex_pct",
        f"Six-sided cells {show(share)} %",
        "Weak reserve of cells",
        "healthy is 60 % or more",
        REVIEW,
        SENSORS,
    )


def _hardness(row: Row) -> Found:
    grade = number(row, "nucleus_hardness") or 0
    if grade < 4:
        return []
    if row.get("diabetes") is None:
        return Unknown("diabetes")
    if _diabetic(row):
        return _one(
            "nucleus_hardness",
            _label("nucleus_hardness", row),
            "Swelling in week one",
            "hardness 4-5: odds 8.7 times (2.6 to 28.9)",
            DIABETIC,
            INT_EYE_2020,
        )
    return _one(
        "nucleus_hardness",
        _label("nucleus_hardness", row),
        "Swelling in the first three days",
        "odds 1.3 times, presumably for each grade",
        "957 eyes of 623 patients",
        "Int Eye Sci 2021;21(11)",
    )


def _opalescence(row: Row) -> Found:
    value = number(row, "nuclear_opalescence_no") or 0.0
    if value < 4:
        return []
    return _one(
        "nuclear_opalescence_no",
        f"Nuclear opalescence {show(value)}",
        "Descemet detachment",
        "4 or more was taken as hard; no number for it alone",
        "cases against controls",
        "Cornea, case-control study of Descemet detachment",
    )


def _depth(row: Row) -> Found:
    depth, hardness = number(row, "acd_mm") or 0.0, number(row, "nucleus_hardness")
    if row.get("acd_definition") == "endothelium":
        cct = number(row, "cct_um")
        if cct is None:
            return Unknown("cct_um") if depth < 3.0 else []
        depth += cct / 1000.0
    if depth >= 3.0:
        return []
    shown = f"Chamber {depth:.2f} mm"
    if depth <= 2.5 and hardness is None:
        return Unknown("nucleus_hardness")
    if depth <= 2.5 and hardness in (3.0, 4.0):
        return _one(
            "acd_mm",
            shown,
            "Cell loss",
            "2.5 mm or less with nucleus 3-4: more",
            "135 eyes",
            "J Ophthalmol 2015, 210716",
        )
    return _one(
        "acd_mm",
        shown,
        "Cells left after four weeks",
        "under 3 mm: 1538 against 1799 per mm²",
        "148 eyes",
        "cohort of 2018, 148 eyes",
    )


def _length(row: Row) -> Found:
    length, count = number(row, "axial_length_mm") or 0.0, number(row, "ecd_per_mm2")
    if length >= 23.0:
        return []
    shown = f"Axial length {show(length)} mm"
    if count is not None and count < 1000:
        return _one(
            "axial_length_mm",
            shown,
            "Lasting blisters of the cornea",
            "under 23.0 mm: more often; no number for it alone",
            LOW_COUNT,
            JCRS_61,
        )
    if length < 22.0:
        return _one(
            "axial_length_mm",
            shown,
            "Cell loss",
            "more in shorter eyes; under 22 mm is called short (from memory)",
            "50 eyes",
            "J Cataract Refract Surg 2000",
        )
    return []


def _years(row: Row) -> Found:
    years = number(row, "diabetes_years") or 0.0
    if not _diabetic(row) or years <= 10:
        return []
    return _one(
        "diabetes_years",
        f"Diabetes for {show(years)} years",
        "Swelling in week one",
        "more than 10 years: odds 6.9 times (1.9 to 25.1)",
        DIABETIC,
        INT_EYE_2020,
    )


def _exfoliation(row: Row) -> Found:
    if row.get("pseudoexfoliation") not in ("suspect", "yes"):
        return []
    return _one(
        "pseudoexfoliation",
        _label("pseudoexfoliation", row),
        "Cell loss",
        "series differ: 9.0 against 3.4 % at three months; no difference at two years",
        "36 against 36 eyes; 62 against 62 eyes",
        "congress summary 2014; Acta Ophthalmol 2019",
    )


def _uveitis(row: Row) -> Found:
    if row.get("uveitis_history") not in ("past", "active"):
        return []
    if row.get("diabetes") is None:
        return Unknown("diabetes")
    shown = _label("uveitis_history", row)
    if _diabetic(row):
        found = "chronic uveitis: odds 2.6 times (1.1 to 6.2)"
        return _one("uveitis_history", shown, "Swelling in week one", found, DIABETIC, INT_EYE_2020)
    if row.get("uveitis_history") == "active":
        return _one("uveitis_history", shown, "A cloudy cornea", NO_NUMBER, "no study read", "common practice")
    return []


def _attack(row: Row) -> Found:
    if row.get("prior_angle_closure_attack") is not True:
        return []
    return _one(
        "prior_angle_closure_attack",
        "Angle attack",
        "Fewer cells before surgery",
        f"lower count after an attack; {NO_NUMBER}",
        "eyes after an attack",
        "Korean J Ophthalmol 2020",
    )


def _graft(row: Row) -> Found:
    if row.get("prior_keratoplasty") in (None, "none"):
        return []
    return _one(
        "prior_keratoplasty",
        _label("prior_keratoplasty", row),
        "A low count",
        "a past graft was the cause in 10 of 61",
        LOW_COUNT,
        JCRS_61,
    )


def _filter(row: Row) -> Found:
    past = row.get("prior_glaucoma_surgery")
    if not isinstance(past, tuple | list) or set(past) <= {"none"}:
        return []
    shown = ", ".join(field("prior_glaucoma_surgery").choice_label(code) for code in past)
    return _one(
        "prior_glaucoma_surgery",
        shown,
        "A low count",
        "iridotomy was the cause in 16 of 61, a filter in 3",
        LOW_COUNT,
        JCRS_61,
    )


RULES: tuple[tuple[str, Callable[[Row], Found]], ...] = (
    ("guttae_grade", _guttae),
    ("cct_um", _thickness),
    ("morning_blur", _blur),
    ("ecd_per_mm2", _count),
    ("endo_cv_pct", _spread),
    ("endo_hex_pct", _six_sided),
    ("nucleus_hardness", _hardness),
    ("nuclear_opalescence_no", _opalescence),
    ("acd_mm", _depth),
    ("axial_length_mm", _length),
    ("diabetes_years", _years),
    ("pseudoexfoliation", _exfoliation),
    ("uveitis_history", _uveitis),
    ("prior_angle_closure_attack", _attack),
    ("prior_keratoplasty", _graft),
    ("prior_glaucoma_surgery", _filter),
)
"""Field -> its rule, in the order of the booking form. A rule is called only when its own field has a value."""
