"""Review: forecast beside seen. At a glance, and the forecast in full; every chart has its table."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Mapping
from datetime import date, timedelta

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QGridLayout, QVBoxLayout, QWidget

from clinic_app.desktop.jobs import Job, Jobs, sentences
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.page import Page
from clinic_app.desktop.pages.review_charts import ALARM, CHECK, QUARTERS, SURGEONS, TALLY, USEFULNESS, ChartCard, draw
from clinic_app.desktop.pages.review_words import Fact, Measures
from clinic_app.desktop.parts.answer import Given
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.choice import ChoiceRow
from clinic_app.desktop.parts.flow import FlowLayout
from clinic_app.desktop.parts.frame import Card, Scroll
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.picker import Picker
from clinic_app.desktop.parts.progress import Progress
from clinic_app.domain.people import Duty
from clinic_app.domain.reviewed import Review
from clinic_app.figures.words import facts
from clinic_app.session import Session
from models.codebook import Choice, Field, Kind, Role, Stage
from models.progress import Report

VIEWS = {"glance": (CHECK, TALLY, SURGEONS, QUARTERS), "forecast": (CHECK, USEFULNESS, ALARM)}
NEEDED = (Duty.SURGEON, Duty.DATA_LEAD)
"""Either of these may see a review."""
VIEW_FIELD = Field(
    name="view", label="View", kind=Kind.CHOICE, stage=Stage.BOOKING, role=Role.CONTEXT,
    choices=(Choice("glance", "At a glance"), Choice("forecast", "Forecast")),
)  # fmt: skip
BASES = (("", "as the records allow"), ("beforehand", "forecast beforehand"), ("afterwards", "worked out afterwards"))
MODELS = (("booking", "booking"), ("end_of_case", "end of case"))
PERIODS = (("all", "all"), ("365", "last 12 months"), ("182", "last 6 months"))


def work_out(session: Session, model: str, basis: str, days: str, report: Report) -> Review:
    """Make the review, on the worker; the arithmetic is brought in here, after the first paint."""
    first = None if days == "all" else session.today() - timedelta(days=int(days))
    made: Review = importlib.import_module("clinic_app.services.review").review(
        session, model=model, basis=basis or None, from_=first, report=report
    )
    return made


class ReviewPage(Page):
    """Views and filters on top, facts, charts; long work can be stopped."""

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__()
        self.session, self.look, self.jobs = session, look, jobs
        self.review: Review | None = None
        self._job: Job | None = None
        self._drawing: dict[ChartCard, Job] = {}
        self._read_on: date | None = None
        self.body = QWidget()
        self.rows = QVBoxLayout(self.body)
        self._build_bar()
        self.progress = Progress(look, "Working out the review")
        self.progress.stopped.connect(self.stop)
        self._build_message()
        self.facts_box = QWidget()
        self.facts_row = FlowLayout(look, self.facts_box, gap=8, columns=4)
        self.facts = [Fact(look) for _ in range(4)]
        for fact in self.facts:
            self.facts_row.addWidget(fact)
        self.grids: dict[str, QWidget] = {}
        self.cards: dict[str, list[ChartCard]] = {}
        self.measures = Measures(look)
        for widget in (self.bar, self.progress, self.message, self.facts_box):
            self.rows.addWidget(widget)
        for view in VIEWS:
            self._build_view(view)
        self.scroller = Scroll(look, self.body)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.scroller)
        self._columns = 2
        self.view = "glance"
        look.changed.connect(self.respace)
        self.respace()
        self._show_state()

    # --- building ----------------------------------------------------------------------------------------------------

    def _build_bar(self) -> None:
        look = self.look
        self.bar = Card(look, margins=(8, 2, 8, 2))
        inner = QWidget()
        flow = FlowLayout(look, inner, gap=6)
        self.views = ChoiceRow(look, VIEW_FIELD, absent=False, tabs=True)
        self.views.hide_head()
        self.views.show_given(Given("glance"))
        self.views.changed.connect(lambda: self.show_view(str(self.views.given.value)))
        self.basis = Picker(look, "Eyes", BASES)
        self.model = Picker(look, "Forecast", MODELS)
        self.period = Picker(look, "Period", PERIODS)
        self.tables = Button(look, "Show as tables", kind="quiet", icon="table", hint="Ctrl+T")
        self.tables.setObjectName("tables")
        self.tables.clicked.connect(self.toggle_tables)
        self.again = Button(look, "Work out again", kind="quiet")
        self.again.setObjectName("again")
        self.again.clicked.connect(self.read)
        for widget in (self.views, self.basis, self.model, self.period, self.tables, self.again):
            flow.addWidget(widget)
        for picker in (self.basis, self.model, self.period):
            picker.picked.connect(lambda _: self.read())
        self.bar.column.addWidget(inner)

    def _build_message(self) -> None:
        self.message = Card(self.look, margins=(20, 14, 20, 14))
        self.message_words = Words(self.look, "", wrap=True)
        self.clear = Button(self.look, "Clear filters")
        self.clear.setObjectName("clear")
        self.clear.clicked.connect(self.clear_filters)
        self.message.column.addWidget(self.message_words)
        self.message.column.addWidget(self.clear)
        self.message.column.addStretch(1)
        self.message.hide()

    def _build_view(self, view: str) -> None:
        grid = QWidget()
        QGridLayout(grid).setContentsMargins(0, 0, 0, 0)
        self.cards[view] = [ChartCard(self.look, chart) for chart in VIEWS[view]]
        for card in self.cards[view]:
            card.wanted.connect(self._draw)
        self.grids[view] = grid
        self.rows.addWidget(grid, 1)

    def respace(self) -> None:
        """Take sizes from the tokens, and the columns from the width."""
        px = self.look.px
        self.rows.setContentsMargins(px(11), px(11), px(11), px(11))
        self.rows.setSpacing(px(8))
        for view, grid in self.grids.items():
            layout = grid.layout()
            assert isinstance(layout, QGridLayout)  # noqa: S101 - made so above
            layout.setSpacing(px(8))
            widgets: list[QWidget] = [*self.cards[view], *([self.measures] if view == "forecast" else [])]
            for place, widget in enumerate(widgets):
                layout.removeWidget(widget)
                whole = widget is self.measures and self._columns > 1
                layout.addWidget(
                    widget, place // self._columns, place % self._columns, 1, self._columns if whole else 1
                )
            for column in range(2):
                layout.setColumnStretch(column, 1 if column < self._columns else 0)
        self.scroller.fit()

    def set_width(self, effective: float) -> None:
        """Two columns of charts where there is room."""
        columns = 2 if effective >= 1000 else 1
        if columns != self._columns:
            self._columns = columns
            self.respace()

    # --- reading -----------------------------------------------------------------------------------------------------

    def keys(self) -> Mapping[str, Callable[[], object]]:
        """Keys of this page."""
        return {"Ctrl+T": self.toggle_tables}

    def open(self) -> None:
        """Work it out when the page is first opened."""
        if self.review is None and self._job is None:
            self.read()

    def read(self) -> None:
        """Work it out for the filters; what is shown stays until it is ready."""
        if self._job is not None:
            self._job.leave()
        self.message.hide()
        self.progress.begin()
        for card in self.cards[self.view]:
            if self.review is not None:
                card.working()
        self._job = self.jobs.start(
            work_out, self.session, self.model.code, self.basis.code, self.period.code, reports=True
        )
        self._job.progress.connect(self.progress.tell)
        self._job.done.connect(self._made)
        self._job.failed.connect(self._not_made)
        self._job.stopped.connect(lambda: self._end("Stopped. Nothing was changed.", clear=False))

    def stop(self) -> None:
        """Stop the work."""
        if self._job is not None:
            self._job.stop()

    def _made(self, review: Review) -> None:
        self.review = review
        self.bar.show()
        self._end("")
        for fact, said in zip(self.facts, facts(review), strict=True):
            fact.say(*said)
        self.measures.show_review(review)
        self._show_state()
        for cards in self.cards.values():
            for card in cards:
                card.show_review(review)

    def _not_made(self, fault: BaseException) -> None:
        what, why, then = sentences(fault)
        self.review = None
        # no filter helps somebody without the duty: the refusal stands in the page's place
        self.bar.setVisible(self.session.may(*NEEDED))
        self._end(f"{what} {why} {then}", clear=self.filtered())
        self._show_state()

    def _end(self, words: str, *, clear: bool = False) -> None:
        self._job = None
        self.progress.end()
        self.message_words.setText(words)
        self.message.setVisible(bool(words))
        self.clear.setVisible(clear)
        if self.review is not None:
            for card in self.cards[self.view]:
                card.footer.setText(card.chart.words(self.review).footer)

    def filtered(self) -> bool:
        """Whether a filter is set."""
        return (self.basis.code, self.model.code, self.period.code) != ("", "booking", "all")

    def clear_filters(self) -> None:
        """All eyes again."""
        self.basis.choose("")
        self.model.choose("booking")
        self.period.choose("all")
        self.read()

    # --- drawing -----------------------------------------------------------------------------------------------------

    def _draw(self, card: ChartCard) -> None:
        if card in self._drawing:
            self._drawing.pop(card).leave()
        width, height, scale = card.size_wanted()
        theme = "dark" if self.look.dark else "light"
        job = self.jobs.start(draw, card.chart.module, card.review, theme, width, height, scale)
        self._drawing[card] = job
        ratio = card.picture.devicePixelRatioF()
        job.done.connect(lambda data: card.picture.show_png(data, ratio))
        job.failed.connect(lambda fault: card.failed(sentences(fault)[1]))
        for signal in (job.done, job.failed):
            signal.connect(lambda *_: self._drawing.pop(card, None))

    def drawing(self) -> bool:
        """Whether charts are still on their way."""
        waiting = any(card.picture.waiting for card in self.cards[self.view])
        return waiting or bool(self._drawing) or self._job is not None

    # --- views -------------------------------------------------------------------------------------------------------

    def show_view(self, view: str) -> None:
        """At a glance, or the forecast in full."""
        self.view = view
        self.views.show_given(Given(view))
        self._show_state()
        for card in self.cards[view]:
            card.want()

    def _show_state(self) -> None:
        ready = self.review is not None
        self.facts_box.setVisible(ready)
        self.tables.setVisible(ready)
        for view, grid in self.grids.items():
            grid.setVisible(ready and view == self.view)
        self.scroller.fit()

    def toggle_tables(self) -> None:
        """Every chart of the view as a table, or as a chart again."""
        cards = self.cards[self.view]
        wanted = any(card.table.isHidden() for card in cards)
        for card in cards:
            card.show_table(wanted)
            card.want()
        self.tables.set_words("Show as charts" if wanted else "Show as tables")

    def first_focus(self) -> QWidget:
        """Where the keyboard goes."""
        self.views.stop().setFocus(Qt.FocusReason.TabFocusReason)
        return self.views.stop()
