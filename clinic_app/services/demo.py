"""The whole job on the invented practice, replayed in the order of time."""

from __future__ import annotations

import csv
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from clinic_app.domain.invented import DEMO_PERSON, REGISTERS
from clinic_app.errors import Refusal
from clinic_app.session import Session, open_session
from clinic_app.settings import Settings, write_settings
from models.codebook import BY_NAME, KEY, Stage
from models.progress import Report, silent
from models.temporal import first_day

SAMPLES = Path(__file__).resolve().parents[2] / "sample_cases"
EYES, SHEET, BOOKED = "invented_eyes.csv", "invented_clinic_sheet.xlsx", "invented_booked.csv"
OPERATED = "invented_operated.csv"
PAST_QUARTERS = 4
"""Quarters that come in as they are, as a practice brings its past; each later one is forecast before surgery."""

BOOKING_DAY = date(2026, 11, 25)
"""The day on which the eyes to come are booked."""
LAST_LIST = date(2026, 12, 1)
"""The last day of surgery that is past: its eyes are due for day one when somebody opens the invented practice."""
OPENS = datetime(2026, 12, 2, 6, 40, tzinfo=UTC)
"""The moment at which the clock of the invented practice begins."""

SETTINGS = Settings(
    practice_name="Invented practice",
    zone="Europe/Vienna",
    planning_line=15.0,
    planning_line_set="set for the demonstration",
    demo=True,
    demo_now=OPENS.isoformat(timespec="minutes"),
)
FIRST_ROW = 2
"""The number of the first row under the heading, as a spreadsheet counts."""

RESAMPLES_THEN, RESAMPLES_NOW = 0, 200
"""For the optimism of the models of past quarters, which nobody decides about any more, and of those of today."""

MOMENTS = (Stage.BOOKING, Stage.THEATRE, Stage.DAY_ONE)


@dataclass(slots=True)
class Acts:
    """The acts that the replay does in turn; handed in, since one act never calls another by itself."""

    import_files: Callable[..., Any]
    train: Callable[..., dict[str, Any]]
    adopt: Callable[..., dict[str, Any]]
    forecast: Callable[..., dict[str, Any]]


@dataclass(slots=True)
class Story:
    """What the replay did."""

    imported: dict[str, int] = field(default_factory=dict)
    problems: list[dict[str, Any]] = field(default_factory=list)
    models: list[str] = field(default_factory=list)
    forecasts: int = 0

    def as_dict(self) -> dict[str, Any]:
        """The document of the `demo` command, without its review."""
        return {
            "imported": self.imported,
            "problems": self.problems,
            "models": self.models,
            "forecasts": self.forecasts,
        }

    def sentences(self) -> list[str]:
        """The same for a reader."""
        counts = self.imported
        return [
            f"Invented practice: {counts['rows']} rows read, {counts['refused']} refused and {counts['asked']} left "
            f"for a person to answer (unit slips, unclear eyes and dates), the others taken in.",
            f"Fitted and adopted in the order of time: {', '.join(self.models)}.",
            f"{self.forecasts} forecasts made before the operation or before day one, and kept.",
        ]

    def count(self, result: Any) -> None:
        """Add the counts of one import."""
        found = result.as_dict()
        for name in ("rows", "added", "amended", "unchanged", "refused", "asked"):
            self.imported[name] = self.imported.get(name, 0) + int(found[name])
        self.problems += found["problems"]


class Calendar:
    """A clock that the replay sets."""

    def __init__(self) -> None:
        self.now = datetime(2024, 7, 1, 7, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now

    def go_to(self, day: date) -> None:
        """Morning of the day."""
        self.now = datetime.combine(day, time(7), UTC)


def build_demo(folder: Path, acts: Acts, *, samples: Path = SAMPLES, report: Report = silent) -> Story:
    """Fill an empty folder with the invented practice as it would have come about.

    The first quarters are imported whole. Before each later quarter the models are fitted on what was seen until then
    and adopted; the quarter's eyes are booked and forecast, operated and forecast again, and only then graded, so that
    the review has forecasts made beforehand. At the end the eyes to come are booked and forecast.
    """
    for name in (EYES, SHEET, BOOKED, OPERATED):
        if not (samples / name).is_file():
            raise Refusal(
                what="The demonstration cannot be run.",
                why=f"The file {name} of the invented practice is not beside the program.",
                next="Run it from the project's folder, which holds sample_cases.",
            )
    write_settings(folder, SETTINGS)
    headings, quarters = _by_quarter(samples / EYES)
    starts = sorted(quarters)
    calendar = Calendar()
    story = Story()
    with (
        tempfile.TemporaryDirectory(prefix="invented-quarter-") as name,
        open_session(folder, person=DEMO_PERSON, clock=calendar) as session,
    ):
        scratch = Path(name)
        report(0.02, "Bringing in the first quarters")
        calendar.go_to(starts[PAST_QUARTERS])
        past = [row for start in starts[:PAST_QUARTERS] for row in quarters[start]]
        story.count(acts.import_files(session, [_write(scratch / EYES, headings, past), samples / SHEET]))
        for place, start in enumerate(starts[PAST_QUARTERS:]):
            fraction = 0.1 + 0.8 * place / len(starts[PAST_QUARTERS:])
            calendar.go_to(start)
            _refit(session, acts, story, start, report, fraction)
            _live(session, acts, story, calendar, scratch, headings, quarters[start])
        report(0.9, "Fitting the models of today")
        calendar.go_to(BOOKING_DAY)
        _refit(session, acts, story, BOOKING_DAY, report, 0.9)
        story.count(acts.import_files(session, [samples / BOOKED]))
        story.forecasts += len(acts.forecast(session, model="booking")["rows"])
        calendar.go_to(LAST_LIST)
        _furnish(session)
        calendar.now += timedelta(hours=9)
        story.count(acts.import_files(session, [samples / OPERATED]))
        story.forecasts += len(acts.forecast(session, model="end_of_case")["rows"])
        # from here on people type days; the files of before left their order open, which the import had to ask about
        write_settings(folder, replace(SETTINGS, date_order="dmy"))
        report(1.0, "The invented practice is ready")
    return story


def _furnish(session: Session) -> None:
    """People, machines and the surgeons' usual answers, so that every station has something to show.

    Nobody has a PIN. The demonstrator does all but grade: who has seen forecasts does not grade blind.
    """
    with session.store.writing(by=session.person, act="furnish", reason="invented practice") as write:
        for kind, name, body in REGISTERS:
            write.put_register(kind, name, body)


def _refit(session: Session, acts: Acts, story: Story, day: date, report: Report, fraction: float) -> None:
    for model in ("booking", "end_of_case"):
        report(fraction, f"Fitting the {model.replace('_', '-')} model on what was seen before {day:%B %Y}")
        resamples = RESAMPLES_NOW if day == BOOKING_DAY else RESAMPLES_THEN
        found = acts.train(session, model=model, until=day - timedelta(days=1), resamples=resamples)
        acts.adopt(session, found["model_id"], reason="Replay of the invented practice")
        story.models.append(found["model_id"])


def _live(
    session: Session,
    acts: Acts,
    story: Story,
    calendar: Calendar,
    scratch: Path,
    headings: Sequence[str],
    rows: Sequence[dict[str, str]],
) -> None:
    """One quarter: booked and forecast, operated and forecast, graded.

    Rows that the import will leave out for a person to correct are not booked either, so that no eye waits for ever.
    """
    found = acts.import_files(session, [_write(scratch / EYES, headings, rows)], dry_run=True).as_dict()
    faulty = {int(one["row"]) - FIRST_ROW for one in found["problems"]}
    readable = [row for place, row in enumerate(rows) if place not in faulty]
    for moment, model in ((Stage.BOOKING, "booking"), (Stage.THEATRE, "end_of_case")):
        kept = _columns(headings, MOMENTS[: MOMENTS.index(moment) + 1])
        acts.import_files(session, [_write(scratch / f"{moment.value}.csv", kept, readable)])
        story.forecasts += len(acts.forecast(session, model=model)["rows"])
        calendar.now += timedelta(hours=1)
    story.count(acts.import_files(session, [_write(scratch / EYES, headings, rows)]))


def _columns(headings: Sequence[str], stages: Sequence[Stage]) -> list[str]:
    """The headings that are known at those moments, the key first among them."""
    kept = []
    for heading in headings:
        one = BY_NAME.get(heading) or BY_NAME.get(heading.rsplit("_", 1)[0])
        if heading in KEY or (one is not None and one.stage in stages):
            kept.append(heading)
    return kept


def _by_quarter(path: Path) -> tuple[list[str], dict[date, list[dict[str, str]]]]:
    """The rows of the file by quarter of surgery; a row whose date cannot be read goes with the row before it."""
    quarters: dict[date, list[dict[str, str]]] = {}
    with path.open(encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file)
        start: date | None = None
        waiting: list[dict[str, str]] = []
        for row in reader:
            try:
                start = first_day(date.fromisoformat(row["surgery_date"]))
            except ValueError:
                if start is None:
                    waiting.append(row)
                    continue
            quarters.setdefault(start, [*waiting]).append(row)
            waiting = []
        return list(reader.fieldnames or ()), quarters


def _write(path: Path, headings: Sequence[str], rows: Sequence[dict[str, str]]) -> Path:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, headings, extrasaction="ignore", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    return path
