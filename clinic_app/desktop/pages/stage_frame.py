"""How a page with a list, a form and a panel is laid out: three columns, two with the list behind a key, or one."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QBoxLayout, QHBoxLayout, QVBoxLayout, QWidget

from clinic_app.desktop.jobs import Job, Jobs, details, sentences
from clinic_app.desktop.look import STRONG, Look
from clinic_app.desktop.pages.case_parts import CaseHead, Foot
from clinic_app.desktop.pages.help import FieldHelp
from clinic_app.desktop.pages.page import Page
from clinic_app.desktop.pages.stage_form import StageForm
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.eye_list import EyeList
from clinic_app.desktop.parts.frame import Card, Rule, Scroll
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.lines import Notice, Question
from clinic_app.session import Session

WIDE, MEDIUM_WIDTH = 1380, 1000
LIST_WIDTH, PANEL_WIDTH, HEAD_WIDTH = 280, 372, 760
NARROW_LIST = 340
READING_AFTER = 300
SLOW_AFTER = 5000
FREE = 16777215


def plain(widget: QWidget | None = None) -> QWidget:
    """A ground without a colour of its own."""
    made = widget if widget is not None else QWidget()
    made.setAutoFillBackground(False)
    return made


class StageFrame(Page):
    """List, head, form, help, foot and what stands at the right, in their places for the width there is.

    Parts of the page put their own widgets into `list_head`, `card.column`, `right_column`. `scrollers` are opened to
    their whole length on a narrow page, which then scrolls as one.
    """

    def __init__(
        self, session: Session, look: Look, jobs: Jobs, form: StageForm, *, title: str, list_name: str, list_foot: str
    ) -> None:
        super().__init__()
        self.session, self.look, self.jobs, self.form = session, look, jobs, form
        self.today = session.today()
        self.mode = ""
        self._list_wanted = False
        self._job: Job | None = None
        self._slow = QTimer(self, singleShot=True, interval=READING_AFTER)
        self._slow.timeout.connect(self._say_reading)
        self.question: QWidget | None = None
        self.scrollers: list[Scroll] = []
        self._build_list(title, list_name, list_foot)
        self._build_middle()
        self.right = plain()
        self.right_column = QVBoxLayout(self.right)
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
        self.retry.clicked.connect(self.load)
        look.changed.connect(self.respace)

    @property
    def read_only(self) -> bool:
        """Whether nothing can be kept."""
        return bool(getattr(self.session.store, "read_only", False))

    def _build_list(self, title: str, list_name: str, list_foot: str) -> None:
        look = self.look
        self.left = Card(look, margins=(1, 10, 1, 6), spacing=2)
        self.list_head = QHBoxLayout()
        self.list_head.setContentsMargins(look.px(15), 0, look.px(11), 0)
        self.list_head.addWidget(Words(look, title, size=15, weight=STRONG))
        self.list_head.addStretch(1)
        self.left.column.addLayout(self.list_head)
        self.list = EyeList(look, list_name)
        self.empty = plain()
        inner = QVBoxLayout(self.empty)
        inner.setContentsMargins(look.px(15), look.px(10), look.px(11), look.px(10))
        inner.setSpacing(look.px(8))
        self.empty_words = Words(look, "", colour="soft", wrap=True)
        self.empty_button = Button(look, "")
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
        self.list_foot = Words(look, list_foot, size=12, colour="soft", wrap=True)
        self.list_foot.setContentsMargins(look.px(15), 0, look.px(11), 0)
        self.left.column.addWidget(self.list_foot)
        self.empty.hide()

    def _build_middle(self) -> None:
        look = self.look
        self.middle = plain()
        self.middle_column = QVBoxLayout(self.middle)
        self.head = CaseHead(look, self.today)
        self.card = Card(look, margins=(1, 4, 1, 1), spacing=0)
        self.form_scroll = Scroll(look, self.form)
        self.scrollers.append(self.form_scroll)
        self.notice = Notice(look)
        self.notice.hide()
        self.help = FieldHelp(look)
        self.slot = QVBoxLayout()
        self.foot = Foot(look)
        self.card.column.addWidget(self.form_scroll, 1)
        self.card.column.addWidget(self.notice)
        self.card.column.addWidget(self.help)
        self.card.column.addLayout(self.slot)
        self.card.column.addWidget(self.foot)
        self.middle_column.addWidget(self.head)
        self.middle_column.addWidget(self.card, 1)

    # --- reading the list --------------------------------------------------------------------------------------------

    def read_list(self, work: Callable[..., object], *args: object) -> None:
        """Read the list on the worker; the page can be used meanwhile."""
        if self._job is not None:
            self._job.leave()
        self.retry.hide()
        self._slow.setInterval(READING_AFTER)
        self._slow.start()
        self._job = self.jobs.start(work, *args)
        self._job.done.connect(self._list_read)
        self._job.failed.connect(self._list_not_read)

    def _say_reading(self) -> None:
        if self._slow.interval() == READING_AFTER:
            self.list_words("Reading the list…")
            self._slow.setInterval(SLOW_AFTER - READING_AFTER)
            self._slow.start()
        else:
            self.list_words("Still reading. Practice database slow?")
            self.retry.show()

    def _list_read(self, found: object) -> None:
        self._slow.stop()
        self.retry.hide()
        self.show_found(found)

    def _list_not_read(self, fault: BaseException) -> None:
        self._slow.stop()
        self.retry.show()
        self.list_words(" ".join(sentences(fault)), details(fault))

    def show_found(self, found: object) -> None:
        """Show what the worker read."""
        raise NotImplementedError

    def list_words(self, words: str, details: str = "", *, act: str = "") -> None:
        """Words in place of the list, with one button where `act` names it; none shows the list."""
        self.empty_words.setText(words)
        self._details = details
        self.copy_details.setVisible(bool(details))
        if act:
            self.empty_button.set_words(act)
        self.empty_button.setVisible(bool(act))
        self.retry.setVisible(self.retry.isVisible() and bool(words))
        self.empty.setVisible(bool(words))
        self.list.setVisible(not words)

    # --- width -------------------------------------------------------------------------------------------------------

    def respace(self) -> None:
        """Take sizes from the tokens, and the columns from the width."""
        px = self.look.px
        self.across.setContentsMargins(px(11), px(11), px(11), px(11))
        for layout in (self.across, self.middle_column, self.right_column):
            layout.setSpacing(px(8))
        for layout in (self.middle_column, self.right_column):
            layout.setContentsMargins(0, 0, 0, 0)
        self.slot.setContentsMargins(px(12), 0, px(12), 0)
        self.set_mode(self.mode or "wide")

    def set_width(self, effective: float) -> None:
        """Choose the columns for a width in pixels at 100 % text."""
        mode = "wide" if effective >= WIDE else ("medium" if effective >= MEDIUM_WIDTH else "narrow")
        self.head.set_narrow(effective < HEAD_WIDTH)
        if mode != self.mode:
            self.set_mode(mode)

    def set_mode(self, mode: str) -> None:
        """Three columns (`wide`), two (`medium`) or one (`narrow`)."""
        px, narrow = self.look.px, mode == "narrow"
        self.mode = mode
        direction = QBoxLayout.Direction.TopToBottom if narrow else QBoxLayout.Direction.LeftToRight
        self.across.setDirection(direction)
        self.left.setMinimumWidth(0 if narrow else px(LIST_WIDTH))
        self.left.setMaximumWidth(FREE if narrow else px(LIST_WIDTH))
        self.left.setFixedHeight(px(NARROW_LIST)) if narrow else self.left.setMinimumHeight(0)
        self.left.setMaximumHeight(px(NARROW_LIST) if narrow else FREE)
        self.right.setMinimumWidth(0 if narrow else px(PANEL_WIDTH))
        self.right.setMaximumWidth(FREE if narrow else px(PANEL_WIDTH))
        for scroller in self.scrollers:
            scroller.set_open(narrow)
        self.outer.set_filled(not narrow)
        self._show_columns()

    def _show_columns(self) -> None:
        wide = self.mode == "wide"
        self.left.setVisible(wide or self._list_wanted)
        self.right.setVisible(not (self.mode == "medium" and self._list_wanted))

    def want_list(self, wanted: bool) -> None:
        """Show the list even where there is no room for it beside the form, or only behind its key."""
        self._list_wanted = wanted
        self._show_columns()

    def toggle_list(self) -> None:
        """List to form and back; where the list is hidden it is shown first."""
        if self.list.hasFocus() or (self.mode != "wide" and self._list_wanted):
            self.back_to_form()  # before the list goes, which would hand the keyboard to whatever comes next
            self.want_list(False)
            return
        self._list_wanted = self.mode != "wide"
        self._show_columns()
        self.list.setFocus(Qt.FocusReason.TabFocusReason)

    def back_to_form(self) -> None:
        """Put the keyboard on the answer that was in hand, or on the first open one."""
        hand = self.form.answers.get(self.form.hand)
        if hand is not None and not hand.isHidden() and hand.isEnabled():
            self.form.focus(hand)
        else:
            self.form.focus_first()

    # --- small acts --------------------------------------------------------------------------------------------------

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

    def ask(
        self, words: str, answers: tuple[tuple[str, str], ...], act: Callable[[str, str], None], *, reason: str = ""
    ) -> None:
        """Ask above the foot; `act` gets the code of the answer and the reason typed."""
        question = Question(self.look, words, answers, reason=reason)

        def answered(code: str, given: str) -> None:
            self.close_question()
            act(code, given)

        question.answered.connect(answered)
        self.show_question(question)
        question.begin()

    def show_question(self, question: QWidget) -> None:
        """Put a question above the foot."""
        self.close_question()
        self.question = question
        self.slot.addWidget(question)
        question.show()

    def close_question(self) -> None:
        """Take the question away."""
        if self.question is not None:
            self.question.hide()
            self.slot.removeWidget(self.question)
            self.question.deleteLater()
            self.question = None
