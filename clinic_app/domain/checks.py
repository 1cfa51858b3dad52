"""Checks between the fields of one eye; those between two eyes stand in `fellows`."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date, datetime
from types import MappingProxyType

from clinic_app.domain import derived
from clinic_app.domain.dates import in_letters
from clinic_app.domain.derived import number
from clinic_app.domain.fellows import alike_identifiers, check_eye, check_fellow, check_other_eye
from clinic_app.domain.findings import Finding
from clinic_app.domain.numbers import show
from clinic_app.domain.record import Row
from models.codebook import BY_NAME, CENTRE_GRADE, FIELDS, Field, Stage

__all__ = ["Finding", "alike_identifiers", "check", "check_eye", "check_fellow", "check_other_eye"]

MANY_FOLDS = 5
"""Folds from which on a centre grade of 1 is asked about."""
WINDOW_HOURS = (12.0, 36.0)
"""Hours after surgery in which a visit counts as day one."""
_MEASURED: MappingProxyType[str, Field] = MappingProxyType({f"{one.name}_at": one for one in FIELDS if one.measured})
"""The companion with the day of a measurement -> its field."""
_NOT_SEEN = frozenset({"remote_only", "missed", "deceased", "transferred", "not_planned"})


def _day(row: Row, name: str) -> date | None:
    value = row.get(name)
    if isinstance(value, datetime):
        return value.date()
    return value if isinstance(value, date) else None


def _birth(row: Row) -> Iterable[Finding]:
    birth, surgery = _day(row, "birth_date"), _day(row, "surgery_date")
    if birth is None or surgery is None:
        return
    both = ("birth_date", "surgery_date")
    if birth > surgery:
        yield Finding(
            "refuse", "born_after_surgery", both, "The birth date lies after the surgery.", "Correct one of the two."
        )
    elif derived.age_at(birth, surgery) > 110:
        yield Finding(
            "refuse", "age_over_110", both, "The age at surgery is over 110 years.", "Correct the birth date."
        )
    elif birth.year == surgery.year:
        yield Finding(
            "ask",
            "birth_year_is_surgery_year",
            both,
            "The year of birth is that of the surgery.",
            "Perhaps the year was mistyped.",
        )


def _visits(row: Row) -> Iterable[Finding]:
    surgery = _day(row, "surgery_date")
    started, seen = derived.started_at(row), row.get("exam_at")
    if surgery is None:
        return
    for name in ("exam_at", "recheck_at"):
        day = _day(row, name)
        if day is not None and day < surgery:
            words = "Day one" if name == "exam_at" else "The recheck"
            yield Finding(
                "refuse",
                "seen_before_surgery",
                (name, "surgery_date"),
                f"{words} lies before the surgery.",
                "Correct one of the two days.",
            )
    if (
        isinstance(seen, datetime)
        and derived.clock_known(seen)
        and started
        and surgery <= seen.date()
        and seen < started
    ):
        yield Finding(
            "refuse",
            "seen_before_surgery",
            ("exam_at", "surgery_time"),
            "Day one lies before the start of the surgery.",
            "Correct one of the two times.",
        )
    hours = number(row, "hours_since_surgery")
    if hours is not None and not WINDOW_HOURS[0] <= hours <= WINDOW_HOURS[1]:
        yield Finding(
            "note",
            "outside_window",
            ("hours_since_surgery",),
            f"{hours:.0f} h after surgery: outside 12–36 h. The grade is kept and not used to judge the forecast.",
            "Nothing to do.",
        )


def _measured_days(row: Row) -> Iterable[Finding]:
    surgery = _day(row, "surgery_date")
    if surgery is None or _MEASURED.keys().isdisjoint(row):
        return
    for name, field in _MEASURED.items():
        at = _day(row, name)
        if at is None:
            continue
        names = (field.name, name, "surgery_date")
        if field.stage is Stage.BOOKING and at > surgery:
            yield Finding(
                "refuse",
                "measured_after_surgery",
                names,
                f"{field.label} was measured on {in_letters(at)}, after the surgery.",
                "A measurement of before surgery cannot be dated after it; correct the day or leave the value out.",
            )
        elif field.stage is Stage.DAY_ONE and at < surgery:
            yield Finding(
                "refuse",
                "measured_before_surgery",
                names,
                f"{field.label} was measured on {in_letters(at)}, before the surgery.",
                "Correct the day, or leave the value out.",
            )


def _ultrasound(row: Row) -> Iterable[Finding]:
    time_s, power, typed = (number(row, name) for name in ("us_time_s", "us_mean_power_pct", "effective_phaco_time_s"))
    if time_s is not None and power is not None and typed is not None:
        worked = derived.effective_phaco_time(time_s, power)
        if abs(typed - worked) > max(0.5, 0.1 * worked):
            yield Finding(
                "ask",
                "effective_time_differs",
                ("effective_phaco_time_s", "us_time_s", "us_mean_power_pct"),
                f"The machine gives {show(typed)} s; time x power is {show(worked, 2)} s. Are both right?",
                "Look at the end screen again, or keep both.",
            )
    if number(row, "us_energy_value") is not None and row.get("us_energy_metric") is None:
        yield Finding(
            "refuse",
            "energy_without_metric",
            ("us_energy_value", "us_energy_metric"),
            "An energy reading without its metric cannot be compared with any other.",
            "Say what the number is, or leave it out.",
        )
    if number(row, "iop_setting_mmhg") is not None and number(row, "bottle_height_cm") is not None:
        yield Finding(
            "refuse",
            "infusion_and_bottle",
            ("iop_setting_mmhg", "bottle_height_cm"),
            "Infusion pressure and bottle height are both given.",
            "Give the one that was set.",
        )


def _lens(row: Row) -> Iterable[Finding]:
    graded = tuple(name for name in ("nuclear_opalescence_no", "nuclear_color_nc") if number(row, name) is not None)
    if row.get("white_or_brunescent") == "white_intumescent" and graded:
        yield Finding(
            "ask",
            "white_with_opalescence",
            ("white_or_brunescent", *graded),
            "In a white cataract opalescence and colour cannot be graded.",
            "Answer np, not possible; or correct “White”.",
        )
    years, age = number(row, "diabetes_years"), number(row, "age_years")
    if years is not None and row.get("diabetes") == "none":
        yield Finding(
            "ask",
            "years_without_diabetes",
            ("diabetes", "diabetes_years"),
            "Years of diabetes are given, and diabetes is None.",
            "Correct one of the two.",
        )
    if years is not None and age is not None and years > age:
        yield Finding(
            "refuse",
            "years_over_age",
            ("diabetes_years",),
            "The years of diabetes are more than the age.",
            "Correct the years.",
        )


def _folds(row: Row) -> int | None:
    """The least number of folds that the row speaks of."""
    counted = number(row, "descemet_folds_count")
    if counted is not None:
        return int(counted)
    return {"0": 0, "1-4": 1, "5-9": 5, "10+": 10}.get(str(row.get("descemet_folds")))


def _grades(row: Row) -> Iterable[Finding]:
    grade, extent, folds = number(row, CENTRE_GRADE), row.get("edema_extent"), _folds(row)
    if grade is None:
        return
    if grade >= 2 and extent == "wound_only":
        yield Finding(
            "ask",
            "wound_only_with_centre",
            (CENTRE_GRADE, "edema_extent"),
            f"Centre grade {grade:.0f} with haze at the wound only. Is the haze inside the ring?",
            "Choose Centre or Edge only.",
        )
    if grade >= 2 and extent == "none":
        yield Finding(
            "ask",
            "no_extent_with_centre",
            (CENTRE_GRADE, "edema_extent"),
            f"Centre grade {grade:.0f}, and no haze anywhere.",
            "Correct the grade or the extent.",
        )
    if grade == 1 and folds is not None and folds >= MANY_FOLDS:
        yield Finding(
            "ask",
            "faint_with_many_folds",
            (CENTRE_GRADE, "descemet_folds"),
            "Centre grade 1 with 5 or more folds. Is it grade 2?",
            "Look again: 5 folds or more go with grade 2.",
        )
    if row.get("visit_status") in _NOT_SEEN:
        label = BY_NAME["visit_status"].choice_label(row.get("visit_status"))
        yield Finding(
            "refuse",
            "grade_without_visit",
            ("visit_status", CENTRE_GRADE),
            f"The visit is “{label}”, and a grade is given.",
            "A grade needs an examination; correct one of the two.",
        )


def _folds_agree(row: Row) -> Iterable[Finding]:
    counted, banded = number(row, "descemet_folds_count"), row.get("descemet_folds")
    if counted is None or banded is None:
        return
    band = "0" if counted == 0 else "1-4" if counted < 5 else "5-9" if counted < 10 else "10+"
    if band != banded:
        yield Finding(
            "ask",
            "folds_differ",
            ("descemet_folds", "descemet_folds_count"),
            f"{counted:.0f} folds were counted, and {banded} is marked.",
            "Correct one of the two.",
        )


def _thickness(row: Row) -> Iterable[Finding]:
    before, after = number(row, "cct_um"), number(row, "cct_pod1_um")
    if before is None or after is None:
        return
    if not derived.same_device(row):
        yield Finding(
            "note",
            "other_device",
            ("cct_um", "cct_pod1_um"),
            "Baseline was measured on another device. The change in thickness is not worked out.",
            "Nothing to do.",
        )
        return
    change, hard = derived.thickness_change_pct(before, after), BY_NAME["cct_change_pct"].hard
    if hard is not None and not hard[0] <= change <= hard[1]:
        yield Finding(
            "ask",
            "thickness_change",
            ("cct_um", "cct_pod1_um"),
            f"Thickness changed by {change:+.0f} %. Are both values right?",
            "Measure again, or correct one of the two.",
        )


def _people(row: Row) -> Iterable[Finding]:
    examiner = row.get("examiner_id")
    if examiner is not None and examiner == row.get("surgeon_id"):
        yield Finding(
            "note",
            "own_case",
            ("examiner_id", "surgeon_id"),
            "The examiner operated on this eye. The grade is marked Own case.",
            "Another examiner is better.",
        )


_CHECKS: tuple[Callable[[Row], Iterable[Finding]], ...] = (
    _birth,
    _visits,
    _measured_days,
    _lens,
    _ultrasound,
    _grades,
    _folds_agree,
    _thickness,
    _people,
)


def check(row: Row) -> list[Finding]:
    """What stands against the row as it is, refusals first.

    Devices and days of measurements are read from `<field>_source` and `<field>_at` where the row carries them.
    Compare a machine's effective time before `derived.complete` replaces it.
    """
    found = [finding for one in _CHECKS for finding in one(row)]
    return sorted(found, key=lambda finding: ("refuse", "ask", "note").index(finding.kind))
