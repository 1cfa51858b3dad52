"""Judging any table of chances and what was seen: a surgeon's own guesses, a published formula, another model."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from clinic_app.domain.words import counted
from clinic_app.errors import Refusal
from clinic_app.exchange.cells import Cell
from clinic_app.exchange.tables import Table, heading_text, open_tables
from models.judging import judge
from models.progress import Report, silent

OUTCOMES = {"0": 0.0, "1": 1.0, "no": 0.0, "yes": 1.0, "false": 0.0, "true": 1.0}
FEWEST_RESAMPLES = 2


@dataclass(slots=True)
class _Columns:
    risk: list[float] = field(default_factory=list)
    outcome: list[float] = field(default_factory=list)
    cluster: list[str] = field(default_factory=list)
    left_out: int = 0


def judge_file(
    path: Path,
    *,
    risk: str,
    outcome: str,
    cluster: str | None = None,
    resamples: int = 200,
    encoding: str | None = None,
    report: Report = silent,
) -> dict[str, object]:
    """Judge the columns `risk` (fractions 0 to 1) and `outcome` (0/1, yes/no or true/false) of a CSV file or sheet.

    `cluster` names the patient, so that two eyes of one patient are not taken as independent. With fewer than 2
    resamples the smooth curve and what follows from it are left out. What one kind of outcome alone cannot tell is
    None, with its reason. Rows with a blank chance or outcome are left out and counted under `left_out`.
    `encoding` says how a text file is written, if not in UTF-8.
    Returns the keys of the `judge` command's document. Raises `Refusal`.
    """
    report(0.0, f"Reading {path.name}")
    wanted = [name for name in (risk, outcome, cluster) if name is not None]
    table = _table(path, wanted, encoding)
    columns = _read(table, risk, outcome, cluster)
    if not columns.outcome:
        raise Refusal(
            what=f"{path.name} cannot be judged.",
            why="It holds no eye with both a chance and an outcome.",
            next="Fill in both columns for the eyes that were seen.",
        )
    report(0.3, f"Judging {counted(len(columns.risk), 'row', 'rows')}")
    found = judge(
        columns.risk,
        columns.outcome,
        clusters=columns.cluster or None,
        resamples=max(resamples, FEWEST_RESAMPLES),
        curve=resamples >= FEWEST_RESAMPLES,
    ).as_dict()
    report(1.0, "Done")
    return {"file": path.name, **found, "left_out": columns.left_out}


def _table(path: Path, wanted: Sequence[str], encoding: str | None) -> Table:
    try:
        tables = open_tables(path, encoding=encoding, key=tuple(name.strip().lower() for name in wanted))
    except Refusal as fault:
        raise Refusal(what=f"{path.name} cannot be judged.", why=fault.why, next=fault.next) from None
    for table in tables:
        if all(_place(table, name) is not None for name in wanted):
            return table
    first = tables[0]
    missing = ", ".join(name for name in wanted if _place(first, name) is None)
    there = ", ".join(first.headings[:12])
    raise Refusal(
        what=f"{path.name} cannot be judged.",
        why=f"It has no column named {missing}.",
        next=f"Name one of its columns: {there}.",
    )


def _place(table: Table, name: str) -> int | None:
    exact = [heading.strip() for heading in table.headings]
    if name.strip() in exact:
        return exact.index(name.strip())
    folded = [heading.lower() for heading in exact]
    return folded.index(name.strip().lower()) if name.strip().lower() in folded else None


def _read(table: Table, risk: str, outcome: str, cluster: str | None) -> _Columns:
    places = [_place(table, name) for name in (risk, outcome, cluster or risk)]
    columns = _Columns()
    for number, (chance_cell, outcome_cell, cluster_cell) in _cells(table, places):
        chance_text, outcome_text, who = (
            heading_text(chance_cell),
            heading_text(outcome_cell),
            heading_text(cluster_cell),
        )
        if not chance_text or not outcome_text or (cluster is not None and not who):
            columns.left_out += 1
            continue
        columns.risk.append(_chance(table, number, risk, chance_text))
        columns.outcome.append(_seen(table, number, outcome, outcome_text))
        if cluster is not None:
            columns.cluster.append(who)
    return columns


def _cells(table: Table, places: Sequence[int | None]) -> Iterator[tuple[int, tuple[Cell, Cell, Cell]]]:
    for number, cells in table.rows():
        first, second, third = ("" if place is None or place >= len(cells) else cells[place] for place in places)
        yield number, (first, second, third)


def _chance(table: Table, row: int, name: str, text: str) -> float:
    try:
        value = float(text.replace(",", ".") if "." not in text else text)
    except ValueError:
        raise _refused(table, f"Row {row} holds something that is not a number in {name}.", _FRACTIONS) from None
    if not 0.0 <= value <= 1.0:
        raise _refused(table, f"Row {row} holds a chance outside 0 to 1 in {name}.", _FRACTIONS)
    return value


def _seen(table: Table, row: int, name: str, text: str) -> float:
    value = OUTCOMES.get(text.lower().removesuffix(".0"))
    if value is None:
        raise _refused(
            table,
            f"Row {row} holds something other than 0, 1, yes or no in {name}.",
            "Write 1 or yes for cloudy, 0 or no for clear, and leave the cell empty where the outcome is not known.",
        )
    return value


_FRACTIONS = "Give chances as fractions, 0.12 for 12 in 100, and leave the cell empty where there was none."


def _refused(table: Table, why: str, next_: str) -> Refusal:
    return Refusal(what=f"{table.name} cannot be judged.", why=why, next=next_)
