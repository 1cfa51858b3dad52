"""Headings say the finding, by rule, and change exactly at the border."""

from __future__ import annotations

import dataclasses
from datetime import date, timedelta
from typing import Any

import pytest

from clinic_app.domain.reviewed import (
    NOT_BLIND,
    AlarmChart,
    AlarmPoint,
    AlarmSide,
    Benefit,
    Bound,
    Counted,
    Estimate,
    MissingGrades,
    ModelPage,
    Planning,
    Review,
    TallyPoint,
)
from clinic_app.figures import words
from tests.simulated_practice import usual_review


def changed(**values: Any) -> Review:
    return dataclasses.replace(usual_review(), **values)


def row(group: str, verdict: str, *, field: str = "surgeon", label: str = "Surgeon", n: int = 80) -> Counted:
    ratio, shrunken = Estimate(9 / 8, 0.51, 2.14), Estimate(1.0, 0.5, 1.6)
    return Counted(field, label, group, n, 8.0, 9, 3, 14, 1, 18, verdict, ratio, shrunken)


@pytest.mark.parametrize(
    ("events", "low", "high", "heading"),
    [
        (57, 50, 78, "Forecast 64, seen 57: the gap could be chance"),
        (50, 50, 78, "Forecast 64, seen 50: the gap could be chance"),
        (49, 50, 78, "Forecast 64, seen 49: more than chance explains"),
        (78, 50, 78, "Forecast 64, seen 78: the gap could be chance"),
        (79, 50, 78, "Forecast 64, seen 79: more than chance explains"),
        (64, 50, 78, "Forecast 64, seen 64: they agree"),
        (30, 29, 90, "Forecast 64, seen 30: the gap could be chance"),
        (29, 29, 90, "Forecast 64, seen 29: too few to judge"),
        (5, 5, 90, "Forecast 64, seen 5: too few to judge"),
        (28, 29, 90, "Forecast 64, seen 28: more than chance explains"),
    ],
)
def test_forecast_check(events: int, low: int, high: int, heading: str) -> None:
    found = words.forecast_check(changed(n=691, events=events, expected=64.2, low=low, high=high))
    assert found.heading == heading
    assert ("too few to judge" in found.reading) == (events < 30)


def alarmed(*worse: date, better: tuple[date, ...] = (), restarts: tuple[date, ...] = ()) -> AlarmChart:
    points = (AlarmPoint(date(2026, 1, 20), 10, 1.0),)
    return AlarmChart(
        AlarmSide(2.0, 3.0, points, worse), AlarmSide(0.5, 3.0, points, better), 0.2, 400, 0.1, restarts, "Look first."
    )


def test_the_newest_alarm_under_the_model_in_use_is_the_finding() -> None:
    quiet = words.alarm(changed(alarm=alarmed()))
    assert quiet.heading == "No alarm: the practice has not moved away from its forecasts"
    assert "a year of 400 eyes with a chance of 20 in 100" in quiet.footer
    one = words.alarm(changed(alarm=alarmed(date(2026, 1, 5), better=(date(2026, 3, 9),))))
    assert one.heading == "Alarm in March 2026: fewer cloudy eyes than forecast"
    assert one.reading.endswith("Look first.")
    past = words.alarm(changed(alarm=alarmed(date(2026, 1, 5), restarts=(date(2026, 2, 1),))))
    assert past.heading.startswith("No alarm")
    assert "Under earlier models: 1 alarm." in past.footer
    on_the_day = words.alarm(changed(alarm=alarmed(date(2026, 2, 1), restarts=(date(2026, 2, 1),))))
    assert on_the_day.heading == "Alarm in February 2026: more cloudy eyes than forecast"
    assert words.alarm(changed(alarm=AlarmChart(why="Not yet."))).heading == "Not yet."


@pytest.mark.parametrize(("n", "events"), [(49, 20), (500, 4)])
def test_too_few_to_draw_is_said_by_every_chart(n: int, events: int) -> None:
    review = changed(n=n, events=events)
    said = f"Too few to draw: {n} eyes, {events} cloudy"
    for rule in (
        words.forecast_check,
        words.running_tally,
        words.alarm,
        words.quarters,
        words.surgeons,
        words.usefulness,
    ):
        assert said in rule(review).heading


def point(days: int, expected: float, difference: float) -> TallyPoint:
    return TallyPoint(date(2026, 1, 20) + timedelta(days=days), 10, expected, difference, -4, 4, -6, 6)


def test_tally_names_the_month_in_which_it_left_the_outer_limits() -> None:
    inside = (point(0, 5, -6.0), point(30, 9, 6.0))
    stays = "The running tally stays within what chance allows"
    assert words.running_tally(changed(tally=inside, events=30)).heading == stays
    assert words.running_tally(changed(tally=inside, events=29)).heading == f"{stays}: too few to judge"
    left = (*inside, point(45, 12, 6.1), point(80, 20, 0.0))
    assert words.running_tally(changed(tally=left)).heading == "The running tally left what chance allows in March 2026"
    early = (point(0, 4.9, 9.0), point(30, 9, 2.0))
    assert words.running_tally(changed(tally=early, events=40)).heading == stays


def test_surgeons_are_counted_never_named_in_a_heading() -> None:
    inside = changed(by_surgeon=(row("A", "inside"), row("B", "too_few")))
    assert words.surgeons(inside).heading == "No surgeon stands apart from chance"
    one = words.surgeons(changed(by_surgeon=(row("A", "inside"), row("B", "above"))))
    assert one.heading == "1 surgeon lies outside; look at case-mix and examiner first"
    two = words.surgeons(changed(by_surgeon=(row("A", "below"), row("B", "above"))))
    assert two.heading.startswith("2 surgeons lie outside")
    small = words.surgeons(changed(by_surgeon=(row("A", "above", n=29),)))
    assert small.heading == "Too few eyes per surgeon to draw"
    assert words.surgeons(changed(by_surgeon=(row("A", "too_few"),))).heading == (
        "Each surgeon's eyes are too few to judge"
    )
    assert words.SURGEON_CAUTION in one.footer
    assert words.surgeons(changed(by_surgeon=())).heading == "No surgeon was recorded"
    late = words.surgeons(changed(by_surgeon=(), model="end_of_case"))
    assert late.heading == "Surgeons are not compared by the end-of-case forecast"


def test_groups_name_where_the_forecast_runs_low_or_high() -> None:
    low = row("3 or more", "above", field="guttae_grade", label="Guttae, centre")
    high = row("yes", "below", field="diabetes", label="Diabetes")
    usual = row("no", "inside", field="diabetes", label="Diabetes")
    assert words.groups(changed(subgroups=(usual,))).heading == "No group stands out"
    assert words.groups(changed(subgroups=(usual, low))).heading == "Forecast runs low in Guttae, centre: 3 or more"
    assert words.groups(changed(subgroups=(high,))).heading == "Forecast runs high in Diabetes: yes"
    both = words.groups(changed(subgroups=(usual, low, high), by_surgeon=()))
    assert both.heading == "Forecast runs low in Guttae, centre: 3 or more, and high in Diabetes: yes"
    assert "3 groups were looked at." in both.reading
    small = words.groups(changed(subgroups=(row("yes", "too_few"),), by_surgeon=()))
    assert small.heading == "Each group alone is too small to judge"
    assert small.reading.endswith("1 group was looked at.")


def test_a_group_outside_the_inner_limits_alone_is_counted_and_never_a_finding() -> None:
    inside = row("no", "inside", field="diabetes", label="Diabetes")
    just = dataclasses.replace(inside, group="yes", observed=15)  # limits: 3 to 14, and 1 to 18
    few = dataclasses.replace(just, verdict="too_few")
    assert (inside.outside_19_in_20, just.outside_19_in_20, few.outside_19_in_20) == (False, True, False)
    found = words.groups(
        changed(subgroups=(inside, just, few), by_surgeon=(row("A", "inside"),), groups_outside_by_chance=0.1)
    )
    assert found.heading == "No group stands out"
    assert found.reading.endswith(
        "4 groups were looked at (1 surgeon among them). Of the 2 in this table with 5 or more cloudy eyes forecast, "
        "1 lies outside the 19-in-20 limits; chance alone puts up to 0.1 there."
    )
    assert words.quarters(changed(by_quarter=(just,))).heading == "No quarter stands apart from chance"
    assert words.surgeons(changed(by_surgeon=(just,))).heading == "No surgeon stands apart from chance"


def test_no_eye_at_all_is_nothing_to_look_at_and_not_a_finding() -> None:
    nothing = changed(n=0, events=0, expected=0.0, subgroups=(), by_surgeon=(), by_quarter=(), tally=())
    for rule in (words.forecast_check, words.running_tally, words.alarm, words.quarters, words.surgeons, words.groups,
                 words.usefulness):  # fmt: skip
        assert rule(nothing).heading == "No graded eye with a forecast: nothing to look at yet"
    none = Bound(0, 0.0, None)
    missing = words.missing_grades(changed(missing_day_one=MissingGrades(0, 0, {}, none, none, none, ())))
    assert missing.heading.endswith("nothing to look at yet")


def test_one_eye_is_one_eye() -> None:
    one = changed(n=1, events=1, expected=1.2, left_out={"set aside: a graft": 1})
    assert words.too_few(one) == "Too few to draw: 1 eye, 1 cloudy"
    assert words.footer(one).startswith("1 eye, 1 cloudy · ")
    assert "left out: 1 eye, and " in words.left_out(one)
    assert words.facts(one)[:2] == (
        ("1", "cloudy eye forecast among 1", "forecast"),
        ("1", "cloudy eye seen: 100.0 in 100", "seen"),
    )
    assert "29 cloudy eyes are too few to judge" in words.usefulness(changed(n=60, events=29)).reading


def test_quarters_outside_their_limits_are_named() -> None:
    quarters = (row("2026 Q1", "inside"), row("2026 Q2", "above"), row("2026 Q3", "too_few"))
    found = words.quarters(changed(by_quarter=quarters))
    assert found.heading == "Outside what chance allows: 2026 Q2 (more)"
    assert "In 1 of 3 quarters fewer than 5 cloudy eyes were forecast" in found.footer
    assert words.quarters(changed(by_quarter=quarters[:1])).heading == "No quarter stands apart from chance"
    assert words.quarters(changed(by_quarter=quarters[2:])).heading == "Each quarter alone is too small to judge"


def test_a_quarter_of_few_eyes_that_goes_beyond_the_axis_is_named_with_its_eyes() -> None:
    large = row("2026 Q3", "inside")  # 80 eyes, limits of chance up to 18: 22.5 in 100
    small = dataclasses.replace(row("2026 Q4", "too_few", n=1), expected=0.1, observed=0, high=1, high_998=1)
    assert words.axis_top([large, small]) == pytest.approx(1.06 * 22.5)
    assert words.axis_top([small]) == 101.0
    assert words.axis_top([dataclasses.replace(small, n=9, high_998=9), large]) == pytest.approx(1.06 * 22.5)
    assert words.axis_top([dataclasses.replace(small, n=10, high_998=5), large]) == pytest.approx(53.0)
    said = words.quarters(changed(by_quarter=(large, small))).footer
    assert "with an arrowhead: 2026 Q4 (1 eye); quarters of fewer than 10 eyes do not shape the axis." in said
    assert "arrowhead" not in words.quarters(changed(by_quarter=(large,))).footer


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("set for the demonstration", "Planning line: set for the demonstration. Gain"),
        ("Set by Osei on 12 Nov 2026", "Planning line: set by Osei on 12 Nov 2026. Gain"),
        ("Agreed in October.", "Planning line: Agreed in October. Gain"),
        ("", "Gain"),
    ],
)
def test_who_set_the_planning_line_reads_well_whatever_stands_there(text: str, said: str) -> None:
    plan = Planning(15.0, text, 3.21, 9.96, 2.0, Benefit(0.15, 0.01, -0.05, 0.0))
    assert words.usefulness(changed(planning=plan, events=40)).footer.startswith(said)


def test_usefulness_speaks_at_the_planning_line() -> None:
    plan = Planning(15.0, "A. Person, 1 Jan 2026", 3.21, 9.96, 2.0, Benefit(0.15, 0.01, -0.05, 0.0))
    found = words.usefulness(changed(planning=plan, events=40))
    assert found.heading == (
        "At the planning line of 15, using the forecast flags 3.2 cloudy eyes in 100 for 10.0 planned in vain"
    )
    assert "A. Person" in found.footer
    assert words.usefulness(changed(planning=None)).heading.startswith("No planning line is set")


def test_footer_says_what_was_counted_and_what_was_left_out() -> None:
    review = changed(left_out={"graded by someone who had seen the forecast": 3, "set aside: a graft": 2})
    said = words.footer(review)
    for part in (f"{review.n} eyes, {review.events} cloudy", "booking forecast", "locked beforehand", "1 Oct 2025",
                 review.definition):  # fmt: skip
        assert part in said
    assert "left out: 5 eyes (3 of them Not blind), and " in words.left_out(review)
    assert words.left_out_list(review) == (
        "Left out, 5 eyes: 3 graded by someone who had seen the forecast (Not blind); 2 set aside: a graft."
    )
    assert NOT_BLIND in words.left_out_list(review)
    assert words.left_out_list(changed(left_out={})) == ""
    assert review.filter_words in words.left_out(review)
    assert "worked out afterwards" in words.footer(changed(basis="afterwards"))


def test_missing_grades_are_never_counted_as_clear() -> None:
    review = usual_review()
    found = words.missing_grades(review)
    missing = review.missing_day_one
    assert found.heading.startswith(f"{missing.missing} of {missing.eyes} eyes have no usable day-one grade")
    assert str(missing.best.observed) in found.reading
    assert str(missing.worst.observed) in found.reading
    whole = dataclasses.replace(missing, missing=0)
    said = words.missing_grades(changed(missing_day_one=whole))
    assert said.heading == "Every eye with a forecast has a usable day-one grade"
    one = dataclasses.replace(missing, eyes=60, missing=1)
    assert words.missing_grades(changed(missing_day_one=one)).heading.startswith("1 of 60 eyes has no usable")


def test_every_footer_holds_eyes_cloudy_model_period_and_definition() -> None:
    review = usual_review()
    for rule in (words.forecast_check, words.running_tally, words.alarm, words.quarters, words.surgeons, words.groups,
                 words.usefulness, words.missing_grades):  # fmt: skip
        assert words.footer(review) in rule(review).footer


@pytest.mark.parametrize(
    ("models", "named"),
    [
        (("booking-6",), "booking-6"),
        (("booking-1", "booking-2"), "booking-1, booking-2"),
        (("booking-8", "booking-9", "booking-10"), "booking-8 to booking-10"),
        (("booking-1", "booking-2", "booking-4"), "booking-1, booking-2, booking-4"),
    ],
)
def test_models_have_one_name(models: tuple[str, ...], named: str) -> None:
    review = changed(model_id=", ".join(models), model_pages=tuple(ModelPage(one, (), ()) for one in models))
    assert f"locked beforehand ({named})" in words.footer(review)


@pytest.mark.parametrize(
    ("difference", "said"),
    [(7.4, "7 more cloudy"), (-6.6, "7 fewer cloudy"), (0.4, "as forecast"), (-0.4, "as forecast")],
)
def test_differences_in_eyes(difference: float, said: str) -> None:
    assert words.in_eyes(difference) == said
