"""How long a large import takes, and how much memory: `python tests/benchmarks/bench_import.py [ROWS] [KIND]`.

Writes an invented table of 70 columns (KIND csv or xlsx) with 0.2 % unreadable cells into a throw-away folder, imports
it, imports it again, and prints seconds and the peak of memory. It asserts nothing.
"""

from __future__ import annotations

import csv
import random
import resource
import sys
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

from clinic_app.services.intake import import_files
from clinic_app.session import open_session
from models.codebook import FIELDS, KEY, Field, Kind, Stage

_TIED = frozenset(
    {
        "us_energy_value",
        "bottle_height_cm",
        "diabetes_years",
        "descemet_folds",
        "descemet_folds_count",
        "edema_extent",
        "white_or_brunescent",
        "visit_status",
        "hba1c_mmol_mol",
        "us_mean_power_pct",
    }
)
"""Fields whose answers would speak against others when they are drawn at random."""


def columns() -> list[Field]:
    """The key and 67 fields of the first three stages that do not speak against one another."""
    free = [
        one
        for one in FIELDS
        if one.name not in KEY
        and one.stage is not Stage.RECHECK
        and not one.derived
        and one.name not in _TIED
        and one.kind not in (Kind.IDENTIFIER, Kind.MOMENT)
    ]
    return free[:67]


def cell(field: Field, rng: random.Random) -> str:
    """One invented answer."""
    if rng.random() < 0.1:
        return ""
    if field.kind in (Kind.NUMBER, Kind.INTEGER):
        low, high = field.soft or field.hard or (0, 10)
        return f"{rng.uniform(low, high):.{field.decimals if field.kind is Kind.NUMBER else 0}f}"
    if field.kind in (Kind.CHOICE, Kind.GRADE, Kind.CHOICES):
        return rng.choice(field.codes)
    if field.kind is Kind.YES_NO:
        return rng.choice(("yes", "no"))
    if field.kind is Kind.DATE:
        return (date(1940, 1, 1) + timedelta(days=rng.randrange(9000))).isoformat()
    if field.kind is Kind.TIME:
        return f"{rng.randrange(8, 17):02}:{rng.randrange(60):02}"
    return (
        rng.choice(("6/12", "6/9", "6/18", "20/40"))
        if field.name.endswith("_raw")
        else rng.choice(("a note", "chart 2"))
    )


def table(rows: int, seed: int = 1) -> list[list[str]]:
    """Heading and rows; every third patient has both eyes in the table."""
    rng = random.Random(seed)
    fields = columns()
    found = [[*KEY, *(one.name for one in fields)]]
    patient, shared = 0, ["", ""]
    own = [found[0].index("birth_date"), found[0].index("sex")]
    for at in range(rows):
        second = at % 3 == 2
        patient += not second
        day = date(2020, 1, 1) + timedelta(days=at * 1500 // rows)
        row = [f"D{patient:06}", "L" if second else "R", day.isoformat(), *(cell(one, rng) for one in fields)]
        shared = shared if second else [row[place] for place in own]
        for place, text in zip(own, shared, strict=True):
            row[place] = text
        if rng.random() < 0.14:
            row[rng.randrange(5, 70)] = "nicht lesbar"
        found.append(row)
    return found


def write(path: Path, rows: list[list[str]]) -> None:
    """The table as CSV or XLSX, numbers as numbers."""
    if path.suffix == ".csv":
        with path.open("w", newline="", encoding="utf-8") as file:
            csv.writer(file).writerows(rows)
        return
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    sheet = book.create_sheet("cases")
    for row in rows:
        sheet.append([float(one) if one.replace(".", "", 1).isdigit() else one or None for one in row])
    book.save(path)


def children() -> resource.struct_rusage:
    """What the programs that this one started have used."""
    return resource.getrusage(resource.RUSAGE_CHILDREN)


def main() -> None:
    """Measure and print."""
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 50_000
    kind = sys.argv[2] if len(sys.argv) > 2 else "csv"
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / f"invented.{kind}"
        write(path, table(rows))
        print(f"{rows} rows, 70 columns, {path.stat().st_size / 2**20:.1f} MiB {kind}")
        folder = Path(place) / "practice"
        folder.mkdir()
        with open_session(folder, person="Bench") as session:
            for time_ in ("first", "again"):
                wall, cpu, read = time.perf_counter(), time.process_time(), children().ru_utime + children().ru_stime
                result = import_files(session, [path], refused=Path(place) / f"{time_}.csv")
                wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
                read = children().ru_utime + children().ru_stime - read
                peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
                print(
                    f"{time_}: {wall:.1f} s wall, {cpu:.1f} s CPU, peak {peak:.0f} MiB; the spreadsheet's reader "
                    f"{read:.1f} s CPU, peak {children().ru_maxrss / 1024:.0f} MiB; {dict(result.counts)}, "
                    f"{len(result.notes)} notes"
                )


if __name__ == "__main__":
    main()
