"""Practice, History: who changed what, from which value to which, when and why. It is read, never changed."""

from __future__ import annotations

from collections.abc import Sequence
from zoneinfo import ZoneInfo

from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QWidget

from clinic_app.desktop.jobs import Job, Jobs, sentences
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.practice_files import FileLine
from clinic_app.desktop.pages.practice_section import Section
from clinic_app.desktop.pages.practice_table import WordsTable
from clinic_app.desktop.pages.practice_words import act_words, what_words, why_words
from clinic_app.desktop.parts.flow import FlowLayout
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.picker import Picker
from clinic_app.desktop.parts.table import Sheet
from clinic_app.desktop.words import day_words
from clinic_app.domain.history import KINDS, PAGES, kind_of
from clinic_app.domain.people import Duty
from clinic_app.domain.record import HistoryEntry
from clinic_app.services import history
from clinic_app.session import Session

EVERY = ""
SOON_MS = 300
AT_FIRST = 500
"""Lines that are read at first; More reads four times as many."""


class HistorySection(Section):
    """The whole section."""

    title = "History"
    under = "Who changed what, when, why"
    lead = (
        "Every change with its old and new value. Nothing here can be changed or taken away; what is sealed for you is "
        "not shown. A file of it names no patient."
    )
    duties = tuple(Duty)
    fields_described = False

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__(session, look, jobs)
        self.lines: list[HistoryEntry] = []
        self.shown: list[HistoryEntry] = []
        self.asked_for = AT_FIRST
        self._job: Job | None = None
        self._slow = QTimer(self, singleShot=True, interval=SOON_MS)
        self._slow.timeout.connect(self._say_reading)
        self.filters = QWidget()
        self.filter_row = FlowLayout(look, self.filters, gap=6)
        self.page = self._picker("Page", [(EVERY, "every page"), *((one, one) for one in PAGES)])
        self.kind = self._picker("Kind", [(EVERY, "every kind"), *((one, one) for one in KINDS)])
        self.person = self._picker("Person", [(EVERY, "everybody")])
        self.state = Words(look, "", size=13, colour="soft", wrap=True)
        self.table = WordsTable(look, "History, newest first", wide=4, shown=6, fill=True, part=0.78)
        self.table.setObjectName("history")
        self.whole = Words(look, "", size=13, wrap=True)
        self.whole.setContentsMargins(look.px(3), 0, 0, 0)
        self.file = FileLine(look, "Save what is shown as CSV", name="history_file", kinds="CSV (*.csv)", saving=True)
        self.column.setStretchFactor(self.inset(self.filters, self.state, self.table, self.whole, self.file), 1)
        self.more = self.act("Read older lines", self.read_more, name="more")
        self.save = self.act("Save as CSV", self.keep, name="save", kind="main", hint="Ctrl+Enter")
        self.table.chosen.connect(self._show_whole)
        self.file.given.connect(self.save.setFocus)

    def _picker(self, name: str, choices: Sequence[tuple[str, str]]) -> Picker:
        made = Picker(self.look, name, choices)
        made.setObjectName(f"filter_{name.lower()}")
        made.picked.connect(lambda _: self._show())
        self.filter_row.addWidget(made)
        return made

    # --- reading -----------------------------------------------------------------------------------------------------

    def load(self) -> None:
        if self._job is not None:
            self._job.leave()
        self._slow.start()
        self._job = self.jobs.start(history.lines, self.session, newest=self.asked_for)
        self._job.done.connect(self._read)
        self._job.failed.connect(self._not_read)

    def _say_reading(self) -> None:
        self.state.setText("Reading the history…")
        self.state.show()

    def why_not(self) -> str:
        return ""

    def _not_read(self, fault: BaseException) -> None:
        self._job = None
        self._slow.stop()
        self.state.setText(" ".join(sentences(fault)))
        self.state.show()

    def _read(self, lines: Sequence[HistoryEntry]) -> None:
        self._job = None
        self._slow.stop()
        self.lines = list(lines)[::-1]
        self._offer_people()
        self._show()

    def _offer_people(self) -> None:
        """The people who wrote these lines; whoever was chosen stays chosen."""
        old, found = self.person, {one.by for one in self.lines}
        choices = [(EVERY, "everybody"), *((one, one) for one in sorted(found, key=str.casefold))]
        if choices == list(old.choices):
            return
        held = old.hasFocus()
        self.filter_row.removeWidget(old)
        old.hide()
        old.deleteLater()
        self.person = self._picker("Person", choices)
        self.person.choose(old.code if old.code in found else EVERY)
        QWidget.setTabOrder(self.kind, self.person)
        if held:
            self.person.setFocus()

    def _fits(self, one: HistoryEntry) -> bool:
        person, page, kind = self.person.code, self.page.code, self.kind.code
        return person in (EVERY, one.by) and (page == EVERY or one.act in PAGES[page]) and kind in (EVERY, kind_of(one))

    def _show(self) -> None:
        self.shown = [one for one in self.lines if self._fits(one)]
        rows = tuple(
            (self._when(one), one.by, act_words(one.act), one.subject, what_words(one), why_words(one))
            for one in self.shown
        )
        self.table.show_sheet(Sheet(("When", "Who", "Act", "About", "What", "Why"), rows))
        self.table.setVisible(bool(rows))
        may_save = self.session.may(Duty.DATA_LEAD, Duty.PEOPLE)
        self.file.setVisible(bool(rows) and may_save)
        self.save.setVisible(may_save)
        self.save.setEnabled(bool(rows))
        older = len(self.lines) >= self.asked_for
        self.more.setVisible(older)
        if not self.lines:
            self.state.setText("Nothing was changed yet.")
        elif not rows:
            where = f"None of the {len(self.lines)} newest lines fits." if older else "No line fits."
            self.state.setText(f"{where} Choose otherwise{', or read older ones' if older else ''}.")
        self.state.setVisible(not rows)
        count = f"{len(rows)} {'line' if len(rows) == 1 else 'lines'}"
        self.stood.emit(f"{count} shown, of the {len(self.lines)} newest." if older else f"{count} shown.", False)
        self.whole.setVisible(bool(rows))
        self.table.choose(0 if rows else -1)
        if rows:
            self._show_whole(0)

    def _when(self, one: HistoryEntry) -> str:
        zone = self.session.settings.zone
        at = one.at.astimezone(ZoneInfo(zone)) if zone else one.at
        return f"{day_words(at.date())} {at:%H:%M}{'' if zone else ' UTC'}"

    def _show_whole(self, row: int) -> None:
        one = self.shown[row]
        said = [f"{one.by}, {self._when(one)}: {act_words(one.act)}, {one.subject}.", f"{what_words(one)}."]
        said += [f"Why: {why}." if (why := why_words(one)) else "", f"Line {one.number}, program {one.program}."]
        self.whole.setText(" ".join(part for part in said if part.strip(".")))

    def read_more(self) -> None:
        """Read further back."""
        self.asked_for *= 4
        self.load()

    def working(self) -> bool:
        return self._job is not None

    def first_focus(self) -> QWidget:
        self.page.setFocus()
        return self.page

    def keep(self) -> None:
        """Save the lines that are shown."""
        if not self.save.isEnabled() or self.save.isHidden():
            return
        path = self.file.path
        if path is None:
            self.said.emit("Name a file for the history, or choose one.")
            self.file.box.setFocus()
            return
        if self.tried(lambda: history.save(self.session, path, self.shown)):
            self.stood.emit(f"{len(self.shown)} lines are in {path.name}.", True)
