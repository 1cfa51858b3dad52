"""Pictures as files: SVG with its text as text, PNG; the same picture gives the same bytes."""

from __future__ import annotations

import io
import re

import matplotlib
from matplotlib.figure import Figure

from clinic_app.figures.style import PX_PER_INCH
from clinic_app.figures.tokens import Tokens

_NO_DATES = {"Date": None, "Creator": None, "Format": None, "Type": None}
_ID = re.compile(r' id="([^"]+)"')
_REFERENCE = re.compile(r'(?<=url\(#)([^)]+)(?=\))|(?<=href="#)([^"]+)(?=")')
_USED = (
    "sheet", "ink", "soft", "faint", "edge", "forecast", "forecast_mid", "seen", "seen_mid", "ref", "ref_wash",
)  # fmt: skip


def svg(figure: Figure, name: str) -> str:
    """The picture as SVG text; `name` makes its inner names its own, so that several can stand in one page."""
    out = io.StringIO()
    with matplotlib.rc_context({"svg.fonttype": "none", "svg.hashsalt": name, "svg.id": name}):
        figure.savefig(out, format="svg", metadata=_NO_DATES)
    text = re.sub(r"<metadata>.*?</metadata>\s*", "", out.getvalue(), flags=re.DOTALL)
    text = re.sub(r"<!--.*?-->\s*", "", text, flags=re.DOTALL)
    used = {found[1] or found[2] for found in _REFERENCE.finditer(text)}
    text = _ID.sub(lambda found: f' id="{name}-{found[1]}"' if found[1] in used else "", text)
    return _REFERENCE.sub(lambda found: f"{name}-{found[1] or found[2]}", text)


def inline(text: str, theme: Tokens, words: str) -> str:
    """An SVG picture for a page: colours of `theme` become the page's variables, `words` say what it shows.

    The page gives `--forecast`, `--seen` and so on; where it does not, the colours of `theme` stand.
    """
    text = text[text.index("<svg") :]
    for token in _USED:
        colour = str(getattr(theme, token)).lower()
        text = text.replace(colour, f"var(--{token.replace('_', '-')}, \0{colour[1:]})")
    text = text.replace("\0", "#")
    named = f'<svg role="img" aria-label="{_attribute(words)}"'
    return re.sub(r'width="[^"]*"|height="[^"]*"(?= |>)', "", text.replace("<svg", named, 1), count=2)


def png(figure: Figure, *, scale: float = 1.0) -> bytes:
    """The picture as PNG; `scale` 2 for fine screens and paper."""
    out = io.BytesIO()
    figure.savefig(out, format="png", dpi=PX_PER_INCH * scale, metadata={"Software": None})
    return out.getvalue()


def _attribute(words: str) -> str:
    for sign, instead in (("&", "&amp;"), ("<", "&lt;"), (">", "&gt;"), ('"', "&quot;")):
        words = words.replace(sign, instead)
    return words
