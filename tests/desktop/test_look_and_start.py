"""Colours that can be read, type that is ours, and a first paint that waits for nothing heavy."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import PySide6
import pytest
from PySide6.QtGui import QFontInfo, QGuiApplication, QPalette
from PySide6.QtWidgets import QLabel

from clinic_app.desktop import icons
from clinic_app.desktop.app import application
from clinic_app.desktop.look import FONTS, STRONG, Look
from clinic_app.desktop.parts.label import Words
from clinic_app.figures.tokens import DARK, LIGHT, Tokens
from clinic_app.settings import Settings, write_settings

GROUNDS = ("sheet", "paper", "well")
HEAVY = ("sklearn", "scipy", "matplotlib", "alembic", "openpyxl")


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


def test_nothing_heavy_is_imported_before_the_first_paint(tmp_path: Path) -> None:
    folder = tmp_path / "practice"
    folder.mkdir()
    write_settings(folder, Settings(demo=True))
    program = f"""
import sys
from pathlib import Path
from clinic_app.session import open_session
with open_session(Path({str(folder)!r}), person="Osei"):
    pass
before = set(sys.modules)
for name in list(sys.modules):
    if name.split(".")[0] == "alembic":
        del sys.modules[name]
from clinic_app.desktop import app, window
seen = []
def look(self):
    seen.extend(sorted({{name.split(".")[0] for name in sys.modules}} & set({HEAVY!r})))
    self.painted.emit()
window.Window._first_paint = look
with open_session(Path({str(folder)!r}), person="Osei") as session:
    status = app.run(session, theme="light", quit_after_first_paint=True)
print(status, seen)
"""
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=120, check=False)
    assert done.stdout.strip() == "0 []", done.stdout + done.stderr


def test_the_application_is_one(qapp) -> None:
    assert application() is qapp
