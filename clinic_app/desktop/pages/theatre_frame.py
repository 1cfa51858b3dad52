"""How the theatre page is laid out: list, the question before a sheet, plate and sheet, what stands beside it."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QHBoxLayout

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import STRONG, Look
from clinic_app.desktop.pages.stage_frame import StageFrame
from clinic_app.desktop.pages.theatre_form import TheatreForm
from clinic_app.desktop.pages.theatre_panels import TheatrePanels
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.frame import Card, Scroll
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.ticks import TickSet
from clinic_app.session import Session
from models.codebook import Choice, Field, Kind, Role, Stage

LIST_FOOT = "F7 next eye, Shift+F7 back. Theatre order, never sorted by forecast."
IDLE = "Choose an eye on the list, or press F7. Its sheet opens after the birthday and the eye were said again."
SEPARATE = Field(
    name="separate", label="Second eye", kind=Kind.CHOICES, stage=Stage.THEATRE, role=Role.CONTEXT,
    choices=(Choice("separate", "Separate tray, fluid and viscoelastic lots for this eye"),),
    help="Both eyes in one sitting: nothing of the first eye's tray or lots is used for the second.",
)  # fmt: skip


class TheatreFrame(StageFrame):
    """The parts of the page; `stand` says which of them the middle shows."""

    form: TheatreForm

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__(
            session, look, jobs, TheatreForm(look, session.settings, session.today()),
            title="Theatre list", list_name="Eyes in theatre order", list_foot=LIST_FOOT,
        )  # fmt: skip
        self.print_list = Button(look, "Print", kind="quiet", hint="Ctrl+P", note="Print the theatre list, Ctrl+P")
        self.print_list.setObjectName("print")
        self.list_head.addWidget(self.print_list)
        self.sign_all = Button(look, "", kind="plain")
        self.sign_all.setObjectName("sign_all")
        self.sign_all.hide()
        self.left.column.insertWidget(self.left.column.count() - 1, self.sign_all)
        self._build_top()
        self._build_idle()
        self.panels = TheatrePanels(look)
        self.panel_scroll = Scroll(look, self.panels)
        self.scrollers.append(self.panel_scroll)
        self.right_column.addWidget(self.panel_scroll, 1)
        self.foot.confirm.hide()
        self.reopen = Button(look, "Open again")
        self.reopen.setObjectName("reopen")
        self.foot.put(self.reopen)
        self.away = Button(look, "Throw the sheet away", kind="quiet")
        self.away.setObjectName("away")
        self.away.hide()
        self.foot.put(self.away)
        self.stand("idle")
        self.respace()

    def _build_top(self) -> None:
        look = self.look
        self.top_row = QHBoxLayout()
        self.sheet_title = Words(look, "Sheet", size=15, weight=STRONG)
        self.dashed = Words(look, "", size=12.5, colour="soft", wrap=True)
        self.as_usual = Button(look, "As usual", hint="Ctrl+U")
        self.as_usual.setObjectName("as_usual")
        self.more = Button(look, "More", kind="quiet", hint="Ctrl+M", note="More answers, Ctrl+M")
        self.more.setObjectName("more")
        self.top_row.addWidget(self.sheet_title)
        self.top_row.addWidget(self.dashed, 1)
        self.top_row.addWidget(self.more)
        self.top_row.addWidget(self.as_usual)
        self.card.column.insertLayout(0, self.top_row)
        self.separate = TickSet(look, SEPARATE)
        self.separate.hide_head()
        self.separate.hide()
        self.card.column.insertWidget(2, self.separate)
        self.shut = Words(look, "", colour="soft", wrap=True)
        self.shut.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.shut.hide()
        self.card.column.insertWidget(2, self.shut, 1)

    def _build_idle(self) -> None:
        self.idle = Card(self.look, margins=(24, 20, 24, 20), spacing=8)
        self.idle_words = Words(self.look, IDLE, colour="soft", wrap=True)
        self.idle.column.addWidget(self.idle_words)
        self.idle.column.addStretch(1)
        self.middle_column.insertWidget(0, self.idle, 1)

    def show_shut(self, words: str) -> None:
        """Words in place of a sheet that is sealed for the person; none shows the sheet."""
        self.shut.setText(words)
        self.shut.setVisible(bool(words))
        for part in (self.form_scroll, self.help, self.more):
            part.setVisible(not words)

    def stand(self, what: str) -> None:
        """Show in the middle: `idle` words, `asking` a question put there by the page, or the `sheet`."""
        self.idle.setVisible(what == "idle")
        self.want_list(what == "idle")
        for part in (self.head, self.card):
            part.setVisible(what == "sheet")

    def respace(self) -> None:
        """Take sizes from the tokens, and the columns from the width."""
        px = self.look.px
        self.top_row.setContentsMargins(px(11), px(6), px(13), px(2))
        self.top_row.setSpacing(px(10))
        self.shut.setContentsMargins(px(11), px(6), px(13), 0)
        self.separate.column.setContentsMargins(px(14), 0, px(14), 0)
        super().respace()
