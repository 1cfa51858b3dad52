"""Commands that put records in, list them and take them out."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import click

from clinic_app.cli.call import Call, table
from clinic_app.cli.opening import opened, trial
from clinic_app.cli.options import DAY, ENCODING, day
from clinic_app.cli.status import DONE, SOME_REFUSED
from clinic_app.domain.record import Case
from clinic_app.domain.words import counted
from clinic_app.services.cases import cases as listed
from clinic_app.services.cases import documents
from clinic_app.services.export import export
from clinic_app.services.intake import import_files
from models.codebook import Stage, as_markdown, fields_of


@click.command("import")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--mapping", type=click.Path(path_type=Path), default=None, help="Which heading is which field.")
@click.option("--dry-run", is_flag=True, help="Read and check everything, change nothing.")
@click.option(
    "--refused", type=click.Path(path_type=Path), default=None, help="Where rows left out go, to be corrected."
)
@ENCODING
@click.pass_obj
def import_(
    call: Call, files: tuple[Path, ...], mapping: Path | None, dry_run: bool, refused: Path | None, encoding: str | None
) -> int:
    """Put records in from CSV, XLSX, XLS or ODS files. Needs the duty Data lead."""
    with trial(call) if dry_run else opened(call, create=True) as session, call.progress("Import") as report:
        result = import_files(
            session, list(files), mapping=mapping, encoding=encoding, dry_run=dry_run, refused=refused, report=report
        )
    found: dict[str, Any] = result.as_dict()
    lines = [
        f"{counted(found['rows'], 'row', 'rows')}: {found['added']} added, {found['amended']} amended, "
        f"{found['unchanged']} unchanged, {found['refused']} refused, "
        f"{found['asked']} left out because a person must answer."
    ]
    if dry_run:
        lines.append("Dry run: nothing was changed.")
    lines += [f"{one['file']}: {one['reason']}" for one in found["notes"] if one["row"] is None]
    noted = sum(one["row"] is not None for one in found["notes"]) + int(found["notes_left_out"])
    if noted:
        lines.append(f"{counted(noted, 'cell', 'cells')} went in with a note; --json lists them.")
    problems = [(one["file"], one["row"], one["column"], one["typed"], one["reason"]) for one in found["problems"]]
    if problems:
        lines += ["", *table(("file", "row", "column", "typed", "reason"), problems)]
    if refused is not None and found["refused"] + found["asked"]:
        lines += ["", f"The rows left out are in {refused}; correct them there and import that file alone."]
    call.answer(found, lines)
    return SOME_REFUSED if found["refused"] + found["asked"] else DONE


@click.command("cases")
@click.option("--stage", type=click.Choice(["booking", "theatre", "day_one"]), default=None, help="Only with this.")
@click.option("--from", "from_", type=DAY, default=None, help="First surgery date.")
@click.option("--to", type=DAY, default=None, help="Last surgery date.")
@click.pass_obj
def cases(call: Call, stage: str | None, from_: datetime | None, to: datetime | None) -> int:
    """List the eyes of the practice. Needs a duty that deals with eyes; what is sealed is left out."""
    with opened(call, reading=True) as session:
        found = listed(session, stage=Stage(stage) if stage else None, from_=day(from_), to=day(to))
        rows = [_short(case) for case in found]
        call.answer(
            {"cases": documents(session, found)},
            table(("patient", "eye", "surgery", "booked", "operated", "seen"), rows) if rows else ["No eyes here yet."],
        )
    return DONE


def _short(case: Case) -> tuple[object, ...]:
    marks = ("yes" if case.has(stage) else "" for stage in (Stage.BOOKING, Stage.THEATRE, Stage.DAY_ONE))
    return (case.key.patient_id, case.key.eye, case.key.surgery_date.isoformat(), *marks)


@click.command("export")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--from", "from_", type=DAY, default=None, help="First surgery date.")
@click.option("--to", type=DAY, default=None, help="Last surgery date.")
@click.option("--deidentified", is_flag=True, help="Other numbers, shifted dates, ages, no free text.")
@click.option("--forecasts", is_flag=True, help="The stored forecasts instead of the records.")
@click.pass_obj
def export_(
    call: Call, file: Path, from_: datetime | None, to: datetime | None, deidentified: bool, forecasts: bool
) -> int:
    """Write the records to a CSV or XLSX file, or the whole record to a folder. Needs the duty Data lead.

    What is sealed for you is left out.
    """
    with opened(call, reading=True) as session, call.progress("Export") as report:
        result = export(
            session, file, from_=day(from_), to=day(to), deidentified=deidentified, forecasts=forecasts, report=report
        )
    call.answer(result.as_dict(), [result.sentence()])
    return DONE


@click.command("fields")
@click.option("--markdown", is_flag=True, help="The manual's table.")
@click.pass_obj
def fields(call: Call, markdown: bool) -> int:
    """The fields of the record: names, kinds, units, ranges and answers."""
    if markdown and not call.as_json:
        click.echo(as_markdown(), nl=False)
        return DONE
    document_ = {
        stage.value: [
            {
                "name": one.name, "label": one.label, "kind": one.kind.value, "unit": one.unit, "hard": one.hard,
                "soft": one.soft, "choices": {choice.code: choice.label for choice in one.choices},
                "role": one.role.value, "help": one.help, "source": one.source,
            }
            for one in fields_of(stage)
        ]
        for stage in Stage
    }  # fmt: skip
    rows = [(one.name, one.label, one.kind.value, one.unit, stage.value) for stage in Stage for one in fields_of(stage)]
    call.answer(document_, table(("field", "label", "kind", "unit", "stage"), rows))
    return DONE
