"""The panel beside the form: the forecast with its range, or in one sentence why there is none."""

from __future__ import annotations

from PySide6.QtCore import QRectF, Qt, QTimer, Signal
from PySide6.QtGui import QKeyEvent, QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QAbstractSlider, QHBoxLayout, QLabel, QVBoxLayout, QWidget

from clinic_app.desktop.look import MEDIUM, NORMAL, STRONG, Look
from clinic_app.desktop.pages.figures_view import FiguresView
from clinic_app.desktop.parts.answer import announce
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.flow import FlowLayout
from clinic_app.desktop.parts.frame import Card, Rule, Scroll, draw_ring
from clinic_app.desktop.parts.label import Sentence, Words
from clinic_app.desktop.parts.lines import Icon
from clinic_app.domain.facts import Facts
from clinic_app.errors import Refusal
from clinic_app.services.bookings import Figures, NoModel, PanelState, TooMuchMissing, Unlike
from models.codebook import BY_NAME
from models.errors import ModelError

SHOW_WORKING_AFTER = 300
LINE = 28
"""Pixels at 100 % that an arrow scrolls."""
SCROLLS = {
    Qt.Key.Key_Up: QAbstractSlider.SliderAction.SliderSingleStepSub,
    Qt.Key.Key_Down: QAbstractSlider.SliderAction.SliderSingleStepAdd,
    Qt.Key.Key_PageUp: QAbstractSlider.SliderAction.SliderPageStepSub,
    Qt.Key.Key_PageDown: QAbstractSlider.SliderAction.SliderPageStepAdd,
    Qt.Key.Key_Home: QAbstractSlider.SliderAction.SliderToMinimum,
    Qt.Key.Key_End: QAbstractSlider.SliderAction.SliderToMaximum,
}
FACTS_CAUTION = (
    "From published papers on other patients; number, population and source stand beside each. "
    "Facts are not added up: no published total fits our patients."
)


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


class Reading(QLabel):
    """The panel as one stop of the keyboard: its sentence for readers of the screen; arrows and page keys scroll."""

    def __init__(self, look: Look, panel: QWidget, scroller: Scroll) -> None:
        super().__init__(panel)
        self.look, self.scroller = look, scroller
        self.setObjectName("forecast.reading")
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        bar = self.scroller.verticalScrollBar()
        bar.setSingleStep(self.look.px(LINE))
        act = SCROLLS.get(Qt.Key(event.key()))
        if act is None:
            super().keyPressEvent(event)
        else:
            bar.triggerAction(act)

    def paintEvent(self, event: QPaintEvent) -> None:
        if self.hasFocus():
            painter, gap = QPainter(self), self.look.px(4)
            draw_ring(painter, self.look, QRectF(self.rect()).adjusted(gap, gap, -gap, -gap), self.look.px(4))
            painter.end()


class ForecastPanel(Card):
    """One state at a time; figures swap in place. The whole panel is one sentence for readers of the screen.

    `wished` carries the field that a person goes to from here. `opened`: what is sealed is to be shown. One tab stop,
    whose arrows and page keys scroll.
    """

    wished = Signal(str)
    opened = Signal()

    def __init__(self, look: Look) -> None:
        super().__init__(look, margins=(18, 8, 10, 6), spacing=2)
        self.setObjectName("forecast")
        self.title = Words(look, "Booking forecast", size=14, weight=STRONG)
        self.column.addWidget(self.title)
        self.body = QWidget()
        self.whole = QVBoxLayout(self.body)
        self.figures = FiguresView(look)
        self.figures.hide()
        self.told = QWidget()
        self.rows = QVBoxLayout(self.told)
        self.whole.addWidget(self.figures, 1)
        self.whole.addWidget(self.told, 1)
        self.scroller = Scroll(look, self.body)
        self.column.addWidget(self.scroller, 1)
        self.foot = Words(look, "", size=12, colour="soft", wrap=True)
        self.rule = Rule(look, above=2, below=2)
        self.column.addWidget(self.rule)
        self.column.addWidget(self.foot)
        self.reading = Reading(look, self, self.scroller)
        self.sentence = ""
        self.spoken = ""
        self._working = QTimer(self)
        self._working.setSingleShot(True)
        self._working.setInterval(SHOW_WORKING_AFTER)
        self._working.timeout.connect(lambda: self._simple("Booking forecast", "Working out the forecast…"))
        look.changed.connect(self._respace)
        self._respace()

    def _respace(self) -> None:
        self.whole.setContentsMargins(0, 0, self.look.px(8), 0)
        self.rows.setContentsMargins(0, 0, 0, 0)
        for rows in (self.rows, self.figures.rows):
            rows.setSpacing(self.look.px(4))

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self.reading.setGeometry(self.rect())

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
            self._too_much_missing(state)
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

    def show_words(self, title: str, words: str) -> None:
        """Say something else in place of a forecast that is made now."""
        self._working.stop()
        self._simple(title, words)
        self._end()

    def show_sealed(self, words: str, act: str) -> None:
        """Say who must not see it and why; `act` words the button that opens it, none offers nothing."""
        self._working.stop()
        self._begin("Sealed")
        self._say(words, lead=False)
        if act:
            button = Button(self.look, act)
            button.setObjectName("sealed.open")
            button.clicked.connect(self.opened)
            self.rows.addWidget(button)
        self.rows.addStretch(1)
        self._end()

    # --- figures -----------------------------------------------------------------------------------------------------

    def _figures(self, state: Figures, cloudy: int) -> None:
        forecast = state.forecast
        if forecast.risk is None or forecast.low is None or forecast.high is None:
            self._simple("No forecast", forecast.note)
            return
        self._clear()
        self.title.setText("Booking forecast")
        risk, low, high = (100 * one for one in (forecast.risk, forecast.low, forecast.high))
        self.sentence = self.figures.show_figures(state, risk, low, high, cloudy)
        self.foot.setText(state.card_words)
        self._show_figures(True)

    # --- no figures --------------------------------------------------------------------------------------------------

    def _too_much_missing(self, state: TooMuchMissing) -> None:
        """What to answer first, as ways into the form; a form that is nearly empty is no fault."""
        self._begin("Booking forecast" if state.ask else "No forecast for this eye")
        if state.ask:
            self._say("Answer these first:")
            self.sentence = f"Answer these first: {labels(state.ask)}."
            ways = QWidget()
            row = FlowLayout(self.look, ways, gap=4)
            for name in state.ask:
                way = Button(self.look, field_label(name), note=f"Answer {lower_first(field_label(name))}")
                way.setObjectName(f"ask.{name}")
                way.clicked.connect(lambda _=False, name=name: self.wished.emit(name))
                row.addWidget(way)
            self.rows.addWidget(ways)
        else:
            self._say(state.forecast.note)
        self._facts(state.facts)

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
                    (
                        (f"{sentence_case(why.replace(': ', ' '))}: ", "ink", MEDIUM),
                        (f"{labels(tuple(names))}.", "soft", NORMAL),
                    )
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
        self._clear()
        self.foot.setText("")
        self._show_figures(False)

    def _clear(self) -> None:
        while self.rows.count():
            item = self.rows.takeAt(0)
            widget = item.widget() if item is not None else None
            if widget is not None:
                widget.hide()
                widget.deleteLater()

    def _show_figures(self, figures: bool) -> None:
        self.figures.setVisible(figures)
        self.told.setVisible(not figures)

    def _heading(self, words: str) -> None:
        self.rows.addWidget(Words(self.look, words, weight=STRONG, wrap=True))

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
        self.reading.setAccessibleName(self.accessibleName())
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
        return " ".join(label.text() for label in self.findChildren(Words) if label.isVisibleTo(self)) + self.sentence
