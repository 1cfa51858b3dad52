"""Where a paper goes: a printer of this seat, or a PDF in a folder. Asked in the page, never in a dialog."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from PySide6.QtWidgets import QWidget

from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.act_panel import ActPanel
from clinic_app.desktop.papers.paper import Paper
from clinic_app.desktop.papers.pressing import print_paper, printers, usual_size, write_pdf
from clinic_app.desktop.parts.lines import Question
from clinic_app.domain.record import Value
from clinic_app.errors import Refusal
from clinic_app.settings import Settings
from models.codebook import Field, Kind, Role, Stage

FILE = Field(name="file", label="File", kind=Kind.TEXT, stage=Stage.BOOKING, role=Role.CONTEXT)
MOST_PRINTERS = 3


@dataclass(frozen=True, slots=True)
class Printed:
    """What is to be printed: its name in a sentence, the file name proposed (which tells nothing of a patient), what
    stands on it, and how it is made."""

    name: str
    file: str
    carries: str
    paper: Callable[[], Paper]


class Printing:
    """`stand` shows a question in the page, `close` takes it away, `tell` says what was done or why it was not."""

    def __init__(
        self,
        look: Look,
        settings: Settings,
        today: date,
        *,
        stand: Callable[[QWidget], None],
        close: Callable[[], None],
        tell: Callable[[str], None],
    ) -> None:
        self.look, self.settings, self.today = look, settings, today
        self.stand, self.close, self.tell = stand, close, tell

    def ask(self, what: Printed) -> None:
        """Ask which printer, or whether a PDF; without a printer a PDF is offered alone."""
        names = printers()[:MOST_PRINTERS]
        words = f"Print {what.name}. {what.carries}"
        if not names:
            words = f"No printer is set up on this seat. Save {what.name} as a PDF instead. {what.carries}"
        answers = [(f"print.{name}", f"Print on {name}") for name in names]
        question = Question(self.look, words, (*answers, ("pdf", "Save as PDF"), ("back", "Go back")))
        question.answered.connect(lambda code, _: self._answered(code, what))
        self.stand(question)
        question.begin()

    def _answered(self, code: str, what: Printed) -> None:
        self.close()
        if code == "pdf":
            self._ask_where(what)
        elif code != "back":
            name = code.removeprefix("print.")
            try:
                print_paper(what.paper(), name, usual_size())
            except Refusal as refusal:
                self.tell(f"{refusal.what} {refusal.why} {refusal.next}")
                return
            self.tell(f"Sent to {name}.")

    def _ask_where(self, what: Printed) -> None:
        panel = ActPanel(
            self.look, self.settings, self.today, f"Where shall {what.name} go?", (("save", "Save PDF"),), (FILE,),
            reason=False,
        )  # fmt: skip

        def answered(_: str, typed: Mapping[str, Value | None]) -> None:
            try:
                path = save_pdf(what.paper(), Path(str(typed["file"])).expanduser())
            except Refusal as refusal:
                panel.say(f"{refusal.what} {refusal.why} {refusal.next}")
                return
            self.close()
            self.tell(f"Saved as {path}.")

        panel.answered.connect(answered)
        panel.left.connect(self.close)
        self.stand(panel)
        panel.begin()
        documents = Path.home() / "Documents"
        panel.propose(FILE.name, str((documents if documents.is_dir() else Path.home()) / what.file))


def save_pdf(paper: Paper, path: Path) -> Path:
    """Write the PDF; a file that is there already is never written over."""
    if path.exists():
        raise Refusal("The PDF was not written.", "A file of that name is there already.", "Give another name.")
    return write_pdf(paper, path, usual_size())
