"""Rules on the source text that the layer contracts of pyproject.toml cannot express.

Each rule takes a parsed file and gives back faults; none reads the project by itself, so that the tests can show each
one a small text that breaks it.
"""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("models", "clinic_app")
LONGEST = 400

# Room -> the packages from outside that it may import. The longest name that fits decides.
OUTSIDE: dict[str, frozenset[str]] = {
    "models": frozenset({"numpy", "scipy", "sklearn", "joblib", "threadpoolctl"}),
    "models.codebook": frozenset(),
    "models.errors": frozenset(),
    "models.progress": frozenset(),
    "clinic_app": frozenset(),
    "clinic_app.cli": frozenset({"click", "platformdirs"}),
    "clinic_app.desktop": frozenset({"PySide6"}),
    "clinic_app.desktop.parts": frozenset({"PySide6", "numpy"}),
    "clinic_app.session": frozenset({"platformdirs"}),
    "clinic_app.settings": frozenset({"platformdirs"}),
    "clinic_app.store": frozenset({"sqlalchemy", "alembic", "sqlcipher3", "psycopg"}),
    "clinic_app.exchange": frozenset({"python_calamine", "openpyxl", "defusedxml", "jinja2", "markupsafe", "pydicom"}),
    "clinic_app.figures": frozenset({"matplotlib", "numpy"}),
}
# A table model of the window holds its columns in arrays.
LIST_MODEL = re.compile(r"clinic_app\.desktop\.(\w+\.)*\w*list\w*$")

# Room -> the modules of the risk-model library that it may import whole; None: every one.
# A room of this table may take types (capital letter) from the others where it is named in TYPES_FROM_ALL.
FROM_MODELS: dict[str, frozenset[str]] = {
    "clinic_app.errors": frozenset(),
    "clinic_app.settings": frozenset({"codebook"}),
    "clinic_app.domain": frozenset({"codebook", "errors"}),
    "clinic_app.figures": frozenset({"codebook", "errors"}),
    "clinic_app.store": frozenset({"codebook", "card", "errors", "progress"}),
    "clinic_app.exchange": frozenset({"codebook", "errors", "progress"}),
    "clinic_app.desktop": frozenset({"codebook", "errors", "progress"}),
    "clinic_app.cli": frozenset({"codebook", "errors", "progress"}),
}
TYPES_FROM_ALL = frozenset({"clinic_app.figures", "clinic_app.exchange", "clinic_app.desktop", "clinic_app.cli"})

# Room -> the only rooms that may import it.
ONLY_FROM: dict[str, tuple[str, ...]] = {
    "clinic_app.figures": ("clinic_app.figures", "clinic_app.exchange", "clinic_app.desktop"),
    "clinic_app.desktop": ("clinic_app.desktop", "clinic_app.cli", "clinic_app.__main__"),
}

# No clock, network, other process or database in the library.
NOT_IN_MODELS = frozenset(
    {
        "asyncio", "ftplib", "http", "multiprocessing", "sched", "smtplib", "socket", "sqlite3", "ssl", "subprocess",
        "time", "tkinter", "urllib", "xmlrpc",
    }
)  # fmt: skip
CLOCK_CALLS = frozenset({"now", "today", "utcnow"})
CODE_IN_DATA = frozenset({"cloudpickle", "dill", "marshal", "pickle", "shelve"})
NOWHERE = CODE_IN_DATA | {
    "sqlite3",  # sqlcipher3 is the only SQLite, the same on every system
    "matplotlib.pyplot",  # keeps every figure in a global list
    "PySide6.QtNetwork",  # needs a system library that bare machines lack
}
IMPORT_CALLS = frozenset({"import_module", "__import__"})
# Names that are worked out: the lazy door of the library; what the window brings in after its first paint.
COMPUTED_IMPORTS = frozenset({"models/__init__.py", "clinic_app/desktop/warm.py"})
CATCH_ALL_FILES = ("clinic_app/__main__.py", "clinic_app/cli/main.py", "clinic_app/desktop/jobs.py")
CATCH_ALL_MOST = 3


@dataclass(frozen=True)
class Source:
    """One file: its path below the project, its dotted name, its text."""

    path: str
    text: str

    @property
    def module(self) -> str:
        return self.path.removesuffix(".py").removesuffix("/__init__").replace("/", ".")

    @property
    def tree(self) -> ast.Module:
        return parsed(self.text)


@lru_cache(maxsize=1024)
def parsed(text: str) -> ast.Module:
    """The parsed text; empty when it cannot be parsed, which is a fault of its own."""
    try:
        return ast.parse(text)
    except SyntaxError:
        return ast.Module(body=[], type_ignores=[])


@dataclass(frozen=True)
class Imported:
    """One import: the module, the name taken from it (none for a plain import), and the line."""

    module: str
    name: str | None
    line: int

    @property
    def full(self) -> str:
        return self.module if self.name is None else f"{self.module}.{self.name}"


def sources(root: Path = ROOT, packages: Sequence[str] = PACKAGES) -> list[Source]:
    """Every Python file of the packages."""
    return [
        Source(path.relative_to(root).as_posix(), path.read_text(encoding="utf-8"))
        for package in packages
        for path in sorted((root / package).rglob("*.py"))
    ]


def imports(source: Source) -> Iterator[Imported]:
    """Every import, also those inside functions and those for type checking."""
    for node in ast.walk(source.tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield Imported(alias.name, None, node.lineno)
        elif isinstance(node, ast.ImportFrom):
            for alias in node.names:
                yield Imported("." * node.level + (node.module or ""), alias.name, node.lineno)
        elif isinstance(node, ast.Call) and _called(node) in IMPORT_CALLS and node.args:
            name = imported_name(node)
            if name:
                yield Imported(name, None, node.lineno)


def imported_name(node: ast.Call) -> str:
    """What an import call brings in: its name, or the package that a formatted name begins with; empty when unknown."""
    name = node.args[0] if node.args else None
    if isinstance(name, ast.JoinedStr) and name.values:
        start = name.values[0]
        if isinstance(start, ast.Constant) and isinstance(start.value, str) and start.value.endswith("."):
            return start.value.removesuffix(".")
    return name.value if isinstance(name, ast.Constant) and isinstance(name.value, str) else ""


def within(name: str, room: str) -> bool:
    return name == room or name.startswith(room + ".")


def room_of(module: str, rooms: Iterable[str]) -> str | None:
    """The longest room that holds the module."""
    return max((room for room in rooms if within(module, room)), key=len, default=None)


def fault(source: Source, line: int, text: str) -> str:
    return f"{source.path}:{line}: {text}"


def _called(node: ast.Call) -> str:
    function = node.func
    return (
        function.attr if isinstance(function, ast.Attribute) else function.id if isinstance(function, ast.Name) else ""
    )


def outside_packages(source: Source) -> list[str]:
    """Packages from outside stand only in their room."""
    room = room_of(source.module, OUTSIDE)
    if room is None:
        return [fault(source, 1, "stands in no room")]
    allowed = OUTSIDE[room]
    if LIST_MODEL.match(source.module):
        allowed |= {"numpy"}
    faults = []
    for item in imports(source):
        top = item.module.split(".")[0]
        if item.module.startswith("."):
            faults.append(fault(source, item.line, "a relative import; write the whole name"))
        elif top not in sys.stdlib_module_names and top not in PACKAGES and top not in allowed:
            faults.append(fault(source, item.line, f"{room} may not import {top}"))
        if item.module in NOWHERE or item.full in NOWHERE or top in NOWHERE:
            faults.append(fault(source, item.line, f"{item.full} may be imported nowhere"))
    if source.path not in COMPUTED_IMPORTS:
        faults += [
            fault(source, node.lineno, "imports a module whose name is worked out; no rule can see which")
            for node in ast.walk(source.tree)
            if isinstance(node, ast.Call) and _called(node) in IMPORT_CALLS and not imported_name(node)
        ]
    return faults


def library_is_pure(source: Source) -> list[str]:
    """The library knows no clock, network, process, database and nothing of its own package's door."""
    if not within(source.module, "models"):
        return []
    faults = [
        fault(source, item.line, f"models may not import {item.module}")
        for item in imports(source)
        if item.module.split(".")[0] in NOT_IN_MODELS or within(item.module, "clinic_app")
    ]
    faults += [
        fault(source, item.line, "a module of models takes names from the module that holds them, not from models")
        for item in imports(source)
        if (source.path != "models/__init__.py" and item.full == "models")
        or (item.module == "models" and item.name is not None and not _is_module(item.full))
    ]
    faults += [
        fault(source, node.lineno, f"models knows no clock: .{node.func.attr}()")
        for node in ast.walk(source.tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in CLOCK_CALLS
    ]
    return faults


def _is_module(name: str) -> bool:
    path = ROOT.joinpath(*name.split("."))
    return path.is_dir() or path.with_suffix(".py").is_file()


def uses_of_models(source: Source) -> list[str]:
    """Rooms of the program take from the library only what their row of the table allows."""
    room = room_of(source.module, FROM_MODELS)
    if room is None:
        return []
    faults = []
    for item in imports(source):
        if not within(item.module, "models"):
            continue
        parts = item.full.split(".")
        module = parts[1] if len(parts) > 1 else ""
        is_type = item.name is not None and item.name[:1].isupper()
        if module in FROM_MODELS[room] or (is_type and room in TYPES_FROM_ALL):
            continue
        faults.append(fault(source, item.line, f"{room} may not take {item.full} from the library"))
    return faults


def uses_of_rooms(source: Source) -> list[str]:
    """Figures are drawn for the window and for papers; the window is opened by the command line."""
    return [
        fault(source, item.line, f"{source.module} may not import {room}")
        for item in imports(source)
        for room, users in ONLY_FROM.items()
        if within(item.full, room) and not any(within(source.module, user) for user in users)
    ]


def no_code_in_data(source: Source) -> list[str]:
    """Nothing that is read from a file can run."""
    faults = []
    for node in ast.walk(source.tree):
        if not isinstance(node, ast.Call):
            continue
        if isinstance(node.func, ast.Name) and node.func.id in {"eval", "exec", "compile"}:
            faults.append(fault(source, node.lineno, f"{node.func.id}()"))
        if any(word.arg == "allow_pickle" and not _is(word.value, False) for word in node.keywords):
            faults.append(fault(source, node.lineno, "allow_pickle"))
        if _dotted(node.func) in {"joblib.load", "joblib.dump"}:
            faults.append(fault(source, node.lineno, _dotted(node.func)))
    for item in imports(source):
        if item.module.split(".")[0] in CODE_IN_DATA or item.full in {"joblib.load", "joblib.dump"}:
            faults.append(fault(source, item.line, f"{item.full} can run what it reads"))
    return faults


def threads_only(source: Source) -> list[str]:
    """Parallel work is threads: worker processes would open the frozen program's window again."""
    faults = []
    for node in ast.walk(source.tree):
        if not isinstance(node, ast.Call):
            continue
        words = {word.arg: word.value for word in node.keywords}
        name = _called(node)
        if name == "Parallel" and not _is(words.get("prefer"), "threads"):
            faults.append(fault(source, node.lineno, 'Parallel without prefer="threads"'))
        if name == "Parallel" and "backend" in words:
            faults.append(fault(source, node.lineno, "Parallel with a backend"))
        if name in {"parallel_backend", "parallel_config", "ProcessPoolExecutor"}:
            faults.append(fault(source, node.lineno, name))
        if name != "Parallel" and "n_jobs" in words and not (_is(words["n_jobs"], 1) or _is(words["n_jobs"], None)):
            faults.append(fault(source, node.lineno, "n_jobs other than 1"))
    return faults


def oldest_python_reads_it(source: Source) -> list[str]:
    """Python 3.11 can read every file, also where the tests run on a newer one."""
    try:
        ast.parse(source.text, source.path, feature_version=(3, 11))
    except SyntaxError as error:
        return [fault(source, error.lineno or 1, f"Python 3.11 cannot read it: {error.msg}")]
    return []


def short_enough(source: Source) -> list[str]:
    lines = len(source.text.splitlines())
    return [] if lines <= LONGEST else [fault(source, LONGEST, f"{lines} lines; {LONGEST} are allowed")]


def inits_only_re_export(source: Source) -> list[str]:
    """`__init__.py` holds no code but the lazy door of models."""
    if not source.path.endswith("/__init__.py"):
        return []
    return [
        fault(source, node.lineno, f"{node.name} is defined in an __init__.py")
        for node in source.tree.body
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef)
        and node.name not in {"__getattr__", "__dir__"}
    ]


def no_vague_names(source: Source) -> list[str]:
    """A file is named after what it holds."""
    vague = {"utils", "util", "helpers", "helper", "common", "misc", "managers", "manager", "base"}
    return [fault(source, 1, "a name that says nothing")] if source.module.split(".")[-1] in vague else []


def catch_alls(source: Source) -> list[int]:
    """The lines where everything is caught and not raised again."""
    lines = []
    for node in ast.walk(source.tree):
        if not isinstance(node, ast.ExceptHandler):
            continue
        caught = node.type.elts if isinstance(node.type, ast.Tuple) else [node.type]
        everything = any(
            kind is None or _dotted(kind).split(".")[-1] in {"Exception", "BaseException"} for kind in caught
        )
        last = node.body[-1]
        if everything and not (isinstance(last, ast.Raise) and last.exc is None):
            lines.append(node.lineno)
    return lines


def catch_all_in_place(source: Source) -> list[str]:
    return [
        fault(source, line, "catches everything")
        for line in catch_alls(source)
        if not source.path.startswith(CATCH_ALL_FILES)
    ]


def _is(node: ast.expr | None, value: object) -> bool:
    return isinstance(node, ast.Constant) and type(node.value) is type(value) and node.value == value


def _dotted(node: ast.expr) -> str:
    if isinstance(node, ast.Name):
        return node.id
    if isinstance(node, ast.Attribute):
        return f"{_dotted(node.value)}.{node.attr}"
    return ""


RULES = (
    outside_packages,
    library_is_pure,
    uses_of_models,
    uses_of_rooms,
    no_code_in_data,
    threads_only,
    oldest_python_reads_it,
    short_enough,
    inits_only_re_export,
    no_vague_names,
    catch_all_in_place,
)
