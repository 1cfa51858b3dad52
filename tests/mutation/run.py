"""Plants one error at a time into a copy of the library and says whether the tests notice.

python tests/mutation/run.py [--only WORD ...] [--at-once N]

The errors stand in planted.toml. First the tests that are named there run once without any error and must pass; an
error that rests on tests which do not is not tried. Then each error is planted in a copy in a temporary folder and its
tests run until the first failure. Ends with 1 when an error was missed or not tried, when an original text is not
found, or when a planted text does not even run. Ctrl-C stops it.
"""

from __future__ import annotations

import argparse
import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
import threading
import tomllib
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TABLE = Path(__file__).with_name("planted.toml")
SECONDS = 60
"""A test that takes longer has failed: an error may well make a loop endless."""

COPIED = ("models", "clinic_app", "tests")
PASSED, FAILED = 0, 1


@dataclass(frozen=True)
class Planted:
    """file: below the top folder; text: occurs there once; error: what is put in its place; wrong: in words; tests:
    arguments of pytest."""

    file: str
    text: str
    error: str
    wrong: str
    tests: str


def table(path: Path = TABLE) -> list[Planted]:
    """The planted errors; those without `tests` of their own have those of their section."""
    found = []
    for section in tomllib.loads(path.read_text(encoding="utf-8"))["in"]:
        for one in section["errors"]:
            tests = one.get("tests", section.get("tests", ""))
            found.append(Planted(section["file"], one["text"], one["error"], one["wrong"], tests))
    return found


def faults(planted: Sequence[Planted], root: Path = ROOT) -> list[str]:
    """What is wrong with the table itself, beside the project at `root`."""
    found = []
    for one in planted:
        times = (root / one.file).read_text(encoding="utf-8").count(one.text) if (root / one.file).exists() else 0
        if times != 1:
            found.append(f"{one.file}: this text occurs {times} times, not once: {one.text!r} ({one.wrong})")
        if one.text == one.error:
            found.append(f"{one.file}: nothing is changed: {one.wrong}")
        named = sorted(_files(one))
        found += [f"{one.file}: there are no tests {word}: {one.wrong}" for word in named if not (root / word).exists()]
        if not named:
            found.append(f"{one.file}: no tests are named: {one.wrong}")
    return found


class Copies:
    """Copies of the project, one for each run at a time; `stop` ends what runs."""

    def __init__(self, folder: Path, number: int) -> None:
        self._free = [folder / str(k) for k in range(number)]
        self._lock = threading.Lock()
        self._running: set[subprocess.Popen[str]] = set()
        self._stopped = False
        for copy in self._free:
            for name in COPIED:
                shutil.copytree(ROOT / name, copy / name, ignore=shutil.ignore_patterns("__pycache__", "*.pyc"))
            shutil.copy(ROOT / "pyproject.toml", copy)

    def tested(self, tests: str, planted: Planted | None = None) -> tuple[int, str]:
        """Exit code and output of pytest, with an error planted or none."""
        with self._lock:
            copy = self._free.pop()
        try:
            if planted is None:
                return self._pytest(copy, tests)
            file = copy / planted.file
            original = file.read_text(encoding="utf-8")
            try:
                file.write_text(original.replace(planted.text, planted.error), encoding="utf-8")
                return self._pytest(copy, tests)
            finally:
                file.write_text(original, encoding="utf-8")
        finally:
            with self._lock:
                self._free.append(copy)

    def stop(self) -> None:
        """End every running test, start none any more."""
        with self._lock:
            self._stopped = True
            for process in self._running:
                process.kill()

    def _pytest(self, copy: Path, tests: str) -> tuple[int, str]:
        # No bytecode is written, so none of an earlier error can be read back.
        settings = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "PYTHONDONTWRITEBYTECODE": "1"}
        words = ["-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", f"--timeout={SECONDS}"]
        words += ["-p", "no:pytest-qt", "-p", "no:pytest_cov"]  # not needed here, and slow to begin
        with self._lock:
            if self._stopped:
                return -1, ""
            process = subprocess.Popen(
                [sys.executable, *words, *shlex.split(tests)],
                cwd=copy,
                env={**os.environ, **settings, "PYTHONPATH": str(copy)},
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT,
                text=True,
            )
            self._running.add(process)
        output = process.communicate()[0]
        with self._lock:
            self._running.discard(process)
        return process.returncode, output


def first_failure(output: str) -> str | None:
    """The name of the first test that failed."""
    found = re.search(r"^(?:FAILED|ERROR) (?:\S*/)?(\S+::.*?)(?: - .*)?$", output, flags=re.MULTILINE)
    return found.group(1) if found else None


def main(arguments: Sequence[str]) -> int:
    """Plant them all, print what became of each."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--only", nargs="+", default=[], metavar="WORD", help="errors whose file or words hold it")
    parser.add_argument("--at-once", type=int, default=2)
    chosen = parser.parse_args(arguments)
    planted = [p for p in table() if not chosen.only or any(w in f"{p.file} {p.wrong}" for w in chosen.only)]
    wrong = faults(planted)
    if wrong:
        print("\n".join(wrong))
        return 1
    with tempfile.TemporaryDirectory(prefix="planted-") as folder:
        copies = Copies(Path(folder), chosen.at_once)
        with ThreadPoolExecutor(chosen.at_once) as pool:
            try:
                return _report(copies, pool, planted)
            except BaseException:
                copies.stop()
                raise


def _report(copies: Copies, pool: ThreadPoolExecutor, planted: Sequence[Planted]) -> int:
    files = sorted({file for one in planted for file in _files(one)})
    broken = set()
    for file, (code, output) in zip(files, pool.map(copies.tested, files), strict=True):
        if code != PASSED:
            broken.add(file)
            print(f"Without any error {file} does not pass, so that it cannot catch one:\n{output}", flush=True)
    able = [one for one in planted if not broken & _files(one)]
    caught = 0
    for one, (code, output) in zip(able, pool.map(lambda p: copies.tested(p.tests, p), able), strict=True):
        failed = first_failure(output) if code == FAILED else None
        said = (
            f"caught by {failed}" if failed else "MISSED" if code == PASSED else f"pytest ended with {code}: {output}"
        )
        caught += failed is not None
        print(f"{one.file}: {one.wrong}: {said}", flush=True)
    print(f"{caught} of {len(planted)} planted errors caught; {len(planted) - len(able)} not tried.")
    return 0 if caught == len(planted) else 1


def _files(planted: Planted) -> set[str]:
    return {word for word in shlex.split(planted.tests) if word.endswith(".py")}


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
