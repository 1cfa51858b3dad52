"""Forecast and seen stay apart for people who tell few colours apart; no colour of ours is a traffic light.

The distance is that of CAM02-UCS (Luo, Cui and Li 2006) on CIECAM02 (CIE 159:2004), computed here. Colour vision at
full severity is simulated with the matrices of Machado, Oliveira and Fernandes (2009), written from memory of the
paper's table for severity 1.0 and applied to linear sRGB.
"""

from __future__ import annotations

import colorsys
import re
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest

from clinic_app.figures.tokens import DARK, LIGHT, THEMES, Tokens, contrast, firmer

ROOT = Path(__file__).resolve().parents[2]
WHOLE = pytest.mark.parametrize("colours", [LIGHT, DARK], ids=lambda one: one.name)

SIMULATED = {
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritan": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}
XYZ_OF = np.array(
    [[0.4123908, 0.3575843, 0.1804808], [0.2126390, 0.7151687, 0.0721923], [0.0193308, 0.1191948, 0.9505322]]
)
"""Linear sRGB to XYZ, IEC 61966-2-1."""
CAT02 = np.array([[0.7328, 0.4296, -0.1624], [-0.7036, 1.6975, 0.0061], [0.0030, 0.0136, 0.9834]])
HPE = np.array([[0.38971, 0.68898, -0.07868], [-0.22981, 1.18340, 0.04641], [0.0, 0.0, 1.0]])
WHITE = np.array([95.047, 100.0, 108.883])
SCREEN = 64 / np.pi / 5
"""Luminance of what the eye is used to at a screen of 64 lux, cd/m2."""


def linear(colour: str) -> np.ndarray:
    parts = np.array([int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)])
    return np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)


def appearance(xyz: np.ndarray, white: np.ndarray = WHITE, adapted: float = SCREEN) -> tuple[float, float, float]:
    """Lightness J, colourfulness M and hue h (degrees) by CIECAM02: average surround, background of a fifth."""
    f, c, nc, yb = 1.0, 0.69, 1.0, 20.0
    k = 1 / (5 * adapted + 1)
    fl = 0.2 * k**4 * 5 * adapted + 0.1 * (1 - k**4) ** 2 * (5 * adapted) ** (1 / 3)
    n = yb / white[1]
    nbb = ncb = 0.725 * n**-0.2
    z = 1.48 + np.sqrt(n)
    degree = f * (1 - np.exp((-adapted - 42) / 92) / 3.6)
    turned = white[1] * degree / (CAT02 @ white) + 1 - degree

    def response(light: np.ndarray) -> np.ndarray:
        cones = HPE @ np.linalg.inv(CAT02) @ (turned * (CAT02 @ light))
        power = (fl * np.abs(cones) / 100) ** 0.42
        return np.sign(cones) * 400 * power / (27.13 + power) + 0.1

    def achromatic(cones: np.ndarray) -> float:
        return float((2 * cones[0] + cones[1] + cones[2] / 20 - 0.305) * nbb)

    cones, whites = response(xyz), response(white)
    a = cones[0] - 12 * cones[1] / 11 + cones[2] / 11
    b = (cones[0] + cones[1] - 2 * cones[2]) / 9
    hue = np.arctan2(b, a)
    eccentric = (np.cos(hue + 2) + 3.8) / 4
    t = (50000 / 13 * nc * ncb * eccentric * np.hypot(a, b)) / (cones[0] + cones[1] + 21 / 20 * cones[2])
    j = 100 * (achromatic(cones) / achromatic(whites)) ** (c * z)
    m = t**0.9 * np.sqrt(j / 100) * (1.64 - 0.29**n) ** 0.73 * fl**0.25
    return float(j), float(m), float(np.degrees(hue) % 360)


def uniform(light: np.ndarray) -> np.ndarray:
    """Place of a linear sRGB colour in CAM02-UCS."""
    j, m, hue = appearance(100 * XYZ_OF @ light)
    m = np.log1p(0.0228 * m) / 0.0228
    return np.array([1.7 * j / (1 + 0.007 * j), m * np.cos(np.radians(hue)), m * np.sin(np.radians(hue))])


def distance(one: str, other: str, matrix: object = None) -> float:
    """CAM02-UCS distance, as seen by most people or through one of the simulations."""
    seen = [linear(colour) if matrix is None else np.clip(matrix @ linear(colour), 0, 1) for colour in (one, other)]
    return float(np.linalg.norm(uniform(seen[0]) - uniform(seen[1])))


def test_the_appearance_model_gives_its_published_example() -> None:
    # CIECAM02, worked example of CIE 159:2004: J 41.73, M 0.1088, h 219.0
    found = appearance(np.array([19.01, 20.00, 21.78]), np.array([95.05, 100.00, 108.88]), 318.31)
    assert found == pytest.approx((41.73, 0.1088, 219.0), abs=0.06)


@WHOLE
def test_forecast_and_seen_stay_apart(colours: Tokens) -> None:
    assert distance(colours.forecast, colours.seen) >= 30
    for name, matrix in SIMULATED.items():
        assert distance(colours.forecast, colours.seen, np.array(matrix)) >= 30, name


def test_the_distances_are_those_that_were_chosen() -> None:
    # screens.md 7: normal 54 / 48 (light / dark), protan 45 / 44, deutan 51 / 44, tritan 51 / 50
    wanted = {"": (54, 48), "protan": (45, 44), "deutan": (51, 44), "tritan": (51, 50)}
    for name, (light, dark) in wanted.items():
        matrix = np.array(SIMULATED[name]) if name else None
        assert distance(LIGHT.forecast, LIGHT.seen, matrix) == pytest.approx(light, abs=1.5), name
        assert distance(DARK.forecast, DARK.seen, matrix) == pytest.approx(dark, abs=1.5), name


HUES = {"blue": (195, 225), "copper": (15, 36), "crimson": (335, 352), "violet": (245, 265)}
"""Degrees; slate and paper are below `COLOURED` and have none that is seen."""
COLOURED = 0.30


@pytest.mark.parametrize("colours", THEMES, ids=lambda one: one.name)
def test_no_colour_is_a_traffic_light(colours: Tokens) -> None:
    for one in fields(colours):
        value = str(getattr(colours, one.name))
        if not value.startswith("#"):
            continue
        red, green, blue = (int(value[place : place + 2], 16) / 255 for place in (1, 3, 5))
        hue, _, _ = colorsys.rgb_to_hls(red, green, blue)
        if max(red, green, blue) - min(red, green, blue) >= COLOURED:
            degrees = 360 * hue
            assert any(low <= degrees <= high for low, high in HUES.values()), f"{one.name} {value} {degrees:.0f}"


def test_the_window_and_the_charts_know_no_colour_but_those_of_the_table() -> None:
    # paper is printed in greys, #RRGGBB with equal parts
    literal = re.compile(
        r"#(?!([0-9a-fA-F]{2})\1\1\b)[0-9a-fA-F]{6}\b|GlobalColor\.(?!transparent)\w+|QColor\(\s*['\"][^#]|setStyleSheet"
    )
    found = []
    for folder in ("clinic_app/desktop", "clinic_app/figures"):
        for path in sorted((ROOT / folder).rglob("*.py")):
            if path.name != "tokens.py":
                lines = enumerate(path.read_text(encoding="utf-8").splitlines(), start=1)
                found += [
                    f"{path.relative_to(ROOT)}:{number}: {line}" for number, line in lines if literal.search(line)
                ]
    assert not found, "\n".join(found)


# --- contrast of the whole table --------------------------------------------------------------------------------------

MEASURED = {
    ("ink", "sheet"): (16.6, 13.8), ("ink", "paper"): (14.2, 15.2), ("soft", "sheet"): (8.8, 9.4),
    ("soft", "paper"): (7.5, 10.3), ("faint", "sheet"): (5.9, 6.4), ("faint", "paper"): (5.0, 7.0),
    ("edge", "sheet"): (4.1, 4.5), ("edge", "paper"): (3.5, 5.0), ("on_act", "act"): (12.4, 12.5),
    ("ink", "act_wash"): (13.5, 10.8), ("faint", "act_wash"): (4.8, 5.0), ("forecast", "act_wash"): (7.3, 7.4),
    ("forecast", "sheet"): (8.9, 9.4), ("forecast", "forecast_wash"): (7.3, 7.7), ("seen", "sheet"): (5.3, 6.1),
    ("seen", "seen_wash"): (4.5, 5.2), ("halt", "sheet"): (8.9, 8.5), ("halt", "halt_wash"): (7.2, 7.7),
    ("focus", "sheet"): (6.4, 7.5), ("focus", "paper"): (5.5, 8.3), ("focus", "act"): (1.9, 1.5),
    ("ref", "sheet"): (5.1, 7.0),
}  # fmt: skip
"""screens.md 7, light and dark."""


@pytest.mark.parametrize("pair", MEASURED, ids=" on ".join)
def test_the_contrasts_are_those_of_the_design(pair: tuple[str, str]) -> None:
    for colours, wanted in zip((LIGHT, DARK), MEASURED[pair], strict=True):
        assert contrast(getattr(colours, pair[0]), getattr(colours, pair[1])) == pytest.approx(wanted, abs=0.06)


def test_more_contrast_makes_hints_and_borders_firm_and_takes_the_washes_off() -> None:
    for colours in (LIGHT, DARK):
        firm = firmer(colours)
        for ground in ("sheet", "paper", "well", "act_wash", "forecast_wash", "seen_wash", "halt_wash"):
            assert contrast(firm.faint, getattr(firm, ground)) >= 7
            assert contrast(firm.edge, getattr(firm, ground)) >= 7
        assert {firm.act_wash, firm.forecast_wash, firm.seen_wash, firm.halt_wash, firm.ref_wash} == {firm.sheet}
        assert (firm.ink, firm.forecast, firm.seen, firm.halt) == (
            colours.ink, colours.forecast, colours.seen, colours.halt
        )  # fmt: skip
