"""Colours: enough contrast for reading, in every theme."""

from __future__ import annotations

import pytest

from clinic_app.figures.tokens import DARK, LIGHT, THEMES, Tokens, contrast, theme

WHOLE = pytest.mark.parametrize("colours", THEMES, ids=lambda one: one.name)


def test_contrast_of_known_pairs() -> None:
    # Web Content Accessibility Guidelines 2.2: black on white is 21, a colour on itself 1, #767676 on white 4.54
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0, abs=1e-9)
    assert contrast("#123456", "#123456") == 1.0
    assert contrast("#767676", "#FFFFFF") == pytest.approx(4.54, abs=0.005)


@WHOLE
def test_text_can_be_read(colours: Tokens) -> None:
    for ground in (colours.sheet, colours.paper, colours.well):
        assert contrast(colours.ink, ground) >= 7
        for text in (colours.soft, colours.faint):
            assert contrast(text, ground) >= 4.5
    for text in (colours.forecast, colours.seen, colours.ref, colours.halt):
        assert contrast(text, colours.sheet) >= 4.5
    assert contrast(colours.on_act, colours.act) >= 7


@WHOLE
def test_marks_borders_and_focus_can_be_seen(colours: Tokens) -> None:
    for mark in (colours.edge, colours.focus, colours.forecast, colours.seen, colours.ref):
        assert contrast(mark, colours.sheet) >= 3


def test_measured_values_of_the_light_and_dark_theme() -> None:
    assert contrast(LIGHT.forecast, LIGHT.sheet) == pytest.approx(8.9, abs=0.05)
    assert contrast(LIGHT.seen, LIGHT.sheet) == pytest.approx(5.3, abs=0.05)
    assert contrast(DARK.forecast, DARK.sheet) == pytest.approx(9.4, abs=0.05)
    assert contrast(DARK.seen, DARK.sheet) == pytest.approx(6.1, abs=0.05)


def test_themes_are_found_by_name() -> None:
    assert [theme(one.name) for one in THEMES] == list(THEMES)
    with pytest.raises(KeyError):
        theme("sepia")
