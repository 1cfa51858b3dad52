"""How the bookings page is laid out: the form's levels, the forecast and the plan beside it."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QHBoxLayout

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.booking_form import BookingForm
from clinic_app.desktop.pages.forecast_panel import ForecastPanel
from clinic_app.desktop.pages.form_rules import LEVEL_WORDS
from clinic_app.desktop.pages.plan_card import PlanCard
from clinic_app.desktop.pages.stage_frame import StageFrame
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.choice import ChoiceRow
from clinic_app.session import Session
from clinic_app.settings import Settings
from models.codebook import Choice, Field, Kind, Role, Stage

MEDIUM_PANEL = 490
LEVEL_FIELD = Field(
    name="level", label="Answers", kind=Kind.CHOICE, stage=Stage.BOOKING, role=Role.CONTEXT,
    choices=tuple(Choice(code, words) for code, words in LEVEL_WORDS.items()),
    help="How much of the form is shown. Ctrl+M goes on to the next.",
)  # fmt: skip


def foot_words(settings: Settings) -> str:
    """How the list is ordered, and the planning line."""
    if settings.planning_line is None:
        return "By surgery date. No planning line is set."
    said = settings.planning_line_set
    set_by = f", {said[:1].lower()}{said[1:]}" if said else ""
    return f"By surgery date. Planning line: {settings.planning_line:g} in 100{set_by}."


class BookingsFrame(StageFrame):
    """The stage's frame with the levels of the form, the forecast and the plan."""

    form: BookingForm

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__(
            session, look, jobs, BookingForm(look, session.settings, session.today()),
            title="Bookings", list_name="Booked eyes by surgery date", list_foot=foot_words(session.settings),
        )  # fmt: skip
        self.new_button = Button(look, "New eye", icon="plus", note="New eye, Ctrl+N")
        self.new_button.setObjectName("new")
        self.list_head.addWidget(self.new_button)
        self._build_levels()
        self.panel = ForecastPanel(look)
        self.plan = PlanCard(look)
        self.right_column.addWidget(self.panel, 1)
        self.right_column.addWidget(self.plan)
        self.scrollers.append(self.panel.scroller)
        self.respace()

    def _build_levels(self) -> None:
        look = self.look
        self.levels = ChoiceRow(look, LEVEL_FIELD, absent=False, tabs=True)
        self.levels.hide_head()
        self.rest = Button(look, "None of the rest", kind="quiet", hint="Ctrl+0")
        self.rest.setToolTip("Answers what is open in this section with No or None")
        self.rest.setObjectName("rest")
        self.level_row = QHBoxLayout()
        self.level_row.addWidget(self.levels, 1)
        self.level_row.addWidget(self.rest, 0, Qt.AlignmentFlag.AlignBottom)
        self.card.column.insertLayout(0, self.level_row)

    def set_mode(self, mode: str) -> None:
        """Three columns, two or one; of two the right one is wide enough for reasons in one line."""
        super().set_mode(mode)
        if mode == "medium":
            self.right.setFixedWidth(self.look.px(MEDIUM_PANEL))

    def respace(self) -> None:
        """Take sizes from the tokens, and the columns from the width."""
        px = self.look.px
        self.level_row.setContentsMargins(px(14), px(2), px(10), 0)
        super().respace()
