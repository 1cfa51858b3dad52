"""The report: one page that needs nothing else, the same numbers as its JSON, safe against what names hold."""

from __future__ import annotations

import dataclasses
import json
import re
from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import pytest
from matplotlib.figure import Figure

from clinic_app.domain.record import CaseKey
from clinic_app.domain.reviewed import Benefit, Estimate, ModelPage, Performance, Review
from clinic_app.errors import Refusal
from clinic_app.exchange.cautions import CAUTIONS
from clinic_app.exchange.report import as_json, as_page, write_review
from clinic_app.exchange.report_words import beside_heading, causes_heading, figures_heading, theatre_heading
from clinic_app.figures import tables, words
from clinic_app.figures.charts import NARROW, WIDE, Chart, charts
from clinic_app.figures.tokens import Tokens
from clinic_app.services.review import review as reviewed
from tests.simulated_practice import Simulated, case_of, forecast, session_on, simulated, usual_review

FIGURES_CELLS = 14
"""Cells of the table of questions, which has two columns and never stacks."""
CHARTS = ("forecast_check", "running_tally", "alarm", "by_quarter", "by_surgeon", "usefulness")


class Page(HTMLParser):
    """Tags, attributes and the text that a reader sees."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.words: list[str] = []
        self._hidden = 0
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs
        self._hidden += tag == "style"

    def handle_endtag(self, tag: str) -> None:
        self._hidden -= tag == "style"

    def handle_data(self, data: str) -> None:
        if not self._hidden:
            self.words.append(data)

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", " ".join(self.words))

    def ids(self) -> list[str]:
        return [value or "" for name, value in self.attributes if name == "id"]


@pytest.fixture(scope="module")
def page() -> Page:
    return Page(as_page(usual_review()))


def test_files_are_written_and_json_is_the_review(tmp_path: Path) -> None:
    files = write_review(usual_review(), tmp_path / "new" / "report")
    assert files.html is not None
    assert files.json is not None
    assert json.loads(files.json.read_text(encoding="utf-8")) == usual_review().as_dict()
    assert [path.stem for path in files.svg] == [path.stem for path in files.png] == list(CHARTS)
    assert all(path.stat().st_size > 0 for path in files.paths)
    assert sorted(path.name for path in files.folder.iterdir()) == sorted(path.name for path in files.paths)


def test_the_same_review_gives_the_same_bytes(tmp_path: Path) -> None:
    one, two = (write_review(usual_review(), tmp_path / name) for name in ("a", "b"))
    for first, second in zip(one.paths, two.paths, strict=True):
        assert first.name == second.name
        assert first.read_bytes() == second.read_bytes()


def test_formats_can_be_chosen_and_unknown_ones_are_refused(tmp_path: Path) -> None:
    files = write_review(usual_review(), tmp_path, formats=("json",))
    assert [path.name for path in tmp_path.iterdir()] == ["review.json"]
    assert files.html is None
    assert files.paths == (tmp_path / "review.json",)
    with pytest.raises(Refusal, match="pdf"):
        write_review(usual_review(), tmp_path, formats=("pdf",))


def test_a_folder_that_cannot_be_made_is_refused(tmp_path: Path) -> None:
    (tmp_path / "report").write_text("a file")
    with pytest.raises(Refusal, match="cannot be made"):
        write_review(usual_review(), tmp_path / "report")


def test_page_needs_nothing_from_elsewhere_and_runs_nothing(page: Page) -> None:
    assert not {"script", "link", "iframe", "img", "object", "embed", "form"} & set(page.tags)
    for name, value in page.attributes:
        assert not name.startswith("on")
        if name in ("href", "src", "xlink:href"):
            assert value is not None
            assert value.startswith("#")
    assert ("http-equiv", "Content-Security-Policy") in page.attributes
    text = as_page(usual_review())
    assert "@import" not in text
    assert not re.search(r"url\((?!#)", text)


def test_page_has_no_name_twice_and_every_link_leads_somewhere(page: Page) -> None:
    ids = page.ids()
    assert len(ids) == len(set(ids))
    assert {value[1:] for name, value in page.attributes if name == "href" and value} <= set(ids)


def test_page_tells_the_numbers_of_the_json(page: Page) -> None:
    document = json.loads(as_json(usual_review()))
    text = page.text
    assert f"{document['expected']:.0f} cloudy eyes forecast among {document['n']}" in text
    assert f"{document['events']} cloudy eyes seen: {100 * document['events'] / document['n']:.1f} in 100" in text
    missing = document["missing_day_one"]
    assert f"{missing['missing']} of {missing['eyes']} eyes have no usable day-one grade" in text
    for name in ("graded", "best", "worst"):
        one = missing[name]
        assert f"{one['observed']} {one['expected']:.1f} {one['observed_expected']:.2f}" in text
    assert missing["graded"]["observed_expected"] == pytest.approx(document["observed_expected"]["value"], abs=1e-12)
    for key in ("c_statistic", "observed_expected", "calibration_in_the_large", "calibration_slope"):
        one = document[key]
        assert f"{one['value']:.2f} ({one['low']:.2f} to {one['high']:.2f})" in text
    assert f"{document['brier']:.4f}" in text
    for row in [*document["by_quarter"], *document["by_surgeon"], *document["subgroups"]]:
        limits = f"{row['n']} {row['expected']:.1f} {row['observed']} {row['low']} to {row['high']}"
        assert limits in re.sub(r"\s+", " ", text)


def test_every_chart_has_words_picture_and_table(page: Page) -> None:
    text = page.text
    for one in charts(usual_review()):
        assert one.words.heading in text
        assert one.words.reading in text
        assert one.words.footer in text
        for row in one.table.rows:
            assert all(cell in text for cell in row)
    assert page.tags.count("svg") == 2 * len(CHARTS)
    assert page.tags.count("details") == len(CHARTS)


def test_contents_come_in_the_promised_order(page: Page) -> None:
    ids = page.ids()
    order = [
        "facts", "forecast_check", "running_tally", "by_quarter", "by_surgeon", "groups", "missing", "usefulness",
        "theatre", "causes", "model", "definitions",
    ]  # fmt: skip
    assert [one for one in ids if one in order] == order


def test_cautions_stand_where_they_belong(page: Page) -> None:
    for number in ("C1", "C2", "C3", "C4", "C5", "C7", "C8", "C10", "C11", "C12", "C13", "C15", "C16"):
        assert CAUTIONS[number] in page.text, number
    aside = dataclasses.replace(usual_review(), left_out={"set aside: a graft in this eye": 2})
    assert CAUTIONS["C6"] in Page(as_page(aside)).text
    assert CAUTIONS["C6"] not in page.text


def test_demo_banner_only_for_an_invented_practice(page: Page) -> None:
    assert page.text.count(CAUTIONS["C11"]) == 2
    assert "(demo data)" in page.text
    assert CAUTIONS["C11"] not in as_page(dataclasses.replace(usual_review(), demo=False))


def test_wide_tables_carry_their_headings_so_that_rows_can_stack_on_a_telephone(page: Page) -> None:
    labels = [value for name, value in page.attributes if name == "data-label"]
    assert len(labels) == page.tags.count("td") - FIGURES_CELLS
    assert {"Eyes", "Forecast", "Seen", "19 times in 20", "998 in 1000", "Seen over forecast", "Reading"} <= set(labels)
    text = as_page(usual_review())
    tables = re.findall(r"<table[^>]*>.*?</table>", text, re.DOTALL)
    wide = [one for one in tables if len(re.findall(r"<th[^>]*scope=.col.", one)) > 4]
    assert len(wide) >= 5
    assert all('class="stack"' in one[: one.index(">")] for one in wide)


def test_groups_too_small_to_judge_are_grey_and_those_apart_are_bold() -> None:
    small, apart = (
        dataclasses.replace(usual_review().subgroups[0], verdict=verdict) for verdict in ("too_few", "above")
    )
    quarters = tuple(dataclasses.replace(row, verdict="inside") for row in usual_review().by_quarter)
    text = as_page(dataclasses.replace(usual_review(), subgroups=(small, apart), by_surgeon=(), by_quarter=quarters))
    assert text.count('<tr role="row" class="few">') == 1
    assert text.count('<tr role="row" class="apart">') == 1


def test_the_usefulness_table_holds_the_planning_line_in_its_place() -> None:
    review = usual_review()
    assert review.planning is not None
    for line, before in ((15.0, "14"), (12.5, "12"), (14.0, "12"), (1.0, None), (50.0, "40")):
        gain = Benefit(line / 100, 0.0123, -0.5, 0.0)
        plan = dataclasses.replace(review.planning, line=line, gain=gain)
        rows = tables.usefulness(dataclasses.replace(review, planning=plan)).rows
        lines = [row[0] for row in rows]
        place = lines.index(f"{line:g}, the planning line")
        assert rows[place][1:] == ("1.23", "-50.00", "0.00")
        assert (lines[place - 1] if place else None) == before
        assert f"{line:g}" not in lines
    assert tables.usefulness(dataclasses.replace(review, planning=None)).rows[0][0] == "2"


def test_a_figure_that_cannot_be_estimated_is_absent_and_its_reason_stands() -> None:
    known = {"c_statistic": 0.7, "brier": 0.09, "calibration_in_the_large": 0.01, "calibration_slope": 1.1}
    lone = {name: value for name, value in known.items() if name != "calibration_slope"}
    rows = (
        Performance("Model", 71, known, {}),
        Performance("Model, corrected", 71, {}, {"all": "Made without resamples."}),
        Performance("Own records only", 71, lone, {"calibration_slope": "Not estimable: fewer than 20 cloudy eyes."}),
    )
    card = ModelPage("booking-6", ("Booking model.",), rows)
    review = dataclasses.replace(usual_review(), model_pages=(card,), model_id="booking-6")
    text = Page(as_page(review)).text
    assert "not estimable" not in text.replace("Not estimable", "")
    assert "Model, corrected: not given. Made without resamples." in text
    assert "Calibration slope of own records only: not given. Not estimable: fewer than 20 cloudy eyes." in text
    assert "Own records only 71 0.700 0.0900 0.010 –" in text
    assert "Model 6" not in text
    assert "Model, corrected 71" not in text


def test_no_graded_eye_has_no_finding_anywhere() -> None:
    missed = case_of(
        CaseKey("P-1", "R", date(2026, 3, 2)),
        booking={},
        theatre={"surgeon_id": "S-1"},
        day_one={"visit_status": "missed"},
    )
    made = Simulated(cases=[missed], forecasts=[forecast(missed.key, 0.1)])
    text = Page(as_page(reviewed(session_on(made)))).text
    assert text.count(words.NOTHING_YET) >= 7
    assert "There is no graded eye with a forecast." in text
    for finding in ("stands out", "stands apart", "stays within", "they agree", "0 eyes of"):
        assert finding not in text
    assert "1 of 1 eye has no usable day-one grade (100 %)" in text


def test_heading_of_the_figures_follows_the_limits() -> None:
    one = Estimate(1.0, 0.8, 1.2)
    right = dataclasses.replace(usual_review(), events=40, observed_expected=one, calibration_slope=one)
    assert figures_heading(right) == "Average right within chance; spread right within chance"
    low = dataclasses.replace(right, observed_expected=Estimate(1.4, 1.01, 1.9), calibration_slope=None)
    assert figures_heading(low) == "Average too low"
    high = dataclasses.replace(
        right, observed_expected=Estimate(0.7, 0.5, 0.99), calibration_slope=Estimate(0.6, 0.3, 0.9)
    )
    assert figures_heading(high) == "Average too high; spread too wide"
    assert figures_heading(dataclasses.replace(right, events=29)).endswith(": too few to judge")


def test_headings_of_technique_causes_and_model() -> None:
    review = usual_review()
    first = review.theatre.readings[0]
    known = [one for one in first.quarters if one.median is not None]
    assert theatre_heading(review) == (
        f"{first.label}, mL: median {known[0].median:.1f} in {known[0].quarter}, "
        f"{known[-1].median:.1f} in {known[-1].quarter}"
    )
    assert causes_heading(dataclasses.replace(review, events=1)) == "What is on record for 1 cloudy eye"
    pair = (Performance("Model", 9, {"c_statistic": 0.716}, {}), Performance("Own", 9, {"c_statistic": 0.704}, {}))
    assert beside_heading(dataclasses.replace(review, beside_own_records=pair)) == (
        "C statistic 0.72 with published evidence, 0.70 from own records only"
    )


def test_only_what_is_asked_for_is_drawn(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    drawn: list[tuple[float, float]] = []
    draw = Chart.figure

    def counting(chart: Chart, theme: Tokens, size: tuple[float, float] = WIDE) -> Figure:
        drawn.append(size)
        return draw(chart, theme, size)

    monkeypatch.setattr(Chart, "figure", counting)
    write_review(usual_review(), tmp_path, formats=("json",))
    assert drawn == []
    write_review(usual_review(), tmp_path, formats=("svg", "png"))
    assert drawn == [WIDE] * len(CHARTS)
    drawn.clear()
    write_review(usual_review(), tmp_path)
    assert sorted(drawn) == sorted([WIDE, NARROW] * len(CHARTS))


def test_markup_in_names_is_shown_and_never_obeyed() -> None:
    bad = '<script>alert("x")</script>&'
    review: Review = dataclasses.replace(
        usual_review(),
        practice=bad,
        left_out={bad: 1},
        by_surgeon=tuple(dataclasses.replace(row, group=bad) for row in usual_review().by_surgeon[:1]),
        subgroups=tuple(dataclasses.replace(row, group=bad, field_label=bad) for row in usual_review().subgroups),
    )
    text = as_page(review)
    assert "<script" not in text
    found = Page(text)
    assert "script" not in found.tags
    assert bad in found.text


def test_too_few_has_counts_and_tables_and_no_picture(tmp_path: Path) -> None:
    few = reviewed(session_on(simulated(40)))
    files = write_review(few, tmp_path)
    assert files.svg == files.png == ()
    assert files.html is not None
    found = Page(files.html.read_text(encoding="utf-8"))
    assert "svg" not in found.tags
    assert f"Too few to draw: {few.n} eyes, {few.events} cloudy" in found.text


def test_a_review_worked_out_afterwards_says_so() -> None:
    after = dataclasses.replace(usual_review(), basis="afterwards", basis_words="Worked out afterwards.", model_id=None)
    text = Page(as_page(after)).text
    assert "worked out afterwards" in text
    assert "Each quarter had a model of its own" in text
    assert "locked beforehand" not in text


def test_page_reads_in_light_dark_and_print_and_on_a_telephone() -> None:
    text = as_page(usual_review())
    assert "prefers-color-scheme:dark" in text
    assert "@media print" in text
    assert "@media screen and (max-width:700px)" in text
    assert "@page{size:A4" in text
    assert "--forecast:#174A84" in text
    assert "--forecast:#9CC7F5" in text
    assert 'name="viewport"' in text
