"""CSV files, streamed: which encoding, which delimiter, then row after row, strictly."""

from __future__ import annotations

import codecs
import csv
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from clinic_app.exchange.guard import refused

DELIMITERS = (";", "\t", "|", ",")
MAX_ROWS = 1_000_000
MAX_CELL = 32_767
_SAMPLE = 200
_BOMS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))
_SAVE_AGAIN = (
    "Save it again as CSV in UTF-8, or state the encoding with --encoding {0}; for an import a mapping file can say it "
    'too, with "encoding": "{0}".'
)


def encoding_of(path: Path) -> str:
    """The encoding by byte order mark, else UTF-8 if all of the file is; never a guess.

    Raises `Refusal` naming the likely encoding otherwise, and for a file with NUL characters.
    """
    with path.open("rb") as file:
        head = file.read(4)
        for bom, name in _BOMS:
            if head.startswith(bom):
                _read_through(path, name)
                return name
    _read_through(path, "utf-8")
    return "utf-8"


def check_encoding(path: Path, encoding: str) -> str:
    """The encoding that somebody stated, when the file can be read with it; raises `Refusal` otherwise."""
    try:
        name = codecs.lookup(encoding).name
        "a".encode(name)
    except (LookupError, UnicodeError):
        raise refused(
            f"There is no text encoding {encoding!r}.", "State one such as utf-8, windows-1252 or utf-16."
        ) from None
    if name == "utf-8":
        with path.open("rb") as file:
            name = "utf-8-sig" if file.read(3) == codecs.BOM_UTF8 else name
    _read_through(path, name)
    return name


def _read_through(path: Path, encoding: str) -> None:
    decoder = codecs.getincrementaldecoder(encoding)("strict")
    try:
        with path.open("rb") as file:
            while chunk := file.read(1 << 20):
                if "\0" in decoder.decode(chunk):
                    raise _nul(path, chunk)
            decoder.decode(b"", final=True)
    except (UnicodeDecodeError, UnicodeError):
        likely = _likely(path)
        raise refused(
            f"{path.name} is not written in {'UTF-8' if encoding == 'utf-8' else encoding}; it looks like {likely}.",
            _SAVE_AGAIN.format(likely),
        ) from None


def _nul(path: Path, chunk: bytes) -> Exception:
    if chunk.count(0) > len(chunk) // 4:
        likely = "utf-16-le" if chunk[1:2] == b"\0" else "utf-16-be"
        return refused(f"{path.name} is not written in UTF-8; it looks like {likely}.", _SAVE_AGAIN.format(likely))
    return refused(f"{path.name} holds NUL characters; it is damaged or no text.", "Export the table again.")


def _likely(path: Path) -> str:
    with path.open("rb") as file:
        sample = file.read(1 << 20)
    high = Counter(byte for byte in sample if byte >= 0x80)
    if sample.count(0) > len(sample) // 4:
        return "utf-16-le" if sample[1:2] == b"\0" else "utf-16-be"
    # Letters with accents stand at C0-FF in the Windows pages, at 80-A5 in the old DOS page.
    letters = sum(count for byte, count in high.items() if byte >= 0xC0 or byte in (0xB5, 0xB0, 0x96))
    if letters * 2 >= sum(high.values()):
        return "windows-1252"
    return "cp850"


def _said(first: str) -> str | None:
    """The delimiter that a first line `sep=;` names."""
    bare = first.rstrip("\r\n")
    return bare[4] if bare[:4].lower() == "sep=" and len(bare) == 5 else None


def _lines(path: Path, encoding: str) -> Iterator[str]:
    """The lines of the file without a first line `sep=;`."""
    with path.open(encoding=encoding, newline="") as file:
        if _said(file.readline(16)) is None:
            file.seek(0)
        yield from file


def delimiter_of(path: Path, encoding: str, key: str = "patient_id") -> str:
    """The delimiter by a vote: the one that cuts most of the first rows into the same number of cells, more than one.

    A first line `sep=;` decides at once; a heading that is the key's name counts more than widths.
    """
    with path.open(encoding=encoding, newline="") as file:
        sample = [file.readline(1 << 20) for _ in range(_SAMPLE)]
    if (said := _said(sample[0])) is not None:
        return said
    best = (0, 0.0, 0)
    chosen = ","
    for delimiter in DELIMITERS:
        widths: Counter[int] = Counter()
        named = 0
        try:
            for row in csv.reader(iter(sample), delimiter=delimiter, strict=True):
                if row:
                    widths[len(row)] += 1
                    named |= any(cell.strip().strip("'").lower() == key for cell in row)
        except csv.Error:
            if not widths:
                continue
        if not widths:
            continue
        width, count = max(widths.items(), key=lambda item: (item[1], item[0]))
        score = (named if width > 1 else 0, count / widths.total() if width > 1 else 0.0, width)
        if score > best:
            best, chosen = score, delimiter
    return chosen


def rows_of(path: Path, encoding: str, delimiter: str) -> Iterator[tuple[int, tuple[str, ...]]]:
    """Row number, as a spreadsheet counts, and cells of each row that is not empty.

    Raises `Refusal` for an open quote, text after a closing quote, a cell over the limit, and too many rows.
    """
    number = 0
    try:
        for number, row in enumerate(csv.reader(_lines(path, encoding), delimiter=delimiter, strict=True), start=1):
            if number > MAX_ROWS + 1:
                raise refused(
                    f"{path.name} holds more than {MAX_ROWS} rows.",
                    "Split the table by surgery date into several files and import them one after another.",
                )
            if row:
                yield number, tuple(row)
    except csv.Error as fault:
        raise refused(
            f"{path.name} breaks off after row {number}: {_in_words(str(fault))}.", _next(str(fault))
        ) from None


def _in_words(fault: str) -> str:
    if "field limit" in fault:
        return "a cell is longer than any answer can be"
    if "unexpected end" in fault:
        return "a quotation mark opens a cell and none closes it"
    if "expected after" in fault:
        return "text follows the quotation mark that closes a cell"
    return "the row cannot be cut into cells"


def _next(fault: str) -> str:
    if "field limit" in fault:
        return "Look at that row in a text editor; shorten the cell or close its quotation mark, and import again."
    return "Look at that row in a text editor, put the quotation marks right, and import again."
