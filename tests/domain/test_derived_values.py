"""Formulas against worked values; each group names where the value comes from."""

import math
from datetime import date, datetime, time

import pytest

from clinic_app.domain import derived
from clinic_app.domain.derived import complete
from clinic_app.errors import Refusal

BASE = {"patient_id": "P-1", "eye": "R", "surgery_date": date(2026, 11, 19)}


@pytest.mark.parametrize(
    ("seconds", "power", "effective"),
    # By definition: seconds at 100 %. The last two: the same lenses at 30 and 60 % in one surgeon's 250 eyes,
    # ASCRS 2014 paper 6629, so that effective time is not conserved.
    [(60, 20, 12.0), (45, 15, 6.75), (90, 12.5, 11.25), (0, 40, 0.0), (20.42, 30, 6.126), (13.33, 60, 7.998)],
)
def test_effective_phaco_time(seconds, power, effective):
    assert derived.effective_phaco_time(seconds, power) == pytest.approx(effective, abs=5e-4)


def test_mean_power_back():
    assert derived.mean_power(12, 60) == pytest.approx(20.0, abs=1e-9)
    assert derived.mean_power(0, 0) is None


@pytest.mark.parametrize(
    ("volume", "with_bag", "chamber"), [(500, 1000, 2000), (100, 200, 400), (50, 100, 200)]
)  # chamber 0.25 mL, with the emptied bag 0.5 mL: from memory, a convention
def test_chamber_turnovers(volume, with_bag, chamber):
    assert derived.chamber_turnovers(volume) == pytest.approx(with_bag, abs=1e-9)
    assert derived.chamber_turnovers(volume, 0.25) == pytest.approx(chamber, abs=1e-9)


@pytest.mark.parametrize(
    ("before", "after", "change"),
    [
        (540, 580, 7.407),
        (549.1, 582.7, 6.119),  # means of 54 eyes, BMC Ophthalmol 2018
        (600, 540, -10.0),
        (545.3, 622.8, 14.212),  # means of 160 eyes, Cornea 2017; the mean of single changes there is 14.3
    ],
)
def test_thickness_change(before, after, change):
    assert derived.thickness_change_pct(before, after) == pytest.approx(change, abs=5e-4)


def test_aqueous_depth():
    assert derived.aqueous_depth(3.10, 540) == pytest.approx(2.56, abs=1e-9)


@pytest.mark.parametrize(("mmhg", "kpa"), [(7.5, 1.000), (10, 1.333), (21, 2.800), (30, 4.000), (40, 5.333)])
def test_pressure(mmhg, kpa):
    # Conventional millimetre of mercury: 133.322 Pa.
    assert derived.kpa_of_mmhg(mmhg) == pytest.approx(kpa, abs=5e-4)
    assert derived.mmhg_of_kpa(derived.kpa_of_mmhg(mmhg)) == pytest.approx(mmhg, abs=1e-12)


@pytest.mark.parametrize(("height", "mmhg"), [(60, 44.1), (100, 73.6), (110, 80.9)])
def test_bottle(height, mmhg):
    # Conventional centimetre of water: 0.73556 mmHg.
    assert derived.mmhg_of_bottle(height) == pytest.approx(mmhg, abs=0.05)


@pytest.mark.parametrize(("pct", "mmol"), [(6.0, 42), (7.0, 53), (8.0, 64), (9.0, 75)])
def test_hba1c(pct, mmol):
    # 10.929 x (percent - 2.15), from memory; the pairs are those of laboratory tables.
    assert derived.hba1c_mmol_of_pct(pct) == pytest.approx(mmol, abs=0.5)
    assert round(derived.hba1c_mmol_of_pct(pct)) == mmol
    assert derived.hba1c_pct_of_mmol(derived.hba1c_mmol_of_pct(pct)) == pytest.approx(pct, abs=1e-12)


def test_cell_loss():
    # 92 eyes, e-physician 2018: 2791.15 to 2472.87 printed as 11.4 %.
    assert derived.cell_loss_pct(2791.15, 2472.87) == pytest.approx(11.4, abs=0.05)


@pytest.mark.parametrize(("odds", "coefficient"), [(0.651, -0.429), (4.04, 1.396), (8.658, 2.158)])
def test_odds_ratio_to_coefficient(odds, coefficient):
    # Int Eye Sci 2021;21(11), Korean J Ophthalmol 2015;29:14-22, Int Eye Sci 2020;20(11).
    assert math.log(odds) == pytest.approx(coefficient, abs=5e-4)


def test_hours_count_the_change_of_the_clocks():
    # Central Europe turned back on 25 October 2026 and forward on 29 March 2026 (tz database).
    autumn = datetime(2026, 10, 24, 9, 0), datetime(2026, 10, 25, 9, 0)
    spring = datetime(2026, 3, 28, 9, 0), datetime(2026, 3, 29, 9, 0)
    assert derived.hours_between(*autumn, "Europe/Vienna") == 25.0
    assert derived.hours_between(*spring, "Europe/Vienna") == 23.0
    assert derived.hours_between(*autumn, "Asia/Kolkata") == 24.0
    assert derived.hours_between(*autumn) == 24.0


def test_an_unknown_zone_is_refused():
    with pytest.raises(Refusal, match="Nowhere"):
        derived.hours_between(datetime(2026, 1, 1), datetime(2026, 1, 2), "Europe/Nowhere")


def test_age():
    assert derived.age_at(date(1951, 6, 2), date(2026, 6, 1)) == pytest.approx(74 + 364 / 365, abs=1e-12)
    assert derived.age_at(date(1951, 6, 2), date(2026, 6, 2)) == 75.0
    assert derived.age_at(date(1951, 6, 2), date(2026, 11, 19)) == pytest.approx(75 + 170 / 365, abs=1e-12)
    assert derived.age_at(date(1948, 2, 29), date(2026, 3, 1)) == 78.0
    assert derived.age_at(date(1948, 2, 29), date(2026, 2, 28)) == pytest.approx(77 + 364 / 365, abs=1e-12)
    assert derived.age_at(date(1948, 2, 29), date(2024, 2, 29)) == 76.0
    assert derived.age_at(date(2026, 6, 2), date(2026, 6, 1)) < 0


def test_a_row_is_completed():
    row = BASE | {
        "surgery_time": time(9, 0), "birth_date": date(1951, 11, 19), "exam_at": datetime(2026, 11, 20, 9, 30),
        "us_time_s": 60.0, "us_mean_power_pct": 20.0, "cct_um": 540.0, "cct_pod1_um": 580.0, "hba1c_pct": 7.0,
        "preop_va_raw": "6/12", "ucva_raw": "HM",
    }  # fmt: skip
    full = complete(row, zone="Europe/Vienna")
    assert full["age_years"] == 75.0
    assert full["hours_since_surgery"] == 24.5
    assert full["effective_phaco_time_s"] == 12.0
    assert full["ept_origin"] == "derived"
    assert full["cct_change_pct"] == pytest.approx(7.407, abs=5e-4)
    assert full["hba1c_mmol_mol"] == pytest.approx(53, abs=0.1)
    assert full["preop_va_logmar"] == pytest.approx(0.301, abs=5e-4)
    assert full["ucva_logmar"] == 2.28
    assert row.keys() < full.keys()


def test_given_derived_values_stay_where_their_sources_are_missing():
    given = BASE | {"age_years": 71.0, "effective_phaco_time_s": 9.0, "hours_since_surgery": 20.0, "us_time_s": 60.0,
                    "cct_change_pct": 5.0, "preop_va_logmar": 0.4, "hba1c_mmol_mol": 53.0}  # fmt: skip
    full = complete(given)
    assert {name: full[name] for name in given} == given
    assert full["hba1c_pct"] == pytest.approx(7.0, abs=0.01)


def test_given_derived_values_yield_to_their_sources():
    full = complete(BASE | {"age_years": 20.0, "birth_date": date(1951, 11, 19), "age_years_missing": "not_recorded"})
    assert full["age_years"] == 75.0
    assert "age_years_missing" not in full


def test_a_machines_own_effective_time_is_kept():
    row = BASE | {"us_time_s": 60.0, "us_mean_power_pct": 20.0, "effective_phaco_time_s": 9.0}
    assert complete(row | {"ept_origin": "machine"})["effective_phaco_time_s"] == 9.0
    assert complete(row | {"ept_origin": "derived"})["effective_phaco_time_s"] == 12.0


def test_thickness_of_two_devices_gives_no_change():
    row = BASE | {"cct_um": 540.0, "cct_pod1_um": 580.0, "cct_change_pct": 7.4}
    devices = {"cct_um_source": "oct", "cct_pod1_um_source": "ultrasound"}
    assert complete(row | devices)["cct_change_pct"] is None


def test_a_day_alone_gives_no_hours():
    row = BASE | {"surgery_time": time(13, 0), "exam_at": datetime(2026, 11, 20)}
    assert complete(row).get("hours_since_surgery") is None


def test_perception_of_light_gives_no_number():
    full = complete(BASE | {"preop_va_raw": "LP", "preop_va_logmar": 2.7})
    assert full["preop_va_logmar"] is None
    assert full["preop_va_logmar_missing"] == "not_possible"


def test_a_bare_vision_changes_nothing():
    assert complete(BASE | {"preop_va_raw": "0.5", "preop_va_logmar": 0.3})["preop_va_logmar"] == 0.3
