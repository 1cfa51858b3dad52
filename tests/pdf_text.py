"""Reads back the PDFs that the program writes: words page by page, names of embedded fonts, size of the pages.

Only what those files hold: one stream a page, glyphs by number, a table from glyphs to letters in each font.
"""

from __future__ import annotations

import re
import zlib
from dataclasses import dataclass

_OBJECT = re.compile(rb"\n(\d+) 0 obj\n(.*?)\nendobj", re.DOTALL)
_WORD = re.compile(rb"/(F\d+) [\d.]+ Tf|(?:([-\d.]+) [-\d.]+ Td )?<([0-9A-Fa-f]+)> Tj|(\bET\b)")


@dataclass(frozen=True)
class Pdf:
    """What a PDF holds. Each stretch of words that was drawn at once is a line of its page's text; `lefts` are the
    places where the lines of all pages begin, in dots of the device."""

    pages: tuple[str, ...]
    lefts: tuple[tuple[str, float], ...]
    fonts: tuple[str, ...]
    sizes: tuple[tuple[float, float], ...]
    colours: frozenset[tuple[float, ...]]

    @property
    def text(self) -> str:
        return "\n".join(self.pages)


def read_pdf(content: bytes) -> Pdf:
    objects = {int(found[1]): found[2] for found in _OBJECT.finditer(content)}
    pages, lefts, sizes, colours = [], [], [], set()
    for body in objects.values():
        if not re.search(rb"/Type /Page\n", body):
            continue
        drawn = _stream(objects[_number(rb"/Contents (\d+)", body)])
        resources = objects[_number(rb"/Resources (\d+)", body)]
        letters = {
            found[1].decode(): _letters(objects, int(found[2]))
            for found in re.finditer(rb"/(F\d+) (\d+) 0 R", resources)
        }
        text, lines = _words(drawn, letters)
        pages.append(text)
        lefts += lines
        box = re.search(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", body)
        assert box is not None
        sizes.append((float(box[1]), float(box[2])))
        colours |= {
            tuple(float(one) for one in found[1].split()) for found in re.finditer(rb"([\d. ]+) (?:scn|SCN)\b", drawn)
        }
    embedded = [body for body in objects.values() if re.search(rb"/FontFile\d? \d+ 0 R", body)]
    names = {re.search(rb"/FontName /([^\s/]+)", body)[1].decode() for body in embedded}  # type: ignore[index]
    return Pdf(tuple(pages), tuple(lefts), tuple(sorted(names)), tuple(sizes), frozenset(colours))


def _number(pattern: bytes, body: bytes) -> int:
    found = re.search(pattern, body)
    assert found is not None
    return int(found[1])


def _stream(body: bytes) -> bytes:
    raw = body[body.index(b"stream\n") + 7 :]
    return zlib.decompressobj().decompress(raw) if b"/FlateDecode" in body else raw


def _letters(objects: dict[int, bytes], font: int) -> dict[int, str]:
    table = _stream(objects[_number(rb"/ToUnicode (\d+)", objects[font])])
    letters: dict[int, str] = {}
    for line in table.splitlines():
        codes = [bytes.fromhex(one.decode()) for one in re.findall(rb"<(\w+)>", line)]
        first = int.from_bytes(codes[0]) if codes else 0
        if b"[" in line:
            for place, code in enumerate(codes[2:]):
                letters[first + place] = code.decode("utf-16-be")
        elif len(codes) == 3:
            for place in range(int.from_bytes(codes[1]) - first + 1):
                letters[first + place] = chr(int.from_bytes(codes[2]) + place)
    return letters


def _words(drawn: bytes, letters: dict[str, dict[int, str]]) -> tuple[str, list[tuple[str, float]]]:
    lines: list[tuple[str, float]] = []
    line, left, font = "", 0.0, ""
    for found in _WORD.finditer(drawn):
        if found[1]:
            font = found[1].decode()
        elif found[3]:
            code = found[3].decode()
            left = left if line else float(found[2] or 0)
            line += "".join(
                letters[font].get(int(code[at : at + 4], 16), "\ufffd") for at in range(0, len(code), 4)
            ).replace("\t", " ")  # one glyph stands for both
        else:
            lines.append((line, left))
            line = ""
    return "".join(f"{one}\n" for one, _ in lines), lines
