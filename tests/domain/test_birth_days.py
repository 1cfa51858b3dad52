"""The day of birth is read as it is said, and a wrong one is told from an unreadable one."""

from __future__ import annotations

from datetime import date

import pytest

from clinic_app.domain.birth_days import born_that_day, day_and_month

BORN = date(1953, 1, 17)


@pytest.mark.parametrize("said", ["17 Jan", "17 1", "17/1", "17.01.", "1701", "17th January", "jan 17", " 17-jan "])
def test_the_usual_ways_of_saying_it(said: str) -> None:
    assert day_and_month(said) == (17, 1)
    assert born_that_day(said, BORN) is True


def test_the_order_of_the_practice_decides_what_digits_mean() -> None:
    assert day_and_month("3 4", "dmy") == (3, 4)
    assert day_and_month("3 4", "mdy") == (4, 3)
    assert day_and_month("03-04", "ymd") == (4, 3)
    assert born_that_day("3 4", date(1950, 4, 3), "mdy") is False


def test_digits_that_can_be_read_in_one_way_only_are_read_so() -> None:
    assert day_and_month("1 17", "dmy") == (17, 1)
    assert day_and_month("17 1", "mdy") == (17, 1)


def test_a_wrong_day_is_wrong_and_an_unreadable_one_is_neither() -> None:
    assert born_that_day("18 Jan", BORN) is False
    for words in ("", "yesterday", "31 2", "17", "P-20361", "17 1 1953"):
        assert born_that_day(words, BORN) is None


def test_the_29th_of_february_is_a_day_of_birth() -> None:
    assert born_that_day("29 2", date(1952, 2, 29)) is True
