"""A look into a file before any parser: what it is, and whether it is fit to be opened.

A workbook of two kilobytes can unpack to gigabytes, name one cell at the far corner of the grid, or carry a document
type that pulls in other files. Everything here counts while it reads and stops at a limit.
"""

from __future__ import annotations

import re
import stat
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path

from clinic_app.errors import Refusal

MAX_FILE = 30 * 2**20
MAX_UNPACKED = 150 * 2**20
MAX_MEMBERS = 400
MAX_RATIO = 200
MAX_CSV = 2**30
MAX_DEPTH = 64
MAX_TEXT = 128 * 2**10
SHEET_ROWS, SHEET_COLUMNS = 50_000, 400

_CHUNK = 1 << 18
_OLE = b"\xd0\xcf\x11\xe0"
_AS_TABLE = "Save the table as CSV (UTF-8) or XLSX and import that file."
_MACRO = re.compile(r"(?:^|/)(?:vbaproject\.bin|macrosheets/|basic/|scripts/)", re.IGNORECASE)
_TAG = re.compile(rb"<(/?)[A-Za-z_][^>]*?(/?)>")


def refused(why: str, next_: str = _AS_TABLE) -> Refusal:
    """A refusal of the whole file; nothing was changed."""
    return Refusal(what="The file was not imported; nothing was changed.", why=why, next=next_)


def kind_of(path: Path) -> str:
    """`csv`, `xlsx`, `xls` or `ods`, by what is in the file and not by its name.

    Raises `Refusal` for a folder, a missing, unreadable, empty or oversized file and for anything else than a table.
    """
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise refused(f"{path.name} is a folder, not a file.", "Name the files in it one by one.")
        if not stat.S_ISREG(status.st_mode):
            raise refused(f"{path.name} is no ordinary file.", "Copy its content into a file and import that.")
        with path.open("rb") as file:
            head = file.read(4096)
    except FileNotFoundError:
        raise refused(f"There is no file {path.name}.", "Check the name and the folder.") from None
    except OSError:
        raise refused(f"{path.name} cannot be read.", "Ask for the right to read it, or copy it elsewhere.") from None
    if not head.strip():
        raise refused(f"{path.name} is empty.", "Export the table again and import the new file.")
    kind = _kind(path, head)
    limit = MAX_CSV if kind == "csv" else MAX_FILE
    if status.st_size > limit:
        raise refused(
            f"{path.name} is larger than {limit // 2**20} MiB.",
            "Split the table by surgery date into several files and import them one after another.",
        )
    return kind


def _kind(path: Path, head: bytes) -> str:
    if head.startswith(b"PK\x03\x04"):
        return _zipped_kind(path)
    if head.startswith(_OLE):
        if _holds(path, "EncryptedPackage".encode("utf-16-le")):
            raise refused(
                f"{path.name} is locked with a password.",
                "Open it in the spreadsheet program, save it without a password, and import that file.",
            )
        if _holds(path, "_VBA_PROJECT".encode("utf-16-le")):
            raise _macros(path)
        return "xls"
    if head.startswith(
        (b"%PDF", b"{\\rtf", b"\x89PNG", b"\xff\xd8\xff", b"GIF8", b"\x1f\x8b", b"7z\xbc\xaf", b"SQLite format 3")
    ):
        raise refused(f"{path.name} is not a table.")
    if head[128:132] == b"DICM":
        raise refused(f"{path.name} is a picture or measurement file of a device, not a table.")
    if head.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<"):
        raise refused(
            f"{path.name} is a web page or XML, whatever its name says.",
            "Open it in the spreadsheet program, save it as XLSX, and import that file.",
        )
    return "csv"


def _holds(path: Path, needle: bytes) -> bool:
    if path.stat().st_size > MAX_FILE:
        return False
    return needle in path.read_bytes()


def _macros(path: Path) -> Refusal:
    return refused(
        f"{path.name} holds macros.", "Save it in the spreadsheet program as XLSX without macros and import that file."
    )


def _zipped_kind(path: Path) -> str:
    try:
        with zipfile.ZipFile(path) as archive:
            names = {info.filename for info in archive.infolist()}
            if "xl/workbook.xml" in names:
                return "xlsx"
            if "xl/workbook.bin" in names:
                raise refused(f"{path.name} is a binary workbook (XLSB).")
            if names & {"word/document.xml", "ppt/presentation.xml"}:
                raise _text_document(path)
            if "content.xml" in names and "mimetype" in names:
                with archive.open("mimetype") as file:
                    if b"opendocument.spreadsheet" in file.read(200):
                        return "ods"
                raise _text_document(path)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, OSError, ValueError):
        raise _damaged(path) from None
    raise refused(f"{path.name} is an archive, not a table.", "Unpack it, and import the tables in it one by one.")


def _text_document(path: Path) -> Refusal:
    return refused(
        f"{path.name} is a text or a presentation, not a table.",
        "Copy the table in it into a spreadsheet program, save it there as CSV (UTF-8) or XLSX, and import that file.",
    )


def _damaged(path: Path) -> Refusal:
    return refused(f"{path.name} is damaged or cut off.", "Copy or export it again and import the new file.")


def check_zip(path: Path) -> None:
    """Read a zipped workbook through once, counting, and refuse what no honest spreadsheet holds.

    Limits: members, unpacked bytes (counted, not believed), ratio, depth of nesting; no document type, macro,
    encryption, repeated, overlapping or climbing member name; checksums must agree.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            members = archive.infolist()
            _check_names(path, members)
            total = 0
            for info in members:
                total = _check_member(path, archive, info, total)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, OSError, ValueError):
        raise _damaged(path) from None


def _check_names(path: Path, members: list[zipfile.ZipInfo]) -> None:
    if len(members) > MAX_MEMBERS:
        raise refused(f"{path.name} holds more than {MAX_MEMBERS} parts.")
    seen: set[str] = set()
    for info in members:
        name = info.filename.replace("\\", "/")
        if name.lower() in seen:
            raise refused(f"{path.name} holds the same part twice.")
        seen.add(name.lower())
        if name.startswith("/") or ".." in name.split("/") or ":" in name:
            raise refused(f"{path.name} holds a part that points outside the file.")
        if _MACRO.search(name):
            raise _macros(path)
        if info.flag_bits & 0x1:
            raise refused(f"{path.name} is locked with a password.", "Save it without a password and import that file.")
    ends = 0
    for info in sorted(members, key=lambda one: one.header_offset):
        if info.header_offset < ends:
            raise refused(f"{path.name} holds parts that overlap.")
        ends = info.header_offset + info.compress_size


def _check_member(path: Path, archive: zipfile.ZipFile, info: zipfile.ZipInfo, total: int) -> int:
    xml = info.filename.lower().endswith((".xml", ".rels", ".vml"))
    size, depth = 0, 0
    tail = b""
    with archive.open(info) as file:
        while chunk := file.read(_CHUNK):
            size += len(chunk)
            total += len(chunk)
            if total > MAX_UNPACKED:
                raise refused(
                    f"{path.name} unpacks to more than {MAX_UNPACKED // 2**20} MiB.",
                    "Split the table by surgery date, or save it as CSV (UTF-8), which may be larger.",
                )
            if size > 2**20 and size > MAX_RATIO * max(info.compress_size, 1):
                raise refused(f"{path.name} unpacks to far more than a table of its size would.")
            if xml:
                piece = tail + chunk
                tail = _check_text(path, info.filename, piece)
                if info.filename == "META-INF/manifest.xml" and b"encryption-data" in piece:
                    raise refused(
                        f"{path.name} is locked with a password.", "Save it without a password and import that."
                    )
                depth = _deepest(piece[: len(piece) - len(tail)], depth, path, closely=size <= 2**20)
    return total


def _check_text(path: Path, name: str, piece: bytes) -> bytes:
    """Refuse document types, other encodings and endless text; returns what may continue in the next piece."""
    if piece.startswith((b"\xff\xfe", b"\xfe\xff")) or b"\x00" in piece:
        raise refused(f"{path.name} is written in an unusual way ({Path(name).name} is not UTF-8).")
    if b"<!DOCTYPE" in piece or b"<!ENTITY" in piece or b"<!doctype" in piece:
        raise refused(f"{path.name} carries a document type, which no spreadsheet needs.")
    tail = piece[piece.rfind(b"<") :] if b"<" in piece else piece
    if len(tail) > MAX_TEXT:
        raise refused(f"{path.name} holds a cell of more than {MAX_TEXT // 1024} KiB.")
    return tail


def _deepest(piece: bytes, depth: int, path: Path, *, closely: bool) -> int:
    """The depth at the end of the piece; tag by tag at the beginning of a part, by counting further on."""
    most = depth
    if closely:
        for match in _TAG.finditer(piece):
            if match[1]:
                depth -= 1
            elif not match[2]:
                depth += 1
                most = max(most, depth)
    else:
        closed = 2 * piece.count(b"</") + piece.count(b"/>") + piece.count(b"<?") + piece.count(b"<!")
        depth += piece.count(b"<") - closed
        most = max(most, depth)
    if most > MAX_DEPTH:
        raise refused(f"{path.name} is nested deeper than a spreadsheet is.")
    return depth


def parts(path: Path, pattern: str) -> Iterator[tuple[str, bytes]]:
    """The members whose name matches, whole; to be called after `check_zip`."""
    wanted = re.compile(pattern)
    with zipfile.ZipFile(path) as archive:
        for info in archive.infolist():
            if wanted.search(info.filename):
                yield info.filename, archive.read(info)
