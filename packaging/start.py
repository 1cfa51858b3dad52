#!/usr/bin/env python3
"""Sets the project up on this computer, then runs it. Needs nothing but Python 3.11 to 3.14.

python3 packaging/start.py                 set up, then run the demo: a window, or without a display the whole job
python3 packaging/start.py test [ARGS]     set up, then run the everyday tests; ARGS go to pytest
python3 packaging/start.py -- ARGS         set up, then run the program with ARGS, in the folder you are in
python3 packaging/start.py task [NAME]     set up, then run a task of pyproject.toml; without NAME: list the tasks
python3 packaging/start.py --help          this text

Set up means: missing system libraries (Debian and its kin, as root), a virtual environment in .venv, and the packages
of packaging/dev.lock, each checked against its recorded digest. It is done once, and again when the lock or Python
changes.
"""

# Standard library only, and readable by Python 3.6: an old Python must be able to say that it is too old.
import hashlib
import os
import shlex
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any, Callable, Dict, Iterator, List, Optional, Sequence, Tuple

ROOT = Path(__file__).resolve().parent.parent
OLDEST = (3, 11)
NEWEST = (3, 14)
ROOM_NEEDED = 1500 * 1000 * 1000

# soname -> Debian package. Qt loads these at start; a missing one is an ImportError, or an abort.
OFFSCREEN = {
    "libEGL.so.1": "libegl1",
    "libGL.so.1": "libgl1",
    "libxkbcommon.so.0": "libxkbcommon0",
    "libfontconfig.so.1": "libfontconfig1",
    "libglib-2.0.so.0": "libglib2.0-0",
    "libdbus-1.so.3": "libdbus-1-3",
}
XCB = {
    "libxcb-cursor.so.0": "libxcb-cursor0",
    "libxcb-icccm.so.4": "libxcb-icccm4",
    "libxcb-keysyms.so.1": "libxcb-keysyms1",
    "libxcb-shape.so.0": "libxcb-shape0",
    "libxcb-xkb.so.1": "libxcb-xkb1",
    "libxkbcommon-x11.so.0": "libxkbcommon-x11-0",
}
WAYLAND = {
    "libwayland-client.so.0": "libwayland-client0",
    "libwayland-cursor.so.0": "libwayland-cursor0",
}
FONTS = "fonts-dejavu-core"


class Stop(Exception):
    """The set-up cannot go on; the text is a plain sentence for the person at the keyboard."""

    def __init__(self, sentence: str, code: int = 1) -> None:
        super().__init__(sentence)
        self.code = code


def say(text: str) -> None:
    # stderr, so that the program's own standard output (--json) stays clean
    sys.stderr.write("start: " + text + "\n")
    sys.stderr.flush()


def timed(name: str, since: float) -> None:
    say("%s: %.1f s" % (name, time.monotonic() - since))


# --- which Python ---------------------------------------------------------------------------------------------------


def version_sentence(version: Sequence[int]) -> str:
    """What is wrong with this Python version, or nothing."""
    if OLDEST <= tuple(version[:2]) <= NEWEST:
        return ""
    if tuple(version[:2]) < OLDEST:
        return "Python 3.11 or newer is needed (up to 3.14); this is Python %d.%d." % (version[0], version[1])
    return "Python 3.11 to 3.14 is needed; this is Python %d.%d, which is newer." % (version[0], version[1])


def version_of(python: str) -> Tuple[int, ...]:
    """The version that a Python says it has; empty when it does not run."""
    try:
        answer = subprocess.check_output(
            [python, "-c", "import sys; print('%d.%d' % sys.version_info[:2])"], stderr=subprocess.DEVNULL
        )
        return tuple(int(part) for part in answer.decode("ascii").split("."))
    except (OSError, ValueError, subprocess.CalledProcessError):
        return ()


def find_python(which: Callable[[str], Optional[str]] = shutil.which) -> str:
    """A Python on PATH that fits, the newest first; empty when there is none."""
    for minor in range(NEWEST[1], OLDEST[1] - 1, -1):
        found = which("python3.%d" % minor)
        # asked, not believed: a version switcher puts names on PATH that do not run
        if found and version_of(found) == (3, minor):
            return found
    return ""


def use_right_python(arguments: List[str]) -> None:
    sentence = version_sentence(sys.version_info)
    if not sentence:
        return
    other = find_python()
    if not other:
        raise Stop(sentence + " Install one (python.org, or your system's packages), then run this command again.")
    say("this is Python %d.%d; going on with %s" % (sys.version_info[0], sys.version_info[1], other))
    hand_over([other, str(Path(__file__).resolve()), *arguments], dict(os.environ))


def hand_over(command: List[str], environment: Dict[str, str]) -> None:
    """Becomes the command: its exit code and the signals are its own."""
    sys.stdout.flush()
    sys.stderr.flush()
    if os.name == "nt":  # exec there returns to the shell at once
        sys.exit(subprocess.call(command, env=environment))
    os.execve(command[0], command, environment)


# --- system libraries -----------------------------------------------------------------------------------------------


def loads(soname: str) -> bool:
    try:
        import ctypes
    except ImportError:  # a Python built without it cannot ask
        return True
    try:
        ctypes.CDLL(soname)
    except OSError:
        return False
    return True


def has_ensurepip() -> bool:
    # in a process of its own, so that the answer is fresh after an installation
    return subprocess.call([sys.executable, "-c", "import ensurepip"], stderr=subprocess.DEVNULL) == 0


def missing_packages(
    environment: Dict[str, str],
    window: bool,
    loads: Callable[[str], bool] = loads,
    has_ensurepip: Callable[[], bool] = has_ensurepip,
) -> Dict[str, str]:
    """What is not there -> the Debian package that brings it."""
    wanted = dict(OFFSCREEN)
    if window and environment.get("DISPLAY"):
        wanted.update(XCB)
    if window and environment.get("WAYLAND_DISPLAY"):
        wanted.update(WAYLAND)
    missing = {soname: package for soname, package in wanted.items() if not loads(soname)}
    if not has_ensurepip():
        missing["ensurepip"] = "python%d.%d-venv" % (sys.version_info[0], sys.version_info[1])
    if "libfontconfig.so.1" in missing:  # without a font every letter is a box
        missing["fonts"] = FONTS
    return missing


def libraries_sentence(missing: Dict[str, str], apt: bool) -> str:
    if apt:
        return "System libraries are missing. Install them with this line, then run this command again:\n  %s" % (
            "sudo apt-get install -y --no-install-recommends " + " ".join(sorted(missing.values()))
        )
    return (
        "System libraries are missing: %s. Install them with your system's package manager"
        " (on Debian they are called %s), then run this command again."
        % (", ".join(sorted(missing)), " ".join(sorted(missing.values())))
    )


def check_libraries(environment: Dict[str, str], window: bool) -> None:
    if not sys.platform.startswith("linux"):
        return
    missing = missing_packages(environment, window)
    if not missing:
        return
    apt = shutil.which("apt-get")
    if os.geteuid() != 0 or not apt:
        raise Stop(libraries_sentence(missing, bool(apt)))
    since = time.monotonic()
    say("installing system libraries: " + " ".join(sorted(missing.values())))
    quiet = dict(environment, DEBIAN_FRONTEND="noninteractive")
    patience = ["-o", "DPkg::Lock::Timeout=120"]
    watched([apt, "-qq", "update", *patience], quiet)
    code, lines = watched(
        [apt, "-qq", "install", "-y", "--no-install-recommends", *patience, *sorted(missing.values())], quiet
    )
    still = missing_packages(environment, window)
    if code != 0 or still:
        show(lines)
        raise Stop(
            "The system libraries could not be installed: %s. Is there a network connection? The lines above say more."
            % " ".join(sorted((still or missing).values()))
        )
    timed("system libraries", since)


# --- the virtual environment ----------------------------------------------------------------------------------------


def venv_folder(root: Path) -> Path:
    return root / ".venv"


def venv_scripts(root: Path) -> Path:
    return venv_folder(root) / ("Scripts" if os.name == "nt" else "bin")


def venv_python(root: Path) -> Path:
    return venv_scripts(root) / ("python.exe" if os.name == "nt" else "python")


def stamp(root: Path) -> str:
    """What the virtual environment was made from: the lock, the Python, the place (its scripts hold their path)."""
    text = (root / "packaging" / "dev.lock").read_bytes()
    return hashlib.sha256(text + sys.version.encode("utf-8") + os.fsencode(str(root))).hexdigest()


def is_ready(root: Path) -> bool:
    try:
        return venv_python(root).exists() and (venv_folder(root) / "stamp").read_text() == stamp(root)
    except FileNotFoundError:
        return False


def make_venv(root: Path, environment: Dict[str, str]) -> None:
    """Makes .venv from nothing. The stamp is written last: whatever stops this half-way, the next run starts anew."""
    lock = root / "packaging" / "dev.lock"
    if not lock.is_file():
        raise Stop("packaging/dev.lock is missing: the copy of the project is incomplete. Fetch it again.")
    free = shutil.disk_usage(str(root)).free
    if free < ROOM_NEEDED:
        raise Stop(
            "The packages need %.1f GB on the disk of %s; %.1f GB are free. Make room, then run this command again."
            % (ROOM_NEEDED / 1e9, root, free / 1e9)
        )
    with one_at_a_time(root) as held:
        if is_ready(root):
            return
        folder = venv_folder(root)
        if (folder / "stamp").exists():
            (folder / "stamp").unlink()

        since = time.monotonic()
        code, lines = watched([sys.executable, "-m", "venv", "--clear", str(folder)], environment, held)
        if code != 0:
            show(lines)
            raise Stop("The virtual environment %s could not be made; the lines above say why." % folder)
        timed("virtual environment", since)

        since = time.monotonic()
        say("fetching and installing the packages of packaging/dev.lock; this takes about a minute")
        # the environment goes to pip unchanged: a site's own index, proxy and certificates stand in it
        command = [str(venv_python(root)), "-m", "pip", "install", "--progress-bar", "off"]
        command += ["--require-hashes", "--only-binary=:all:", "-r", str(lock)]
        code, lines = watched(command, environment, held, progress=True)
        if code != 0:
            show(lines)
            raise Stop(pip_sentence(lines))
        link_project(root, environment)
        timed("packages", since)
        (folder / "stamp").write_text(stamp(root))


def link_project(root: Path, environment: Dict[str, str]) -> None:
    """Lets the environment's Python find the program from every folder, without installing it."""
    ask = "import sysconfig; print(sysconfig.get_paths()['purelib'])"
    answer = subprocess.check_output([str(venv_python(root)), "-c", ask], env=environment)
    folder = Path(answer.decode(sys.getfilesystemencoding()).strip())
    # pip's own encoding rule for these files before Python 3.13 is the locale's
    (folder / "clinic_project.pth").write_text(str(root) + "\n")


def pip_sentence(lines: Sequence[str]) -> str:
    text = "\n".join(lines)
    if "No space left on device" in text:
        return "The disk is full. Make room (%.1f GB), then run this command again." % (ROOM_NEEDED / 1e9)
    if "DO NOT MATCH THE HASHES" in text:
        return (
            "A package differs from the one recorded in packaging/dev.lock, so it was not installed."
            " Run this command again; if it stays so, the package source is not to be trusted."
        )
    unreachable = (
        "Failed to establish a new connection",
        "Temporary failure in name resolution",
        "timed out",
        "SSLError",
    )
    if any(word in text for word in (*unreachable, "ProxyError", "ConnectionResetError", "Name or service not known")):
        return "The package source cannot be reached. Is there a network connection? Then run this command again."
    if "No module named pip" in text:
        return "This Python has no pip. Install it (on Debian: python3-venv), then run this command again."
    if "No matching distribution found" in text:
        return "The package source has no ready-made package for this computer and Python; the lines above name it."
    return "The packages could not be installed; the lines above say why."


class one_at_a_time:  # noqa: N801 - reads as a word in a with statement
    """Holds the folder while it is being set up; a second set-up waits. Released by the system when a process dies.

    The handle is passed on to pip, so that a run started after a kill waits until the orphan has gone.
    """

    def __init__(self, root: Path) -> None:
        self.root = root
        self.handle = -1

    def __enter__(self) -> Tuple[int, ...]:
        try:
            import fcntl
        except ImportError:  # Windows: a folder cannot be held this way
            return ()
        self.handle = os.open(str(self.root), os.O_RDONLY)
        try:
            fcntl.flock(self.handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            say("another set-up is at work in this folder; waiting for it")
            fcntl.flock(self.handle, fcntl.LOCK_EX)
        except OSError:  # some network folders know no locks
            pass
        return (self.handle,)

    def __exit__(self, *_: Any) -> None:
        if self.handle >= 0:
            os.close(self.handle)


# --- running --------------------------------------------------------------------------------------------------------


def watched(
    command: List[str], environment: Dict[str, str], held: Tuple[int, ...] = (), progress: bool = False
) -> Tuple[int, List[str]]:
    """Runs a command and keeps what it says: exit code and lines."""
    lines: List[str] = []
    child = subprocess.Popen(
        command,
        env=environment,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        pass_fds=held,
    )
    try:
        for number, line in enumerate(spoken(child), start=1):
            lines.append(line)
            if progress:
                report_progress(number, line, lines)
        return child.wait(), lines
    finally:
        if child.poll() is None:
            child.kill()
            child.wait()


def spoken(child: Any) -> Iterator[str]:
    with child.stdout:
        for raw in child.stdout:
            yield raw.decode("utf-8", "replace").rstrip()


def report_progress(number: int, line: str, lines: Sequence[str]) -> None:
    if line.startswith("Installing collected packages"):
        say("  all fetched; installing")
    elif line.startswith(("Collecting ", "Processing ")):
        count = sum(1 for earlier in lines if earlier.startswith(("Collecting ", "Processing ")))
        if count % 15 == 0:
            say("  %d packages fetched" % count)


def show(lines: Sequence[str], last: int = 12) -> None:
    for line in lines[-last:]:
        sys.stderr.write("    " + line + "\n")


def run(command: Sequence[str], environment: Dict[str, str], folder: Path) -> int:
    """Runs a command in a folder with our own input and output; its exit code, 128 + n when signal n ended it."""
    code = subprocess.call(list(command), env=environment, cwd=str(folder))
    return code if code >= 0 else 128 - code


def window_environment(environment: Dict[str, str]) -> Dict[str, str]:
    """Lets Qt fall back to no window where the display is dead, instead of aborting."""
    changed = dict(environment)
    if sys.platform.startswith("linux") and "QT_QPA_PLATFORM" not in environment:
        if environment.get("WAYLAND_DISPLAY"):
            changed["QT_QPA_PLATFORM"] = "wayland;xcb;offscreen"
        elif environment.get("DISPLAY"):
            changed["QT_QPA_PLATFORM"] = "xcb;offscreen"
    return changed


def program(arguments: Sequence[str]) -> List[str]:
    # -P: a folder named models, or a file named numpy.py, in the folder one stands in must not be taken for ours
    return [str(venv_python(ROOT)), "-P", "-m", "clinic_app", *arguments]


def set_up(window: bool) -> None:
    environment = dict(os.environ)
    check_libraries(environment, window)
    if not is_ready(ROOT):
        since = time.monotonic()
        make_venv(ROOT, environment)
        timed("set-up", since)


def demo() -> int:
    set_up(window=True)
    since = time.monotonic()
    code = run(program(["demo"]), window_environment(dict(os.environ)), ROOT)
    timed("demo", since)
    return code


def test(arguments: Sequence[str]) -> int:
    set_up(window=False)
    since = time.monotonic()
    code = run([str(venv_python(ROOT)), "-m", "pytest", *arguments], dict(os.environ), ROOT)
    timed("tests", since)
    return code


def tasks() -> Dict[str, Any]:
    """Name -> command, or commands in order: the table of pyproject.toml."""
    import tomllib

    table: Dict[str, Any] = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    return dict(table["tool"]["clinic"]["tasks"])


def task(arguments: Sequence[str]) -> int:
    known = tasks()
    if not arguments:
        for name, commands in sorted(known.items()):
            print("%-12s %s" % (name, commands if isinstance(commands, str) else " ; ".join(commands)))
        return 0
    name, extra = arguments[0], list(arguments[1:])
    if name not in known:
        raise Stop("There is no task %r. The tasks are: %s." % (name, ", ".join(sorted(known))), 2)
    set_up(window=False)
    commands = [known[name]] if isinstance(known[name], str) else list(known[name])
    path = str(venv_scripts(ROOT)) + os.pathsep + os.environ.get("PATH", os.defpath)
    environment = dict(os.environ, PATH=path)
    for command in commands:
        words = shlex.split(command) + extra
        found = shutil.which(words[0], path=path)
        if not found:
            raise Stop("The task %r needs %r, which is not installed on this computer." % (name, words[0]))
        since = time.monotonic()
        code = run([found, *words[1:]], environment, ROOT)
        timed(command, since)
        if code:
            return code
    return 0


def main(arguments: List[str]) -> int:
    if arguments and arguments[0] in ("-h", "--help", "help"):
        print((__doc__ or "").strip())
        return 0
    use_right_python(arguments)
    if not arguments:
        return demo()
    if arguments[0] == "test":
        return test(arguments[1:])
    if arguments[0] == "task":
        return task(arguments[1:])
    if arguments[0] == "--":
        set_up(window=True)
        hand_over(program(arguments[1:]), window_environment(dict(os.environ)))
    raise Stop("%r is not one of: test, task, --, --help." % arguments[0], 2)


def end(*_: Any) -> None:
    sys.exit(143)


if __name__ == "__main__":
    signal.signal(signal.SIGTERM, end)
    try:
        sys.exit(main(sys.argv[1:]))
    except Stop as stop:
        say(str(stop))
        sys.exit(stop.code)
    except KeyboardInterrupt:
        sys.exit(130)
    except (OSError, subprocess.CalledProcessError) as fault:
        say("The set-up could not go on: %s." % fault)
        sys.exit(1)
