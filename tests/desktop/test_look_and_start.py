"""Colours that can be read, type that is ours, and a first paint that waits for nothing heavy."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import PySide6
import pytest
from PySide6.QtCore import QTimer
from PySide6.QtGui import QFontInfo, QGuiApplication, QPalette
from PySide6.QtWidgets import QApplication, QLabel
from pytestqt.qtbot import QtBot

from clinic_app.desktop import icons
from clinic_app.desktop.app import application, run
from clinic_app.desktop.look import FONTS, STRONG, Look
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.window import Window
from clinic_app.figures.tokens import DARK, LIGHT, Tokens
from clinic_app.services import demo
from clinic_app.session import open_session
from clinic_app.settings import Settings, read_settings, write_settings

GROUNDS = ("sheet", "paper", "well")
HEAVY = (
    "sklearn", "scipy", "matplotlib", "alembic", "openpyxl", "numpy", "sqlalchemy", "sqlcipher3", "joblib",
    "clinic_app.store", "clinic_app.services", "clinic_app.session", "clinic_app.exchange",
)  # fmt: skip


def luminance(colour: str) -> float:
    """Relative luminance, Web Content Accessibility Guidelines 2.2."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_measure_of_contrast_gives_the_published_ends() -> None:
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)
    assert contrast("#777777", "#FFFFFF") == pytest.approx(4.48, abs=0.005)


@pytest.mark.parametrize("tokens", [LIGHT, DARK], ids=["light", "dark"])
def test_words_and_marks_stand_out_from_their_grounds(tokens: Tokens) -> None:
    for ground in GROUNDS:
        under = getattr(tokens, ground)
        assert contrast(tokens.ink, under) >= 7
        for text in ("soft", "faint"):
            assert contrast(getattr(tokens, text), under) >= 4.5, (text, ground)
        for mark in ("edge", "focus", "ref"):
            assert contrast(getattr(tokens, mark), under) >= 3, (mark, ground)
    for text in ("forecast", "seen", "halt"):
        assert contrast(getattr(tokens, text), tokens.sheet) >= 4.5, text
    assert contrast(tokens.on_act, tokens.act) >= 7
    assert contrast(tokens.ink, tokens.act_wash) >= 7
    for text in ("faint", "forecast"):
        assert contrast(getattr(tokens, text), tokens.act_wash) >= 4.5
    assert contrast(tokens.ink, tokens.halt_wash) >= 7


def test_every_role_of_the_palette_is_ours(qapp) -> None:
    look = Look("dark")
    palette = look.palette()
    assert palette.color(QPalette.ColorRole.Base).name().upper() == DARK.sheet
    assert palette.color(QPalette.ColorRole.Window).name().upper() == DARK.paper
    look.set_theme("light")
    assert QGuiApplication.palette().color(QPalette.ColorRole.Window).name().upper() == LIGHT.paper


def test_an_unknown_scheme_of_the_system_is_light(qapp) -> None:
    assert not Look("system").dark


def test_the_text_size_goes_from_100_to_200(qapp) -> None:
    look = Look("light", 100)
    sizes = [look.percent]
    for _ in range(8):
        look.step(True)
        sizes.append(look.percent)
    assert sizes[-1] == 200
    assert look.px(34) == 68
    look.step(False)
    assert look.percent == 175


def test_the_type_is_ours_and_its_licence_lies_beside_it(qapp) -> None:
    look = Look("light")
    assert QFontInfo(look.font(14, STRONG)).family() == "Inter"
    assert len(list(FONTS.glob("Inter-*.otf"))) == 4
    assert "SIL OPEN FONT LICENSE" in (FONTS / "OFL.txt").read_text(encoding="utf-8")
    metrics = look.metrics(14)
    assert len({metrics.horizontalAdvance(digit) for digit in "0123456789"}) == 1


def test_drawings_are_lines_of_one_weight_without_a_colour_of_their_own() -> None:
    assert len(icons.DRAWINGS) >= 12
    for drawing in icons.DRAWINGS.values():
        assert "#" not in drawing
        assert "stroke-width" not in drawing


def test_qt_stays_below_the_version_that_drops_references() -> None:
    assert tuple(int(part) for part in PySide6.__version__.split(".")[:2]) < (6, 12)


def test_200_000_new_texts_survive(qapp, qtbot) -> None:
    label = Words(Look("light"), "")
    qtbot.addWidget(label)
    for number in range(200_000):
        QLabel.setText(label, str(number & 7))
    assert label.text() == "7"


def run_to_first_paint(arguments: list[str]) -> str:
    """What the command prints when the window is closed after its first paint, with the heavy modules brought in."""
    program = f"""
import sys
from clinic_app.cli import main, window as opener
from clinic_app.desktop import window
def look(self):
    names = {{part for name in sys.modules for part in (name, name.split(".")[0])}}
    print(sorted(names & set({HEAVY!r})), self.opening.isVisible())
    self.close()
window.Window._first_paint = look
opener.display_named = lambda: True
sys.exit(main.main({arguments!r}))
"""
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout.strip()


def test_nothing_heavy_is_imported_before_the_first_paint(tmp_path: Path) -> None:
    folder = tmp_path / "practice"
    folder.mkdir()
    write_settings(folder, Settings(demo=True))
    assert run_to_first_paint(["--practice", str(folder), "--as", "Osei"]) == "[] True"


def frame_on(folder: Path, qtbot: QtBot, person: str = "Osei") -> Window:
    """A frame that opens the practice in the folder after its first paint."""
    window = Window(Look("light"), read_settings(folder), person)
    qtbot.addWidget(window)
    window.painted.connect(lambda: window.open_practice(folder, person))
    window.show()
    return window


def test_the_frame_opens_the_practice_and_closes_it_with_itself(tmp_path: Path, qtbot: QtBot) -> None:
    folder = tmp_path / "practice"
    folder.mkdir()
    window = frame_on(folder, qtbot)
    assert not window.bar.isEnabled()
    qtbot.waitSignal(window.filled, timeout=60_000).wait()
    assert window.bar.isEnabled()
    assert window.here is window.page["first_start"]
    window.close()
    with open_session(folder, person="Osei") as session:  # nobody else has it open any more
        assert session.store.counts().cases == 0


def test_a_practice_that_cannot_be_opened_says_so_in_the_frame_and_can_be_tried_again(
    tmp_path: Path, qtbot: QtBot
) -> None:
    folder = tmp_path / "practice"
    folder.mkdir()
    with open_session(folder, person="Osei"):
        window = frame_on(folder, qtbot)
        opening = window.opening
        qtbot.waitUntil(opening.retry.isVisible, timeout=60_000)
        assert all(words.text() for words in (opening.what, opening.why, opening.then))
        assert opening.retry.hasFocus() or not window.isActiveWindow()
        assert not window.bar.isEnabled()
    with qtbot.waitSignal(window.filled, timeout=60_000):
        opening.retry.click()
    window.close()


def test_settings_that_cannot_be_read_are_said_in_the_frame(tmp_path: Path, qtbot: QtBot, qapp: QApplication) -> None:
    folder = tmp_path / "practice"
    folder.mkdir()
    (folder / "settings.json").write_text("{", encoding="utf-8")
    seen: list[str] = []

    def read() -> None:
        (window,) = (one for one in qapp.topLevelWidgets() if isinstance(one, Window) and one.isVisible())
        seen.append(window.opening.why.text())
        window.close()

    QTimer.singleShot(1000, read)
    assert run(folder, "Osei", theme="light") == 0
    assert "settings.json" in seen[0]


def test_the_application_is_one(qapp) -> None:
    assert application() is qapp


def test_a_new_practice_begins_with_the_first_start_and_can_try_the_invented_one(
    tmp_path: Path, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(demo, "RESAMPLES_NOW", 0)
    folder = tmp_path / "practice"
    folder.mkdir()
    window = frame_on(folder, qtbot)
    qtbot.waitSignal(window.filled, timeout=60_000).wait()
    first = window.page["first_start"]
    assert window.here is first
    with qtbot.waitSignal(window.filled, timeout=120_000):
        first.demo.click()
        assert not window.bar.isEnabled()
        qtbot.waitUntil(window.opening.progress.isVisible, timeout=60_000)
    assert window.session.settings.demo
    assert window.here is window.page["bookings"]
    invented = window.session.folder
    assert invented != folder
    assert "invented" in window.windowTitle()
    window.close()
    assert not invented.exists()


def test_making_the_invented_practice_can_be_stopped_and_leads_back(tmp_path: Path, qtbot: QtBot) -> None:
    folder = tmp_path / "practice"
    folder.mkdir()
    window = frame_on(folder, qtbot)
    qtbot.waitSignal(window.filled, timeout=60_000).wait()
    window.page["first_start"].demo.click()
    qtbot.waitUntil(window.opening.progress.isVisible, timeout=60_000)
    with qtbot.waitSignal(window.filled, timeout=60_000):
        window.opening.progress.stop.click()
    assert window.session.folder == folder
    window.close()


def test_a_practice_named_on_the_first_start_goes_on_with_its_name(tmp_path: Path, qtbot: QtBot) -> None:
    folder = tmp_path / "practice"
    folder.mkdir()
    window = frame_on(folder, qtbot)
    qtbot.waitSignal(window.filled, timeout=60_000).wait()
    first = window.page["first_start"]
    first.renewed.emit(window.session.with_settings(Settings(practice_name="Ours")))
    assert window.windowTitle() == "Ours"
    with qtbot.waitSignal(window.filled, timeout=60_000):
        first.finished.emit()
    assert window.here is window.page["bookings"]
    assert window.page["bookings"].session.settings.practice_name == "Ours"
    window.close()
