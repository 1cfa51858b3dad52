"""Practice, Backup: copies of the practice, made, checked, and put back."""

from __future__ import annotations

from functools import partial

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QWidget

from clinic_app.desktop.jobs import Job, Jobs, sentences
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.practice_section import Section
from clinic_app.desktop.pages.practice_table import WordsTable
from clinic_app.desktop.parts.answer import announce
from clinic_app.desktop.parts.progress import Progress
from clinic_app.desktop.parts.table import Sheet
from clinic_app.desktop.words import day_words
from clinic_app.domain.people import Duty
from clinic_app.services import backups, care
from clinic_app.services.backups import Backup
from clinic_app.session import Session


class BackupSection(Section):
    """`restore_wished` carries the backup's path once the person was asked twice."""

    restore_wished = Signal(object)

    title = "Backup"
    under = "Copies, checks, putting back"
    lead = (
        "A backup is one file with everything: records, forecasts, models, history. It is opened and checked after "
        "writing, and never replaced. Keep a copy of the backups folder on another disk."
    )
    duties = (Duty.DATA_LEAD, Duty.SURGEON, Duty.PEOPLE)
    fields_described = False

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__(session, look, jobs)
        self.found: list[Backup] = []
        self.checked: dict[str, str] = {}
        self._job: Job | None = None
        self.empty = self.words("No backup yet.")
        self.table = WordsTable(look, "Backups, newest first", wide=2, shown=10)
        self.table.setObjectName("backups")
        self.inset(self.table)
        self.where = self.words()
        self.progress = Progress(look, "Backup")
        self.progress.stopped.connect(self.stop)
        self.inset(self.progress)
        self.column.addStretch(1)
        self.restore = self.act("Restore…", self.ask_restore, name="restore")
        self.check_one = self.act("Check this one", self.check_chosen, name="check")
        self.check_all = self.act("Check the practice", self.check_practice, name="verify")
        self.kept = self.act("Make one now", self.keep, name="make", kind="main", hint="Ctrl+Enter")
        self.table.chosen.connect(lambda _: self._enable())

    # --- what is there -----------------------------------------------------------------------------------------------

    def load(self) -> None:
        if self.tried(self._list):
            self._enable()
            self.stood.emit(self._standing(), False)

    def _list(self) -> None:
        held = self.chosen
        self.found = backups.backups(self.session)
        rows = tuple(
            (
                self._when(one),
                size_words(one.size),
                one.path.name,
                self.checked.get(one.path.name, "when it was written"),
            )
            for one in self.found
        )
        self.table.show_sheet(Sheet(("Written", "Size", "File", "Checked"), rows))
        self.table.setVisible(bool(rows))
        self.empty.setVisible(not rows)
        self.where.setText(f"Folder: {self.session.folder / backups.FOLDER}")
        place = next((at for at, one in enumerate(self.found) if held is not None and one.path == held.path), 0)
        self.table.choose(place if rows else -1)

    def _when(self, one: Backup) -> str:
        return f"{day_words(one.made.date(), self.session.today())}, {one.made:%H:%M}"

    def _standing(self) -> str:
        if not self.found:
            return "There is no backup yet."
        days = self.found[0].days
        return "The newest is of today." if days <= 0 else f"The newest is {days} {'day' if days == 1 else 'days'} old."

    @property
    def chosen(self) -> Backup | None:
        """The backup in hand."""
        return self.found[self.table.row] if 0 <= self.table.row < len(self.found) else None

    def _enable(self) -> None:
        idle = self._job is None
        self.kept.setEnabled(idle and not self.read_only and self.session.may(*self.duties))
        self.check_all.setEnabled(idle)
        self.check_one.setEnabled(idle and self.chosen is not None)
        self.restore.setEnabled(idle and self.chosen is not None and self.session.may(Duty.DATA_LEAD))

    def working(self) -> bool:
        return self._job is not None

    def first_focus(self) -> QWidget:
        button = self.kept if self.kept.isEnabled() else self.check_all
        button.setFocus()
        return button

    # --- work --------------------------------------------------------------------------------------------------------

    def _begin(self, words: str, job: Job) -> None:
        self.said.emit("")
        self._job = job
        self.progress.begin()
        self.progress.tell(0.0, words)
        job.progress.connect(self.progress.tell)
        job.failed.connect(lambda fault: self._end(" ".join(sentences(fault))))
        job.stopped.connect(lambda: self._end("Stopped. Nothing was changed."))
        self._enable()

    def _end(self, words: str = "") -> None:
        self._job = None
        self.progress.end()
        self._list()
        self._enable()
        self.said.emit(words)

    def stop(self) -> None:
        """Stop the work."""
        if self._job is not None:
            self._job.stop()

    def keep(self) -> None:
        """Make a backup now."""
        if not self.kept.isEnabled():
            return
        job = self.jobs.start(care.backup, self.session, reports=True)
        job.done.connect(self._made)
        self._begin("Making a backup", job)

    def _made(self, path: object) -> None:
        self._end()
        self.table.choose(0)
        words = f"The backup {getattr(path, 'name', '')} is written; it was opened and checked."
        self.stood.emit(words, True)
        announce(self, words)
        self.kept.setFocus()

    def check_chosen(self) -> None:
        """Read the backup in hand whole."""
        one = self.chosen
        if one is None:
            return
        job = self.jobs.start(backups.check_backup, one.path, reports=True)
        job.done.connect(partial(self._checked, one.path.name))
        self._begin(f"Checking {one.path.name}", job)

    def check_practice(self) -> None:
        """Check the practice itself: database, history, cards, forecasts."""
        job = self.jobs.start(care.verify, self.session, reports=True)
        job.done.connect(partial(self._checked, ""))
        self._begin("Checking the practice", job)

    def _checked(self, name: str, found: object) -> None:
        checks = found["checks"] if isinstance(found, dict) else []
        bad = [one for one in checks if not one["ok"]]
        if name:
            self.checked[name] = f"not as written: {bad[0]['name']}" if bad else "just now, as it was written"
        self._end()
        what = name or "The practice"
        if bad:
            words = f"{what} is not as it was written. {bad[0]['name']}: {bad[0]['detail']} "
            words += (
                "Use another backup." if name else "Leave the folder as it is, and restore the newest sound backup."
            )
            self.said.emit(words)
        else:
            self.stood.emit(f"{what}: {len(checks)} checks, all as it was written.", True)
        announce(self, "Checked.")
        (self.check_one if name else self.check_all).setFocus()

    # --- putting back ------------------------------------------------------------------------------------------------

    def ask_restore(self) -> None:
        """Say what putting back does, and ask twice."""
        one = self.chosen
        if one is None:
            return
        when = self._when(one)
        self.ask(
            f"Put the backup of {when} in place of the records? Everything written after it is then no longer in the "
            "records. The records as they are now stay in the folder under a name of their own.",
            (("go_on", "Go on"),),
            lambda *_: self._ask_again(one, when),
        )

    def _ask_again(self, one: Backup, when: str) -> None:
        self.ask(
            f"The practice closes now, the backup of {when} is checked and put in its place, and the practice opens "
            "again. Restore it?",
            (("restore", "Restore"),),
            lambda *_: self.restore_wished.emit(one.path),
        )


def size_words(size: int) -> str:
    """A file's size as people say it."""
    return f"{size / 1e6:.1f} MB" if size >= 1e6 else f"{size / 1e3:.0f} kB"
