"""Vision as read: numbers where one is known, and the text always."""

import pytest

from clinic_app.domain.answers import Asked, Refused
from clinic_app.domain.reading import Taken, read
from clinic_app.domain.vision import (
    Vision,
    letters_of_logmar,
    logmar_of_letters,
    logmar_text,
    read_vision,
)


@pytest.mark.parametrize(
    ("text", "decimal", "logmar"),
    # Snellen by definition: decimal = numerator / denominator, logMAR = -log10.
    [
        ("6/6", 1.0, 0.000), ("6/9", 0.667, 0.176), ("6/12", 0.5, 0.301), ("6/18", 0.333, 0.477), ("6/24", 0.25, 0.602),
        ("6/36", 0.167, 0.778), ("6/60", 0.1, 1.000), ("3/60", 0.05, 1.301), ("20/25", 0.8, 0.097),
        ("20/32", 0.625, 0.204), ("20/40", 0.5, 0.301), ("20/63", 0.317, 0.498), ("20/80", 0.25, 0.602),
        ("20/100", 0.2, 0.699), ("20/200", 0.1, 1.0), ("20/400", 0.05, 1.301),
        ("20/15", 1.333, -0.125), ("6/7.5", 0.8, 0.097), ("6/7,5", 0.8, 0.097),
    ],
)  # fmt: skip
def test_snellen(text, decimal, logmar):
    seen = read_vision(text)
    assert isinstance(seen, Vision)
    assert seen.decimal == pytest.approx(decimal, abs=5e-4)
    assert seen.logmar == pytest.approx(logmar, abs=5e-4)
    assert (seen.raw, seen.category) == (text, "snellen")


@pytest.mark.parametrize(("power", "decimal"), [(0.1, 0.794), (0.3, 0.501)])
def test_steps_of_ten_to_a_tenth(power, decimal):
    # ISO 8596: optotype sizes in steps of 10^0.1 (from memory).
    assert read_vision(f"{power} logMAR").decimal == pytest.approx(decimal, abs=5e-4)


@pytest.mark.parametrize(("logmar", "letters"), [(0.3, 70), (1.0, 35)])
def test_letters(logmar, letters):
    # Five letters a line, 0.02 logMAR each: 85 - 50 x logMAR (from memory).
    assert letters_of_logmar(logmar) == pytest.approx(letters, abs=1e-9)
    assert logmar_of_letters(letters) == pytest.approx(logmar, abs=1e-12)
    assert read_vision(f"{letters} letters").logmar == pytest.approx(logmar, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "category", "logmar", "decimal"),
    # CF 1.98 (decimal .010) and HM 2.28 (.0052): Lange 2009, Graefes Arch Clin Exp Ophthalmol 247:137-142.
    [
        ("CF", "CF", 1.98, 0.010), ("CF 1m", "CF", 1.98, 0.010), ("cf @ 30 cm", "CF", 1.98, 0.010),
        ("counting fingers", "CF", 1.98, 0.010), ("HM", "HM", 2.28, 0.0052), ("Hand movements", "HM", 2.28, 0.0052),
        ("LP", "LP", None, None), ("PL", "LP", None, None), ("NLP", "NLP", None, None), ("npl", "NLP", None, None),
    ],
)  # fmt: skip
def test_off_the_chart(text, category, logmar, decimal):
    seen = read_vision(text)
    assert (seen.category, seen.logmar, seen.raw) == (category, logmar, text)
    assert seen.decimal == (None if decimal is None else pytest.approx(decimal, abs=5e-4))


def test_letters_after_a_line_are_kept_and_not_converted():
    seen = read_vision("6/9+2")
    assert seen.raw == "6/9+2"
    assert seen.extra == "+2"
    assert seen.decimal == pytest.approx(2 / 3, abs=1e-12)
    assert read_vision("6/9 -1").extra == "-1"
    assert read("preop_va_raw", "6/9+2") == Taken("6/9+2")


def test_a_bare_number_follows_the_practice_or_is_asked_about():
    assert read_vision("0.5", "decimal").logmar == pytest.approx(0.30103, abs=1e-5)
    assert read_vision("0.5", "logmar").logmar == 0.5
    assert read_vision("70", "letters").logmar == pytest.approx(0.3, abs=1e-12)
    asked = read_vision("0.5")
    assert isinstance(asked, Asked)
    assert asked.question == "0.5? Decimal or logMAR?"
    assert isinstance(read_vision("0.5", "snellen_metric"), Asked)
    assert [proposal.text for proposal in read_vision("-0.1").proposals] == ["-0.1 logMAR"]


def test_a_bare_number_is_stored_with_its_notation():
    # What a stored text means must not change when the practice changes its notation.
    assert read("preop_va_raw", "0,5", notation="decimal") == Taken("0.5 decimal", "0,5")
    assert read("preop_va_raw", "0.3", notation="logmar") == Taken("0.3 logMAR", "0.3")
    assert read("preop_va_raw", "0.30 logMAR") == Taken("0.30 logMAR")


@pytest.mark.parametrize(
    "text", ["6/0", "0/60", "900/6", "6/9000", "5", "good", "0 decimal", "4 logMAR", "x logMAR", "500"]
)
def test_what_is_no_vision(text):
    assert isinstance(read_vision(text, "decimal"), Refused)


def test_text_that_is_no_vision_is_kept_with_a_note():
    answer = read("preop_va_raw", "good")
    assert answer.value == "good"
    assert "no number follows" in answer.notes[0]


def test_logmar_columns_take_vision_texts():
    assert read("preop_va_logmar", "HM").value == 2.28
    assert read("preop_va_logmar", "NLP").code == "not_possible"
    assert read("preop_va_logmar", "0.3").value == 0.3


@pytest.mark.parametrize(
    ("logmar", "notation", "text"),
    [
        (0.30103, "snellen_metric", "6/12"), (0.17609, "snellen_metric", "6/9"), (0.09691, "snellen_metric", "6/7.5"),
        (0.0, "snellen_imperial", "20/20"), (1.0, "snellen_imperial", "20/200"), (0.30103, "decimal", "0.50"),
        (0.3, "logmar", "0.30 logMAR"), (0.3, "letters", "70 letters"), (-0.0, "logmar", "0.00 logMAR"),
    ],
)  # fmt: skip
def test_vision_in_the_practices_notation(logmar, notation, text):
    assert logmar_text(logmar, notation) == text
