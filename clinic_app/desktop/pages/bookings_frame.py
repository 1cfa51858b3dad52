"""How the bookings page is laid out: three columns, two with the list behind a key, or one that scrolls."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QBoxLayout, QHBoxLayout, QVBoxLayout, QWidget

from clinic_app.desktop.look import STRONG, Look
from clinic_app.desktop.pages.booking_form import BookingForm
from clinic_app.desktop.pages.case_parts import CaseHead, Foot
from clinic_app.desktop.pages.forecast_panel import ForecastPanel
from clinic_app.desktop.pages.form_rules import LEVEL_WORDS
from clinic_app.desktop.pages.help import FieldHelp
from clinic_app.desktop.pages.plan_card import PlanCard
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.choice import ChoiceRow
from clinic_app.desktop.parts.eye_list import EyeList
from clinic_app.desktop.parts.frame import Card, Rule, Scroll
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.lines import Notice, Question
from clinic_app.session import Session
from models.codebook import Choice, Field, Kind, Role, Stage

WIDE, MEDIUM_WIDTH = 1380, 1000
LIST_WIDTH, PANEL_WIDTH, HEAD_WIDTH = 280, 372, 760
LEVEL_FIELD = Field(
    name="level", label="Answers", kind=Kind.CHOICE, stage=Stage.BOOKING, role=Role.CONTEXT,
    choices=tuple(Choice(code, words) for code, words in LEVEL_WORDS.items()),
    help="How much of the form is shown. Ctrl+M goes on to the next.",
)  # fmt: skip


def plain(widget: QWidget | None = None) -> QWidget:
    """A ground without a colour of its own."""
    made = widget if widget is not None else QWidget()
    made.setAutoFillBackground(False)
    return made


class BookingsFrame(QWidget):
    """List, head, form, help, foot, panel and plan, in their places for the width there is."""

    waiting = Signal(int)

    def __init__(self, session: Session, look: Look) -> None:
        super().__init__()
        self.session, self.look = session, look
        self.today = session.today()
        self.mode = ""
        self._list_wanted = False
        self.question: Question | None = None
        self._build_list()
        self._build_middle()
        self.panel = ForecastPanel(look)
        self.plan = PlanCard(look)
        self.right = plain()
        self.right_column = QVBoxLayout(self.right)
        self.right_column.addWidget(self.panel, 1)
        self.right_column.addWidget(self.plan)
        self.ground = plain()
        self.across = QBoxLayout(QBoxLayout.Direction.LeftToRight, self.ground)
        self.across.addWidget(self.left)
        self.across.addWidget(self.middle, 1)
        self.across.addWidget(self.right)
        self.outer = Scroll(look, self.ground)
        self.outer.set_filled(True)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.outer)
        look.changed.connect(self.respace)
        self.respace()

    def _build_list(self) -> None:
        look = self.look
        self.left = Card(look, margins=(1, 10, 1, 6), spacing=2)
        head = QHBoxLayout()
        head.setContentsMargins(look.px(15), 0, look.px(11), 0)
        head.addWidget(Words(look, "Bookings", size=15, weight=STRONG))
        head.addStretch(1)
        self.new_button = Button(look, "New eye", icon="plus", note="New eye, Ctrl+N")
        self.new_button.setObjectName("new")
        head.addWidget(self.new_button)
        self.left.column.addLayout(head)
        self.list = EyeList(look, "Booked eyes by surgery date")
        self.empty = plain()
        inner = QVBoxLayout(self.empty)
        inner.setContentsMargins(look.px(15), look.px(10), look.px(11), look.px(10))
        inner.setSpacing(look.px(8))
        self.empty_words = Words(look, "", colour="soft", wrap=True)
        self.empty_button = Button(look, "Enter the first eye", hint="Ctrl+N")
        self.copy_details = Button(look, "Copy details", kind="quiet")
        self.retry = Button(look, "Try again")
        self._details = ""
        self.copy_details.clicked.connect(lambda: QGuiApplication.clipboard().setText(self._details))
        for widget in (self.empty_words, self.empty_button, self.retry, self.copy_details):
            inner.addWidget(widget)
        inner.addStretch(1)
        self.left.column.addWidget(self.list, 1)
        self.left.column.addWidget(self.empty, 1)
        self.left.column.addWidget(Rule(look))
        self.list_foot = Words(look, self._foot_words(), size=12, colour="soft", wrap=True)
        self.list_foot.setContentsMargins(look.px(15), 0, look.px(11), 0)
        self.left.column.addWidget(self.list_foot)
        self.empty.hide()

    def _foot_words(self) -> str:
        settings = self.session.settings
        if settings.planning_line is None:
            return "By surgery date. No planning line is set."
        set_by = f" {settings.planning_line_set}." if settings.planning_line_set else ""
        return f"By surgery date. Planning line: {settings.planning_line:g} in 100.{set_by}"

    def _build_middle(self) -> None:
        look = self.look
        self.middle = plain()
        self.middle_column = QVBoxLayout(self.middle)
        self.head = CaseHead(look, self.today)
        self.card = Card(look, margins=(1, 4, 1, 1), spacing=0)
        self.levels = ChoiceRow(look, LEVEL_FIELD, absent=False, tabs=True)
        self.levels.hide_head()
        self.rest = Button(look, "None of the rest", kind="quiet", hint="Ctrl+0")
        self.rest.setToolTip("Answers what is open in this section with No or None")
        self.rest.setObjectName("rest")
        self.level_row = QHBoxLayout()
        self.level_row.addWidget(self.levels, 1)
        self.level_row.addWidget(self.rest, 0, Qt.AlignmentFlag.AlignBottom)
        self.form = BookingForm(look, self.session.settings, self.today)
        self.form_scroll = Scroll(look, self.form)
        self.notice = Notice(look)
        self.notice.hide()
        self.help = FieldHelp(look)
        self.slot = QVBoxLayout()
        self.foot = Foot(look)
        self.card.column.addLayout(self.level_row)
        self.card.column.addWidget(self.form_scroll, 1)
        self.card.column.addWidget(self.notice)
        self.card.column.addWidget(self.help)
        self.card.column.addLayout(self.slot)
        self.card.column.addWidget(self.foot)
        self.middle_column.addWidget(self.head)
        self.middle_column.addWidget(self.card, 1)

    # --- width -------------------------------------------------------------------------------------------------------

    def respace(self) -> None:
        """Take sizes from the tokens, and the columns from the width."""
        px = self.look.px
        self.across.setContentsMargins(px(11), px(11), px(11), px(11))
        for layout in (self.across, self.middle_column, self.right_column):
            layout.setSpacing(px(8))
        for layout in (self.middle_column, self.right_column):
            layout.setContentsMargins(0, 0, 0, 0)
        self.level_row.setContentsMargins(px(14), px(2), px(10), 0)
        self.slot.setContentsMargins(px(12), 0, px(12), 0)
        self._set_mode(self.mode or "wide")

    def set_width(self, effective: float) -> None:
        """Choose the columns for a width in pixels at 100 % text."""
        mode = "wide" if effective >= WIDE else ("medium" if effective >= MEDIUM_WIDTH else "narrow")
        self.head.set_narrow(effective < HEAD_WIDTH)
        if mode != self.mode:
            self._set_mode(mode)

    def _set_mode(self, mode: str) -> None:
        px, narrow = self.look.px, mode == "narrow"
        self.mode = mode
        direction = QBoxLayout.Direction.TopToBottom if narrow else QBoxLayout.Direction.LeftToRight
        self.across.setDirection(direction)
        free = 16777215
        self.left.setMinimumWidth(0 if narrow else px(LIST_WIDTH))
        self.left.setMaximumWidth(free if narrow else px(LIST_WIDTH))
        self.left.setFixedHeight(px(340)) if narrow else self.left.setMinimumHeight(0)
        self.left.setMaximumHeight(px(340) if narrow else free)
        self.right.setMinimumWidth(0 if narrow else px(PANEL_WIDTH))
        self.right.setMaximumWidth(free if narrow else px(PANEL_WIDTH))
        self.form_scroll.set_open(narrow)
        self.panel.scroller.set_open(narrow)
        self.outer.set_filled(not narrow)
        self._show_columns()

    def _show_columns(self) -> None:
        wide = self.mode == "wide"
        self.left.setVisible(wide or self._list_wanted)
        self.right.setVisible(not (self.mode == "medium" and self._list_wanted))

    def toggle_list(self) -> None:
        """List to form and back; where the list is hidden it is shown first."""
        if self.list.hasFocus() or (self.mode != "wide" and self._list_wanted):
            self._list_wanted = False
            self._show_columns()
            hand = self.form.answers.get(self.form.hand)
            if hand is not None and not hand.isHidden():
                self.form.focus(hand)
            else:
                self.form.focus_first()
            return
        self._list_wanted = self.mode != "wide"
        self._show_columns()
        self.list.setFocus(Qt.FocusReason.TabFocusReason)

    # --- small acts --------------------------------------------------------------------------------------------------

    def list_words(self, words: str, details: str = "") -> None:
        """Words in place of the list; none shows the list."""
        self.empty_words.setText(words)
        self._details = details
        self.copy_details.setVisible(bool(details))
        self.empty_button.setVisible(words.startswith("No eyes"))
        self.retry.setVisible(self.retry.isVisible() and bool(words))
        self.empty.setVisible(bool(words))
        self.list.setVisible(not words)

    def reveal(self, widget: QWidget) -> None:
        """Bring a widget into view."""
        if self.mode == "narrow":
            self.outer.ensureWidgetVisible(widget, 0, self.look.px(60))
        else:
            self.form_scroll.reveal(widget, self.look.px(50))

    def scroll_to_top(self) -> None:
        """Begin at the top of the form."""
        self.form_scroll.verticalScrollBar().setValue(0)

    def fit_form(self) -> None:
        """Measure the form anew."""
        self.form_scroll.fit()

    def show_question(self, question: Question) -> None:
        """Put a question above the foot and the keyboard into it."""
        self.close_question()
        self.question = question
        self.slot.addWidget(question)
        question.show()
        question.begin()

    def close_question(self) -> None:
        """Take the question away."""
        if self.question is not None:
            self.question.hide()
            self.slot.removeWidget(self.question)
            self.question.deleteLater()
            self.question = None
