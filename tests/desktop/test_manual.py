"""The manual in the window: at the chapter of the page, with its pictures, by keyboard, whole at every size of text;
and the keys that it names are those of the pages."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

import pytest
from PySide6.QtCore import Qt, QUrl
from PySide6.QtGui import QImage, QShortcut, QTextDocument, QTextTable
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from clinic_app.desktop import manual_pictures
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.help_page import HelpPage
from clinic_app.desktop.pages.plain import Coming
from clinic_app.desktop.pages.practice import SECTIONS
from clinic_app.desktop.pages.review import VIEW_FIELD
from clinic_app.desktop.picture_files import save_small
from clinic_app.desktop.window import PLACES, Window
from clinic_app.manual.chapters import CHAPTERS, PICTURES, chapter_of, text_of
from tests.desktop.acceptance import settle, show_case, standing

NOT_IN_THE_WINDOW = {"cover"}
"""Described in a chapter, and no place that one goes to."""
TITLES = {"Day one": "day_one", "First start": "first_start"}
KEY = re.compile(r"`([^`]+)`")
TO = re.compile(r"`(\S+?)(\d)` to `\S+?(\d)`")


@pytest.fixture(scope="module")
def window(qapp, practice_with_model: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Window]:
    qapp.setStyle("Fusion")
    with standing(practice_with_model, tmp_path_factory.mktemp("manual") / "practice", Look("light")) as made:
        yield made


@pytest.fixture
def help_page(window: Window) -> HelpPage:
    show_case(window, 1440, 900, "light", 100)
    window.go(0)
    window.help()
    settle(window)
    page = window.here
    assert isinstance(page, HelpPage)
    return page


def rows(text: str, heading: str) -> list[list[str]]:
    """The rows, the heading first, of every table whose first heading is that one."""
    found, inside = [], False
    for line in text.splitlines():
        cells = [cell.strip() for cell in line.strip().strip("|").split("|")] if line.startswith("|") else []
        inside = bool(cells) and (inside or cells[0] == heading)
        if inside and not set(line) <= set("|- "):
            found.append(cells)
    return found


def keys_in(cell: str) -> set[str]:
    """The keys that a cell names; `Ctrl+1` to `Ctrl+5` are five."""
    span = TO.search(cell)
    if span:
        return {f"{span[1]}{digit}" for digit in range(int(span[2]), int(span[3]) + 1)}
    return set(KEY.findall(cell))


def in_the_window(window: Window) -> set[str]:
    """Every key sequence that the window listens to, those of its pages among them."""
    return {one.key().toString() for one in window.findChildren(QShortcut) if one.parent() is window}


def pressed(keys: Mapping[str, object]) -> set[str]:
    """Keys as people say them: both Enters are one."""
    return {key.replace("Return", "Enter") for key in keys}


# --- pages and chapters ----------------------------------------------------------------------------------------------


def test_every_page_has_a_chapter_and_every_chapters_page_is_there(window: Window) -> None:
    described = {page for chapter in CHAPTERS for page in chapter.pages}
    assert described - NOT_IN_THE_WINDOW == set(PLACES)
    assert set(window.page) == set(PLACES)
    assert window.cover is not None


def test_help_opens_at_the_chapter_of_the_page(window: Window) -> None:
    for place, name in enumerate(PLACES):
        if name == "help":
            continue
        window.go(place)
        settle(window)
        QTest.keyClick(window, Qt.Key.Key_F1, Qt.KeyboardModifier.ShiftModifier)
        settle(window)
        page = window.here
        assert isinstance(page, HelpPage), name
        title = chapter_of(name).title
        assert page.view.toPlainText().startswith(title), name
        assert page.view.accessibleDescription() == title


def test_views_and_sections_of_the_pages_are_described(window: Window) -> None:
    review, practice = text_of(chapter_of("review")), text_of(chapter_of("practice"))
    headings = {line.removeprefix("## ") for line in review.splitlines() if line.startswith("## ")}
    assert {one.label for one in VIEW_FIELD.choices} <= headings
    titles = [section.title for section in SECTIONS.values()]
    assert [title for title in titles if title.lower() not in practice.lower()] == []


def test_the_chapter_on_models_says_whether_the_page_is_built(window: Window) -> None:
    waits = isinstance(window.page["model"], Coming)
    assert ("only says what will stand there" in text_of(chapter_of("model"))) == waits


# --- keys ------------------------------------------------------------------------------------------------------------


def test_keys_that_work_everywhere_are_named(window: Window) -> None:
    own = set().union(*(page.keys() for page in window.page.values()))
    everywhere = in_the_window(window) - own
    named = set().union(*(keys_in(row[0]) for row in rows(text_of(chapter_of("help")), "key") if len(row) == 2))
    assert named == everywhere - {"Ctrl+="}  # the same key as Ctrl++ on many keyboards


def test_keys_of_each_page_are_named(window: Window) -> None:
    table = [row for row in rows(text_of(chapter_of("help")), "key") if len(row) > 2]
    head, body = table[0], table[1:]
    pages = {place: TITLES.get(title, title.lower()) for place, title in enumerate(head) if place}
    for place, name in pages.items():
        named = {key for row in body if row[place] != "–" for key in keys_in(row[0])}
        assert named == pressed(window.page[name].keys()), name
    assert {name for name in PLACES if window.page[name].keys()} == set(pages.values())


def test_the_keys_of_a_chapter_are_those_of_its_page(window: Window) -> None:
    everywhere = in_the_window(window)
    own = set().union(*(pressed(page.keys()) for page in window.page.values()))
    checked = 0
    for chapter in CHAPTERS:
        if chapter.name == "keys":
            continue
        mine = set().union(
            everywhere - own, *(pressed(window.page[name].keys()) for name in chapter.pages if name in PLACES)
        )
        for row in rows(text_of(chapter), "key")[1:]:
            assert keys_in(row[0]) <= mine, (chapter.name, row)
            checked += 1
        told = {key for key in KEY.findall(text_of(chapter)) if re.fullmatch(r"(Ctrl\+|Shift\+)+\S+|F\d+", key)}
        assert told <= everywhere | own, (chapter.name, told)
    assert checked > 20


# --- reading ---------------------------------------------------------------------------------------------------------


def test_links_lead_to_other_chapters(help_page: HelpPage) -> None:
    help_page.show_chapter("start")
    help_page.view.anchorClicked.emit(QUrl("day_one.md"))
    assert help_page.view.toPlainText().startswith("Day one")
    assert help_page.list.currentIndex().data(Qt.ItemDataRole.UserRole).key == "day_one"
    help_page.view.anchorClicked.emit(QUrl("https://example.org/elsewhere.md"))
    assert help_page.view.toPlainText().startswith("Day one")


def test_a_link_is_followed_by_keyboard(help_page: HelpPage) -> None:
    help_page.show_chapter("start")
    help_page.first_focus()
    QTest.keyClick(help_page.view, Qt.Key.Key_Tab)
    QTest.keyClick(help_page.view, Qt.Key.Key_Return)
    assert help_page.view.toPlainText().startswith("Bookings")


def test_the_text_scrolls_and_is_left_by_keyboard(window: Window, help_page: HelpPage) -> None:
    help_page.show_chapter("safety")  # no link in it
    window.activateWindow()
    assert help_page.first_focus() is help_page.view
    assert QApplication.focusWidget() is help_page.view
    QTest.keyClick(help_page.view, Qt.Key.Key_PageDown)
    assert help_page.view.verticalScrollBar().value() > 0
    QTest.keyClick(help_page.view, Qt.Key.Key_Backtab, Qt.KeyboardModifier.ShiftModifier)
    assert QApplication.focusWidget() is help_page.list
    help_page.list.setCurrentIndex(help_page.list.model().index(0, 0))
    assert help_page.view.toPlainText().startswith("Start")
    QTest.keyClick(help_page.list, Qt.Key.Key_Return)
    assert QApplication.focusWidget() is help_page.view


def test_pictures_are_never_wider_than_the_page(window: Window, help_page: HelpPage) -> None:
    shown = 0
    for width, percent in ((1440, 100), (1280, 200)):
        show_case(window, width, 720, "light", percent)
        for chapter in CHAPTERS:
            help_page.show_chapter(chapter.name)
            settle(window)
            for name in re.findall(r"\]\((pictures/[^)]+)\)", text_of(chapter)):
                image = help_page.view.loadResource(QTextDocument.ResourceType.ImageResource.value, QUrl(name))
                assert isinstance(image, QImage)
                assert not image.isNull()
                assert 0 < image.width() / image.devicePixelRatio() <= help_page.view.viewport().width()
                shown += 1
    assert shown == 2 * len(list(PICTURES.iterdir()))


def test_a_picture_follows_the_width_of_the_window(window: Window, help_page: HelpPage) -> None:
    help_page.show_chapter("bookings")
    settle(window)
    wide = help_page.view.document().size().height()
    window.resize(1300, 900)
    QTest.qWait(200)
    settle(window)
    assert help_page.view.document().size().width() <= help_page.view.viewport().width()
    assert help_page.view.document().size().height() != wide


@pytest.mark.parametrize("case", [(1440, 900, "light", 100), (1280, 720, "dark", 200)], ids=["usual", "200 %"])
def test_no_chapter_is_cut_off_at_the_side(
    window: Window, help_page: HelpPage, case: tuple[int, int, str, int]
) -> None:
    show_case(window, *case)
    for chapter in CHAPTERS:
        help_page.show_chapter(chapter.name)
        settle(window)
        room = help_page.view.viewport().width()
        document = help_page.view.document()
        assert document.size().width() <= room, chapter.name
        for frame in document.rootFrame().childFrames():
            if isinstance(frame, QTextTable):
                box = document.documentLayout().frameBoundingRect(frame)
                assert box.right() <= room, f"a table of {chapter.name} ends at {box.right():.0f} of {room}"


def test_at_a_large_text_the_list_folds_into_a_button(window: Window, help_page: HelpPage) -> None:
    show_case(window, 1280, 720, "light", 200)
    assert not help_page.list.isVisible()
    assert help_page.picker.isVisible()
    help_page.picker._pick("review")
    assert help_page.view.toPlainText().startswith("Review")


# --- pictures --------------------------------------------------------------------------------------------------------


def test_few_colours_keep_grounds_as_they_are(tmp_path: Path) -> None:
    image = QImage(400, 300, QImage.Format.Format_RGB32)
    image.fill(0xFFEEEDE8)
    for x in range(300):  # a run of many colours, as at the edges of letters
        for y in range(40):
            grey = (x * 40 + y) % 256
            image.setPixel(x, y, 0xFF000000 | grey << 16 | (grey // 2 + y) << 8 | grey)
    saved = QImage(str(save_small(image, tmp_path / "small.png")))
    assert saved.pixel(350, 250) == 0xFFEEEDE8
    assert len(saved.colorTable()) <= 256
    far = [
        max(abs(a - b) for a, b in zip(one.getRgb(), other.getRgb(), strict=True))
        for one, other in (
            (image.pixelColor(x, y), saved.pixelColor(x, y)) for x in range(0, 300, 7) for y in range(0, 40, 5)
        )
    ]
    assert max(far) <= 16


def test_a_picture_that_would_show_something_else_is_refused(tmp_path: Path, qapp) -> None:
    practice = tmp_path / "practice"
    practice.mkdir()
    with manual_pictures.seat(practice, "Osei", tmp_path) as here, pytest.raises(RuntimeError, match="would not show"):
        here.shoot("nothing.png", "no such words")
    assert not (tmp_path / "nothing.png").exists()


@pytest.mark.parametrize("scene", [manual_pictures.first_start, manual_pictures.no_model_yet])
def test_scenes_without_a_model_can_be_made(scene: Callable[[Path, Path], list[Path]], tmp_path: Path, qapp) -> None:
    practice = tmp_path / "practice"
    practice.mkdir()
    made = scene(practice, tmp_path)
    assert [QImage(str(path)).size().toTuple() for path in made] == [(1440, 900)]


@pytest.mark.slow
def test_all_pictures_can_be_made_and_are_those_of_the_manual(tmp_path: Path, qapp) -> None:
    made = manual_pictures.make_pictures(tmp_path)
    assert sorted(path.name for path in made) == sorted(path.name for path in PICTURES.iterdir())
