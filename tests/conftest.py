"""What every test shares: a quiet plotting backend, fresh folders, and the programs outside Python.

A test that needs a program outside Python carries a marker (`ngspice`, `chromium`, `confined`). Where the
program is missing, it is skipped, with the reason; in CI it fails instead, so that no check goes unseen.
"""

from __future__ import annotations

import ast
import contextlib
import functools
import gc
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

# Before anything imports matplotlib: pictures go to files, never to a screen.
os.environ["MPLBACKEND"] = "Agg"
# As `import lessonkit` asks for, but here numpy may be loaded first.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# Jupyter's parts ask for this with a warning, and all warnings are errors here.
os.environ.setdefault("JUPYTER_PLATFORM_DIRS", "1")
# Reading notebooks loads a checker of addresses that works out its grammars for 3 s, in each worker. No
# notebook has such an address. None in this table makes that import fail, which jsonschema takes as "not
# installed".
sys.modules.setdefault("rfc3987_syntax", None)  # type: ignore[arg-type]

CHECKOUT = Path(__file__).resolve().parent.parent
IN_CI = os.environ.get("CI", "").lower() in ("1", "true", "yes")

# No test judges by the clock, hypothesis included. On a desk it looks for new counterexamples each time; in
# CI its own profile tries the same ones, so that a red run is about the change and can be had again.
if not IN_CI:
    settings.register_profile("desk", deadline=None)
    settings.load_profile("desk")
# Python in a browser's page is ten times slower; there the same properties are tried a few times.
settings.register_profile("page", deadline=None, max_examples=5)

_BROWSERS = ("chromium", "chromium-browser", "google-chrome")
_HOW_TO_GET = {
    "ngspice": "install ngspice (on Debian and Ubuntu: apt install ngspice)",
    "chromium": "install Chromium (on Debian: apt install chromium), or name it in LESSONKIT_CHROMIUM",
    "firefox": "install Firefox (on Debian: apt install firefox-esr)",
    "site": "pip install lessonkit[site], which brings Node",
    "confined": "install bubblewrap, where it may make namespaces (on Debian: apt install bubblewrap)",
}


def find_ngspice() -> str | None:
    """Return the path of ngspice, or None."""
    return shutil.which("ngspice")


def find_chromium() -> str | None:
    """Return the path of a Chromium browser, or None."""
    named = os.environ.get("LESSONKIT_CHROMIUM")
    return named or next(filter(None, map(shutil.which, _BROWSERS)), None)


def find_firefox() -> str | None:
    """Return the path of Firefox, or None."""
    return next(filter(None, map(shutil.which, ("firefox-esr", "firefox"))), None)


def find_confinement() -> str | None:
    """Return the path of bubblewrap where it can make a box on this machine, or None."""
    from lessonkit.grading.reading.confine import confinement

    return shutil.which("bwrap") if confinement().safe else None


def find_what_sites_need() -> str | None:
    """Return the path of Node, which the extra `site` brings, or None."""
    from lessonkit.site.fetch import find_node

    node = find_node()
    return node[0] if node else None


_FINDERS = {
    "ngspice": find_ngspice,
    "chromium": find_chromium,
    "firefox": find_firefox,
    "confined": find_confinement,
    "site": find_what_sites_need,
}


#: What these programs are called, in rooms and tests.
_CALLED = {"bwrap", "ngspice", *_BROWSERS, "firefox", "firefox-esr"}


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add `--programs`, which leaves out every test that no program outside Python has a part in."""
    told = "only marked tests, and unit tests that reach a room which asks for a program outside Python"
    parser.addoption("--programs", action="store_true", help=told)


def pytest_configure() -> None:
    """Let child processes leave aside what takes seconds to load and has no part in any test.

    Modules of those names lie in a folder of their own, and their import fails.
    """
    paths = [str(CHECKOUT / "tests" / "left_aside"), os.environ.get("PYTHONPATH", "")]
    os.environ["PYTHONPATH"] = os.pathsep.join(filter(None, paths))


@pytest.hookimpl(hookwrapper=True)
def pytest_collection() -> Iterator[None]:
    """List the tests without searching for circles among the many objects that this makes, and that stay."""
    gc.disable()
    yield
    gc.enable()


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Leave a file unread in which `--programs` would choose nothing."""
    if not config.getoption("--programs") or not collection_path.name.startswith("test_"):
        return None
    marked = re.search(r"\bmark[.](ngspice|chromium|confined)\b", collection_path.read_text(encoding="utf-8"))
    return None if marked or asks_for_a_program(collection_path) else True


@functools.cache
def _names_in(path: Path) -> tuple[frozenset[str], frozenset[str]]:
    """Return the modules that a file may import, and its short texts, those of its docstrings aside."""
    modules, texts = set(), set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            modules |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            modules |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            texts.add(node.value)
    return frozenset(modules), frozenset(texts)


@functools.cache
def rooms_that_ask() -> frozenset[str]:
    """Return the rooms of the package that look for one of these programs, or import a room that does."""
    rooms = {
        ".".join(path.relative_to(CHECKOUT).with_suffix("").parts).removesuffix(".__init__"): path
        for path in (CHECKOUT / "lessonkit").rglob("*.py")
    }
    asking = {name for name, path in rooms.items() if _names_in(path)[1] & _CALLED}
    while more := {name for name, path in rooms.items() if _names_in(path)[0] & asking} - asking:
        asking |= more
    return frozenset(asking - {"lessonkit.__main__"})  # it leads everywhere: what counts there is the command


def asks_for_a_program(path: Path) -> bool:
    """Tell whether a file of tests reaches a room that asks for a program, by import or by its command."""
    modules, texts = _names_in(path)
    asking = rooms_that_ask()
    commands = {name.rpartition(".")[2].replace("_", "-") for name in asking if ".commands." in name}
    return bool(modules & asking or texts & (commands | _CALLED))


#: Files that share a JupyterLab and a page of it, and files that share the plans of the example surveys.
PANELS = (
    "tests/browser/test_bench_panel.py",
    "tests/browser/test_page_around.py",
    "tests/browser/test_bench_views.py",
    "tests/browser/test_hidden_panel.py",
    "tests/browser/test_paper_panels.py",
)
PLANS = (
    "tests/outside/test_plan_ngspice.py",
    "tests/unit/studies/test_plan.py",
    "tests/unit/commands/test_plan_command.py",
    "tests/workbooks/test_planning_a_retrofit.py",
    "tests/workbooks/test_too_few_conductors.py",
)

#: The files that take longest or wait most, the longest first. With a file a worker, one of them started last
#: would keep one worker busy while the others wait; so they go first, and the many short ones fill the rest.
LONGEST = (
    "tests/browser/test_every_page.py",
    "tests/workbooks/test_workbooks.py",
    "tests/workbooks/test_class_of_thirty.py",
    *PANELS,
    *PLANS,
    "tests/unit/grading/test_grading_run.py",
    "tests/workbooks/test_grading_series.py",
    "tests/unit/studies/test_prove.py",
    "tests/unit/grading/test_grading_judge.py",
    "tests/unit/grading/test_grading_class.py",
    "tests/unit/site/test_site_parts.py",
)

#: What stays on one worker with others, and the name of that company.
TOGETHER = {**dict.fromkeys(PANELS, "panels"), **dict.fromkeys(PLANS, "plans")}


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Give each worker whole files, as `--dist loadfile` says, and some of them together."""
    if config.getvalue("dist") != "loadfile":
        return None
    from xdist.scheduler import LoadFileScheduling

    class Together(LoadFileScheduling):
        def _split_scope(self, nodeid: str) -> str:
            file = super()._split_scope(nodeid)
            return TOGETHER.get(file, file)

    return Together(config, log)


@pytest.hookimpl(optionalhook=True)  # where xdist is missing, nobody asks
def pytest_xdist_auto_num_workers() -> int | None:
    """Return one worker more than there are processors, for `-n auto`.

    A quarter of the time a worker waits: for a page, a kernel, a program that was started. xdist's own
    variable goes first.
    """
    if "PYTEST_XDIST_AUTO_NUM_WORKERS" in os.environ:
        return None
    allowed = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return allowed + 1


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Put the files that take longest first, leave the order of the rest, and drop what was not asked for."""
    if config.getoption("--programs"):
        unit = CHECKOUT / "tests" / "unit"
        asking = [
            item
            for item in items
            if any(map(item.get_closest_marker, ("ngspice", "chromium", "confined")))
            or (unit in item.path.parents and asks_for_a_program(item.path))
        ]
        config.hook.pytest_deselected(items=[item for item in items if item not in set(asking)])
        items[:] = asking
    place = {CHECKOUT / name: k for k, name in enumerate(LONGEST)}
    items.sort(key=lambda item: place.get(item.path, len(place)))


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Skip a test whose program is missing, or fail it in CI."""
    for marker, find in _FINDERS.items():
        if item.get_closest_marker(marker) and find() is None:
            reason = f"{marker} is not on this machine: {_HOW_TO_GET[marker]}"
            if IN_CI:
                pytest.fail(reason, pytrace=False)
            pytest.skip(reason)


@pytest.fixture
def ngspice() -> str:
    """Return the path of ngspice; mark the test `ngspice` as well."""
    found = find_ngspice()
    assert found, "mark this test with pytest.mark.ngspice"
    return found


@pytest.fixture(scope="session")
def chromium() -> str:
    """Return the path of Chromium; mark the test `chromium` as well."""
    found = find_chromium()
    assert found, "mark this test with pytest.mark.chromium"
    return found


@pytest.fixture(scope="session")
def firefox() -> str:
    """Return the path of Firefox; mark the test `firefox` as well."""
    found = find_firefox()
    assert found, "mark this test with pytest.mark.firefox"
    return found


@pytest.fixture(scope="session")
def browser_tools() -> Iterator[Any]:
    """Start the library that drives browsers, once a process: it refuses a second start beside the first."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as tools:
        yield tools


@pytest.fixture(scope="session")
def built_site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the series for a web server, once; mark the test `site` as well.

    Where the registries can't be reached and nothing is in the cache, the test is skipped with the reason.
    LESSONKIT_SITE names a site that is there already, for whoever works on a page, or the place to build it.
    """
    named = os.environ.get("LESSONKIT_SITE")
    if named and Path(named).exists():
        return Path(named)
    if named:
        from lessonkit.__main__ import main

        half = Path(f"{named}.{os.getpid()}")
        assert main(["site", str(half)]) == 0
        with contextlib.suppress(OSError):  # another worker was quicker, and its site is the same
            half.rename(named)
        return Path(named)
    from lessonkit.site import build_site
    from lessonkit.site.fetch import CantBeHad

    out = tmp_path_factory.mktemp("site") / "public"
    try:
        build_site(out)
    except CantBeHad as why:
        pytest.skip(str(why))
    return out


@pytest.fixture(scope="session")
def asking() -> tuple[frozenset[str], Callable[[Path], bool]]:
    """Return the rooms that ask for a program outside Python, and what tells it of a file of tests."""
    return rooms_that_ask(), asks_for_a_program


@pytest.fixture
def limit_holds() -> Callable[..., None]:
    """Return what tries a limit: an act, the last values it takes, and the first ones it refuses."""

    def holds(
        act: Callable[..., object],
        taken: tuple[object, ...],
        refused: tuple[object, ...],
        error: type[Exception],
    ) -> None:
        for value in taken:
            act(value)
        for value in refused:
            with pytest.raises(error):
                act(value)

    return holds


@pytest.fixture(scope="session")
def plan_of() -> Callable[[str], Any]:
    """Return what gives the plans of an example survey: worked out once for all tests that ask."""
    from lessonkit.studies.plan import plan

    return functools.cache(plan)


@pytest.fixture(scope="session")
def checkout() -> Path:
    """Return the folder of the checkout."""
    return CHECKOUT


@pytest.fixture
def private_env(tmp_path: Path) -> dict[str, str]:
    """Return an environment whose home and Jupyter folders are new.

    For child processes that must neither read nor write the settings of whoever runs the tests.
    """
    return make_private_env(tmp_path / "private")


def make_private_env(root: Path) -> dict[str, str]:
    """Return this process's environment with every home under root."""
    env = dict(os.environ)
    homes = (
        "HOME",
        "USERPROFILE",
        "JUPYTER_CONFIG_DIR",
        "JUPYTER_DATA_DIR",
        "JUPYTER_RUNTIME_DIR",
        "JUPYTERLAB_SETTINGS_DIR",
        "JUPYTERLAB_WORKSPACES_DIR",
        "IPYTHONDIR",
        "MPLCONFIGDIR",
    )
    for name in homes:
        folder = root / name.lower()
        folder.mkdir(parents=True, exist_ok=True)
        env[name] = str(folder)
    env["PYTHONUTF8"] = "1"
    return env


@pytest.fixture
def run_lessonkit(
    private_env: dict[str, str], tmp_path: Path
) -> Callable[..., subprocess.CompletedProcess[str]]:
    """Return a function that runs `lessonkit WORDS...` as a program.

    In an empty folder, with a home of its own, as a person would run it from a shell.
    """

    def run(*words: str, timeout: float = 120, **extra: object) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "lessonkit", *words],
            cwd=tmp_path,
            env=private_env,
            capture_output=True,
            text=True,
            encoding="utf-8",
            timeout=timeout,
            check=False,
            stdin=subprocess.DEVNULL,
            **extra,  # type: ignore[call-overload]
        )

    return run
