"""The demonstration: the whole job on an invented practice."""

from __future__ import annotations

import tempfile
from pathlib import Path

import click

from clinic_app.cli.call import Call
from clinic_app.cli.forecasts import review_lines
from clinic_app.cli.status import DONE
from clinic_app.cli.window import display_named, save_pictures, show_window, toolkit_found
from clinic_app.demonstration import ACTS
from clinic_app.domain.invented import DEMO_PERSON
from clinic_app.exchange.report import write_review
from clinic_app.services.demo import build_demo
from clinic_app.services.review import review as reviewed
from clinic_app.session import open_session

NO_DISPLAY = "No display: the whole job ran without the window; start it in a desktop session for that."


@click.command("demo")
@click.option("--out", type=click.Path(path_type=Path), default=Path("demo-report"), show_default=True)
@click.option("--no-window", is_flag=True, help="Do the whole job and leave report, plots and page pictures in --out.")
@click.pass_obj
def demo(call: Call, out: Path, no_window: bool) -> int:
    """The whole job on an invented practice: records in, models fitted, forecasts and review out; nothing is kept."""
    with_window = not no_window and toolkit_found() and display_named()
    with tempfile.TemporaryDirectory(prefix="invented-practice-") as name:
        folder = Path(name)
        with call.progress("Demo") as report:
            story = build_demo(folder, ACTS, report=report)
        for sentence in story.sentences():
            call.tell(sentence)
        if with_window:
            return show_window(folder, DEMO_PERSON)
        with open_session(folder, person=DEMO_PERSON) as session:
            with call.progress("Review") as report:
                found = reviewed(session, model="booking", report=report)
            files = write_review(found, out)
            pictures = save_pictures(session, out / "pages")
    written = [str(path) for path in (*files.paths, *pictures)]
    call.answer(
        {**story.as_dict(), "review": found.as_dict(), "files": written},
        [
            *review_lines(found.as_dict()),
            "",
            f"Report: {files.html}",
            f"Numbers: {files.json}",
            *(f"Picture: {path}" for path in pictures),
            "Demo data: invented, not for care.",
            *([] if no_window else [NO_DISPLAY]),
        ],
    )
    return DONE
