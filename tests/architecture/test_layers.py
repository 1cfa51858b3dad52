"""The layer contracts of pyproject.toml hold, and each of them can fail."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

from tests.architecture.rules import ROOT

SOUND = {
    "models/__init__.py": "",
    "models/errors.py": "",
    "models/progress.py": "",
    "models/codebook/__init__.py": "from models import errors",
    "models/fit.py": "from models import codebook",
    "clinic_app/__init__.py": "",
    "clinic_app/__main__.py": "from clinic_app import cli",
    "clinic_app/cli.py": "from clinic_app import desktop, services",
    "clinic_app/desktop/__init__.py": "from clinic_app import services",
    "clinic_app/services/__init__.py": "",
    "clinic_app/services/book.py": "from clinic_app import session",
    "clinic_app/services/grade.py": "import models.fit",
    "clinic_app/session.py": "from clinic_app import store, exchange, settings",
    "clinic_app/exchange/__init__.py": "from clinic_app import domain",
    "clinic_app/store/__init__.py": "from clinic_app import domain",
    "clinic_app/domain/__init__.py": "from clinic_app import errors",
    "clinic_app/settings.py": "from clinic_app import errors",
    "clinic_app/errors.py": "",
}
# contract -> the file that breaks it
BROKEN = {
    "The layers of the risk-model library": ("models/errors.py", "def late():\n    import models.fit"),
    "The layers of the program": ("clinic_app/domain/__init__.py", "def late():\n    from clinic_app import services"),
    "The risk-model library knows nothing of the program, nor of windows, databases, plots and files of others": (
        "models/fit.py",
        "from sqlalchemy import text",
    ),
    "The window never reaches for the store": ("clinic_app/desktop/__init__.py", "from clinic_app import store"),
    "Services do not call one another": ("clinic_app/services/grade.py", "from clinic_app.services import book"),
}


def lint(folder: Path) -> subprocess.CompletedProcess[str]:
    command = "from importlinter.cli import lint_imports_command; lint_imports_command(['--no-cache'])"
    return subprocess.run(
        [sys.executable, "-c", command], cwd=folder, capture_output=True, text=True, timeout=120, check=False
    )


def small_project(folder: Path, changes: dict[str, str]) -> Path:
    for name, text in (SOUND | changes).items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text + "\n", encoding="utf-8")
    (folder / "pyproject.toml").write_bytes((ROOT / "pyproject.toml").read_bytes())
    return folder


def test_the_project_keeps_the_layers() -> None:
    result = lint(ROOT)
    assert result.returncode == 0, result.stdout + result.stderr


def test_contracts_pass_a_sound_project(tmp_path: Path) -> None:
    result = lint(small_project(tmp_path, {}))
    assert result.returncode == 0, result.stdout + result.stderr


def test_every_contract_can_fail(tmp_path: Path) -> None:
    configured = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"][
        "contracts"
    ]
    assert {contract["name"] for contract in configured} == set(BROKEN)
    result = lint(small_project(tmp_path, dict(BROKEN.values())))
    assert result.returncode == 1
    kept = [line for line in result.stdout.splitlines() if line.rstrip().endswith("KEPT")]
    assert not kept, result.stdout


def test_a_file_outside_the_layers_breaks_the_build(tmp_path: Path) -> None:
    result = lint(small_project(tmp_path, {"models/utils.py": "", "clinic_app/shared.py": ""}))
    assert result.returncode == 1
    assert "utils" in result.stdout
    assert "shared" in result.stdout
