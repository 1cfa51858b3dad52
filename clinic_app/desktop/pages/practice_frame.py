"""The frame of Practice and of the first start: a list of sections at the left, one of them at the right."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial

from PySide6.QtCore import QRect, QSize, Qt, Signal
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import (
    QApplication,
    QBoxLayout,
    QHBoxLayout,
    QStyleOptionViewItem,
    QVBoxLayout,
    QWidget,
)

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import STRONG, Look
from clinic_app.desktop.pages.page import Page
from clinic_app.desktop.pages.practice_form import PracticeHelp
from clinic_app.desktop.pages.practice_register import RegisterSection
from clinic_app.desktop.pages.practice_section import Section
from clinic_app.desktop.parts.eye_list import EyeDelegate, EyeList, Index, ListRow
from clinic_app.desktop.parts.frame import Card, Scroll
from clinic_app.desktop.parts.label import Words, draw_words, elided
from clinic_app.desktop.parts.lines import Icon, Notice, Question
from clinic_app.desktop.parts.picker import Picker
from clinic_app.session import Session

LIST_WIDTH = 280
LIST_BEHIND = 1000
"""Pixels at 100 % text below which the list folds into a button above the section."""


class SectionDelegate(EyeDelegate):
    """A section of the list: its name in full, what it holds below."""

    def sizeHint(self, option: QStyleOptionViewItem, index: Index) -> QSize:
        return QSize(self.look.px(220), self.look.px(50))

    def _eye(self, painter: QPainter, box: QRect, row: ListRow, *, chosen: bool) -> None:
        look = self.look
        if chosen:
            painter.fillRect(box, look.colour("act_wash"))
            painter.fillRect(QRect(box.left(), box.top(), look.px(4), box.height()), look.colour("act"))
        painter.fillRect(QRect(box.left() + look.px(16), box.bottom(), box.width(), 1), look.colour("rule"))
        inner = box.adjusted(look.px(16), look.px(5), -look.px(10), -look.px(5))
        upper = QRect(inner.left(), inner.top(), inner.width(), inner.height() // 2)
        lower = upper.translated(0, inner.height() // 2)
        draw_words(painter, look, elided(look, row.name, upper.width(), 14, STRONG), upper, weight=STRONG)
        draw_words(painter, look, elided(look, row.under, lower.width(), 12.5), lower, size=12.5, colour="soft")


class ActsFoot(QWidget):
    """What stands at the left, the section's acts at the right."""

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look = look
        self.across = QBoxLayout(QBoxLayout.Direction.LeftToRight, self)
        said = QHBoxLayout()
        self.icon = Icon(look, "check", side=16, colour="soft")
        self.words = Words(look, "", size=12.5, colour="soft", wrap=True)
        said.addWidget(self.icon)
        said.addWidget(self.words, 1)
        self.across.addLayout(said, 1)
        self.icon.hide()
        look.changed.connect(self.respace)
        self.respace()

    def respace(self) -> None:
        """Take sizes from the tokens."""
        px = self.look.px
        self.across.setContentsMargins(px(16), px(7), px(13), px(7))
        self.across.setSpacing(px(10))

    def set_narrow(self, narrow: bool) -> None:
        """On a narrow page the words stand above the acts."""
        down = QBoxLayout.Direction.TopToBottom
        self.across.setDirection(down if narrow else QBoxLayout.Direction.LeftToRight)

    def add(self, acts: QWidget) -> None:
        """The acts of one more section."""
        acts.setParent(self)
        self.across.addWidget(acts)
        acts.hide()

    def say(self, words: str, settled: bool) -> None:
        """What stands."""
        self.words.setText(words)
        self.icon.setVisible(settled and bool(words))

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.fillRect(self.look.px(12), 0, self.width() - 2 * self.look.px(12), 1, self.look.colour("rule"))
        painter.end()

    def minimumSizeHint(self) -> QSize:
        return QSize(self.look.px(200), self.look.px(54))


class SectionsPage(Page):
    """`renewed` carries the practice with other settings, or with another person acting: the session from now on."""

    renewed = Signal(object)

    name = ""
    kinds: Mapping[str, type[Section]] = {}

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__()
        self.session, self.look, self.jobs = session, look, jobs
        self.place = next(iter(self.kinds))
        self.narrow = False
        self.question: Question | None = None
        self._build_list()
        self._build_section()
        ground = QWidget()
        self.across = QHBoxLayout(ground)
        self.across.addWidget(self.left)
        self.across.addWidget(self.right, 1)
        self.outer = Scroll(look, ground)
        self.outer.set_filled(True)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.outer)
        look.changed.connect(self.respace)
        if isinstance(app := QApplication.instance(), QApplication):
            app.focusChanged.connect(self._focus_moved)
        self.respace()
        self.show_section(self.place, focus=False)

    def _build_list(self) -> None:
        self.left = Card(self.look, margins=(1, 10, 1, 6), spacing=2)
        title = Words(self.look, self.name, size=15, weight=STRONG)
        title.setContentsMargins(self.look.px(15), 0, self.look.px(11), self.look.px(4))
        self.list = EyeList(self.look, f"{self.name}: sections", follows=True)
        self.list.setItemDelegate(SectionDelegate(self.look, self.list))
        self.list.setObjectName("sections")
        self.list.set_rows(self.rows())
        self.left.column.addWidget(title)
        self.left.column.addWidget(self.list, 1)
        self.list.wished.connect(lambda name: self.go(str(name)))

    def rows(self) -> list[ListRow]:
        """The list's rows."""
        return [ListRow(name, made.title, under=made.under, spoken=made.title) for name, made in self.kinds.items()]

    def _build_section(self) -> None:
        look = self.look
        self.right = Card(look, margins=(1, 12, 1, 1), spacing=0)
        head = QVBoxLayout()
        head.setContentsMargins(look.px(17), 0, look.px(15), look.px(6))
        head.setSpacing(look.px(3))
        self.picker = Picker(look, "Section", [(name, made.title) for name, made in self.kinds.items()])
        self.picker.setObjectName("section")
        self.picker.picked.connect(self.go)
        self.title = Words(look, "", size=18, weight=STRONG, wrap=True)
        self.lead = Words(look, "", size=13, colour="soft", wrap=True)
        for widget in (self.picker, self.title, self.lead):
            head.addWidget(widget)
        self.places = QVBoxLayout()
        self.notice = Notice(look)
        self.notice.hide()
        self.help = PracticeHelp(look)
        self.slot = QVBoxLayout()
        self.foot = ActsFoot(look)
        self.sections: dict[str, Section] = {}
        self.scrolls: dict[str, Scroll] = {}
        for name, kind in self.kinds.items():
            self._add(name, kind(self.session, look, self.jobs))
        self.right.column.addLayout(head)
        self.right.column.addLayout(self.places, 1)
        self.right.column.addWidget(self.notice)
        self.right.column.addWidget(self.help)
        self.right.column.addLayout(self.slot)
        self.right.column.addWidget(self.foot)

    def _add(self, name: str, section: Section) -> None:
        scroll = Scroll(self.look, section)
        self.sections[name], self.scrolls[name] = section, scroll
        scroll.hide()
        self.places.addWidget(scroll)
        self.foot.add(section.acts)
        section.said.connect(self.notice.say)
        section.stood.connect(partial(self._stood, name))
        section.asking.connect(self.show_question)
        section.described.connect(self.help.describe)
        section.renewed.connect(self._renew)
        section.revealed.connect(self.reveal)

    def respace(self) -> None:
        """Take sizes from the tokens."""
        px = self.look.px
        self.across.setContentsMargins(px(11), px(11), px(11), px(11))
        self.across.setSpacing(px(8))
        self.left.setFixedWidth(px(LIST_WIDTH))
        self.slot.setContentsMargins(px(12), 0, px(12), px(4))

    def set_width(self, effective: float) -> None:
        self.narrow = effective < LIST_BEHIND
        for widget in (self.left, self.title, self.lead):
            widget.setVisible(not self.narrow)
        self.picker.setVisible(self.narrow)
        self.foot.set_narrow(self.narrow)
        # on a small page everything scrolls together: there is no room for a part that scrolls in itself
        for scroll in self.scrolls.values():
            scroll.set_open(self.narrow)
        self.outer.set_filled(not self.narrow)
        self._show_help()

    def reveal(self, widget: QWidget) -> None:
        """Bring a part of the section into view."""
        (self.outer if self.narrow else self.scrolls[self.place]).reveal(widget)

    def _focus_moved(self, _: QWidget | None, now: QWidget | None) -> None:
        if self.narrow and now is not None and self.isAncestorOf(now):
            self.outer.reveal(now)

    def _show_help(self) -> None:
        # on a small page the answers need the room: F1 brings the help
        self.help.setVisible(self.section.fields_described and (not self.narrow or self.help.whole))

    # --- sections ----------------------------------------------------------------------------------------------------

    @property
    def section(self) -> Section:
        """The section that is shown."""
        return self.sections[self.place]

    def go(self, name: str) -> None:
        """Go to a section; what is not kept is asked about first."""
        if name == self.place:
            return
        self.list.choose(self.place)
        self.picker.choose(self.place)
        self.leaving(lambda: self.show_section(name, focus=not self.list.hasFocus()))

    def show_section(self, name: str, *, focus: bool) -> None:
        """Show a section as it stands in the record now."""
        self.section.acts.hide()
        self.scrolls[self.place].hide()
        self.close_question()
        self.notice.say("")
        self.foot.say("", False)
        self.help.forget()
        self.place = name
        section = self.section
        self.list.choose(name)
        self.picker.choose(name)
        self.title.setText(section.title)
        self.lead.setText(section.lead)
        self.scrolls[name].show()
        self.scrolls[name].fit()
        section.acts.show()
        self._show_help()
        self.load()
        if focus:
            self.first_focus()

    def load(self) -> None:
        section = self.section
        section.session = self.session
        if not section.tried(self._load):
            self.foot.say("This could not be read.", False)

    def _load(self) -> None:
        section = self.section
        if section.dirty():
            return
        section.load()
        if why := section.why_not():
            self.foot.say(why, False)

    def _stood(self, name: str, words: str, settled: bool) -> None:
        if name == self.place:
            self.foot.say(words, settled)

    def _renew(self, session: Session) -> None:
        self.session = session
        for section in self.sections.values():
            section.session = session
        self.renewed.emit(session)

    # --- what every page can be asked --------------------------------------------------------------------------------

    def first_focus(self) -> QWidget:
        return self.section.first_focus()

    def dirty(self) -> bool:
        return self.section.dirty()

    def drawing(self) -> bool:
        return self.section.working()

    def leaving(self, then: Callable[[], None]) -> None:
        section = self.section
        if not section.dirty():
            self.close_question()
            then()
            return

        def answered(code: str, _: str) -> None:
            self.close_question()
            if code == "away":
                section.throw_away()
                then()
            elif code == "keep":
                section.keep()
            else:
                section.first_focus()

        answers = (("back", "Go on writing"), ("away", "Throw them away"), ("keep", "Keep them"))
        question = Question(self.look, f"{section.title}: there are changes that are not kept.", answers)
        question.answered.connect(answered)
        self._put(question)

    def keys(self) -> Mapping[str, Callable[[], object]]:
        return {
            "F6": self.toggle_list,
            "F1": self.more_help,
            "Ctrl+Return": self.keep,
            "Ctrl+Enter": self.keep,
            "Ctrl+M": self.new_entry,
        }

    def new_entry(self) -> None:
        """Begin a new entry, where the section is a register."""
        if isinstance(self.section, RegisterSection) and self.section.may:
            self.section.go("")

    def more_help(self) -> None:
        """The help in full, and back."""
        self.help.more()
        self._show_help()

    def keep(self) -> None:
        """The section's main act."""
        self.section.keep()

    def toggle_list(self) -> None:
        """List to section and back."""
        if self.list.hasFocus() or self.picker.hasFocus():
            self.first_focus()
        else:
            shown = self.list if self.left.isVisible() else self.picker
            shown.setFocus(Qt.FocusReason.TabFocusReason)

    # --- questions ---------------------------------------------------------------------------------------------------

    def show_question(self, question: Question) -> None:
        """Put a question above the foot and the keyboard into it; it goes when it is answered."""
        question.answered.connect(lambda *_: self._answered(question))
        self._put(question)

    def _put(self, question: Question) -> None:
        self.close_question()
        self.question = question
        self.slot.addWidget(question)
        question.show()
        question.begin()

    def _answered(self, question: Question) -> None:
        if self.question is question:
            self.close_question()

    def close_question(self) -> None:
        """Take the question away."""
        if self.question is not None:
            focus = QApplication.focusWidget()
            held = focus is not None and self.question.isAncestorOf(focus)
            self.question.hide()
            self.slot.removeWidget(self.question)
            self.question.deleteLater()
            self.question = None
            if held:
                self.first_focus()
