"""Cells as practices write them: what is taken, asked about, refused, or kept as text without a number."""

from datetime import date, datetime, time

import pytest

from clinic_app.domain.dates import alternatives, from_serial
from clinic_app.domain.reading import Asked, Blank, Missing, Refused, Taken, read
from models.codebook import FIELDS, Kind


def values(answer):
    assert isinstance(answer, Asked)
    return [proposal.value for proposal in answer.proposals]


@pytest.mark.parametrize(
    ("field", "text", "manner", "value"),
    [
        ("acd_mm", "3,10", {"decimal": ","}, 3.10),
        ("acd_mm", "3,10", {}, 3.10),
        ("ecd_per_mm2", "2.410", {"decimal": ","}, 2410.0),
        ("ecd_per_mm2", "1,234", {"decimal": "."}, 1234.0),
        ("ecd_per_mm2", "2\u2009410", {}, 2410.0),
        ("ecd_per_mm2", "2\u00a0410", {}, 2410.0),
        ("ecd_per_mm2", "2\u202f410", {}, 2410.0),
        ("ecd_per_mm2", "2'410", {}, 2410.0),
        ("us_energy_value", "1.234,5", {}, 1234.5),
        ("us_energy_value", "1,234.5", {}, 1234.5),
        ("us_energy_value", "12.345,25", {"decimal": ","}, 12345.25),
        ("us_energy_value", "1 234,5", {}, 1234.5),
        ("us_energy_value", "12.345", {"decimal": "."}, 12.345),
        ("acd_mm", "3.123456", {"decimal": "."}, 3.123456),
        ("cct_um", "540 µm", {}, 540.0),
        ("cct_um", "540 \u03bcm", {}, 540.0),
        ("cct_um", "540um", {}, 540.0),
        ("cct_um", "0.54 mm", {}, 540.0),
        ("cct_um", "0,54 mm", {}, 540.0),
        ("cct_um", "0.54", {"unit": "mm"}, 540.0),
        ("acd_mm", "3.0999999046", {}, 3.10),
        ("acd_mm", "3100 µm", {}, 3.10),
        ("preop_iop_mmhg", "16 mmHg", {}, 16.0),
        ("irrigation_volume_ml", "0.25 l", {}, 250.0),
        ("us_time_s", "65 s", {}, 65.0),
        ("us_time_s", "1:05", {"duration": "m:s"}, 65.0),
        ("us_time_s", "1 min 5 s", {}, 65.0),
        ("case_minutes", "1:05", {"duration": "h:m", "soft": "note"}, 65.0),
        ("case_minutes", "0:12:30", {}, 12.5),
        ("us_mean_power_pct", "35 %", {}, 35.0),
        ("acd_mm", "\ufeff3.10\u200b", {}, 3.10),
        ("preop_va_logmar", "6/12", {}, pytest.approx(0.30103, abs=1e-5)),
        ("pain_0_10", "3", {}, 3),
        ("pain_0_10", "3.0", {}, 3),
    ],
)
def test_numbers_are_read(field, text, manner, value):
    answer = read(field, text, **manner)
    assert isinstance(answer, Taken), answer
    assert answer.value == value


def test_converted_values_keep_the_text_as_typed():
    assert read("cct_um", "0.54 mm").typed == "0.54 mm"
    assert read("cct_um", "540 µm").typed is None
    pressure = read("preop_iop_mmhg", "2.8 kPa")
    assert pressure.value == pytest.approx(21.0, abs=0.01)
    assert pressure.typed == "2.8 kPa"
    assert read("hba1c_pct", "53 mmol/mol").value == pytest.approx(7.0, abs=0.01)
    assert read("hba1c_pct", "53", unit="mmol/mol").value == pytest.approx(7.0, abs=0.01)
    assert read("hba1c_pct", "7.0 %", unit="mmol/mol").value == 7.0
    assert read("hba1c_mmol_mol", "7 %").value == pytest.approx(53.0, abs=0.1)


def test_a_point_in_a_comma_file_is_taken_with_a_note():
    answer = read("acd_mm", "3.10", decimal=",")
    assert answer.value == 3.10
    assert answer.notes == ("Read “.” as the decimal mark.",)


@pytest.mark.parametrize(
    ("field", "text", "manner", "proposed"),
    [
        ("ecd_per_mm2", "2.410", {"decimal": "."}, [2410.0]),
        ("ecd_per_mm2", "2.410", {}, [2410.0]),
        ("ecd_per_mm2", "1,234", {}, [1234.0]),
        ("irrigation_volume_ml", "1,234", {}, [1.234, 1234.0]),
        ("axial_length_mm", "23.456", {"decimal": ","}, [23.456]),
        ("axial_length_mm", "23.42*", {}, [23.42]),
        ("us_time_s", "1:05", {}, [65.0]),
        ("case_minutes", "1:05", {}, [65.0]),
        ("us_time_s", "01:05:00", {}, [65.0]),
        ("eye", "D", {}, ["R", "L"]),
        ("eye", "gauche", {}, ["L", "R"]),
        ("eye", "rechts", {}, ["R", "L"]),
        ("preop_va_raw", "0.5", {}, ["0.5 decimal", "0.5 logMAR"]),
        ("preop_va_raw", "70", {}, ["70 letters"]),
        ("surgery_date", "03/04/2026", {}, [date(2026, 3, 4), date(2026, 4, 3)]),
        ("surgery_date", "46091", {}, [date(2026, 3, 10)]),
        ("birth_date", "10.03.26", {"date_order": "dmy"}, [date(1926, 3, 10), date(2026, 3, 10)]),
        ("surgery_date", "13/04/2026", {"date_order": "mdy"}, [date(2026, 4, 13)]),
        ("surgery_date", "Fri 19 Nov 2026", {}, [date(2026, 11, 19)]),
        ("surgery_time", "0930", {}, [time(9, 30)]),
        ("exam_at", "03/04/2026 09:10", {}, [datetime(2026, 3, 4, 9, 10), datetime(2026, 4, 3, 9, 10)]),
        ("guttae_grade", "IV", {}, [4]),
        ("hypertension", "x", {}, [True, False]),
        ("patient_id", "20417.0", {}, ["20417", "20417.0"]),
        ("cct_um", "—", {}, [None] * 4),
        ("diabetes", "?", {}, [None] * 4),
        ("operator_by_step", "-", {}, [None] * 4),
        ("cct_um", "700", {}, [700.0]),
    ],
)
def test_unclear_cells_are_asked_about(field, text, manner, proposed):
    assert values(read(field, text, **manner)) == proposed


@pytest.mark.parametrize(
    ("field", "text"),
    [
        ("us_energy_value", "1.23.4"),
        ("us_energy_value", "1.234.5"),
        ("us_energy_value", "1.234,567,8"),
        ("cct_um", "9" * 50),
        ("cct_um", "5" * 30 + "." + "1" * 40),
        ("us_time_s", "65:10"),
        ("cct_um", "540/545"),
        ("cct_um", "R 540 L 552"),
        ("cct_um", "540-545"),
        ("cct_um", "540 545"),
        ("cct_um", "540 \n 545"),
        ("cct_um", "540; 545"),
        ("cct_um", "OU 540"),
        ("cct_um", "R 540"),
        ("cct_um", "#N/A"),
        ("cct_um", "#DIV/0!"),
        ("surgery_date", "#REF!"),
        ("patient_id", "#N/A"),
        ("preop_va_raw", "#VALUE!"),
        ("eye", "#NAME?"),
        ("cct_um", "TRUE"),
        ("cct_um", "=500+40"),
        ("cct_um", "1_000"),
        ("cct_um", "５４０"),
        ("cct_um", "٥٤٠"),
        ("cct_um", "1e3"),
        ("cct_um", "inf"),
        ("cct_um", "540 mmHg"),
        ("cct_um", "abc"),
        ("cct_um", "5400000"),
        ("cct_um", "5\x0040"),
        ("cct_um", "54\ufffd"),
        ("us_mean_power_pct", "35 mmol/mol"),
        ("pain_0_10", "3.5"),
        ("pain_0_10", "11"),
        ("us_time_s", "1:75"),
        ("surgery_date", "60"),
        ("surgery_date", "2026-02-30"),
        ("surgery_date", "29.02.2026"),
        ("surgery_date", "1026-02-03"),
        ("surgery_date", "19 Foo 2026"),
        ("surgery_date", "tomorrow"),
        ("surgery_time", "25:10"),
        ("surgery_time", "13:10 pm"),
        ("exam_at", "2026-11-20T09:10Z"),
        ("exam_at", "2026-11-20T09:10+01:00"),
        ("exam_at", "2026-11-20 29:10"),
        ("patient_id", "1.23457E+17"),
        ("patient_id", "=A1"),
        ("patient_id", "9" * 81),
        ("operator_by_step", "a" * 4001),
        ("eye", "OU"),
        ("eye", "both"),
        ("eye", "B"),
        ("eye", "3"),
        ("diabetes", "type 3"),
        ("diabetes", "type1|type2"),
        ("descemet_folds", "14"),
        ("guttae_grade", "2.5"),
        ("guttae_grade", "3-4"),
        ("hypertension", "perhaps"),
        ("prior_glaucoma_surgery", "none|tube"),
        ("prior_glaucoma_surgery", "tube|shunt"),
        ("prior_glaucoma_surgery", "|"),
    ],
)
def test_what_cannot_be_is_refused_with_a_way_on(field, text):
    answer = read(field, text)
    assert isinstance(answer, Refused), answer
    assert answer.reason.endswith(".")
    assert answer.next.endswith(".")


def test_both_eyes_are_refused_in_the_words_of_the_screens():
    assert read("eye", "OU").reason == "“OU” names both eyes. A measurement belongs to one."
    assert read("cct_um", "OU 540").reason == "“OU 540” names both eyes. A measurement belongs to one."


def test_two_values_say_so():
    assert read("cct_um", "R 540 L 552").reason == "“R 540 L 552” holds two values."


def test_unknown_answers_are_refused_with_the_answers():
    assert read("pseudoexfoliation", "maybe").next == "Answers: no, suspect, yes."


@pytest.mark.parametrize("text", ["<1000", "> 2000", "~2400", "≤1000", "ca. 2400", "2400 ± 30", "<1000 /mm2"])
def test_comparators_keep_their_text_and_give_no_number(text):
    answer = read("ecd_per_mm2", text)
    assert answer == Missing("not_recorded", text, ("Kept as typed; no number is made of it.",))


@pytest.mark.parametrize("text", ["", "   ", "\t", "\u00a0", "\ufeff"])
def test_nothing_typed_says_nothing(text):
    assert all(read(field, text) == Blank() for field in ("cct_um", "eye", "patient_id", "surgery_date"))


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("nd", "not_done"),
        ("NP", "not_possible"),
        ("nr", "not_recorded"),
        ("NA", "not_applicable"),
        ("not_done", "not_done"),
        ("Not possible", "not_possible"),
        ("does not apply", "not_applicable"),
    ],
)
def test_reasons_for_missing_answers(text, code):
    for field in ("cct_um", "guttae_grade", "diabetes", "hypertension", "surgery_time", "preop_va_raw"):
        assert read(field, text) == Missing(code)


def test_short_forms_are_initials_in_an_identifier():
    assert read("surgeon_id", "NR") == Taken("NR")
    assert read("surgeon_id", "not_recorded") == Missing("not_recorded")


@pytest.mark.parametrize("text", ["R", "r", "OD", "od", "O.D.", "right", "RIGHT", "RE", "Right eye"])
def test_right_eye(text):
    assert read("eye", text).value == "R"


@pytest.mark.parametrize("text", ["L", "l", "OS", "os", "left", "Left", "LE", "left eye"])
def test_left_eye(text):
    assert read("eye", text).value == "L"


@pytest.mark.parametrize(
    ("text", "manner", "day"),
    [
        ("2026-11-19", {}, date(2026, 11, 19)),
        ("2026/11/19", {}, date(2026, 11, 19)),
        ("20261119", {}, date(2026, 11, 19)),
        ("19 Nov 2026", {}, date(2026, 11, 19)),
        ("19. November 2026", {}, date(2026, 11, 19)),
        ("19-nov-2026", {}, date(2026, 11, 19)),
        ("Nov 19, 2026", {}, date(2026, 11, 19)),
        ("Thu 19 Nov 2026", {}, date(2026, 11, 19)),
        ("19.11.2026", {}, date(2026, 11, 19)),
        ("11/19/2026", {}, date(2026, 11, 19)),
        ("03/04/2026", {"date_order": "dmy"}, date(2026, 4, 3)),
        ("03/04/2026", {"date_order": "mdy"}, date(2026, 3, 4)),
        ("05.05.2026", {}, date(2026, 5, 5)),
        ("2024-02-29", {}, date(2024, 2, 29)),
        ("2026-11-19 00:00:00", {}, date(2026, 11, 19)),
        ("19 11", {"date_order": "dmy", "today": date(2026, 11, 2)}, date(2026, 11, 19)),
        ("1.2.", {"date_order": "dmy", "today": date(2026, 11, 2)}, date(2027, 2, 1)),
    ],
)
def test_days(text, manner, day):
    assert read("surgery_date", text, **manner).value == day


def test_a_mark_of_thousands_against_the_files_own_is_said():
    answer = read("us_energy_value", "1,234.5", decimal=",")
    assert answer.value == 1234.5
    assert answer.notes == ("Read “,” as a mark of thousands.",)


def test_one_clear_day_decides_for_a_column():
    assert alternatives("03/04/2026") == ("dmy", "mdy")
    assert alternatives("13/04/2026") == ("dmy",)
    assert alternatives("04/13/2026") == ("mdy",)
    assert alternatives("2026-04-13") == ()


def test_spreadsheet_numbers_of_days():
    # Both counts as two spreadsheet programs document them: 1900-01-01 is 1 with a 29 February 1900 that never was;
    # in the other count 1904-01-01 is 0.
    assert from_serial(46091) == date(2026, 3, 10)
    assert from_serial(44629, base_1904=True) == date(2026, 3, 10)
    assert from_serial(59) == date(1900, 2, 28)
    assert from_serial(60) is None
    assert from_serial(61) == date(1900, 3, 1)
    assert from_serial(1) == date(1900, 1, 1)
    assert from_serial(0) is None


def test_clock_times_and_moments():
    assert read("surgery_time", "9:05").value == time(9, 5)
    assert read("surgery_time", "1:30 pm").value == time(13, 30)
    assert read("surgery_time", "12:10 am").value == time(0, 10)
    assert read("exam_at", "2026-11-20T09:10").value == datetime(2026, 11, 20, 9, 10)
    assert read("exam_at", "20 Nov 2026 09:10").value == datetime(2026, 11, 20, 9, 10)


def test_a_moment_without_clock_time_is_its_day_alone():
    answer = read("exam_at", "2026-11-20")
    assert answer.value == datetime(2026, 11, 20)
    assert answer.notes == ("No clock time: kept as the day alone.",)


@pytest.mark.parametrize(
    ("field", "text", "value"),
    [
        ("diabetes", "Type-2", "type2"),
        ("diabetes", "TYPE 2", "type2"),
        ("diabetes", "no", "none"),
        ("pcr", "pcr+vitreous", "PCR+vitreous"),
        ("descemet_folds", "1–4", "1-4"),
        ("descemet_folds", "10+", "10+"),
        ("descemet_folds", ">=10", "10+"),
        ("descemet_folds", "0.0", "0"),
        ("ac_cells_sun", "0,5", "0.5"),
        ("ac_cells_sun", "2+", "2"),
        ("sex", "F", "female"),
        ("sex", "unknown", "unknown"),
        ("guttae_grade", "3", 3),
        ("guttae_grade", "3.0", 3),
        ("nucleus_hardness", "grade 4", 4),
        ("nucleus_hardness", "amber to brown", 4),
        ("stromal_hydration", "light", 1),
        ("hypertension", "Yes", True),
        ("hypertension", "N", False),
        ("hypertension", "true", True),
        ("prior_glaucoma_surgery", "tube | Laser iridotomy", ("laser_iridotomy", "tube")),
        ("patient_id", "00123", "00123"),
        ("patient_id", " P-20 417 ", "P-20 417"),
        ("operator_by_step", "nucleus: A\u030a", "nucleus: Å"),
    ],
)
def test_answers_out_of_lists_and_words(field, text, value):
    assert read(field, text) == Taken(value)


def test_hard_range_refuses_and_soft_range_asks_or_notes():
    assert isinstance(read("cct_um", "1300"), Refused)
    asked = read("cct_um", "700")
    assert asked.question == "Thickness 700 µm is unusual (usual 450–650). Correct?"
    assert [proposal.label for proposal in asked.proposals] == ["Yes"]
    assert read("cct_um", "700", soft="note") == Taken(700.0, None, ("Thickness 700 µm is unusual (usual 450–650).",))
    assert read("cct_um", "450") == Taken(450.0)


def test_every_answer_of_every_list_reads_back_by_code_and_by_label():
    for field in FIELDS:
        for choice in field.choices:
            for text in (choice.code, choice.label, choice.label.upper(), *choice.aliases):
                answer = read(field, text)
                assert isinstance(answer, Taken), (field.name, text, answer)
                code = choice.code
                expected = int(code) if field.kind is Kind.GRADE else (code,) if field.kind is Kind.CHOICES else code
                assert answer.value == expected, (field.name, text)
