"""Commands that forecast, review and judge."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from clinic_app.cli.call import Call, table
from clinic_app.cli.opening import opened
from clinic_app.cli.options import DAY, ENCODING, KIND, day
from clinic_app.cli.status import DONE, SOME_REFUSED
from clinic_app.domain.words import counted
from clinic_app.errors import Refusal
from clinic_app.exchange.report import write_review
from clinic_app.services.forecasts import forecast_file, forecast_practice, write_forecasts
from clinic_app.services.judging import judge_file
from clinic_app.services.review import review as reviewed
from clinic_app.session import Session, holds_practice

PROBLEM_HEADINGS = ("file", "row", "column", "typed", "reason")
BASIS = click.Choice(["beforehand", "afterwards"])


def _chance(value: object) -> str:
    if value is None:
        return ""
    points = round(100 * float(str(value)))
    return "<1" if points < 1 else str(points)


def forecast_lines(document: Mapping[str, object]) -> list[str]:
    """The forecasts for a reader: chance and range in whole per cent, or the reason why there is none."""
    rows = document["rows"]
    if not isinstance(rows, list) or not rows:
        return ["No row could be forecast." if "problems" in document else "No eye waits for a forecast."]
    if all(one["status"] == "no_model" for one in rows):
        return [
            f"{counted(len(rows), 'eye waits', 'eyes wait')} for a forecast; "
            "the practice has no model of this kind in use yet.",
            f"Fit one with: clinic-app train --model {document['model']}, read it, then adopt it by name.",
        ]
    cells = (
        (
            one["patient_id"], one["eye"], one["surgery_date"], _chance(one["risk"]),
            f"{_chance(one['low'])} to {_chance(one['high'])}" if one["risk"] is not None else "",
            ", ".join(one["missing"]), one["note"] if one["risk"] is None else "",
        )
        for one in rows
    )  # fmt: skip
    return [
        *table(("patient", "eye", "surgery", "cloudy in 100", "range", "missing", "no forecast because"), cells),
        "",
        f"{document['model_id']}. The range holds 19 times in 20 for the rate among eyes like this one, treated as we "
        "usually treat them.",
        "A low number does not mean a clear cornea; a high one is a reason to plan and to talk, not to refuse surgery.",
    ]


@click.command("forecast")
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.option("--model", type=KIND, default="booking", show_default=True)
@click.option("--card", type=click.Path(path_type=Path), default=None, help="A card instead of the model in use.")
@click.option("--from", "from_", type=DAY, default=None, help="First surgery date.")
@click.option("--to", type=DAY, default=None, help="Last surgery date.")
@click.option("--by-chance", is_flag=True, help="Highest chance first, instead of by date.")
@click.option("--out", type=click.Path(path_type=Path), default=None, help="Also write the forecasts to this CSV file.")
@ENCODING
@click.pass_obj
def forecast(
    call: Call, file: Path | None, model: str, card: Path | None, from_: datetime | None, to: datetime | None,
    by_chance: bool, out: Path | None, encoding: str | None,
) -> int:  # fmt: skip
    """Forecasts for the practice's booked eyes, or for the rows of FILE (nothing of which is stored).

    Needs the duty Booking, Surgeon or Data lead. Whoever also grades sees no number of an eye that is not graded.
    """
    if out is not None and not out.absolute().parent.is_dir():
        raise Refusal(
            what="No forecast was made.",
            why="The folder for the file of forecasts does not exist.",
            next="Name a file in a folder that exists.",
        )
    if file is None and encoding is not None:
        raise Refusal(
            what="No forecast was made.",
            why="--encoding says how a file is written, and no file is named.",
            next="Name the file, or leave the option out.",
        )
    if file is None:
        with opened(call, reading=card is not None) as session, call.progress("Forecast") as report:
            found = forecast_practice(session, model=model, card=card, from_=day(from_), to=day(to), report=report)
    else:
        with _practice_if_needed(call, card) as there, call.progress("Forecast") as report:
            found = forecast_file(
                there, file, model=model, card=card, from_=day(from_), to=day(to), encoding=encoding, report=report
            )
    if by_chance:
        found["rows"].sort(key=lambda one: (one["risk"] is None, -(one["risk"] or 0.0)))
    if out is not None:
        write_forecasts(out, found)
    problems = found.get("problems", [])
    told = [(one["file"], one["row"], one["column"], one["typed"], one["reason"]) for one in problems]
    more = ["", "Rows without a forecast:", *table(PROBLEM_HEADINGS, told)] if told else []
    call.answer(found, [*forecast_lines(found), *more])
    return SOME_REFUSED if told else DONE


def _practice_if_needed(call: Call, card: Path | None) -> contextlib.AbstractContextManager[Session | None]:
    """The practice for its settings, operations and model; a card alone forecasts without one, and none is made."""
    if card is not None and not holds_practice(call.practice):
        return contextlib.nullcontext()
    return opened(call, reading=True)


@click.command("review")
@click.option("--from", "from_", type=DAY, default=None, help="First surgery date.")
@click.option("--to", type=DAY, default=None, help="Last surgery date.")
@click.option("--model", type=KIND, default="booking", show_default=True)
@click.option("--basis", type=BASIS, default=None, help="Which forecasts to judge.")
@click.option("--out", type=click.Path(path_type=Path), required=True, help="Folder of the report.")
@click.pass_obj
def review(call: Call, from_: datetime | None, to: datetime | None, model: str, basis: str | None, out: Path) -> int:
    """Forecast beside seen: a report, its numbers and its plots, in a folder. Needs the duty Surgeon or Data lead."""
    with opened(call, reading=True) as session, call.progress("Review") as report:
        found = reviewed(session, model=model, from_=day(from_), to=day(to), basis=basis, report=report)
        files = write_review(found, out)
    call.answer(found.as_dict(), [*review_lines(found.as_dict()), f"The report is in {files.html}."])
    return DONE


def review_lines(document: Mapping[str, Any]) -> list[str]:
    """The review for a reader: the facts of review.json in a few lines."""
    judged = counted(document["n"], "eye", "eyes")
    lines = [f"{judged} judged, {document['events']} cloudy, forecasts {document['basis']}."]
    names = (
        ("observed_expected", "Seen / forecast"),
        ("c_statistic", "C statistic"),
        ("calibration_in_the_large", "Calibration in the large"),
        ("calibration_slope", "Calibration slope"),
    )
    for key, words in names:
        measure = document[key]
        if isinstance(measure, Mapping) and measure.get("value") is not None:
            low, high = measure.get("low"), measure.get("high")
            limits = "no range: too few cloudy eyes" if low is None or high is None else f"{low:.3f} to {high:.3f}"
            lines.append(f"{words}: {measure['value']:.3f} ({limits})")
    brier = document["brier"]
    if isinstance(brier, float):
        lines.append(f"Brier: {brier:.4f}")
    return lines


@click.command("judge")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--risk", required=True, metavar="COL", help="Column of the predicted chance, 0 to 1.")
@click.option("--outcome", required=True, metavar="COL", help="Column of what was seen: 0/1 or yes/no.")
@click.option("--cluster", default=None, metavar="COL", help="Column naming the patient.")
@click.option("--resamples", type=click.IntRange(0, 2000), default=200, show_default=True)
@ENCODING
@click.pass_obj
def judge(
    call: Call, file: Path, risk: str, outcome: str, cluster: str | None, resamples: int, encoding: str | None
) -> int:
    """Judge any table of predicted and observed: a surgeon's own guesses, a published formula."""
    with call.progress("Judge") as report:
        found = judge_file(
            file, risk=risk, outcome=outcome, cluster=cluster, resamples=resamples, encoding=encoding, report=report
        )
    call.answer(found, review_lines({**found, "basis": "as given"}))
    return DONE
