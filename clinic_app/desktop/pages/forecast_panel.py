"""The panel beside the form: the forecast with its range, or in one sentence why there is none."""

from __future__ import annotations

import re
from html import escape

from PySide6.QtCore import Qt, QTimer
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from clinic_app.desktop.look import BOLD, MEDIUM, NORMAL, STRONG, Look
from clinic_app.desktop.parts.answer import announce
from clinic_app.desktop.parts.effects import Effects
from clinic_app.desktop.parts.frame import Card, Rule, Scroll
from clinic_app.desktop.parts.gauges import HundredDots, RangeBar
from clinic_app.desktop.parts.label import Run, Sentence, Words
from clinic_app.desktop.parts.lines import Icon, Line
from clinic_app.domain.facts import Facts
from clinic_app.errors import Refusal
from clinic_app.services.bookings import Figures, NoModel, PanelState, TooMuchMissing, Unlike, Waiting
from models.codebook import BY_NAME
from models.errors import ModelError

SHOW_WORKING_AFTER = 300
NARROW_BAND = (
    "The whole range is above the planning line.",
    "The range reaches across the planning line.",
    "The whole range is below the planning line.",
)
FACTS_CAUTION = (
    "From published papers on other patients; number, population and source stand beside each. "
    "Facts are not added up: no published total fits our patients."
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


def sentence_case(words: str) -> str:
    """The first letter large, the others as they are."""
    return words[:1].upper() + words[1:]


def lower_first(words: str) -> str:
    """The first letter small, unless the word is an abbreviation."""
    return words if words[1:2].isupper() or words[1:2].isdigit() else words[:1].lower() + words[1:]


def field_label(name: str) -> str:
    """The label that a person looks for on the form: of what is worked out, that of what it is worked out from."""
    if name == "age_years":
        return BY_NAME["birth_date"].label
    return BY_NAME[name].label.split(",")[0] if name in BY_NAME else name


def labels(names: tuple[str, ...]) -> str:
    """Labels of fields as a list in words."""
    words = [lower_first(field_label(name)) for name in names]
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


class ForecastPanel(Card):
    """One state at a time; figures swap in place. The whole panel is one sentence for readers of the screen."""

    def __init__(self, look: Look) -> None:
        super().__init__(look, margins=(18, 12, 10, 10))
        self.setObjectName("forecast")
        self.title = Words(look, "Booking forecast", size=14, weight=STRONG)
        self.column.addWidget(self.title)
        self.body = QWidget()
        self.rows = QVBoxLayout(self.body)
        self.scroller = Scroll(look, self.body)
        self.column.addWidget(self.scroller, 1)
        self.foot = Words(look, "", size=12, colour="soft", wrap=True)
        self.rule = Rule(look)
        self.column.addWidget(self.rule)
        self.column.addWidget(self.foot)
        self.sentence = ""
        self.spoken = ""
        self._shown: object = None
        self._working = QTimer(self)
        self._working.setSingleShot(True)
        self._working.setInterval(SHOW_WORKING_AFTER)
        self._working.timeout.connect(lambda: self._simple("Booking forecast", "Working out the forecast…"))
        look.changed.connect(self._respace)
        self._respace()

    def _respace(self) -> None:
        self.rows.setContentsMargins(0, 0, self.look.px(8), 0)
        self.rows.setSpacing(self.look.px(6))

    # --- states ------------------------------------------------------------------------------------------------------

    def work(self) -> None:
        """Say that a forecast is being worked out, if it takes longer than a moment."""
        self._working.start()

    def show_state(self, state: PanelState, cloudy: int) -> None:
        """Show a state; `cloudy` = cloudy eyes behind the model."""
        self._working.stop()
        if isinstance(state, Figures):
            self._figures(state, cloudy)
        elif isinstance(state, TooMuchMissing):
            self._begin("No forecast for this eye")
            self._say(
                f"{state.forecast.note or 'Too many of the answers the model needs are missing. No forecast is shown.'}"
            )
            self._facts(state.facts)
        elif isinstance(state, Unlike):
            self._begin("No forecast for this eye")
            note = state.forecast.note
            self._say(note if note.lower().startswith("this eye") else f"This eye is unlike ours: {note}")
            self._say(
                "Plan it on your own judgement. It stays in the records and will count when we have enough like it.",
                lead=False,
            )
            self._facts(state.facts)
        elif isinstance(state, NoModel):
            self._no_model(state)
        elif isinstance(state, Waiting):
            self._simple("Booking forecast", f"Answer {labels(state.fields)} to see a forecast.")
        self._end()

    def show_refusal(self, error: Refusal | ModelError) -> None:
        """A forecast could not be made: why, and that nothing typed is lost."""
        self._working.stop()
        self._simple("No forecast", f"No forecast: {error.why} Your entry can be kept.")
        self._end()

    def show_nothing(self) -> None:
        """No eye is open."""
        self._working.stop()
        self._simple("Booking forecast", "Open an eye on the list, or begin a new one (Ctrl+N).")
        self._end()

    # --- figures -----------------------------------------------------------------------------------------------------

    def _figures(self, state: Figures, cloudy: int) -> None:
        forecast = state.forecast
        if forecast.risk is None or forecast.low is None or forecast.high is None:
            self._simple("No forecast", forecast.note)
            return
        self._begin("Booking forecast")
        for caution in self._cautions(state, cloudy):
            line = Line(self.look, "info", dashed=True)
            line.text.addWidget(Words(self.look, caution, size=12.5, wrap=True))
            self.rows.addWidget(line)
        self._chance(forecast.words(cloudy))
        risk, low, high = (100 * one for one in (forecast.risk, forecast.low, forecast.high))
        dots = HundredDots(self.look)
        dots.show_chance(round(low), round(risk), round(high))
        bar = RangeBar(self.look)
        bar.show_chance(low, risk, high, state.our_average, state.planning_line)
        self.rows.addWidget(dots)
        self.rows.addWidget(bar)
        if words := planning_words(low, high, state.planning_line):
            self.rows.addWidget(Words(self.look, words, weight=MEDIUM, wrap=True))
        if bar.top != 40:
            self.rows.addWidget(
                Words(self.look, f"The axis reaches to {bar.top}, not 40.", size=12, colour="faint", wrap=True)
            )
        self._apart(state)
        self._narrow(state)
        self.rows.addStretch(1)
        self.foot.setText(state.card_words)

    def _cautions(self, state: Figures, cloudy: int) -> list[str]:
        words = list(state.forecast.edge)
        if state.forecast.note:
            words.insert(0, state.forecast.note)
        elif state.forecast.missing:
            words.insert(0, f"Missing: {labels(state.forecast.missing)}. Typical figures of this practice are assumed.")
        if cloudy < 30:
            words.append(f"Based on {cloudy} cloudy eyes. With so few, the range matters more than the single number.")
        return words

    def _chance(self, words: str) -> None:
        self.sentence = words
        found = _LEAD.match(words)
        lead, rest = (words, "") if found is None else (f"{found[1]}{found[2] or ''}", found[3])
        big = Sentence(self.look, size=23, spacing=1.0)
        big.set_runs(self._coloured(lead, "forecast", STRONG))
        self.rows.addWidget(big)
        if rest.strip(" ,."):
            tail = Sentence(self.look, size=14)
            tail.set_runs(self._coloured(rest.lstrip(" ,"), "ink", NORMAL))
            self.rows.addWidget(tail)

    @staticmethod
    def _coloured(text: str, colour: str, weight: object) -> tuple[Run, ...]:
        runs: list[Run] = []
        at = 0
        for found in _NUMBER.finditer(text):
            if found.start() > at:
                runs.append((text[at : found.start()], "ink", weight))  # type: ignore[arg-type]
            runs.append((found[0], colour, BOLD if weight != NORMAL else STRONG))
            at = found.end()
        runs.append((text[at:], "ink", weight))  # type: ignore[arg-type]
        return tuple(run for run in runs if run[0])

    def _apart(self, state: Figures) -> None:
        forecast = state.forecast
        if not forecast.reasons:
            return
        self.rows.addWidget(Rule(self.look))
        self._heading("What sets this eye apart from our usual eye", ASSOCIATION)
        effects = Effects(self.look)
        effects.show_effects([(reason.label, reason.words, reason.effect) for reason in forecast.reasons])
        self.rows.addWidget(effects)
        if forecast.smaller:
            words = f"and {forecast.smaller} smaller {'one' if forecast.smaller == 1 else 'ones'}"
            self.rows.addWidget(Words(self.look, words, size=12.5, colour="soft"))

    def _narrow(self, state: Figures) -> None:
        forecast = state.forecast
        if not forecast.missing:
            return
        self.rows.addWidget(Rule(self.look))
        self._heading("What would narrow it most")
        named = forecast.would_narrow_most
        words = named.sentence if named is not None else "No single test would narrow this much."
        self.rows.addWidget(Words(self.look, words, wrap=True))

    # --- no figures --------------------------------------------------------------------------------------------------

    def _no_model(self, state: NoModel) -> None:
        self._begin("No forecast yet")
        counts = state.counts
        self._say(f"{counts.graded} eyes graded, {counts.cloudy} cloudy so far.")
        self._say(
            "A first model needs more eyes of this practice. Until then this page names published facts to weigh, and "
            "gives no number.",
            lead=False,
        )
        self._facts(state.facts)

    def _facts(self, facts: Facts) -> None:
        self.rows.addWidget(Rule(self.look))
        self._heading("Facts to weigh for this eye" if facts.facts else "No published fact to weigh so far")
        for fact in facts.facts:
            self.rows.addWidget(
                self._fact(fact.shown, f"{fact.outcome}: {fact.number}", f"{fact.population} · {fact.source}")
            )
        if facts.cannot_judge:
            self._heading(f"Cannot be judged yet: {len(facts.cannot_judge)}")
            by_reason: dict[str, list[str]] = {}
            for name, why in facts.cannot_judge:
                by_reason.setdefault(why, []).append(name)
            for why, names in by_reason.items():
                sentence = Sentence(self.look, size=13)
                sentence.set_runs(
                    ((f"{why.capitalize()}: ", "ink", MEDIUM), (f"{labels(tuple(names))}.", "soft", NORMAL))
                )
                self.rows.addWidget(sentence)
        if facts.nothing:
            self._heading("Looked at, nothing to weigh")
            self.rows.addWidget(
                Words(self.look, sentence_case(labels(tuple(facts.nothing))) + ".", size=13, colour="soft", wrap=True)
            )
        self.rows.addStretch(1)
        self.foot.setText(FACTS_CAUTION)

    def _fact(self, shown: str, finding: str, source: str) -> QWidget:
        box = QWidget()
        across = QHBoxLayout(box)
        across.setContentsMargins(0, self.look.px(2), 0, self.look.px(4))
        across.setSpacing(self.look.px(10))
        across.addWidget(Icon(self.look, "note", side=16), 0, Qt.AlignmentFlag.AlignTop)
        words = QVBoxLayout()
        words.setSpacing(self.look.px(1))
        words.addWidget(Words(self.look, shown, weight=STRONG, wrap=True))
        words.addWidget(Words(self.look, finding, size=13, wrap=True))
        words.addWidget(Words(self.look, source, size=12.5, colour="faint", wrap=True))
        across.addLayout(words, 1)
        return box

    # --- building ----------------------------------------------------------------------------------------------------

    def _begin(self, title: str) -> None:
        self.title.setText(title)
        self.sentence = ""
        while self.rows.count():
            item = self.rows.takeAt(0)
            widget = item.widget() if item is not None else None
            if widget is not None:
                widget.hide()
                widget.deleteLater()
        self.foot.setText("")

    def _heading(self, words: str, note: str = "") -> None:
        label = Words(self.look, words, weight=STRONG, wrap=True)
        label.setToolTip(escape(note))  # tool tips guess at markup
        self.rows.addWidget(label)

    def _say(self, words: str, *, lead: bool = True) -> None:
        self.sentence = f"{self.sentence} {words}".strip()
        self.rows.addWidget(Words(self.look, words, weight=MEDIUM if lead else NORMAL, wrap=True))

    def _simple(self, title: str, words: str) -> None:
        self._begin(title)
        self._say(words, lead=False)
        self.rows.addStretch(1)

    def _end(self) -> None:
        self.rule.setVisible(bool(self.foot.text()))
        self.foot.setVisible(bool(self.foot.text()))
        self.setAccessibleName(f"{self.title.text()}. {self.sentence}")
        for place in range(self.rows.count()):
            item = self.rows.itemAt(place)
            if item is not None and (widget := item.widget()) is not None:
                widget.show()
        self.scroller.fit()
        if self.sentence != self.spoken:
            self.spoken = self.sentence
            announce(self, self.sentence)

    def words_shown(self) -> str:
        """Everything written on the panel."""
        return " ".join(label.text() for label in self.findChildren(Words) if not label.isHidden()) + self.sentence
