"""The figures of a forecast: sentence, dots, range, reasons. Its parts stand; an answer changes what is written."""

from __future__ import annotations

import re
from html import escape

from PySide6.QtGui import QFont
from PySide6.QtWidgets import QVBoxLayout, QWidget

from clinic_app.desktop.look import BOLD, MEDIUM, NORMAL, STRONG, Look
from clinic_app.desktop.parts.effects import Effects
from clinic_app.desktop.parts.frame import Rule
from clinic_app.desktop.parts.gauges import HundredDots, RangeBar
from clinic_app.desktop.parts.label import Run, Sentence, Words
from clinic_app.desktop.parts.lines import Line
from clinic_app.services.bookings import Figures

USUAL_TOP = 40
FEW_CLOUDY = 30
NARROW_BAND = (
    "The whole range is above the planning line.",
    "The range reaches across the planning line.",
    "The whole range is below the planning line.",
)
ASSOCIATION = (
    "What goes together in the records; changing an answer here does not show what changing it in theatre would do."
)
_LEAD = re.compile(r"^(.*? in 100)( eyes like this)?(.*)$", re.DOTALL)
_NUMBER = re.compile(
    r"((?:fewer than |more than )?\d+(?: and \d+)? in 100|\d+ in 100|between (?:fewer than )?\d+ and \d+)",
    re.IGNORECASE,
)


def planning_words(low: float, high: float, line: float | None) -> str:
    """Where the range stands to the planning line; empty when none is set."""
    if line is None:
        return ""
    if low > line:
        return NARROW_BAND[0]
    return NARROW_BAND[2] if high < line else NARROW_BAND[1]


class Caution(Line):
    """A framed line that says what to keep in mind with the number."""

    def __init__(self, look: Look) -> None:
        super().__init__(look, "info", dashed=True)
        self.words = Words(look, "", size=12.5, wrap=True)
        self.text.addWidget(self.words)

    def say(self, words: str) -> None:
        """Other words; none hides the line."""
        self.words.setText(words)
        self.setVisible(bool(words))


class FiguresView(QWidget):
    """One forecast with its range. `show_figures` writes another one into the same parts."""

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look = look
        self.rows = QVBoxLayout(self)
        self.rows.setContentsMargins(0, 0, 0, 0)
        self.cautions: list[Caution] = []
        self.lead = Sentence(look, size=22, spacing=1.0)
        self.tail = Sentence(look, size=14)
        self.dots = HundredDots(look)
        self.bar = RangeBar(look)
        self.planning = Words(look, "", weight=MEDIUM, wrap=True)
        self.axis = Words(look, "", size=12, colour="faint", wrap=True)
        apart = Words(look, "What sets this eye apart from our usual eye", weight=STRONG, wrap=True)
        apart.setToolTip(escape(ASSOCIATION))  # tool tips guess at markup
        self.effects = Effects(look)
        self.smaller = Words(look, "", size=12.5, colour="soft")
        self._apart: tuple[QWidget, ...] = (Rule(look), apart, self.effects)
        self.narrowing = Words(look, "", wrap=True)
        most = Words(look, "What would narrow it most", weight=STRONG, wrap=True)
        self._narrow: tuple[QWidget, ...] = (Rule(look), most, self.narrowing)
        self.definition = Words(look, "", size=12, colour="faint", wrap=True)
        for part in (
            self.lead, self.tail, self.dots, self.bar, self.planning, self.axis, *self._apart, self.smaller,
            *self._narrow, self.definition,
        ):  # fmt: skip
            self.rows.addWidget(part)
        self.rows.addStretch(1)

    def show_figures(self, state: Figures, risk: float, low: float, high: float, cloudy: int) -> str:
        """Write these figures (chances in 100); the sentence that says them. `cloudy` = cloudy eyes behind them."""
        forecast = state.forecast
        self._warn(state, cloudy)
        sentence = forecast.words(cloudy)
        self._say(sentence)
        self.dots.show_chance(round(low), round(risk), round(high))
        self.bar.show_chance(low, risk, high, state.our_average, state.planning_line)
        write(self.planning, planning_words(low, high, state.planning_line))
        top = self.bar.top
        write(self.axis, "" if top == USUAL_TOP else f"The axis reaches to {top}, not {USUAL_TOP}.")
        reasons, smaller = forecast.reasons, forecast.smaller
        self.effects.show_effects([(reason.label, reason.words, reason.effect) for reason in reasons])
        for part in self._apart:
            part.setVisible(bool(reasons))
        counted = f"and {smaller} smaller {'one' if smaller == 1 else 'ones'}"
        write(self.smaller, counted if reasons and smaller else "")
        named = forecast.would_narrow_most
        self.narrowing.setText(named.sentence if named is not None else "No single test would narrow this much.")
        for part in self._narrow:
            part.setVisible(bool(forecast.missing))
        self.definition.setText(state.definition)
        return sentence

    def _warn(self, state: Figures, cloudy: int) -> None:
        words = [state.forecast.note, *state.forecast.edge]
        if cloudy < FEW_CLOUDY:
            words.append(f"Based on {cloudy} cloudy eyes. With so few, the range matters more than the single number.")
        words = [one for one in words if one]
        while len(self.cautions) < len(words):
            line = Caution(self.look)
            self.rows.insertWidget(len(self.cautions), line)
            self.cautions.append(line)
        for place, line in enumerate(self.cautions):
            line.say(words[place] if place < len(words) else "")

    def _say(self, sentence: str) -> None:
        found = _LEAD.match(sentence)
        lead, rest = (sentence, "") if found is None else (f"{found[1]}{found[2] or ''}", found[3])
        self.lead.set_runs(coloured(lead, "forecast", STRONG))
        told = bool(rest.strip(" ,."))
        self.tail.set_runs(coloured(rest.lstrip(" ,"), "ink", NORMAL) if told else ())
        self.tail.setVisible(told)


def write(label: Words, words: str) -> None:
    """Write the words; a label with nothing to say takes no room."""
    label.setText(words)
    label.setVisible(bool(words))


def coloured(text: str, colour: str, weight: QFont.Weight) -> tuple[Run, ...]:
    """The text with its numbers set apart: in `colour`, and heavier than `weight`."""
    runs: list[Run] = []
    at = 0
    for found in _NUMBER.finditer(text):
        runs.append((text[at : found.start()], "ink", weight))
        runs.append((found[0], colour, BOLD if weight != NORMAL else STRONG))
        at = found.end()
    runs.append((text[at:], "ink", weight))
    return tuple(run for run in runs if run[0])
