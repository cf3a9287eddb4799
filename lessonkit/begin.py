"""The first command: from a bare checkout to a running lesson.

    python -m lessonkit.begin lab     makes `.venv` in the checkout and opens the start page
    python -m lessonkit.begin test    makes it with the test tools too, and runs every check

Nothing but Python 3.11 or newer is needed beforehand, on Windows, macOS and Linux alike, so this room uses
the standard library alone. What stands behind the command goes through: `lab --folder DIR` is an option of
`lessonkit lab`, and `test tests/unit -x` runs pytest on just that, without the linter and the type checker.

The first run takes minutes, because pip fetches JupyterLab and its company. A stamp in `.venv` then
remembers what was installed for which pyproject.toml, and the next run only looks whether all of it is
still there. A checkout that was moved or brought up to date asks pip again; where pip reaches nothing and
nothing is missing, the environment that works is used as it is.
"""

from __future__ import annotations

import contextlib
import hashlib
import importlib.util
import json
import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from lessonkit.files import write_whole

OLDEST_PYTHON = (3, 11)
CHECKOUT = Path(__file__).resolve().parent.parent
STAMP = "lessonkit-installed.json"
USAGE = (
    "usage: python -m lessonkit.begin lab [options of lessonkit lab]\n"
    "       python -m lessonkit.begin test [arguments of pytest]"
)

# What pip says when it can't reach a registry, in the words of the parts that it is made of.
_NO_NETWORK = (
    "NewConnectionError",
    "ConnectTimeoutError",
    "ReadTimeoutError",
    "NameResolutionError",
    "Failed to establish a new connection",
    "name resolution",
    "getaddrinfo failed",
    "ProxyError",
    "Network is unreachable",
)

# Run by the environment's Python: which packages do these requirements, and theirs in turn, lack? A line
# each, with its version where pip believes that it is there, but its files are not. Requirements are read
# with the library that pip brings along; where that has moved, nothing is said.
_LACKS = """
import sys
from importlib import metadata
try:
    from pip._vendor.packaging.requirements import Requirement
except ImportError:
    sys.exit()
todo, seen = [(Requirement(text), "") for text in sys.argv[1:]], set()
while todo:
    need, extra = todo.pop()
    if need.marker and not need.marker.evaluate({"extra": extra}):
        continue
    try:
        found = metadata.distribution(need.name)
    except metadata.PackageNotFoundError:
        found = None
    if found is None or not need.specifier.contains(found.version, prereleases=True):
        print(need.name)
        continue
    files = (line.partition(",")[0] for line in (found.read_text("RECORD") or "").splitlines())
    rooms = (file for file in files if file.endswith("/__init__.py") and file.count("/") == 1)
    if not all(found.locate_file(file).exists() for file in rooms):
        print(f"{need.name}=={found.version}")
    for one in ("", *need.extras):
        if (need.name, one) not in seen:
            seen.add((need.name, one))
            todo += [(Requirement(text), one) for text in found.requires or ()]
"""


class CannotBegin(Exception):
    """What stands in the way, as one sentence that says what to do."""


class NoRegistry(CannotBegin):
    """Pip could not reach its package registry."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit status."""
    what, *rest = list(sys.argv[1:] if argv is None else argv) or [""]
    if what in ("-h", "--help"):
        print(USAGE)
        return 0
    if what not in ("lab", "test"):
        instead = f", not {what!r}" if what else ""
        print(f"{USAGE}\nlessonkit.begin: say lab or test{instead}.", file=sys.stderr)
        return 2
    if what == "lab" and {"-h", "--help"} & set(rest):
        return run_child(
            [sys.executable, "-m", "lessonkit", "lab", "--help"], cwd=CHECKOUT
        )  # needs no packages
    try:
        python = prepare(CHECKOUT, extras=("dev",) if what == "test" else ())
        if what == "lab":
            return run_child([str(python), "-m", "lessonkit", "lab", *rest], env=_environment(CHECKOUT))
        return _run_checks(python, rest)
    except CannotBegin as trouble:
        print(f"lessonkit.begin: {trouble}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("\nlessonkit.begin: stopped; the same command goes on from here.", file=sys.stderr)
        return 130


def prepare(checkout: Path, extras: Sequence[str] = ()) -> Path:
    """Make or reuse the checkout's `.venv` and return its Python.

    `extras` names the optional dependencies that must be there too. Raises `CannotBegin` where this Python
    is too old, can't make environments, or pip fails.
    """
    _check_python()
    if not (checkout / "pyproject.toml").is_file():
        raise CannotBegin(
            f"{checkout} has no pyproject.toml, so this lessonkit is installed already: "
            "run `lessonkit lab` instead."
        )
    home = checkout / ".venv"
    python = _python_in(home)
    if not _is_usable(home, python):
        _make_environment(home)
    wanted = _requirements(checkout, extras)
    lacking = _lacking(python, wanted)
    if _is_installed(home, checkout, extras) and not lacking:
        return python
    if lacking and (home / STAMP).exists():
        print(f"Missing in {home}: {', '.join(lacking)}.", flush=True)
    try:
        _install(python, checkout, extras, [name for name in lacking if "==" in name])
    except NoRegistry as trouble:
        if lacking or not (home / STAMP).exists():
            raise
        print(f"{trouble}\nNothing is missing, so {home} is used as it is.", file=sys.stderr, flush=True)
        return python
    _write_stamp(home, checkout, extras)
    return python


def run_child(command: Sequence[str], cwd: Path | None = None, env: dict[str, str] | None = None) -> int:
    """Run a program to its end and return its exit status.

    Ctrl-C reaches the program itself, which decides what to do about it, and this process waits for that.
    A request to terminate is passed on, so that no server is left behind.
    """
    with subprocess.Popen(command, cwd=cwd, env=env) as child:
        before = signal.signal(signal.SIGTERM, lambda *_: child.terminate())
        try:
            while True:
                try:
                    status = child.wait()
                    break
                except KeyboardInterrupt:
                    continue
        finally:
            signal.signal(signal.SIGTERM, before)
    return status if status >= 0 else 128 - status


def _check_python() -> None:
    """Refuse a Python that is too old or has no venv."""
    if sys.version_info < OLDEST_PYTHON:
        raise CannotBegin(
            f"this is Python {sys.version_info[0]}.{sys.version_info[1]}, and lessonkit needs "
            f"{OLDEST_PYTHON[0]}.{OLDEST_PYTHON[1]} or newer: install one and run the same command with it."
        )
    for module in ("venv", "ensurepip"):
        if importlib.util.find_spec(module) is None:
            raise CannotBegin(
                f"this Python came without its {module} module: install it "
                "(on Debian and Ubuntu: apt install python3-venv) and run the same command again."
            )


def _python_in(home: Path) -> Path:
    """Return where an environment keeps its Python."""
    return home / "Scripts" / "python.exe" if os.name == "nt" else home / "bin" / "python"


def _is_usable(home: Path, python: Path) -> bool:
    """Tell whether the environment's Python starts; give it pip if it has none.

    It does not start after its base Python was removed, or after the checkout came from another machine. One
    that starts may be somebody's own work, so it is never emptied: where it is too old, that is said.
    """
    probe = (
        f"import sys, importlib.util as u; sys.exit(3 if sys.version_info < {OLDEST_PYTHON} else "
        "0 if u.find_spec('pip') else 4)"
    )
    try:
        status = subprocess.run([str(python), "-c", probe], capture_output=True, check=False).returncode
    except OSError:
        return False
    if status == 3:
        raise CannotBegin(
            f"{home} was made with a Python that is too old: delete that folder and run the command again."
        )
    if status == 4:  # some tools make environments without it
        subprocess.run([str(python), "-m", "ensurepip"], capture_output=True, check=False)
    return status in (0, 4)


def _make_environment(home: Path) -> None:
    """Make the environment, or make it anew where it is broken."""
    print(f"Making {home} ...", flush=True)
    made = subprocess.run(
        [sys.executable, "-m", "venv", "--clear", str(home)], capture_output=True, text=True, check=False
    )
    if made.returncode:
        raise CannotBegin(
            f"the environment {home} could not be made ({_last_line(made.stderr or made.stdout)}): "
            "see that there is room and that you may write there, and run the same command again."
        )


def _install(python: Path, checkout: Path, extras: Sequence[str], hollow: Sequence[str] = ()) -> None:
    """Install the checkout into its environment with pip, and first what has lost its files there."""
    print("Installing what lessonkit needs (a few minutes the first time) ...", flush=True)
    target = str(checkout) + (f"[{','.join(extras)}]" if extras else "")
    if hollow:
        _pip(python, ["--force-reinstall", "--no-deps", *hollow])
    _pip(python, ["-e", target])


def _pip(python: Path, what: Sequence[str]) -> None:
    """Let pip install something. Raises `CannotBegin` where it can't."""
    command = [str(python), "-m", "pip", "install", "--disable-pip-version-check", "--no-input"]
    if not sys.stdout.isatty():
        command.append("--quiet")
    command += what
    # Without a network, pip's own patience would keep a beginner waiting for minutes.
    env = {"PIP_RETRIES": "2", **os.environ}
    done = subprocess.run(command, env=env, stderr=subprocess.PIPE, text=True, errors="replace", check=False)
    if done.returncode == 0:
        return
    if any(sign in done.stderr for sign in _NO_NETWORK):
        raise NoRegistry(
            "pip could not reach its package registry: connect this machine to the network "
            "(or set PIP_INDEX_URL to a mirror) and run the same command again."
        )
    errors = [line for line in done.stderr.splitlines() if line.startswith("ERROR")]
    raise CannotBegin(
        f"pip could not install lessonkit ({_last_line(chr(10).join(errors) or done.stderr)}): "
        "mend that and run the same command again."
    )


def _requirements(checkout: Path, extras: Sequence[str]) -> list[str]:
    """Return what pyproject.toml asks for, an extra of its own replaced by what that asks for."""
    import tomllib  # not there in a Python that is too old, which is told before

    project = tomllib.loads((checkout / "pyproject.toml").read_text(encoding="utf-8")).get("project", {})
    own, found = project.get("name", "lessonkit"), list(project.get("dependencies", ()))
    todo = list(extras)
    while todo:
        for text in project.get("optional-dependencies", {}).get(todo.pop(), ()):
            if text.startswith(f"{own}["):
                todo += text[len(own) + 1 :].partition("]")[0].split(",")
            else:
                found.append(text)
    return found


def _lacking(python: Path, requirements: Sequence[str]) -> list[str]:
    """Name the packages that the environment lacks for these requirements, or has too old."""
    asked = [str(python), "-c", _LACKS, *requirements]
    done = subprocess.run(asked, capture_output=True, text=True, errors="replace", check=False)
    return sorted(set(done.stdout.split())) if done.returncode == 0 else []


def _environment(checkout: Path) -> dict[str, str]:
    """Return this process's environment, in which a checkout's own lessonkit comes first.

    An environment that moved with its checkout still points to where that was.
    """
    paths = filter(None, [str(checkout), os.environ.get("PYTHONPATH", "")])
    return {**os.environ, "PYTHONPATH": os.pathsep.join(paths)}


def _last_line(text: str) -> str:
    """Return the last line that says something."""
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    return lines[-1] if lines else "it gave no reason"


def _fingerprint(checkout: Path) -> str:
    """Return a digest of what the checkout asks pip for."""
    return hashlib.sha256((checkout / "pyproject.toml").read_bytes()).hexdigest()


def _is_installed(home: Path, checkout: Path, extras: Sequence[str]) -> bool:
    """Tell whether the stamp covers these extras, for this checkout."""
    try:
        stamp = json.loads((home / STAMP).read_text(encoding="utf-8"))
        same = stamp["pyproject"] == _fingerprint(checkout) and stamp["checkout"] == str(checkout)
        return same and set(extras) <= set(stamp["extras"])
    except (OSError, ValueError, KeyError, TypeError):
        return False


def _write_stamp(home: Path, checkout: Path, extras: Sequence[str]) -> None:
    """Remember what was installed, once all of it was."""
    stamp = {"pyproject": _fingerprint(checkout), "checkout": str(checkout), "extras": sorted(extras)}
    write_whole(home / STAMP, json.dumps(stamp, indent=1))


def _run_checks(python: Path, pytest_arguments: Sequence[str]) -> int:
    """Run every check of the project, or pytest on what was asked for."""
    # Tests start hundreds of Pythons, and where a machine forbids to keep what was compiled, each of them
    # would compile all rooms again.
    env = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    if pytest_arguments:
        return run_child([str(python), "-m", "pytest", *pytest_arguments], cwd=CHECKOUT, env=env)
    # Tests of one file share servers and other costly things, so a file stays on one worker. The files come
    # in the order of tests/conftest.py, the longest first; xdist itself would go by their tests.
    sharing = ["-n", "auto", "--dist", "loadfile", "--no-loadscope-reorder", "--durations", "12"]
    print("-- ruff", flush=True)
    statuses = {"ruff": run_child([str(python), "-m", "ruff", "check", "."], cwd=CHECKOUT, env=env)}
    print("-- pytest; what mypy says beside it comes at the end", flush=True)
    with _beside([str(python), "-m", "mypy"], env) as mypy:
        tests = run_child([str(python), "-m", "pytest", *sharing], cwd=CHECKOUT, env=env)
        print("-- mypy", flush=True)
        statuses["mypy"] = mypy()
    statuses["pytest"] = tests
    failed = [name for name, status in statuses.items() if status]
    if failed:
        print(f"lessonkit.begin: {' and '.join(failed)} found something; see above.", file=sys.stderr)
    return next(filter(None, statuses.values()), 0)


@contextlib.contextmanager
def _beside(command: Sequence[str], env: dict[str, str]) -> Iterator[Callable[[], int]]:
    """Run a program beside others; give what waits for it, prints what it said, and returns its status."""
    with tempfile.TemporaryFile("w+", encoding="utf-8", errors="replace") as said:
        child = subprocess.Popen(command, cwd=CHECKOUT, env=env, stdout=said, stderr=subprocess.STDOUT)

        def wait() -> int:
            status = child.wait()
            said.seek(0)
            print(said.read(), end="", flush=True)
            return status

        try:
            yield wait
        finally:
            child.terminate()  # nothing where it has ended
            child.wait()


if __name__ == "__main__":
    sys.exit(main())
