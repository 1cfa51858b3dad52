"""The export's form: which eyes, with or without people, to which file."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QVBoxLayout, QWidget

from clinic_app.desktop.jobs import Job, Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.practice_files import FileLine
from clinic_app.desktop.pages.practice_form import PracticeForm, asked
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.lines import Question
from clinic_app.services.export import export
from clinic_app.session import Session
from models.codebook import Kind

RECORDS, WITHOUT, FORECASTS = "records", "without", "forecasts"
FIELDS = (
    asked(
        "what", "What", Kind.CHOICE, group="Export",
        choices={RECORDS: "Records", WITHOUT: "Records without people", FORECASTS: "Stored forecasts"},
    ),
    asked("from", "Surgery from", Kind.DATE, group="Export"),
    asked("to", "Surgery to", Kind.DATE, group="Export"),
)  # fmt: skip
ENDINGS = (
    "A file ending in .csv has one row an eye; .xlsx the whole record as a workbook; a name without an ending makes a "
    "folder with all tables. Without people: other numbers, shifted days, ages, no free text."
)


class ExportCard(QWidget):
    """`wished`: the export is to be written now. `asking` carries a question, `said` what stands in the way."""

    wished = Signal()
    asking = Signal(object)
    said = Signal(str)

    def __init__(self, session: Session, look: Look) -> None:
        super().__init__()
        self.session, self.look = session, look
        self.form = PracticeForm(look, session.settings, session.today(), FIELDS)
        self.form.show_values({"what": RECORDS})
        self.write = Button(look, "Export")
        self.write.setObjectName("export")
        self.file = FileLine(
            look, "To the file or folder", name="export_file",
            kinds="CSV (*.csv);;Workbook (*.xlsx);;All files (*)", saving=True, act=self.write,
        )  # fmt: skip
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(look.px(6))
        column.addWidget(self.form)
        inner = QVBoxLayout()
        inner.setContentsMargins(look.px(14), 0, look.px(14), 0)
        inner.setSpacing(look.px(6))
        words = Words(look, ENDINGS, size=12.5, colour="soft", wrap=True)
        words.setContentsMargins(look.px(3), 0, 0, 0)
        inner.addWidget(self.file)
        inner.addWidget(words)
        column.addLayout(inner)
        self.write.clicked.connect(self.ask)
        self.form.finished.connect(self.file.box.setFocus)
        self.file.given.connect(self.write.setFocus)

    def show_session(self, session: Session) -> None:
        """The practice as it is now."""
        self.session, self.form.settings = session, session.settings

    def enable(self, enabled: bool) -> None:
        """Whether an export can be written."""
        self.write.setEnabled(enabled)

    @property
    def what(self) -> str:
        """Records, records without people, or stored forecasts."""
        return self.form.text("what") or RECORDS

    def ask(self) -> None:
        """Check what is needed; a file that names people's numbers is asked about."""
        self.form.take_hand()
        if label := self.form.go_to_trouble():
            self.said.emit(f"Nothing was written: {label} still asks for an answer.")
            return
        if self.file.path is None:
            self.said.emit("Name a file or a folder for the export, or choose one.")
            self.file.box.setFocus()
            return
        if self.what == WITHOUT:
            self.wished.emit()
            return
        question = Question(
            self.look,
            f"{self.file.path.name} will hold patient numbers. It then needs the same care as the records. Write it?",
            (("write", "Write it"), ("back", "Go back")),
        )
        question.answered.connect(lambda code, _: self.wished.emit() if code == "write" else None)
        self.asking.emit(question)

    def start(self, jobs: Jobs) -> Job:
        """Write it on the worker."""
        values = self.form.values()
        path = self.file.path or Path()
        return jobs.start(
            export, self.session, path, from_=_day(values.get("from")), to=_day(values.get("to")),
            deidentified=self.what == WITHOUT, forecasts=self.what == FORECASTS, reports=True,
        )  # fmt: skip


def _day(value: object) -> date | None:
    return value if isinstance(value, date) else None
