"""The project keeps the source rules, and each rule can fail."""

from __future__ import annotations

import sys
from collections.abc import Callable

import pytest

from tests.architecture import rules
from tests.architecture.rules import CATCH_ALL_MOST, ROOT, RULES, Source, catch_alls, sources

BREAKS: list[tuple[Callable[[Source], list[str]], str, str]] = [
    (rules.outside_packages, "clinic_app/services/review.py", "import numpy as np"),
    (rules.outside_packages, "clinic_app/services/review.py", "def late():\n    from sklearn import metrics"),
    (rules.outside_packages, "clinic_app/exchange/report.py", "from matplotlib.figure import Figure"),
    (rules.outside_packages, "clinic_app/domain/record.py", "import sqlalchemy"),
    (rules.outside_packages, "clinic_app/exchange/tables.py", "from PySide6.QtCore import QObject"),
    (rules.outside_packages, "clinic_app/desktop/pages/review.py", "import numpy"),
    (rules.outside_packages, "clinic_app/figures/curve.py", "from matplotlib import pyplot"),
    (rules.outside_packages, "clinic_app/desktop/app.py", "from PySide6.QtNetwork import QLocalServer"),
    (rules.outside_packages, "clinic_app/store/engine.py", "import sqlite3"),
    (rules.outside_packages, "models/codebook/kinds.py", "import numpy as np"),
    (rules.outside_packages, "models/fit.py", "import statsmodels.api"),
    (rules.outside_packages, "models/fit.py", "from .dataset import Dataset"),
    (rules.outside_packages, "models/fit.py", "import importlib\nimportlib.import_module('pandas')"),
    (rules.outside_packages, "models/fit.py", "import importlib\nimportlib.import_module('pan' + 'das')"),
    (rules.outside_packages, "models/fit.py", "import importlib\nimportlib.import_module(f'pan{x}')"),
    (rules.uses_of_rooms, "clinic_app/services/review.py", "importlib.import_module(f'clinic_app.figures.{name}')"),
    (rules.outside_packages, "other/file.py", "x = 1"),
    (rules.library_is_pure, "models/fit.py", "import time"),
    (rules.library_is_pure, "models/fit.py", "from urllib.request import urlopen"),
    (rules.library_is_pure, "models/fit.py", "from clinic_app.errors import Refusal"),
    (rules.library_is_pure, "models/card.py", "import datetime\nwhen = datetime.date.today()"),
    (rules.library_is_pure, "models/card.py", "from models import ModelError"),
    (rules.uses_of_models, "clinic_app/domain/checks.py", "from models.fit import LogisticFit"),
    (rules.uses_of_models, "clinic_app/domain/checks.py", "from models import LogisticFit"),
    (rules.uses_of_models, "clinic_app/store/cases.py", "from models.dataset import Dataset"),
    (rules.uses_of_models, "clinic_app/desktop/pages/model.py", "from models.fit import fit_logistic"),
    (rules.uses_of_models, "clinic_app/desktop/pages/model.py", "from models import judge"),
    (rules.uses_of_models, "clinic_app/cli.py", "import models"),
    (rules.uses_of_rooms, "clinic_app/services/review.py", "from clinic_app.figures import curve"),
    (rules.uses_of_rooms, "clinic_app/services/review.py", "import clinic_app.desktop.app"),
    (rules.uses_of_rooms, "clinic_app/services/review.py", "from clinic_app import desktop"),
    (rules.no_code_in_data, "models/card.py", "import pickle"),
    (rules.no_code_in_data, "models/card.py", "from joblib import load"),
    (rules.no_code_in_data, "models/card.py", "import joblib\njoblib.load('x')"),
    (rules.no_code_in_data, "models/card.py", "import numpy as np\nnp.load('x', allow_pickle=True)"),
    (rules.no_code_in_data, "clinic_app/cli.py", "eval('1')"),
    (rules.threads_only, "models/refit.py", "from joblib import Parallel\nParallel(n_jobs=2)"),
    (rules.threads_only, "models/refit.py", "Parallel(n_jobs=2, prefer='processes')"),
    (rules.threads_only, "models/refit.py", "Parallel(n_jobs=2, prefer='threads', backend='loky')"),
    (rules.threads_only, "models/penalty.py", "LogisticRegressionCV(n_jobs=-1)"),
    (rules.threads_only, "models/penalty.py", "parallel_config(backend='loky')"),
    (rules.oldest_python_reads_it, "models/fit.py", "def first[T](items: list[T]) -> T: ..."),
    (rules.oldest_python_reads_it, "models/fit.py", "def ("),
    (rules.short_enough, "models/fit.py", "x = 1\n" * 401),
    (rules.inits_only_re_export, "clinic_app/domain/__init__.py", "def read(): ..."),
    (rules.no_vague_names, "clinic_app/domain/utils.py", ""),
    (rules.catch_all_in_place, "models/fit.py", "try:\n    x = 1\nexcept Exception:\n    x = 2"),
    (rules.catch_all_in_place, "models/fit.py", "try:\n    x = 1\nexcept:\n    x = 2"),
    (
        rules.catch_all_in_place,
        "models/fit.py",
        "try:\n    x = 1\nexcept (ValueError, BaseException) as e:\n    raise E from e",
    ),
]

KEEPS: list[tuple[str, str]] = [
    ("models/refit.py", "import numpy as np\nfrom joblib import Parallel\nParallel(n_jobs=2, prefer='threads')"),
    ("models/penalty.py", "from datetime import date\nfrom models.errors import ModelError\nRidge(n_jobs=1)"),
    ("models/card.py", "from models import codebook"),
    ("models/__init__.py", "def __getattr__(name: str) -> object: ..."),
    (
        "clinic_app/desktop/parts/gauge.py",
        "import numpy\nfrom PySide6 import QtGui\nfrom clinic_app.figures import curve",
    ),
    (
        "clinic_app/desktop/pages/case_list.py",
        "import numpy\nfrom models import Forecast\nfrom models.card import Card",
    ),
    ("clinic_app/domain/reading.py", "from models.codebook import field\nfrom models.codebook.kinds import Kind"),
    ("clinic_app/services/review.py", "import models\nfrom models.judge import judge"),
    ("clinic_app/exchange/write.py", "try:\n    x = 1\nexcept BaseException:\n    x = 2\n    raise"),
    ("clinic_app/desktop/jobs.py", "try:\n    x = 1\nexcept Exception:\n    x = 2"),
    ("clinic_app/desktop/pages/charts.py", "import importlib\nimportlib.import_module(f'clinic_app.figures.{name}')"),
    ("clinic_app/domain/pattern.py", "import re\nre.compile('x')"),
]


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__)
def test_the_project_keeps(rule: Callable[[Source], list[str]]) -> None:
    files = sources()
    assert {file.path.split("/")[0] for file in files} == {"models", "clinic_app"}
    faults = [fault for file in files for fault in rule(file)]
    assert not faults, "\n".join(faults)


def test_everything_is_caught_in_three_places_at_most() -> None:
    places = [f"{file.path}:{line}" for file in sources() for line in catch_alls(file)]
    assert len(places) <= CATCH_ALL_MOST, places


@pytest.mark.parametrize(("rule", "path", "text"), BREAKS)
def test_rule_finds_what_breaks_it(rule: Callable[[Source], list[str]], path: str, text: str) -> None:
    faults = rule(Source(path, text))
    assert faults
    assert all(fault.startswith(f"{path}:") for fault in faults)


def test_every_rule_is_shown_to_fail() -> None:
    assert {rule for rule, _, _ in BREAKS} == set(RULES)


@pytest.mark.parametrize(("path", "text"), KEEPS)
def test_rules_let_pass_what_is_allowed(path: str, text: str) -> None:
    assert not [fault for rule in RULES for fault in rule(Source(path, text))]


def test_top_level_holds_only_what_belongs_there() -> None:
    allowed = {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "clinic_app",
        "models",
        "tests",
        "sample_cases",
        "packaging",
    }
    made_by_the_program = {"demo-report"}
    found = {entry.name for entry in ROOT.iterdir() if not entry.name.startswith(".")}
    assert found - allowed - made_by_the_program == set()


def test_packaging_hides_no_package() -> None:
    import packaging.version  # the one from outside: matplotlib and pytest need it

    assert packaging.version.Version("1.10") > packaging.version.Version("1.9")
    assert not (ROOT / "packaging" / "__init__.py").exists()


def test_no_script_is_taken_for_the_standard_library() -> None:
    # a script's own folder comes first on its path: packaging/venv.py would be imported in place of venv
    names = {path.stem for path in (ROOT / "packaging").iterdir()}
    assert not names & set(sys.stdlib_module_names)
