"""The pages show only the colours of the table: nothing is red, amber or green; more contrast where it is wished."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from PySide6.QtGui import QImage, QPalette
from PySide6.QtWidgets import QApplication, QWidget

from clinic_app.desktop import look as looks
from clinic_app.desktop.gallery import Gallery
from clinic_app.desktop.look import Look
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.window import Window
from clinic_app.figures.tokens import DARK, LIGHT
from tests.desktop.acceptance import settle, show_case, standing, states

COLOURED = 0.30
"""Least span between the parts of a colour that people call coloured."""
FORBIDDEN = {"red": (352.0, 372.0), "amber": (38.0, 65.0), "green": (65.0, 175.0)}
"""Hues, degrees."""


@pytest.fixture(scope="module")
def window(qapp, practice_with_model, tmp_path_factory) -> Iterator[Window]:
    qapp.setStyle("Fusion")
    with standing(practice_with_model, tmp_path_factory.mktemp("colours") / "practice", Look("light")) as made:
        yield made


def hues(widget: QWidget) -> np.ndarray:
    """Hue in degrees of every coloured dot of a picture."""
    image = widget.grab().toImage().convertToFormat(QImage.Format.Format_RGB32)
    raw = np.frombuffer(image.constBits(), np.uint32) & 0xFFFFFF
    known = np.flatnonzero(np.bincount(raw, minlength=1))  # each colour once: far faster than sorting rows
    dots = np.stack([known >> 16 & 255, known >> 8 & 255, known & 255], axis=1) / 255.0
    high, low = dots.max(axis=1), dots.min(axis=1)
    dots = dots[high - low >= COLOURED]
    red, green, blue = dots.T
    span = dots.max(axis=1) - dots.min(axis=1)
    top = dots.argmax(axis=1)
    turn = np.select(
        [top == 0, top == 1], [((green - blue) / span) % 6, (blue - red) / span + 2], (red - green) / span + 4
    )
    return 60.0 * turn


def traffic_lights(widget: QWidget) -> list[str]:
    found = hues(widget)
    return [
        f"{name} at {one:.0f} degrees"
        for name, (low, high) in FORBIDDEN.items()
        for one in found
        if low <= one <= high or low <= one + 360 <= high
    ]


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_no_page_shows_red_amber_or_green(window: Window, theme: str) -> None:
    show_case(window, 1440, 900, theme, 100)
    coloured = 0
    for state in states(window, more=False):
        assert traffic_lights(window) == [], state
        coloured += len(hues(window))
    assert coloured > 100


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_no_part_shows_red_amber_or_green(qapp, theme: str) -> None:
    look = Look(theme)
    look.apply()
    page = Gallery(look)
    page.resize(1440, 1000)
    page.show()
    QApplication.processEvents()
    assert traffic_lights(page.shelf) == []
    page.close()
    page.deleteLater()


def test_more_contrast_is_followed_at_once(window: Window, monkeypatch) -> None:
    show_case(window, 1440, 900, "light", 100)
    window.go(0)
    settle(window)
    look = window.look
    hints = [one for one in window.findChildren(Words) if one.isVisible() and one._colour == "faint" and one.text()]
    assert look.colour("faint").name().upper() == LIGHT.faint
    monkeypatch.setattr(looks, "more_contrast", lambda: True)
    look.apply()
    settle(window)
    assert look.colour("faint").name().upper() == LIGHT.soft
    assert look.colour("edge").name().upper() == LIGHT.ink
    assert look.colour("act_wash").name().upper() == LIGHT.sheet
    assert QApplication.palette().color(QPalette.ColorRole.Dark).name().upper() == LIGHT.ink
    for one in hints:
        assert one.palette().color(QPalette.ColorRole.WindowText).name().upper() == LIGHT.soft
    look.set_theme("dark")
    assert look.colour("edge").name().upper() == DARK.ink
    monkeypatch.undo()
    look.set_theme("light")
    assert look.colour("faint").name().upper() == LIGHT.faint
