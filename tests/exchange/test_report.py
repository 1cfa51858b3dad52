"""The report: one page that needs nothing else, the same numbers as its JSON, safe against what names hold."""

from __future__ import annotations

import dataclasses
import json
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from clinic_app.domain.reviewed import Review
from clinic_app.errors import Refusal
from clinic_app.exchange.cautions import CAUTIONS
from clinic_app.exchange.report import as_json, as_page, write_review
from clinic_app.figures.charts import charts
from clinic_app.services.review import review as reviewed
from tests.simulated_practice import session_on, simulated, usual_review

CHARTS = ("forecast_check", "running_tally", "by_quarter", "by_surgeon", "usefulness")


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
    assert f"{missing['worst']['observed_expected']:.2f}" in text
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
    assert "max-width:700px" in text
    assert "--forecast:#174A84" in text
    assert "--forecast:#9CC7F5" in text
    assert 'name="viewport"' in text
