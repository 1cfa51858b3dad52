"""Slips of unit and digits are asked about, with the value probably meant and no Keep outside the hard range."""

import pytest

from clinic_app.domain.reading import Asked, Refused, Taken, read
from clinic_app.domain.slips import SLIPS
from models.codebook import field


@pytest.mark.parametrize(
    ("name", "text", "question", "labels"),
    [
        ("cct_um", "0.54", "0.54 µm? Perhaps in mm.", ["Use 540"]),
        ("cct_um", "0,54", "0.54 µm? Perhaps in mm.", ["Use 540"]),
        ("cct_um", "0.3", "0.3 µm? Perhaps in mm.", ["Use 300"]),
        ("cct_um", "1.2", "1.2 µm? Perhaps in mm.", ["Use 1200"]),
        ("cct_um", "54", "54 µm? Perhaps a missing zero.", ["Use 540"]),
        ("cct_um", "54 µm", "54 µm? Perhaps a missing zero.", ["Use 540"]),
        ("cct_um", "5400", "5400 µm? Perhaps a zero too many.", ["Use 540"]),
        ("cct_pod1_um", "0.61", "0.61 µm? Perhaps in mm.", ["Use 610"]),
        ("recheck_cct_um", "61", "61 µm? Perhaps a missing zero.", ["Use 610"]),
        ("acd_mm", "3100", "3100 mm? Perhaps in µm.", ["Use 3.1"]),
        ("acd_mm", "31", "31 mm? Perhaps the decimal mark was lost.", ["Use 3.1"]),
        ("acd_mm", "310", "310 mm? Perhaps the decimal mark was lost.", ["Use 3.1"]),
        ("ecd_per_mm2", "2.5", "2.5 /mm²? Perhaps in thousands.", ["Use 2500"]),
        ("us_mean_power_pct", "0.2", "0.2 %? Perhaps a fraction instead of a percentage.", ["Use 20", "Keep 0.2"]),
        ("us_mean_power_pct", "0.35", "0.35 %? Perhaps a fraction instead of a percentage.", ["Use 35", "Keep 0.35"]),
        ("hba1c_pct", "53", "53 %? Perhaps in mmol/mol.", ["Use 7"]),
        ("hba1c_mmol_mol", "7", "7 mmol/mol? Perhaps in %.", ["Use 53"]),
        ("endo_cv_pct", ".34", "0.34 %? Perhaps a fraction instead of a percentage.", ["Use 34"]),
        ("endo_hex_pct", "0.58", "0.58 %? Perhaps a fraction instead of a percentage.", ["Use 58", "Keep 0.58"]),
        ("preop_iop_mmhg", "2.8", "2.8 mmHg? Perhaps in kPa.", ["Use 21", "Keep 2.8"]),
        ("iop_pod1_mmhg", "2.8", "2.8 mmHg? Perhaps in kPa.", ["Use 21", "Keep 2.8"]),
        ("preop_iop_mmhg", "160", "160 mmHg? Perhaps the decimal mark was lost.", ["Use 16"]),
        ("iop_setting_mmhg", "6", "6 mmHg? Perhaps in kPa.", ["Use 45"]),
        ("axial_length_mm", "235", "235 mm? Perhaps the decimal mark was lost.", ["Use 23.5"]),
        ("axial_length_mm", "2.35", "2.35 mm? Perhaps the decimal mark stands one place off.", ["Use 23.5"]),
        ("axial_length_mm", "2342", "2342 mm? Perhaps the decimal mark was lost.", ["Use 23.42"]),
        ("irrigation_volume_ml", "0.25", "0.25 mL? Perhaps in litres.", ["Use 250", "Keep 0.25"]),
        ("pupil_dilated_mm", "65", "65 mm? Perhaps the decimal mark was lost.", ["Use 6.5"]),
        ("nuclear_opalescence_no", "41", "41? Perhaps the decimal mark was lost.", ["Use 4.1"]),
        ("bottle_height_cm", "0.9", "0.9 cm? Perhaps in m.", ["Use 90", "Keep 0.9"]),
        ("main_incision_mm", "22", "22 mm? Perhaps the decimal mark was lost.", ["Use 2.2"]),
        ("preop_va_logmar", "70", "70 logMAR? Perhaps letters.", ["Use 0.3"]),
    ],
)  # fmt: skip
@pytest.mark.parametrize("soft", ["ask", "note"])
def test_a_slip_is_asked_about(name, text, question, labels, soft):
    answer = read(name, text, soft=soft)
    assert isinstance(answer, Asked), answer
    assert answer.question == question
    assert [proposal.label for proposal in answer.proposals] == labels
    assert answer.rule.startswith("slip_")


def test_a_slip_is_never_explained_by_another_fields_unit():
    # 235 looks like HbA1c in mmol/mol, but not in an axial length.
    assert "HbA1c" not in read("axial_length_mm", "235").question


def test_a_written_unit_rules_a_slip_of_unit_out():
    assert read("irrigation_volume_ml", "0.25 mL", soft="note").value == 0.25
    assert read("us_mean_power_pct", "0.35 %", soft="note").value == 0.35
    assert isinstance(read("cct_um", "0.54 µm"), Refused)


def test_a_low_pressure_on_day_one_is_never_taken_for_kilopascal():
    # Whole numbers below 6 mmHg mean a leak until shown otherwise.
    for text in ("2", "3", "4", "5"):
        assert read("iop_pod1_mmhg", text, soft="note").value == float(text)


def test_proposals_and_keeps_are_possible_values():
    for name, slips in SLIPS.items():
        low, high = field(name).hard
        for slip in slips:
            for share in (0.001, 0.25, 0.5, 0.75):
                typed = round(slip.low + share * (slip.high - slip.low), 3)
                answer = read(name, f"{typed:f}".rstrip("0").rstrip("."), decimal=".")
                if isinstance(answer, Asked):
                    assert all(low <= proposal.value <= high for proposal in answer.proposals), (name, typed)
                else:
                    assert isinstance(answer, Refused | Taken)


def test_no_slip_lies_among_usual_values():
    for name, slips in SLIPS.items():
        soft = field(name).soft
        if soft is None or name in ("preop_va_logmar",):
            continue
        for slip in slips:
            assert slip.high <= soft[0] + 1e-6 or slip.low >= soft[1] - 1e-6, (name, slip.rule)
