"""The mapping file `intake-map.json`: which heading is which field, for files with headings of their own."""

from __future__ import annotations

import csv
import hashlib
import json
from collections.abc import Mapping as Mapped
from dataclasses import dataclass, field
from pathlib import Path

from clinic_app.errors import Refusal
from clinic_app.exchange.columns import WHY, meaning

_MAX = 2**20
_KEYS = frozenset(
    {"map_version", "made_by", "columns", "constants", "delimiter", "encoding", "decimal", "date_order", "header_print"}
)
_COLUMN_KEYS = frozenset({"heading", "field", "unit"})


@dataclass(frozen=True, slots=True)
class Mapping:
    """What a mapping file says. `columns`: heading in lower case -> (column name or None for "leave out", unit)."""

    columns: Mapped[str, tuple[str | None, str]] = field(default_factory=dict)
    constants: Mapped[str, str] = field(default_factory=dict)
    delimiter: str | None = None
    encoding: str | None = None
    decimal: str | None = None
    date_order: str | None = None
    header_print: str | None = None

    def check_headings(self, headings: tuple[str, ...], file: str) -> None:
        """Raise `Refusal` when the headings are not those that the mapping was made for."""
        if self.header_print is not None and self.header_print != header_print(headings):
            raise Refusal(
                what="The file was not imported; nothing was changed.",
                why=f"The headings of {file} are not those that the mapping file was made for.",
                next="Compare the headings, correct the mapping, and set its header_print to null or to "
                f"{header_print(headings)}.",
            )


def header_print(headings: tuple[str, ...]) -> str:
    """SHA-256 of the headings: trimmed, lower case, joined by line feeds; a column of reasons is not counted."""
    plain = [heading.strip().lower() for heading in headings]
    return hashlib.sha256("\n".join(one for one in plain if one not in ("", WHY)).encode()).hexdigest()


def _no(path: Path, why: str) -> Refusal:
    return Refusal(
        what="The mapping file cannot be used; nothing was changed.",
        why=f"In {path.name}: {why}.",
        next="Correct the mapping file and import again.",
    )


def _pairs(found: list[tuple[str, object]]) -> dict[str, object]:
    names = [name for name, _ in found]
    if len(set(names)) < len(names):
        raise ValueError("a key stands there twice")
    return dict(found)


def read_mapping(path: Path) -> Mapping:
    """Read a mapping file; refuses a key, field or value that it does not know."""
    try:
        if path.stat().st_size > _MAX:
            raise _no(path, "it is larger than 1 MiB")
        found = json.loads(path.read_bytes().decode("utf-8-sig"), object_pairs_hook=_pairs)
    except OSError:
        raise _no(path, "the file cannot be read") from None
    except (ValueError, RecursionError):
        raise _no(path, "the text is not JSON in UTF-8, or a key stands there twice") from None
    if not isinstance(found, dict):
        raise _no(path, "it must be one JSON object")
    if unknown := sorted(set(found) - _KEYS):
        raise _no(path, f"{unknown[0]!r} is not known; known are {', '.join(sorted(_KEYS))}")
    if found.get("map_version", 1) != 1:
        raise _no(path, "map_version must be 1")
    return Mapping(
        columns=_columns(path, found.get("columns", [])),
        constants=_constants(path, found.get("constants", {})),
        delimiter=_one_of(path, found, "delimiter", None),
        encoding=_one_of(path, found, "encoding", None),
        decimal=_one_of(path, found, "decimal", (".", ",")),
        date_order=_one_of(path, found, "date_order", ("ymd", "dmy", "mdy")),
        header_print=_one_of(path, found, "header_print", None),
    )


def _one_of(path: Path, found: dict[str, object], name: str, allowed: tuple[str, ...] | None) -> str | None:
    value = found.get(name)
    if value is None:
        return None
    if not isinstance(value, str) or (allowed is not None and value not in allowed):
        raise _no(path, f"{name} must be " + (" or ".join(map(repr, allowed)) if allowed else "text"))
    if name == "delimiter":
        try:
            csv.reader([], delimiter=value)
        except (TypeError, ValueError):
            raise _no(path, "delimiter must be one character such as ';'") from None
    return value


def _columns(path: Path, found: object) -> dict[str, tuple[str | None, str]]:
    if not isinstance(found, list):
        raise _no(path, 'columns must be a list of {"heading", "field"}')
    columns: dict[str, tuple[str | None, str]] = {}
    for one in found:
        if not isinstance(one, dict) or not {"heading", "field"} <= set(one) or set(one) - _COLUMN_KEYS:
            raise _no(path, "each of columns needs heading and field, may have unit, and nothing else")
        heading, name, unit = one["heading"], one["field"], one.get("unit") or ""
        if not isinstance(heading, str) or not heading.strip() or not isinstance(unit, str):
            raise _no(path, "heading and unit must be text")
        if name is not None and (not isinstance(name, str) or meaning(name) is None):
            raise _no(path, f"{name!r} is no field of the codebook")
        low = heading.strip().lower()
        if low in columns:
            raise _no(path, f"the heading {heading!r} stands there twice")
        columns[low] = (name, unit)
    named = [name for name, _ in columns.values() if name is not None]
    if len(set(named)) < len(named):
        raise _no(path, "two headings mean the same field")
    return columns


def _constants(path: Path, found: object) -> dict[str, str]:
    if not isinstance(found, dict):
        raise _no(path, "constants must be an object of field and value")
    constants: dict[str, str] = {}
    for name, value in found.items():
        if meaning(name) is None:
            raise _no(path, f"{name!r} is no field of the codebook")
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            raise _no(path, f"the constant {name} must be text or a number")
        constants[name] = str(value)
    return constants
