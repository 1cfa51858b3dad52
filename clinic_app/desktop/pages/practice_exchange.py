"""Practice, Import and export: records from files and to files; what was left out is corrected where it stands."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from PySide6.QtWidgets import QWidget

from clinic_app.desktop.jobs import Job, Jobs, sentences
from clinic_app.desktop.look import MEDIUM, Look
from clinic_app.desktop.pages.practice_export import ExportCard
from clinic_app.desktop.pages.practice_files import FileLine
from clinic_app.desktop.pages.practice_left import LeftRows
from clinic_app.desktop.pages.practice_section import Section
from clinic_app.desktop.pages.practice_table import WordsTable
from clinic_app.desktop.parts.answer import announce
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.flow import FlowLayout
from clinic_app.desktop.parts.frame import Heading
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.progress import Progress
from clinic_app.desktop.parts.table import Sheet
from clinic_app.domain.people import Duty
from clinic_app.domain.words import counted
from clinic_app.services import intake
from clinic_app.services.export import ExportResult
from clinic_app.services.intake import ImportResult, LeftRow
from clinic_app.session import Session

TABLES = "Tables (*.csv *.txt *.tsv *.xlsx *.xls *.ods);;All files (*)"


class ExchangeSection(Section):
    """The whole section."""

    title = "Import and export"
    under = "Files in, files out"
    lead = (
        "Rows that are clear go in together or not at all; the others are listed here with the reason, corrected and "
        "brought in again. Nothing signed in the program is overwritten."
    )
    duties = (Duty.DATA_LEAD,)
    fields_described = False

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__(session, look, jobs)
        self._job: Job | None = None
        self._mapping: Path | None = None
        self.file = FileLine(
            look, "File (CSV, XLSX, XLS, ODS), several with ; between, or a folder that was exported",
            name="import_file", kinds=TABLES, many=True,
        )  # fmt: skip
        self.mapping = FileLine(
            look, "Mapping file, where headings are not ours (may stay empty)", name="mapping_file",
            kinds="Mapping files (*.toml *.json);;All files (*)",
        )  # fmt: skip
        row = QWidget()
        across = FlowLayout(look, row, gap=6)
        self.look_first = Button(look, "Look first, change nothing", note="Look first: read and check, change nothing")
        self.look_first.setObjectName("dry_run")
        self.take_in = Button(look, "Import", kind="main", hint="Ctrl+Enter")
        self.take_in.setObjectName("import")
        across.addWidget(self.look_first)
        across.addWidget(self.take_in)
        self.told = Words(look, "", size=13.5, weight=MEDIUM, wrap=True)
        self.noted = Words(look, "", size=13, colour="soft", wrap=True)
        for words in (self.told, self.noted):
            words.setContentsMargins(look.px(3), 0, 0, 0)
        self.notes = WordsTable(look, "Cells with a note", wide=3, shown=5)
        self.notes.setObjectName("notes")
        self.note = Words(look, "", size=13, wrap=True)
        self.note.setContentsMargins(look.px(3), 0, 0, 0)
        self.left = LeftRows(look)
        self.save = Button(look, "Save", note="Save the rows left out")
        self.save.setObjectName("save_left")
        self.refused = FileLine(
            look, "Or save these rows as a file and correct them there", name="refused_file", kinds="CSV (*.csv)",
            saving=True, act=self.save,
        )  # fmt: skip
        self.progress = Progress(look, "Import")
        self.export = ExportCard(session, look)
        self.inset(Heading(look, "Import"), self.file, self.mapping, row, self.progress)
        self.inset(self.told, self.noted, self.notes, self.note, self.left, self.refused)
        self.column.addWidget(self.export)
        self.column.addStretch(1)
        self.progress.stopped.connect(self.stop)
        self.refused.given.connect(self.save.setFocus)
        self.file.given.connect(self.look_first.setFocus)
        self.mapping.given.connect(self.look_first.setFocus)
        self.look_first.clicked.connect(lambda _=False: self.run(dry=True))
        self.take_in.clicked.connect(lambda _=False: self.run(dry=False))
        self.notes.chosen.connect(self._show_note)
        self.left.again.connect(self.import_again)
        self.save.clicked.connect(self.save_left)
        self.export.wished.connect(self.begin_export)
        self.export.asking.connect(self.asking)
        self.export.said.connect(self.said)
        self._show(None)

    def load(self) -> None:
        self.export.show_session(self.session)
        self._enable()
        self.stood.emit("Nothing is imported or written yet.", False)

    def _enable(self) -> None:
        idle = self._job is None
        for button in (self.look_first, self.take_in):
            button.setEnabled(idle and self.may)
        self.left.setEnabled(idle and self.may)
        self.save.setEnabled(idle)
        self.export.enable(idle and self.session.may(*self.duties))

    def why_not(self) -> str:
        why = super().why_not()
        return f"{why} Exports can be written." if self.read_only and self.session.may(*self.duties) else why

    def first_focus(self) -> QWidget:
        self.file.box.setFocus()
        return self.file.box

    def working(self) -> bool:
        return self._job is not None

    def dirty(self) -> bool:
        return self.left.dirty()

    def throw_away(self) -> None:
        self.left.show_rows([])
        self._show(None)

    def keep(self) -> None:
        """Ctrl+Enter imports, once a file is named."""
        if self.take_in.isEnabled():
            self.run(dry=False)

    # --- importing ---------------------------------------------------------------------------------------------------

    def run(self, *, dry: bool) -> None:
        """Read the file; with `dry` nothing is changed."""
        paths = self.file.paths
        if not paths:
            self.said.emit("Name a file to import, or choose one.")
            self.first_focus()
            return
        self._mapping = self.mapping.path
        self._show(None)
        job = self.jobs.start(
            intake.import_files, self.session, paths, mapping=self._mapping, dry_run=dry, reports=True
        )
        job.done.connect(self._imported)
        self._begin("Looking at the file" if dry else "Importing", job)

    def import_again(self, rows: Sequence[LeftRow]) -> None:
        """Bring corrected rows in again."""
        job = self.jobs.start(intake.import_again, self.session, list(rows), mapping=self._mapping, reports=True)
        job.done.connect(lambda result: self._imported_again(rows, result))
        self._begin("Importing corrected rows", job)

    def _begin(self, words: str, job: Job) -> None:
        self.said.emit("")
        self._job = job
        self.progress.name = words
        self.progress.begin()
        job.progress.connect(self.progress.tell)
        job.failed.connect(lambda fault: self._end(" ".join(sentences(fault))))
        job.stopped.connect(lambda: self._end("Stopped. Nothing was changed."))
        self._enable()
        self.progress.stop.setFocus()

    def _end(self, words: str = "") -> None:
        self._job = None
        self.progress.end()
        self._enable()
        if words:
            self.said.emit(words)
            self.first_focus()

    def stop(self) -> None:
        """Stop the work; nothing of it stays."""
        if self._job is not None:
            self._job.stop()

    def _imported(self, result: ImportResult) -> None:
        self._end()
        self._show(result)
        announce(self, self.told.text())
        (self.left.table if result.left and not result.dry_run else self.take_in).setFocus()

    def _imported_again(self, rows: Sequence[LeftRow], result: ImportResult) -> None:
        self._end()
        self.left.came_back(rows, result.left)
        self.told.setText(counts_words(result))
        self._show_notes(result)
        self._show_saving()
        announce(self, self.told.text())
        if self.left.rows:
            self.left.table.setFocus()
        else:
            self.stood.emit("Every row is in.", True)
            self.file.box.setFocus()

    def _show(self, result: ImportResult | None) -> None:
        self.told.setText("" if result is None else counts_words(result))
        self.told.setVisible(result is not None)
        self._show_notes(result)
        self.left.show_rows(() if result is None else result.left, look_only=result is not None and result.dry_run)
        self._show_saving()
        if result is not None:
            self.stood.emit("Looked at; nothing was changed." if result.dry_run else "Imported.", not result.dry_run)

    def _show_notes(self, result: ImportResult | None) -> None:
        notes = result.notes if result is not None else ()
        cells = [one for one in notes if one.row is not None]
        more = result.notes_left_out if result is not None else 0
        words = [one.reason for one in notes if one.row is None]
        words += [f"{counted(len(cells) + more, 'cell carries', 'cells carry')} a note."] if cells or more else []
        words += [f"The first {len(cells)} are listed."] if more else []
        self.noted.setText(" ".join(words))
        self.noted.setVisible(bool(words))
        rows = tuple((f"{one.file}, {one.row}", one.column or "the row", one.typed, one.reason) for one in cells)
        self.notes.show_sheet(Sheet(("Row", "Column", "Typed", "Note"), rows))
        self.notes.setVisible(bool(rows))
        self.note.setVisible(bool(rows))
        self.notes.choose(0 if rows else -1)
        if rows:
            self._show_note(0)

    def _show_note(self, row: int) -> None:
        place, column, typed, words = self.notes.sheet_model.sheet.rows[row]
        self.note.setText(f"{place}, {column}{f', {typed}' if typed else ''}: {words}")

    def _show_saving(self) -> None:
        self.refused.setVisible(bool(self.left.rows) and not self.left.look_only)

    def save_left(self) -> None:
        """Write the rows that are still out to a file."""
        path = self.refused.path
        if path is None:
            self.said.emit("Name a file for the rows left out.")
            self.refused.box.setFocus()
            return
        self.left.take()
        if self.tried(lambda: intake.write_left(path, self.left.rows)):
            self.stood.emit(
                f"{counted(len(self.left.rows), 'row is', 'rows are')} in {path.name}; import that file alone.", True
            )

    # --- exporting ---------------------------------------------------------------------------------------------------

    def begin_export(self) -> None:
        """Write the file that the export's form describes."""
        job = self.export.start(self.jobs)
        job.done.connect(self._exported)
        self._begin("Writing the export", job)

    def _exported(self, result: ExportResult) -> None:
        self._end()
        self.stood.emit(result.sentence(), True)
        announce(self, result.sentence())
        self.export.write.setFocus()


def counts_words(result: ImportResult) -> str:
    """What an import came to, in a sentence."""
    counts = result.counts
    said = [f"{counts[name]} {name}" for name in ("added", "amended", "unchanged") if counts[name]]
    out = counts["refused"] + counts["asked"]
    said += [f"{out} left out"] if out else []
    rows = counted(result.rows, "row", "rows")
    words = f"{rows}: {', '.join(said)}." if result.rows else "The file holds no rows."
    return f"{words} Nothing was changed: this was a look." if result.dry_run else words
