"""What importing a part brings along: no Qt for the headless parts, nothing heavy for the window's start."""

from __future__ import annotations

import importlib.util
import json
import pkgutil
import subprocess
import sys

import pytest

from tests.architecture.rules import ROOT

HEADLESS_ROOMS = {
    "clinic_app.__main__",
    "clinic_app.cli",
    "clinic_app.domain",
    "clinic_app.errors",
    "clinic_app.exchange",
    "clinic_app.figures",
    "clinic_app.services",
    "clinic_app.session",
    "clinic_app.settings",
    "clinic_app.store",
    "models",
    "models.codebook",
    "models.fit",
    "models.forecast",
}
HEAVY = {"sklearn", "scipy", "matplotlib", "alembic", "openpyxl", "pandas", "jinja2"}


def python(script: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", script, *arguments], cwd=ROOT, capture_output=True, text=True, timeout=120, check=False
    )


def modules_after(statement: str) -> set[str]:
    """The top-level packages that are loaded after a statement in a fresh Python."""
    before = "import sys; before = set(sys.modules)"
    after = "import json; print(json.dumps(sorted({name.split('.')[0] for name in set(sys.modules) - before})))"
    result = python(f"{before}\n{statement}\n{after}")
    assert result.returncode == 0, result.stderr
    return set(json.loads(result.stdout.splitlines()[-1]))


def headless_modules() -> list[str]:
    """Every module of the project but the window; a migration's environment runs only inside a migration."""
    names = []
    for package in ("models", "clinic_app"):
        assert (ROOT / package / "__init__.py").is_file(), f"{package} is missing"
        names.append(package)
        paths = [str(ROOT / package)]
        names += [info.name for info in walk(paths, package + ".")]
    return names


def walk(paths: list[str], prefix: str) -> list[pkgutil.ModuleInfo]:
    found = []
    for info in pkgutil.iter_modules(paths, prefix):
        if info.name == "clinic_app.desktop" or info.name.endswith("migrations.env"):
            continue
        found.append(info)
        if info.ispkg:
            found += walk([f"{path}/{info.name.rpartition('.')[2]}" for path in paths], info.name + ".")
    return found


def test_everything_but_the_window_runs_without_qt() -> None:
    names = headless_modules()
    assert set(names) >= HEADLESS_ROOMS, f"missing: {sorted(HEADLESS_ROOMS - set(names))}"
    script = """
import importlib, sys

class NoQt:
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] in {"PySide6", "shiboken6"}:
            raise ModuleNotFoundError(f"No module named {name!r}", name=name)
        return None

sys.meta_path.insert(0, NoQt())
try:
    import PySide6
except ModuleNotFoundError:
    pass
else:
    sys.exit("the guard does not work")
for name in sys.argv[1:]:
    importlib.import_module(name)
"""
    result = python(script, *names)
    assert result.returncode == 0, result.stderr


@pytest.mark.parametrize("name", ["models.codebook", "models.errors", "models.progress"])
def test_the_codebook_needs_only_the_standard_library(name: str) -> None:
    loaded = modules_after(f"import {name}")
    assert "models" in loaded
    assert loaded - set(sys.stdlib_module_names) - {"models"} == set()


def test_a_forecast_needs_only_numpy() -> None:
    """It is made at each keystroke of the booking page, so its first one cannot wait for scikit-learn."""
    loaded = modules_after("import models.card, models.forecast")
    assert "models" in loaded
    assert loaded - set(sys.stdlib_module_names) - {"models", "numpy"} == set()


def test_the_window_starts_without_anything_heavy() -> None:
    assert importlib.util.find_spec("clinic_app") is not None
    loaded = modules_after("import clinic_app.desktop.app")
    assert "PySide6" in loaded
    assert loaded & HEAVY == set()
