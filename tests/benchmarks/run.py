"""Every benchmark in one run: `python tests/benchmarks/run.py [--full] [--out DIR]`.

Prints a Markdown table and, with --out, writes it beside the JSON. --full adds 200 000 eyes. It asserts nothing: the
gates that need no clock run with the tests.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from pathlib import Path

import bench_forecast
import bench_ranking
import bench_refits
import bench_retrain
from protocol import Case, control, machine, one_thread


def cases(full: bool) -> list[Callable[[], Case]]:
    """The comparisons, smallest first."""
    sizes = [2_000, 20_000, *([200_000] if full else [])]
    return [
        *(lambda n=n: bench_refits.refits(n) for n in sizes),
        bench_refits.growth,
        *(lambda n=n: bench_refits.penalty(n) for n in sizes),
        *(lambda n=n: bench_retrain.retrain(n) for n in sizes),
        bench_ranking.ranking,
        bench_ranking.judging,
    ]


def table(document: dict[str, object]) -> str:
    """The results as Markdown."""
    lines = [
        "| task | size | ours, CPU s | times faster than (least to most) | answers apart | peak MB | goal | notes |"
    ]
    lines.append("|---|---|---|---|---|---|---|---|")
    for one in document["results"]:  # type: ignore[attr-defined]
        ratios = "; ".join(
            f"{name} x{value:.0f} ({one['ratio_min'][name]:.0f}-{one['ratio_max'][name]:.0f})"
            for name, value in one["ratio"].items()
        )
        seconds = sorted(one["ours_cpu_s"])[len(one["ours_cpu_s"]) // 2] if one["ratio"] else None
        shown = f"{seconds:.3g}" if seconds is not None else ", ".join(f"{s:.3g}" for s in one["ours_cpu_s"])
        peak = "" if one["peak_mb"] is None else f"{one['peak_mb']:.0f}"
        cells = (one["task"], one["size"], shown, ratios, one["error"], peak, one["goal"], one["notes"])
        lines.append("| " + " | ".join(str(cell) for cell in cells) + " |")
    return "\n".join(lines)


def main() -> None:
    """Run, print, write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--full", action="store_true", help="200 000 eyes too")
    parser.add_argument("--out", type=Path, help="folder for benchmarks.json and benchmarks.md")
    chosen = parser.parse_args()
    with one_thread():
        before = control()
        results = []
        for one in cases(chosen.full):
            results.append(one().as_dict())
            print(f"done: {results[-1]['task']}, {results[-1]['size']}", flush=True)
        results += [one.as_dict() for one in bench_forecast.cases()]
        after = control()
    noisy = any(abs(after[name] / before[name] - 1.0) > 0.2 for name in before)
    document: dict[str, object] = {
        "schema": 1, "machine": machine(), "control_before": before, "control_after": after, "noisy": noisy,
        "results": results,
    }  # fmt: skip
    text = table(document)
    print(json.dumps(document["machine"]))
    print(json.dumps({"before": before, "after": after, "noisy": noisy}))
    print(text)
    if chosen.out is not None:
        chosen.out.mkdir(parents=True, exist_ok=True)
        (chosen.out / "benchmarks.json").write_text(json.dumps(document, indent=1), encoding="utf-8")
        (chosen.out / "benchmarks.md").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
