"""The lock of packages: complete, with digests, and without a trace of the machine that made it."""

from __future__ import annotations

import re
import sys
import tomllib
from pathlib import Path

import pytest
from packaging.markers import default_environment
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parents[2]
LOCK = (ROOT / "packaging" / "dev.lock").read_text(encoding="utf-8")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def entries() -> dict[str, str]:
    """Name -> the text of its entry: version, marker, digests."""
    texts = re.split(r"^(?=[A-Za-z0-9])", LOCK, flags=re.MULTILINE)
    return {canonicalize_name(re.split(r"[=\[]", text)[0]): text for text in texts if re.match(r"[A-Za-z0-9]", text)}


def wanted() -> list[Requirement]:
    extras = [line for lines in PROJECT["optional-dependencies"].values() for line in lines]
    return [Requirement(line) for line in PROJECT["dependencies"] + extras]


def test_the_lock_names_no_source_and_no_machine() -> None:
    code = "\n".join(line for line in LOCK.splitlines() if not line.startswith("    # "))
    assert "://" not in LOCK
    assert "@" not in code
    assert not re.search(r"^\s*(-|--)(i|f|e|index|extra|find|trusted)", LOCK, flags=re.MULTILINE)
    assert "/" not in code


def test_every_entry_is_one_version_with_digests() -> None:
    assert len(entries()) > 40
    for name, text in entries().items():
        assert re.match(r"[A-Za-z0-9._-]+==[^ ]+", text), name
        assert re.findall(r"--hash=sha256:[0-9a-f]{64}\b", text), name
    names = [canonicalize_name(line.split("==")[0]) for line in LOCK.splitlines() if re.match(r"[A-Za-z0-9]", line)]
    assert len(names) == len(set(names)), "one version for every Python and system"


@pytest.mark.parametrize("requirement", wanted(), ids=lambda r: r.name)
def test_the_lock_holds_what_the_project_asks_for(requirement: Requirement) -> None:
    text = entries().get(canonicalize_name(requirement.name))
    assert text is not None, f"{requirement.name} is not locked: run the task `lock`"
    version = re.match(r"[^=]+==(\S+)", text)
    assert version is not None
    assert requirement.specifier.contains(version[1])


def test_what_runs_here_is_what_is_locked() -> None:
    from importlib.metadata import version

    for requirement in wanted():
        text = entries()[canonicalize_name(requirement.name)]
        marker = re.match(r"[^;\\]+;\s*([^\\]+)", text)
        if marker and not Requirement(f"x; {marker[1].strip()}").marker.evaluate(default_environment()):  # type: ignore[union-attr,arg-type]
            continue
        assert f"=={version(requirement.name)} " in text, requirement.name


def test_no_newer_qt_on_python_3_11() -> None:
    """PySide6 6.12.0 loses a reference of True at each emit: on Python 3.11, where True can die, it aborts."""
    import PySide6

    assert PySide6.__version_info__[:2] < (6, 12) or sys.version_info >= (3, 12)


def test_the_version_stands_in_one_place() -> None:
    import clinic_app

    assert PROJECT["dynamic"] == ["version"]
    assert re.fullmatch(r"\d+\.\d+\.\d+", clinic_app.__version__)
