"""A birth date is asked about like any day, and never offered in the future."""

from __future__ import annotations

from datetime import date

from clinic_app.domain.reading import Asked, Refused, Taken, read

TODAY = date(2026, 11, 12)


def born(text: str) -> object:
    return read("birth_date", text, date_order="dmy", today=TODAY)


def test_a_short_year_offers_no_birth_to_come() -> None:
    asked = born("14 3 49")
    assert isinstance(asked, Asked)
    assert [one.value for one in asked.proposals] == [date(1949, 3, 14)]
    assert asked.question == "14 3 49: 14 Mar 1949?"
    both = born("14 3 19")
    assert isinstance(both, Asked)
    assert [one.value.year for one in both.proposals] == [1919, 2019]


def test_no_birth_to_come_is_offered_and_a_year_is_never_added() -> None:
    for text in ("14 3", "50000"):  # 50000: a spreadsheet's number of a day in 2036
        assert isinstance(born(text), Refused), text
    assert born("12.11.2026") == Taken(TODAY)


def test_other_days_still_lie_ahead() -> None:
    asked = read("surgery_date", "14 3 49", date_order="dmy", today=TODAY)
    assert isinstance(asked, Asked)
    assert len(asked.proposals) == 2
    assert read("surgery_date", "19 11", date_order="dmy", today=TODAY).value == date(2026, 11, 19)
