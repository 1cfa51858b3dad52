"""What every command shares: the practice, the person, the kind of answer, and how progress and answers are printed.

Nothing here opens the practice (`opening` does): the window paints before the store is brought in."""

from __future__ import annotations

import contextlib
import getpass
import json
import re
import signal
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType

import click
from platformdirs import user_data_path

from models.progress import Cancelled, Report

BAR_CELLS = 30
BAR_INTERVAL_S = 0.1
NUMBER = re.compile(r"[-+]?\d+(\.\d+)?")


def usual_practice() -> Path:
    """The folder used when none is named."""
    return user_data_path("clinic-app", appauthor=False) / "practice"


def usual_person() -> str:
    """The account of the operating system."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "unknown"


class Stop:
    """Remembers that the person pressed Ctrl+C, so that work ends between two steps and not inside one."""

    def __init__(self) -> None:
        self.asked = False

    @contextlib.contextmanager
    def watching(self) -> Iterator[None]:
        """Take Ctrl+C as a wish to stop; a second one ends the program at once."""
        before = signal.getsignal(signal.SIGINT)

        def ask(number: int, frame: FrameType | None) -> None:
            if self.asked:
                raise KeyboardInterrupt
            self.asked = True

        signal.signal(signal.SIGINT, ask)
        try:
            yield
        finally:
            signal.signal(signal.SIGINT, before)


@dataclass(slots=True)
class Call:
    """One run of the command line."""

    practice: Path = field(default_factory=usual_practice)
    person: str = field(default_factory=usual_person)
    as_json: bool = False
    stop: Stop = field(default_factory=Stop)

    def answer(self, document: Mapping[str, object], lines: Iterable[str]) -> None:
        """Print the answer: one JSON document, or lines for a reader."""
        if self.as_json:
            click.echo(json.dumps(document, ensure_ascii=False, indent=2, default=str, allow_nan=False))
        else:
            for line in lines:
                click.echo(line)

    def tell(self, sentence: str) -> None:
        """A message that is not part of the answer."""
        click.echo(sentence, err=True)

    @contextlib.contextmanager
    def progress(self, name: str) -> Iterator[Report]:
        """A bar on the error stream for long work; Ctrl+C raises `Cancelled` out of the work at its next report."""
        with self.stop.watching():
            bar = Bar(name, self.stop)
            try:
                yield bar
            finally:
                bar.close()


class Bar:
    """A progress bar that is a `Report`."""

    def __init__(self, name: str, stop: Stop, clock: Callable[[], float] = time.monotonic) -> None:
        self.name = name
        self.stop = stop
        self.clock = clock
        self.started = clock()
        self.drawn_at = 0.0
        self.shown = sys.stderr.isatty()

    def __call__(self, fraction: float, sentence: str) -> None:
        if self.stop.asked:
            raise Cancelled
        now = self.clock()
        if not self.shown or (now - self.drawn_at < BAR_INTERVAL_S and fraction < 1):
            return
        self.drawn_at = now
        full = round(BAR_CELLS * min(max(fraction, 0.0), 1.0))
        bar = "=" * full + " " * (BAR_CELLS - full)
        spent = now - self.started
        click.echo(f"\r{self.name} [{bar}] {fraction:4.0%} {spent:5.1f} s  {sentence[:60]:60}", err=True, nl=False)

    def close(self) -> None:
        """End the line of the bar."""
        if self.shown and self.drawn_at:
            click.echo("", err=True)


def table(headings: tuple[str, ...], rows: Iterable[tuple[object, ...]]) -> list[str]:
    """Rows as aligned columns of text; numbers to the right."""
    texts = [headings, *(tuple("" if cell is None else str(cell) for cell in row) for row in rows)]
    widths = [max(len(row[column]) for row in texts) for column in range(len(headings))]
    right = [all(NUMBER.fullmatch(row[column]) for row in texts[1:] if row[column]) for column in range(len(headings))]
    return [
        "  ".join(
            cell.rjust(width) if to_right else cell.ljust(width)
            for cell, width, to_right in zip(row, widths, right, strict=True)
        ).rstrip()
        for row in texts
    ]
