"""The set-up script: what it says when something is missing, when it sets up anew, what it hands to the program."""

from __future__ import annotations

import ast
import importlib.util
import json
import os
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).resolve().parents[2]
SCRIPT = ROOT / "packaging" / "start.py"


@pytest.fixture
def start() -> ModuleType:
    spec = importlib.util.spec_from_file_location("clinic_start", SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def project(tmp_path: Path) -> Path:
    """A folder with a lock that holds nothing: set up without any network."""
    (tmp_path / "packaging").mkdir()
    (tmp_path / "packaging" / "dev.lock").write_text("# nothing\n")
    return tmp_path


class Pip:
    """Stands in for the two long commands: makes an empty environment, installs nothing."""

    def __init__(self, start: ModuleType, root: Path, fail: list[str] | None = None) -> None:
        self.start, self.root, self.fail = start, root, fail
        self.commands: list[list[str]] = []
        self.environments: list[dict[str, str]] = []

    def __call__(
        self, command: list[str], environment: dict[str, str], *_: object, **__: object
    ) -> tuple[int, list[str]]:
        self.commands.append(command)
        self.environments.append(environment)
        if "venv" in command:
            python = self.start.venv_python(self.root)
            python.parent.mkdir(parents=True, exist_ok=True)
            python.unlink(missing_ok=True)
            python.symlink_to(sys.executable)
            return 0, []
        assert not (self.root / ".venv" / "stamp").exists(), "stamped before the packages are in"
        return (1, self.fail) if self.fail else (0, [])


def set_up(start: ModuleType, root: Path, monkeypatch: pytest.MonkeyPatch, fail: list[str] | None = None) -> Pip:
    pip = Pip(start, root, fail)
    monkeypatch.setattr(start, "watched", pip)
    monkeypatch.setattr(start, "link_project", lambda *_: None)
    start.make_venv(root, dict(os.environ))
    return pip


def run_script(*arguments: str, path: str | None = None) -> subprocess.CompletedProcess[str]:
    environment = dict(os.environ) if path is None else dict(os.environ, PATH=path)
    return subprocess.run(
        [sys.executable, str(SCRIPT), *arguments],
        env=environment,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


# --- which Python


def test_an_old_python_can_read_the_script() -> None:
    tree = ast.parse(SCRIPT.read_text(encoding="utf-8"), feature_version=(3, 6))
    imported = {alias.name for node in tree.body if isinstance(node, ast.Import) for alias in node.names}
    imported |= {node.module or "" for node in tree.body if isinstance(node, ast.ImportFrom)}
    assert imported <= set(sys.stdlib_module_names) - {"tomllib", "graphlib", "zoneinfo"}
    assert not [node for node in ast.walk(tree) if isinstance(node, ast.NamedExpr)]


@pytest.mark.parametrize("version", [(2, 7), (3, 6, 15), (3, 10, 13)])
def test_an_old_python_is_told_so(start: ModuleType, version: tuple[int, ...]) -> None:
    assert "Python 3.11 or newer is needed" in start.version_sentence(version)


def test_a_python_that_is_too_new_is_told_so(start: ModuleType) -> None:
    assert "Python 3.11 to 3.14 is needed; this is Python 3.15" in start.version_sentence((3, 15, 0))


@pytest.mark.parametrize("version", [(3, 11, 0), (3, 12, 1), (3, 13, 0), (3, 14, 9)])
def test_a_fitting_python_is_taken(start: ModuleType, version: tuple[int, ...]) -> None:
    assert start.version_sentence(version) == ""


def test_the_range_is_the_one_of_the_project(start: ModuleType) -> None:
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    oldest, newest = start.OLDEST, start.NEWEST
    assert project["requires-python"] == f">={oldest[0]}.{oldest[1]},<{newest[0]}.{newest[1] + 1}"


def test_a_name_on_path_that_does_not_run_is_passed_over(start: ModuleType, tmp_path: Path) -> None:
    for name, body in {"python3.13": "exit 127", "python3.12": "echo 3.12"}.items():
        (tmp_path / name).write_text(f"#!/bin/sh\n{body}\n")
        (tmp_path / name).chmod(0o755)
    found = start.find_python(lambda name: str(tmp_path / name) if (tmp_path / name).exists() else None)
    assert found == str(tmp_path / "python3.12")
    assert start.find_python(lambda _: None) == ""


def test_an_old_python_goes_on_with_a_newer_one(start: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    handed: list[list[str]] = []
    monkeypatch.setattr(start, "version_sentence", lambda _: "too old.")
    monkeypatch.setattr(start, "find_python", lambda: "/somewhere/python3.12")
    monkeypatch.setattr(start, "hand_over", lambda command, _: handed.append(command))
    start.use_right_python(["test", "-x"])
    assert handed == [["/somewhere/python3.12", str(SCRIPT), "test", "-x"]]


def test_an_old_python_alone_stops(start: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(start, "version_sentence", lambda _: "Too old.")
    monkeypatch.setattr(start, "find_python", lambda: "")
    with pytest.raises(start.Stop, match=r"Too old\. Install one") as stop:
        start.use_right_python([])
    assert stop.value.code == 1


# --- system libraries


def test_libraries_of_a_window_are_asked_for_only_with_a_display(start: ModuleType) -> None:
    def missing(environment: dict[str, str], window: bool) -> set[str]:
        return set(start.missing_packages(environment, window, lambda _: False, lambda: True).values())

    assert "libegl1" in missing({}, False)
    assert "fonts-dejavu-core" in missing({}, False)
    assert "libxcb-icccm4" not in missing({}, True)
    assert "libxcb-icccm4" not in missing({"DISPLAY": ":0"}, False)
    assert "libxcb-icccm4" in missing({"DISPLAY": ":0"}, True)
    assert "libwayland-cursor0" in missing({"WAYLAND_DISPLAY": "wayland-0"}, True)


def test_nothing_is_missing_where_everything_loads(start: ModuleType) -> None:
    assert start.missing_packages({"DISPLAY": ":0"}, True, lambda _: True, lambda: True) == {}


def test_a_python_without_ensurepip_needs_its_own_venv_package(start: ModuleType) -> None:
    missing = start.missing_packages({}, False, lambda _: True, lambda: False)
    assert missing == {"ensurepip": f"python{sys.version_info[0]}.{sys.version_info[1]}-venv"}


def test_a_library_that_is_not_there_does_not_load(start: ModuleType) -> None:
    assert not start.loads("libthere-is-no-such-library.so.9")


def test_a_user_gets_one_line_to_copy(start: ModuleType) -> None:
    sentence = start.libraries_sentence({"libGL.so.1": "libgl1", "libEGL.so.1": "libegl1"}, True)
    assert sentence.splitlines()[1].strip() == "sudo apt-get install -y --no-install-recommends libegl1 libgl1"
    assert "package manager" in start.libraries_sentence({"libGL.so.1": "libgl1"}, False)


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="system libraries are checked on Linux only")
def test_without_root_nothing_is_installed(start: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(start, "missing_packages", lambda *_: {"libGL.so.1": "libgl1"})
    monkeypatch.setattr(start.os, "geteuid", lambda: 1000)
    monkeypatch.setattr(start, "watched", lambda *_: pytest.fail("a command was run"))
    with pytest.raises(start.Stop, match="libgl1"):
        start.check_libraries({}, window=False)


# --- the virtual environment


def test_set_up_once(start: ModuleType, project: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert not start.is_ready(project)
    pip = set_up(start, project, monkeypatch)
    assert start.is_ready(project)
    venv, install = pip.commands
    assert "--clear" in venv
    assert {"--require-hashes", "--only-binary=:all:", "-r"} <= set(install)
    assert set_up(start, project, monkeypatch).commands == []


def test_pip_gets_the_environment_unchanged(start: ModuleType, project: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PIP_CERT", "/a/certificate")
    pip = set_up(start, project, monkeypatch)
    assert pip.environments == [dict(os.environ)] * 2
    assert not [word for word in pip.commands[1] if "index" in word or "isolated" in word]


def test_another_lock_sets_up_anew(start: ModuleType, project: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    set_up(start, project, monkeypatch)
    (project / "packaging" / "dev.lock").write_text("# something else\n")
    assert not start.is_ready(project)
    assert len(set_up(start, project, monkeypatch).commands) == 2


def test_another_python_or_place_sets_up_anew(
    start: ModuleType, project: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    set_up(start, project, monkeypatch)
    moved = project.with_name(project.name + "-moved")
    project.rename(moved)
    assert not start.is_ready(moved)
    moved.rename(project)
    assert start.is_ready(project)
    monkeypatch.setattr(start.sys, "version", "another one")
    assert not start.is_ready(project)


def test_a_python_that_went_away_sets_up_anew(
    start: ModuleType, project: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    set_up(start, project, monkeypatch)
    start.venv_python(project).unlink()
    assert not start.is_ready(project)


def test_a_failed_installation_is_not_taken_for_done(
    start: ModuleType, project: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    set_up(start, project, monkeypatch)
    (project / "packaging" / "dev.lock").write_text("# newer\n")
    with pytest.raises(start.Stop, match="network connection"):
        set_up(start, project, monkeypatch, fail=["... Failed to establish a new connection: ..."])
    assert not start.is_ready(project)
    set_up(start, project, monkeypatch)
    assert start.is_ready(project)


@pytest.mark.parametrize(
    ("line", "sentence"),
    [
        ("OSError: [Errno 28] No space left on device", "disk is full"),
        ("Temporary failure in name resolution", "network connection"),
        ("ERROR: THESE PACKAGES DO NOT MATCH THE HASHES FROM THE REQUIREMENTS FILE", "differs from the one recorded"),
        ("/x/.venv/bin/python: No module named pip", "no pip"),
        ("ERROR: No matching distribution found for numpy==2.4.6", "no ready-made package"),
        ("something new", "lines above"),
    ],
)
def test_a_failure_is_said_in_a_plain_sentence(start: ModuleType, line: str, sentence: str) -> None:
    assert sentence in start.pip_sentence(["Collecting numpy", line])


def test_a_full_disk_stops_before_anything_is_touched(
    start: ModuleType, project: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    usage = start.shutil.disk_usage(str(project))
    monkeypatch.setattr(start.shutil, "disk_usage", lambda _: usage._replace(free=10_000_000))
    with pytest.raises(start.Stop, match=r"need 1\.5 GB"):
        set_up(start, project, monkeypatch)
    assert not (project / ".venv").exists()


def test_a_missing_lock_is_said(start: ModuleType, tmp_path: Path) -> None:
    with pytest.raises(start.Stop, match=r"packaging/dev\.lock is missing"):
        start.make_venv(tmp_path, {})


@pytest.mark.skipif(os.name == "nt", reason="a folder cannot be held on Windows")
def test_a_second_set_up_waits(start: ModuleType, project: Path) -> None:
    import fcntl

    with start.one_at_a_time(project):
        other = os.open(project, os.O_RDONLY)
        with pytest.raises(BlockingIOError):
            fcntl.flock(other, fcntl.LOCK_EX | fcntl.LOCK_NB)
    fcntl.flock(other, fcntl.LOCK_EX | fcntl.LOCK_NB)
    os.close(other)


# --- running


def test_exit_codes_and_signals_are_passed_on(start: ModuleType, tmp_path: Path) -> None:
    def code(statement: str) -> int:
        return start.run([sys.executable, "-c", statement], dict(os.environ), tmp_path)

    assert code("") == 0
    assert code("import sys; sys.exit(3)") == 3
    if os.name != "nt":
        assert code("import os; os.kill(os.getpid(), 9)") == 137


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="other systems have one window platform")
def test_qt_falls_back_only_where_there_is_a_display(start: ModuleType) -> None:
    assert "QT_QPA_PLATFORM" not in start.window_environment({})
    assert start.window_environment({"DISPLAY": ":0"})["QT_QPA_PLATFORM"] == "xcb;offscreen"
    wayland = {"DISPLAY": ":0", "WAYLAND_DISPLAY": "wayland-0"}
    assert start.window_environment(wayland)["QT_QPA_PLATFORM"] == "wayland;xcb;offscreen"
    own = {"DISPLAY": ":0", "QT_QPA_PLATFORM": "vnc"}
    assert start.window_environment(own) == own


def test_the_program_runs_in_the_folder_one_stands_in(start: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    handed: list[list[str]] = []

    def hand_over(command: list[str], _: dict[str, str]) -> None:
        handed.append(command)
        raise SystemExit(0)

    monkeypatch.setattr(start, "set_up", lambda window: None)
    monkeypatch.setattr(start, "hand_over", hand_over)
    with pytest.raises(SystemExit):
        start.main(["--", "import", "a file.csv"])
    # -P: nothing in that folder is imported by mistake
    assert handed == [[str(start.venv_python(ROOT)), "-P", "-m", "clinic_app", "import", "a file.csv"]]


def test_the_first_command_runs_the_demo_in_the_project(start: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    ran: list[tuple[list[str], Path]] = []

    def run(command: list[str], _: dict[str, str], folder: Path) -> int:
        ran.append((command, folder))
        return 3

    monkeypatch.setattr(start, "set_up", lambda window: None)
    monkeypatch.setattr(start, "run", run)
    assert start.main([]) == 3
    assert ran == [([str(start.venv_python(ROOT)), "-P", "-m", "clinic_app", "demo"], ROOT)]


def test_help_and_wrong_words() -> None:
    shown = run_script("--help")
    assert shown.returncode == 0
    assert "packaging/start.py test" in shown.stdout
    wrong = run_script("tset")
    assert wrong.returncode == 2
    assert "'tset' is not one of" in wrong.stderr
    assert "Traceback" not in wrong.stderr


def test_tasks_are_listed_and_a_wrong_one_is_refused(start: ModuleType) -> None:
    listed = run_script("task")
    assert listed.returncode == 0
    assert {line.split()[0] for line in listed.stdout.splitlines()} == set(start.tasks())
    wrong = run_script("task", "cofee")
    assert wrong.returncode == 2
    assert "no task 'cofee'" in wrong.stderr


def test_every_task_starts_a_program_that_the_lock_brings(start: ModuleType) -> None:
    commands = [
        command for entry in start.tasks().values() for command in ([entry] if isinstance(entry, str) else entry)
    ]
    first = {command.split()[0] for command in commands}
    here = Path(sys.executable).parent
    assert first - {"uv"} == {word for word in first if (here / word).exists() or (here / f"{word}.exe").exists()}


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="signals")
def test_killed_half_way_the_next_run_sets_up_anew(project: Path) -> None:
    """With a real environment and a pip that hangs: killed, then run again."""
    script = project / "packaging" / "start.py"
    script.write_bytes(SCRIPT.read_bytes())
    (project / "clinic_app").mkdir()
    body = "import json, os, sys\nprint(json.dumps([sys.argv[1:], os.getcwd()]))\nsys.exit(3)\n"
    (project / "clinic_app" / "__main__.py").write_text(body)
    lock = project / "packaging" / "dev.lock"
    pipe = project / "never.txt"
    os.mkfifo(pipe)
    lock.write_text("-r ../never.txt\n")  # pip waits for a writer that never comes

    started = subprocess.Popen([sys.executable, str(script), "--", "x"], stderr=subprocess.PIPE, text=True)
    assert started.stderr is not None
    for line in started.stderr:
        if "fetching" in line:
            break
    started.kill()
    started.wait(timeout=30)
    started.stderr.close()
    assert (project / ".venv").exists()
    assert not (project / ".venv" / "stamp").exists()

    os.close(os.open(pipe, os.O_RDWR | os.O_NONBLOCK))
    pipe.unlink()
    pipe.write_text("")
    lock.write_text("# nothing\n")
    caller = project / "elsewhere"
    (caller / "models").mkdir(parents=True)
    for _ in range(2):
        again = subprocess.run(
            [sys.executable, str(script), "--", "cases", "--json"],
            cwd=caller, capture_output=True, text=True, timeout=300, check=False,
        )  # fmt: skip
        assert again.returncode == 3, again.stderr
        assert json.loads(again.stdout) == [["cases", "--json"], str(caller.resolve())]
    assert "packages" not in again.stderr, "the second run has nothing to set up"
