"""How the day-one page is laid out: list, the question before a sheet, plate and sheet, what stands beside it."""

from __future__ import annotations

from PySide6.QtCore import Qt, QTimer
from PySide6.QtWidgets import QSizePolicy, QVBoxLayout, QWidget

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.day_one_cards import CallCard, KnowCard, OpenedCard, TodayCard
from clinic_app.desktop.pages.day_one_form import DayOneForm
from clinic_app.desktop.pages.day_one_panels import HaltBand
from clinic_app.desktop.pages.day_one_rows import FOOT
from clinic_app.desktop.pages.day_one_visit import VisitForm
from clinic_app.desktop.pages.stage_frame import StageFrame, plain
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.eye_question import EyeQuestion
from clinic_app.desktop.parts.flow import FlowLayout
from clinic_app.desktop.parts.frame import Card, Scroll
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.lines import Notice
from clinic_app.desktop.parts.sealed import SealedBlock
from clinic_app.session import Session

IDLE = "Choose an eye on the list, or press F7. Its sheet opens after the birthday and the eye were said again."


class DayOneFrame(StageFrame):
    """The parts of the page; `stand` says which of them the middle shows."""

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        self.sheet = DayOneForm(look, session.settings, session.today())
        super().__init__(
            session, look, jobs, self.sheet, title="Day one", list_name="Eyes to be seen, by appointment",
            list_foot=FOOT,
        )  # fmt: skip
        self.print_list = Button(look, "Print", kind="quiet", hint="Ctrl+P", note="Print the day-one list, Ctrl+P")
        self.print_list.setObjectName("print")
        self.list_head.addWidget(self.print_list)
        self.asking: EyeQuestion | None = None
        self.sheet_shown = False
        self._build_visit()
        self._build_foot()
        self._build_idle()
        self._build_right()
        self.stand("idle")
        self.respace()

    def _build_visit(self) -> None:
        look = self.look
        self.sheet_scroll = self.form_scroll
        self.visit = VisitForm(look, self.session.settings, self.today)
        self.visit_scroll = Scroll(look, self.visit)
        self.scrollers.append(self.visit_scroll)
        self.card.column.insertWidget(1, self.visit_scroll, 1)
        self.band = HaltBand(look)
        self.halts = self.band.halts
        self.card.column.insertWidget(self.card.column.indexOf(self.help), self.band)

    def _build_foot(self) -> None:
        self.foot.confirm.hide()
        self.more = Button(self.look, "More", kind="quiet", hint="Ctrl+M", note="More answers, Ctrl+M")
        self.not_seen = Button(self.look, "Not seen…", kind="quiet")
        self.correct = Button(self.look, "Correct…", kind="quiet", note="Correct a locked answer, with a reason")
        for name, button in (("more", self.more), ("not_seen", self.not_seen), ("correct", self.correct)):
            button.setObjectName(name)
            self.foot.put(button)
        self.foot.book.setObjectName("lock")

    def _build_idle(self) -> None:
        self.idle = Card(self.look, margins=(24, 20, 24, 20), spacing=8)
        self.idle_words = Words(self.look, IDLE, colour="soft", wrap=True)
        self.idle.column.addWidget(self.idle_words)
        self.idle.column.addStretch(1)
        self.middle_column.insertWidget(0, self.idle, 1)
        self._build_below()

    def _build_below(self) -> None:
        """What stands below the question which eye: acts for who is not there, words, and what an act asks."""
        look = self.look
        self.absent = plain()
        row = FlowLayout(look, self.absent, gap=8)
        self.absent_not_seen = Button(look, "Not seen…")
        self.absent_time = Button(look, "Expected at…")
        self.absent_note = Button(look, "Note the action", hint="F9")
        for name, button in (
            ("absent.not_seen", self.absent_not_seen), ("absent.time", self.absent_time),
            ("absent.note", self.absent_note),
        ):  # fmt: skip
            button.setObjectName(name)
            row.addWidget(button)
        self.below_notice = Notice(look)
        self.below_notice.hide()
        self.below = QVBoxLayout()
        self.middle_column.insertWidget(1, self.absent)
        self.middle_column.insertWidget(2, self.below_notice)
        self.middle_column.insertLayout(3, self.below)
        self.below_stretch = plain()
        self.below_stretch.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Expanding)
        self.middle_column.insertWidget(4, self.below_stretch, 1)

    def _build_right(self) -> None:
        look = self.look
        self.sealed = SealedBlock(look, anyway=True)
        self.opened = OpenedCard(look)
        self.know = KnowCard(look)
        self.call = CallCard(look)
        self.list_card = TodayCard(look)
        ground = plain()
        self.beside = QVBoxLayout(ground)
        self.beside.setContentsMargins(0, 0, 0, 0)
        for card in (self.sealed, self.opened, self.know, self.call, self.list_card):
            self.beside.addWidget(card)
        self.beside.addStretch(1)
        self.right_scroll = Scroll(look, ground)
        self.scrollers.append(self.right_scroll)
        self.right_column.addWidget(self.right_scroll, 1)

    def stand(self, what: str) -> None:
        """Show in the middle: `idle` words, `asking` which eye, the `sheet`, or a `visit`."""
        self.idle.setVisible(what == "idle")
        self.absent.setVisible(what == "asking" and not self.read_only)
        self.below_stretch.setVisible(what == "asking")
        self.sheet_shown = what in ("sheet", "visit")
        if self.sheet_shown:
            self.below_notice.hide()
        for part in (self.head, self.card):
            part.setVisible(what in ("sheet", "visit"))
        if what != "asking" and self.asking is not None:
            self.middle_column.removeWidget(self.asking)
            self.asking.hide()
            self.asking.deleteLater()
            self.asking = None
        visit = what == "visit"
        self.form = self.visit if visit else self.sheet
        self.form_scroll = self.visit_scroll if visit else self.sheet_scroll
        self.sheet_scroll.setVisible(not visit)
        self.visit_scroll.setVisible(visit)

    def put_question(self, question: EyeQuestion) -> None:
        """Put the question which eye in place of the sheet."""
        self.stand("idle")
        self.asking = question
        self.middle_column.insertWidget(0, question, 0, Qt.AlignmentFlag.AlignTop)
        self.stand("asking")
        question.show()

    def close_question(self) -> None:
        """Take the question away."""
        super().close_question()
        self.help.show()

    def set_mode(self, mode: str) -> None:
        """As other stations; on a narrow page, which scrolls as one, halts stand below what scrolls, in sight."""
        super().set_mode(mode)
        column = self.layout()
        if mode == "narrow" and isinstance(column, QVBoxLayout):
            column.addWidget(self.band)
        elif self.card.column.indexOf(self.band) < 0:
            self.card.column.insertWidget(self.card.column.indexOf(self.help), self.band)

    def tell(self, words: str) -> None:
        """Say something where the person looks: above the foot of a sheet, or below the question."""
        (self.notice if self.sheet_shown else self.below_notice).say(words)

    def show_question(self, question: QWidget) -> None:
        """Put a question above the foot of a sheet, or below the question which eye."""
        self.close_question()
        self.question = question
        (self.slot if self.sheet_shown else self.below).addWidget(question)
        question.show()
        self.help.setVisible(not self.sheet_shown)
        if self.mode == "narrow":
            QTimer.singleShot(0, question, lambda: self.outer.ensureWidgetVisible(question, 0, self.look.px(20)))

    def respace(self) -> None:
        """Take sizes from the tokens, and the columns from the width."""
        self.beside.setSpacing(self.look.px(8))
        super().respace()
