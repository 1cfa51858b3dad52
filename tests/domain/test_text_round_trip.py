"""Text to value to text, for every kind of field."""

from datetime import date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic_app.domain.numbers import parse, show
from clinic_app.domain.reading import Taken, read
from clinic_app.domain.words import tidy
from clinic_app.exchange.cells import cell_text
from models.codebook import FIELDS, Kind
from models.codebook import field as field_of

# More than this many digits would be a single-precision number printed in full, which is read as the short one.
FINITE = st.floats(min_value=0.5, max_value=60, allow_nan=False).filter(lambda value: value == float(repr(value)))
DAYS = st.dates(date(1900, 1, 1), date(2100, 12, 31))
CLOCKS = st.times().map(lambda clock: clock.replace(microsecond=0))


def back(field, value):
    answer = read(field, cell_text(value), decimal=".", soft="note")
    assert isinstance(answer, Taken), answer
    return answer.value


@given(FINITE)
def test_numbers_keep_every_bit(value):
    if parse(show(value), ".").value == value:
        assert back("effective_phaco_time_s", value) == value


@given(st.decimals(min_value=1, max_value=60, places=5).map(float))
def test_numbers_with_five_decimals_keep_every_bit(value):
    assert back("effective_phaco_time_s", value) == value
    assert "e" not in show(value / 1e7).lower()


@given(st.integers(0, 10))
def test_counts(value):
    assert back("pain_0_10", value) == value
    assert isinstance(back("pain_0_10", value), int)


@given(DAYS)
def test_days(value):
    assert back("surgery_date", value) == value


@given(CLOCKS)
def test_clock_times(value):
    assert back("surgery_time", value) == value


@given(DAYS, CLOCKS)
def test_moments(day, clock):
    moment = datetime.combine(day, clock)
    assert back("exam_at", moment) == moment


@given(st.booleans())
def test_yes_or_no(value):
    assert back("hypertension", value) is value


@pytest.mark.parametrize("field", [one for one in FIELDS if one.choices], ids=lambda one: one.name)
def test_every_code(field):
    for code in field.codes:
        value = int(code) if field.kind is Kind.GRADE else (code,) if field.kind is Kind.CHOICES else code
        assert back(field, value) == value


@given(st.sets(st.sampled_from(field_of("protection_plan").codes[:-1]), min_size=1))
def test_several_answers(codes):
    value = tuple(code for code in field_of("protection_plan").codes if code in codes)
    assert back("protection_plan", value) == value


LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-"


@given(st.text(alphabet=LETTERS, min_size=2, max_size=20).filter(lambda text: text.strip("-")))
def test_identifiers_letter_for_letter(value):
    answer = read("patient_id", value)
    if isinstance(answer, Taken):
        assert answer.value == value


@given(st.text(max_size=200))
def test_reading_never_raises_and_tidying_is_done_once(text):
    assert tidy(tidy(text)) == tidy(text)
    for field in FIELDS:
        read(field, text)


@given(st.from_regex(r"[0-9 .,'/<>~*:RLOUnmµ%+-]{1,12}", fullmatch=True))
def test_reading_of_near_numbers_stays_in_range(text):
    for name in ("cct_um", "acd_mm", "us_time_s", "irrigation_volume_ml", "pain_0_10"):
        low, high = field_of(name).hard
        answer = read(name, text, soft="note")
        if isinstance(answer, Taken):
            assert low <= answer.value <= high
        for proposal in getattr(answer, "proposals", ()):
            assert proposal.value is None or low <= proposal.value <= high
