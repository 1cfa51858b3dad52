"""Pictures of a review: they hold the review's numbers, can be read, and come out the same each time."""

from __future__ import annotations

import dataclasses
import re
from datetime import date
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.text import Text

from clinic_app.domain.reviewed import Review
from clinic_app.figures import files, forecast_check, quarters, running_tally, surgeons, usefulness
from clinic_app.figures.charts import NARROW, WIDE, Chart, charts
from clinic_app.figures.tables import Table
from clinic_app.figures.tokens import DARK, LIGHT, PRINT, Tokens
from clinic_app.services.review import review as reviewed
from tests.simulated_practice import session_on, simulated, usual_review

NAMES = ("forecast_check", "running_tally", "alarm", "by_quarter", "by_surgeon", "usefulness")
EACH = pytest.mark.parametrize("name", NAMES)


def chart(name: str, review: Review | None = None) -> Chart:
    return next(one for one in charts(review or usual_review()) if one.name == name)


def test_every_chart_is_there_in_reading_order() -> None:
    assert tuple(one.name for one in charts(usual_review())) == NAMES
    assert all(
        one.drawn and one.words.heading and one.words.reading and one.table.rows for one in charts(usual_review())
    )


@EACH
@pytest.mark.parametrize("size", [WIDE, NARROW, (560.0, 260.0), (1100.0, 300.0)], ids=str)
def test_no_word_leaves_the_picture_and_none_is_small(name: str, size: tuple[float, float]) -> None:
    figure = chart(name).figure(LIGHT, size)
    files.png(figure)  # lays everything out
    edges = figure.bbox
    (axes,) = figure.axes
    unseen = [
        tick.label1
        for axis in (axes.xaxis, axes.yaxis)
        for tick in axis.get_major_ticks()
        if not min(axis.get_view_interval()) <= tick.get_loc() <= max(axis.get_view_interval())
    ]
    words = [one for one in figure.findobj(Text) if one.get_text().strip() and one not in unseen]  # type: ignore[attr-defined]
    assert words
    for one in words:
        box = one.get_window_extent()
        assert edges.x0 - 1 <= box.x0 <= box.x1 <= edges.x1 + 1, one.get_text()
        assert edges.y0 - 1 <= box.y0 <= box.y1 <= edges.y1 + 1, one.get_text()
        assert one.get_fontsize() * 96 / 72 >= 12 - 1e-9, one.get_text()


@EACH
@pytest.mark.parametrize("theme", [LIGHT, DARK, PRINT], ids=lambda one: one.name)
def test_svg_keeps_text_as_text_and_is_the_same_each_time(name: str, theme: Tokens) -> None:
    one = files.svg(chart(name).figure(theme), name)
    assert one == files.svg(chart(name).figure(theme), name)
    tree = ElementTree.fromstring(one)  # noqa: S314 - written a line above
    texts = "".join(tree.itertext())
    expected = {
        "forecast_check": "forecast, cloudy in 100", "running_tally": "seen less forecast", "by_quarter": "of ",
        "alarm": "alarm: more cloudy",
        "by_surgeon": "(trainee)", "usefulness": "planning line 15",
    }  # fmt: skip
    assert expected[name] in texts
    assert "<dc:date>" not in one
    assert "matplotlib" not in one.lower()
    sizes = [float(size) * 96 / 72 for size in re.findall(r"font(?:-size)?: (?:[a-z0-9]+ )*?([0-9.]+)px", one)]
    assert sizes
    assert min(sizes) >= 12 - 1e-6
    assert theme.sheet.lower() in one.lower()


@EACH
def test_png_is_the_same_each_time_and_twice_as_fine_on_request(name: str) -> None:
    one = files.png(chart(name).figure(LIGHT))
    assert one == files.png(chart(name).figure(LIGHT))
    assert one[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = (int.from_bytes(one[at : at + 4], "big") for at in (16, 20))
    assert (width, height) == (760, 380)
    fine = files.png(chart(name).figure(LIGHT), scale=2)
    assert int.from_bytes(fine[16:20], "big") == 1520


def test_the_alarm_chart_draws_both_sides_to_their_limits() -> None:
    review = usual_review()
    worse, better = review.alarm.worse, review.alarm.better
    assert worse is not None
    assert better is not None
    figure = chart("alarm").figure(LIGHT)
    levels = {round(float(line.get_ydata()[0]), 6) for line in figure.axes[0].lines if len(set(line.get_ydata())) == 1}  # type: ignore[arg-type,index]
    assert {round(worse.limit, 6), round(-better.limit, 6)} <= levels
    drawn = [line.get_ydata() for line in figure.axes[0].lines if len(line.get_ydata()) == len(worse.points)]  # type: ignore[arg-type]
    assert np.allclose(drawn[0], [point.height for point in worse.points])
    assert np.allclose(drawn[1], [-point.height for point in better.points])


def test_alarms_of_earlier_models_are_hollow_and_the_key_says_so() -> None:
    review = usual_review()
    assert review.alarm.worse is not None
    days = [point.day for point in review.alarm.worse.points]
    early, late = days[len(days) // 4], days[-2]
    worse = dataclasses.replace(review.alarm.worse, signals=(early, late))
    begun = (days[len(days) // 2],)

    def drawn(restarts: tuple[date, ...]) -> tuple[list[str], list[str]]:
        told = dataclasses.replace(review.alarm, worse=worse, restarts=restarts)
        figure = chart("alarm", dataclasses.replace(review, alarm=told)).figure(LIGHT)
        dots = [one for one in figure.axes[0].lines if one.get_marker() == "o" and len(one.get_xdata()) == 1]  # type: ignore[arg-type]
        fills = [str(one.get_markerfacecolor()) for one in sorted(dots, key=lambda one: float(one.get_xdata()[0]))]  # type: ignore[index,arg-type]
        return fills, [one.get_text() for one in figure.findobj(Text)]  # type: ignore[attr-defined]

    fills, texts = drawn(begun)
    assert fills == [LIGHT.sheet, LIGHT.seen]
    assert "alarm under an earlier model" in texts
    fills, texts = drawn(())
    assert fills == [LIGHT.seen, LIGHT.seen]
    assert "alarm under an earlier model" not in texts


def test_a_quarter_of_one_eye_does_not_stretch_the_axis_and_is_marked_as_cut_off() -> None:
    review = usual_review()
    usual_top = quarters.draw(review, LIGHT, *WIDE).axes[0].get_ylim()[1]
    one = dataclasses.replace(
        review.by_quarter[-1], group="2027 Q1", n=1, expected=0.1, observed=1, low=0, high=1, low_998=0, high_998=1
    )
    assert all(row.n >= 10 for row in review.by_quarter)
    (made,) = quarters.draw(dataclasses.replace(review, by_quarter=(*review.by_quarter, one)), LIGHT, *WIDE).axes
    assert made.get_ylim()[1] == usual_top < 90
    heads = [line for line in made.lines if line.get_marker() == "^"]
    assert [str(line.get_color()) for line in heads] == [LIGHT.ref, LIGHT.seen]
    assert all(0 < float(line.get_ydata()[0]) < usual_top for line in heads)  # type: ignore[index,arg-type]


def test_inner_names_of_several_pictures_do_not_meet() -> None:
    names = [
        re.findall(r'\bid="([^"]+)"', files.svg(chart(name).figure(LIGHT, size), f"{name}-{size[0]:.0f}"))
        for name in NAMES
        for size in (WIDE, NARROW)
    ]
    flat = [one for some in names for one in some]
    assert len(flat) == len(set(flat))
    for name in NAMES:
        text = files.svg(chart(name).figure(LIGHT), name)
        known = set(re.findall(r'\bid="([^"]+)"', text))
        assert set(re.findall(r"url\(#([^)]+)\)", text)) | set(re.findall(r'href="#([^"]+)"', text)) <= known


def test_inline_picture_takes_the_pages_colours_and_says_what_it_shows() -> None:
    text = files.inline(files.svg(chart("forecast_check").figure(LIGHT), "check"), LIGHT, 'seen <3 & "few"')
    assert text.startswith('<svg role="img" aria-label="seen &lt;3 &amp; &quot;few&quot;"')
    assert "var(--forecast, #174a84)" in text
    assert "var(--seen, #a9531a)" in text
    assert "var(--forecast, var(" not in text
    ElementTree.fromstring(text)  # noqa: S314 - written a line above
    root = text[: text.index(">")]
    assert "width=" not in root
    assert "viewBox=" in root


def test_forecast_check_draws_the_numbers_of_the_review() -> None:
    review = usual_review()
    (made,) = forecast_check.draw(review, LIGHT, *WIDE).axes
    dots = next(line for line in made.lines if line.get_marker() == "o")
    assert np.allclose(dots.get_xdata(), [100 * one.mean_risk for one in review.groups])  # type: ignore[arg-type]
    assert np.allclose(dots.get_ydata(), [100 * one.observed for one in review.groups])  # type: ignore[arg-type]
    assert review.curve is not None
    curve = [line for line in made.lines if len(np.atleast_1d(line.get_xdata())) == len(review.curve)]  # type: ignore[arg-type]
    assert any(np.allclose(line.get_ydata(), [100 * one.observed for one in review.curve]) for line in curve)  # type: ignore[arg-type]
    diagonal = next(line for line in made.lines if list(line.get_xdata()) == list(line.get_ydata()))  # type: ignore[arg-type]
    assert diagonal.is_dashed()


def test_tally_quarters_and_surgeons_draw_the_numbers_of_the_review() -> None:
    review = usual_review()
    (made,) = running_tally.draw(review, LIGHT, *WIDE).axes
    steps = next(line for line in made.lines if line.get_drawstyle() == "steps-post")
    assert np.allclose(steps.get_ydata(), [one.difference for one in review.tally])  # type: ignore[arg-type]
    (made,) = quarters.draw(review, LIGHT, *WIDE).axes
    dots = [float(line.get_ydata()[0]) for line in made.lines if line.get_marker() == "o"]  # type: ignore[index]
    assert dots == pytest.approx([100 * row.observed / row.n for row in review.by_quarter])
    boxes = [(patch.get_y(), patch.get_y() + patch.get_height()) for patch in made.patches]  # type: ignore[attr-defined]
    assert boxes == [
        (pytest.approx(100 * row.low / row.n), pytest.approx(100 * row.high / row.n)) for row in review.by_quarter
    ]
    (made,) = surgeons.draw(review, LIGHT, *WIDE).axes
    shapes = [line.get_marker() for line in made.lines if line.get_marker() not in ("None", None, "")]
    assert len(shapes) == len(set(shapes)) == len(review.by_surgeon)
    (made,) = usefulness.draw(review, LIGHT, *WIDE).axes
    model = next(line for line in made.lines if len(np.atleast_1d(line.get_xdata())) == len(review.net_benefit))  # type: ignore[arg-type]
    assert model is not None


def test_tables_hold_the_same_numbers() -> None:
    review = usual_review()
    table: Table = chart("by_quarter").table
    for shown, row in zip(table.rows, review.by_quarter, strict=True):
        assert shown[:4] == (row.group, str(row.n), f"{row.expected:.1f}", str(row.observed))
    last = chart("running_tally").table.rows[-1]
    assert last[1] == str(review.n)
    assert last[3] == str(review.events)


def test_too_few_has_words_and_a_table_and_no_picture() -> None:
    few = reviewed(session_on(simulated(40)))
    assert all(not one.drawn for one in charts(few))
    with pytest.raises(ValueError, match="too few"):
        chart("forecast_check", few).figure(LIGHT)
    small = dataclasses.replace(usual_review(), by_surgeon=())
    assert not chart("by_surgeon", small).drawn
    assert chart("by_quarter", small).drawn


def test_codes_with_signs_of_mathematics_and_markup_are_drawn_as_they_are() -> None:
    review = usual_review()
    odd = dataclasses.replace(review.by_surgeon[0], group="$x_{<b>&")
    text = files.svg(surgeons.draw(dataclasses.replace(review, by_surgeon=(odd,)), LIGHT, *WIDE), "odd")
    assert "$x_{<b>&" in "".join(ElementTree.fromstring(text).itertext())  # noqa: S314 - written a line above


def test_without_a_smooth_curve_the_groups_still_stand() -> None:
    figure = forecast_check.draw(dataclasses.replace(usual_review(), curve=None), LIGHT, *WIDE)
    assert "smoothed" not in "".join(one.get_text() for one in figure.findobj(Text))  # type: ignore[attr-defined]


@pytest.mark.parametrize("size", [WIDE, NARROW], ids=["wide", "narrow"])
def test_long_and_short_periods_can_be_drawn(size: tuple[float, float]) -> None:
    for eyes, days in ((60, 20), (900, 2600)):
        review = reviewed(session_on(simulated(eyes, days=days, level=-3.6)))
        for one in charts(review):
            if one.drawn:
                files.png(one.figure(LIGHT, size))
