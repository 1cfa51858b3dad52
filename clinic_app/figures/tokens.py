"""The colours of the program by name, for light and dark screens and for paper; shared by window and pictures.

Blue is what the model says, copper what people saw, crimson is stop, violet is keyboard focus; nothing else has a hue.
Hue never carries meaning alone: forecasts are lines and bands, what was seen is marks and steps, references are dashed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class Tokens:
    """One set of colours, each `#RRGGBB`."""

    name: str
    paper: str
    sheet: str
    well: str
    ink: str
    soft: str
    faint: str
    edge: str
    rule: str
    act: str
    on_act: str
    act_wash: str
    forecast: str
    forecast_mid: str
    forecast_wash: str
    seen: str
    seen_mid: str
    seen_wash: str
    halt: str
    halt_wash: str
    focus: str
    ref: str
    ref_wash: str


LIGHT = Tokens(
    name="light",
    paper="#EFEDE8",
    sheet="#FFFFFF",
    well="#F6F4F0",
    ink="#1B1F24",
    soft="#454B53",
    faint="#5F656D",
    edge="#827C72",
    rule="#DAD6CE",
    act="#23364A",
    on_act="#FFFFFF",
    act_wash="#E4E8ED",
    forecast="#174A84",
    forecast_mid="#8CAFD6",
    forecast_wash="#DFE9F4",
    seen="#A9531A",
    seen_mid="#DDA982",
    seen_wash="#F8EADD",
    halt="#8E1B3A",
    halt_wash="#F8E3E7",
    focus="#6B3FD4",
    ref="#6A6F76",
    ref_wash="#E9EAEC",
)

DARK = Tokens(
    name="dark",
    paper="#121518",
    sheet="#1B1F23",
    well="#14181B",
    ink="#ECEAE5",
    soft="#BFC3C8",
    faint="#9AA1A9",
    edge="#7E8690",
    rule="#343A41",
    act="#CFD9E4",
    on_act="#14181B",
    act_wash="#2A323A",
    forecast="#9CC7F5",
    forecast_mid="#456F9C",
    forecast_wash="#1C2F45",
    seen="#DE8846",
    seen_mid="#94653E",
    seen_wash="#3A2818",
    halt="#FF9DB1",
    halt_wash="#46161F",
    focus="#B9A0FF",
    ref="#A3A9B0",
    ref_wash="#282D33",
)

PRINT = Tokens(
    name="print",
    paper="#FFFFFF",
    sheet="#FFFFFF",
    well="#FFFFFF",
    ink="#000000",
    soft="#26292D",
    faint="#44484D",
    edge="#5C5A56",
    rule="#B9B5AD",
    act="#23364A",
    on_act="#FFFFFF",
    act_wash="#E4E8ED",
    forecast="#123C6C",
    forecast_mid="#8CAFD6",
    forecast_wash="#DFE9F4",
    seen="#8A4010",
    seen_mid="#DDA982",
    seen_wash="#F8EADD",
    halt="#8E1B3A",
    halt_wash="#F8E3E7",
    focus="#6B3FD4",
    ref="#5A5F66",
    ref_wash="#ECEDEF",
)

THEMES: tuple[Tokens, ...] = (LIGHT, DARK, PRINT)


def firmer(colours: Tokens) -> Tokens:
    """The colours for people who ask their system for more contrast: hints as dark as labels, borders as text, no
    washes."""
    ground = colours.sheet
    return replace(
        colours, faint=colours.soft, edge=colours.ink, act_wash=ground, forecast_wash=ground, seen_wash=ground,
        halt_wash=ground, ref_wash=ground,
    )  # fmt: skip


def theme(name: str) -> Tokens:
    """The colours named `light`, `dark` or `print`; KeyError otherwise."""
    return {one.name: one for one in THEMES}[name]


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two `#RRGGBB` colours, 1 to 21 (Web Content Accessibility Guidelines 2.2)."""
    bright, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (bright + 0.05) / (dark + 0.05)


def _luminance(colour: str) -> float:
    parts = (int(colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5))
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
