"""A simulation study: the default against ridge, Firth and maximum likelihood on practices whose truth is known.

python tests/studies/run.py FOLDER [--quick] [--only TRUTH:EYES ...] [--processes N]

Writes FOLDER/study.json and FOLDER/study.md. One file a cell is written as soon as the cell is done and kept: a run
that was stopped goes on where it was, an emptied folder starts anew. Seeds are fixed; the same code gives the same
table. Booking model only; grading error, drifting definitions and missing first days are not simulated.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(_name, "1")  # before numpy is there: one thread a process

from estimators import default, others  # noqa: E402
from practices import TRUTHS, Practice  # noqa: E402
from scores import scores  # noqa: E402
from tables import OURS, page  # noqa: E402

from models.errors import ModelError  # noqa: E402

CELLS = {150: 60, 300: 40, 600: 30, 1500: 20, 5000: 10}
"""Eyes of a practice -> practices."""

NEW_EYES = 5000
MOST_DRAWS = 20
"""Practices drawn for each that is wanted, before the study gives up on a cell."""


def practice(truth: str, eyes: int, number: int, new_eyes: int) -> dict[str, object]:
    """Everything about one practice; {"refused": sentence} when the product makes no model of it."""
    drawn = Practice(truth, (TRUTHS.index(truth), eyes, number))
    old, new = drawn.eyes(eyes), drawn.eyes(new_eyes)
    try:
        ours = default(old.rows, new.rows)
    except ModelError as refusal:
        return {"refused": refusal.what}
    inside = (ours.low <= new.chance) & (new.chance <= ours.high)
    log_odds = {OURS: ours.log_odds, **others(old.rows, ours)}
    return {
        "cloudy": sum(row["edema_grade_central"] == 2 for row in old.rows),
        "curved": ours.curved,
        "no_number": ours.refused,
        "coverage_whole": float(inside[new.whole].mean()),
        "coverage_blanks": float(inside[~new.whole].mean()),
        "width_whole": float((ours.high - ours.low)[new.whole].mean()),
        "width_blanks": float((ours.high - ours.low)[~new.whole].mean()),
        "scores": {name: scores(eta, new.chance) for name, eta in log_odds.items()},
    }


def cell(truth: str, eyes: int, wanted: int, new_eyes: int, pool: ProcessPoolExecutor) -> dict[str, object]:
    """The first `wanted` practices of which the product makes a model, and how many it refused on the way."""
    found: list[dict[str, object]] = []
    refused: list[str] = []
    number = 0
    while len(found) < wanted and number < MOST_DRAWS * wanted:
        size = min(wanted - len(found) + 1, wanted)
        part = range(number, number + size)
        number += size
        for one in pool.map(practice, [truth] * size, [eyes] * size, part, [new_eyes] * size):
            if len(found) == wanted:
                break
            if "refused" in one:
                refused.append(str(one["refused"]))
            else:
                found.append(one)
    return {"truth": truth, "eyes": eyes, "new_eyes": new_eyes, "practices": found, "refused": refused}


def main(arguments: Sequence[str]) -> int:
    """Run what is missing in the folder, write the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--quick", action="store_true", help="2 practices of 150 eyes a truth, 300 new eyes")
    parser.add_argument("--only", nargs="+", default=[], metavar="TRUTH:EYES")
    parser.add_argument("--processes", type=int, default=2)
    chosen = parser.parse_args(arguments)
    sizes, new_eyes = ({150: 2}, 300) if chosen.quick else (CELLS, NEW_EYES)
    chosen.folder.mkdir(parents=True, exist_ok=True)
    done = []
    with ProcessPoolExecutor(chosen.processes, multiprocessing.get_context("spawn")) as pool:
        for eyes, wanted in sizes.items():
            for truth in TRUTHS:
                file = chosen.folder / f"cell-{truth}-{eyes}.json"
                if not file.exists() and (not chosen.only or f"{truth}:{eyes}" in chosen.only):
                    file.write_text(json.dumps(cell(truth, eyes, wanted, new_eyes, pool), indent=1), encoding="utf-8")
                    print(f"{truth}, {eyes} eyes: done.", flush=True)
                if file.exists():
                    done.append(json.loads(file.read_text(encoding="utf-8")))
    (chosen.folder / "study.json").write_text(json.dumps(done, indent=1), encoding="utf-8")
    (chosen.folder / "study.md").write_text(page(done), encoding="utf-8")
    print(f"{chosen.folder / 'study.md'} is written.")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
