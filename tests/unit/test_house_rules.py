"""The rules of the house, held by a test where a test can hold them.

DEVELOPERS.md tells each rule and its reason. When a rule fails here, the message names the file and line.
"""

from __future__ import annotations

import ast
import re
import statistics
import subprocess
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

import pytest

import lessonkit

CHECKOUT = Path(__file__).resolve().parents[2]
PACKAGE = CHECKOUT / "lessonkit"

TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "notebooks", "lessonkit", "tests", "figures"}
LONGEST_ROOM = 450
# A docstring's first line is what help() and completion show: short for what the package publishes.
LONGEST_PUBLISHED_SUMMARY = 64
LONGEST_SUMMARY = 100

# Kept apart from the floors up to the studies, which must work where there is neither notebook nor screen.
FACES_ONLY = {"matplotlib", "ipywidgets", "IPython", "scipy", "pytest", "nbformat", "nbval", "rich", "jinja2"}
# Judges from outside: if the package used them, they could not judge it.
TESTS_ONLY = {
    "scipy",
    "crcmod",
    "crccheck",
    "hypothesis",
    "playwright",
    "pytest_benchmark",
    "axe_playwright_python",
    "pypdf",
    "spellchecker",
    "psychrolib",
}

# Folders of one machine. Each pattern is written so that it doesn't find itself.
MACHINE_PATHS = re.compile(r"/[w]ork/|/[r]oot/|/[h]ome/\w|/[U]sers/\w|C:\\+[U]sers")
# What a file of the project has no business pointing to: papers of the founding, and talk about talk.
STRAY_CITES = re.compile(
    r"\b(facts|design|style|brief)[.]md\b|\bshared[/]probes\b|[y]outu[.]?be|\b[p]odcasts?\b|\b[t]ranscripts?\b|\b[w]ebinars?\b",
    re.IGNORECASE,
)


def tracked() -> list[Path]:
    """List the files under version control, or all of them in a checkout without git."""
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=CHECKOUT, capture_output=True, text=True, check=False
    )
    if listed.returncode:
        pytest.skip("this checkout is not a git repository")
    return [CHECKOUT / name for name in listed.stdout.split("\0") if name and (CHECKOUT / name).is_file()]


def rooms() -> list[Path]:
    """List the rooms of the package."""
    return sorted(path for path in PACKAGE.rglob("*.py") if "__pycache__" not in path.parts)


def files_of_tests() -> list[Path]:
    """List the files that hold tests."""
    return sorted((CHECKOUT / "tests").rglob("test_*.py"))


@cache
def parsed(path: Path) -> ast.Module:
    """Parse a file once."""
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


def where(path: Path, line: int = 1) -> str:
    """Say where something is, for a message."""
    return f"{path.relative_to(CHECKOUT)}:{line}"


def module_name(path: Path) -> str:
    """Name a room as Python does."""
    parts = path.relative_to(CHECKOUT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" and len(parts) > 2 else parts)


@cache
def the_map() -> dict[str, list[str]]:
    """Read the map in DEVELOPERS.md: each folder, lowest floor first, and its rooms."""
    found: dict[str, list[str]] = {"": []}
    folder = ""
    text = (CHECKOUT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for line in text.partition("## The map")[2].partition("\n## ")[0].splitlines():
        if heading := re.match(r"    (\w+)/  ", line):
            folder = heading[1]
            assert folder not in found, f"{folder}/ is twice on the map in DEVELOPERS.md"
            found[folder] = []
        elif room := re.match(r"      ?(?:  )?([\w/]+[.]py)  ", line):
            found[folder].append(room[1])
    return found


@cache
def floors() -> dict[str, int]:
    """Return the floor of each folder, and of each room that stands beside the folders."""
    ground = {"__init__": 0} | {Path(room).stem: 0 for room in the_map()[""]}
    folders = [folder for folder in the_map() if folder]
    return ground | {folder: k for k, folder in enumerate(folders, 1)} | {"__main__": len(folders) + 1}


def floor_of(module: str) -> int:
    """Return the floor of a module, or fail with what to do."""
    room = [*module.split("."), "__init__"][1]
    assert room in floors(), f"lessonkit/{room} is not on the map: give it a line in DEVELOPERS.md"
    return floors()[room]


@cache
def imports(path: Path) -> tuple[tuple[str, int], ...]:
    """Return each module that a room imports with its line, relative ones made absolute."""
    return tuple(_imports(ast.walk(parsed(path)), module_name(path), path.name == "__init__.py"))


@cache
def imports_that_run(path: Path) -> tuple[tuple[str, int], ...]:
    """Return what `imports` does, less what only a type checker reads."""
    if "TYPE_CHECKING" not in path.read_text("utf-8"):
        return imports(path)
    tree = without_type_checking(path)
    return tuple(_imports(ast.walk(tree), module_name(path), path.name == "__init__.py"))


def _imports(nodes: Iterator[ast.AST], home: str, is_package: bool) -> Iterator[tuple[str, int]]:
    for node in nodes:
        if isinstance(node, ast.Import):
            yield from ((alias.name, node.lineno) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                up = home.split(".")
                up = up[: len(up) - node.level + is_package]
                base = ".".join([*up, base] if base else up)
            for alias in node.names:
                inner = f"{base}.{alias.name}"
                is_room = base.startswith("lessonkit") and _is_module(inner)
                yield (inner if is_room else base), node.lineno


@cache
def _is_module(name: str) -> bool:
    path = CHECKOUT.joinpath(*name.split("."))
    return path.with_suffix(".py").is_file() or (path / "__init__.py").is_file()


def without_type_checking(path: Path) -> ast.Module:
    """Parse a room, less what only a type checker reads."""

    class Dropper(ast.NodeTransformer):
        def visit_If(self, node: ast.If) -> ast.AST | None:
            if isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
                return None
            return self.generic_visit(node)

    return Dropper().visit(ast.parse(path.read_text("utf-8")))


def test_top_level_holds_what_was_agreed() -> None:
    """Nothing but the agreed files and folders stands at the top."""
    top = {path.relative_to(CHECKOUT).parts[0] for path in tracked()}
    assert {name for name in top if not name.startswith(".")} <= TOP_LEVEL


def test_rooms_stay_small() -> None:
    """A room that outgrows 450 lines holds two ideas and is split."""
    lengths = {where(path): len(path.read_text("utf-8").splitlines()) for path in rooms()}
    assert {room: length for room, length in lengths.items() if length > LONGEST_ROOM} == {}
    assert statistics.median(lengths.values()) <= 300


def test_the_map_is_the_tree() -> None:
    """The map in DEVELOPERS.md names the folders and rooms that are there, each once."""
    mapped = sorted(f"{folder}/{room}".lstrip("/") for folder, listed in the_map().items() for room in listed)
    there = sorted(
        path.relative_to(PACKAGE).as_posix()
        for path in rooms()
        if path.name not in ("__init__.py", "__main__.py") and not path.name.startswith("_")
    )
    assert mapped == there


def test_imports_go_down_only() -> None:
    """No room imports from a floor above its own."""
    upward = []
    for path in rooms():
        home = module_name(path)
        for module, _ in imports_that_run(path):
            if module.split(".")[0] == "lessonkit" and floor_of(module) > floor_of(home):
                upward.append(f"{where(path)} imports {module} from floor {floor_of(module)}")
    assert upward == []


def test_no_room_imports_itself_in_a_circle() -> None:
    """What a room imports, inside functions too, never leads back to it."""
    graph: dict[str, set[str]] = {}
    for path in rooms():
        home = module_name(path)
        graph[home] = {m for m, _ in imports_that_run(path) if m.startswith("lessonkit.") and m != home}

    def circle(module: str, path: tuple[str, ...]) -> tuple[str, ...] | None:
        if module in path:
            return (*path[path.index(module) :], module)
        if module in clear:
            return None
        for below in sorted(graph.get(module, ())):
            found = circle(below, (*path, module))
            if found:
                return found
        clear.add(module)
        return None

    clear: set[str] = set()
    assert list(filter(None, (circle(module, ()) for module in graph))) == []


def test_lower_floors_load_no_face() -> None:
    """Floors up to the studies import no picture, widget or test library while they load."""
    heavy = []
    for path in rooms():
        if floor_of(module_name(path)) > floors()["studies"]:
            continue
        for node in parsed(path).body:
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            heavy += [where(path, node.lineno) for name in names if name.split(".")[0] in FACES_ONLY]
    assert heavy == []


def test_the_package_leaves_its_judges_alone() -> None:
    """Libraries that judge the package in tests are not used inside it."""
    used = [
        f"{where(path, line)} imports {module}"
        for path in rooms()
        for module, line in imports(path)
        if module.split(".")[0] in TESTS_ONLY
    ]
    assert used == []


def _documented(tree: ast.Module) -> Iterator[tuple[ast.AST, str, int]]:
    """Yield what must carry a docstring: the module, its public names, their methods."""
    yield tree, "the room", 1
    kinds = (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)
    for node in tree.body:
        if isinstance(node, kinds) and not node.name.startswith("_"):
            yield node, node.name, node.lineno
            for inner in node.body if isinstance(node, ast.ClassDef) else ():
                if isinstance(inner, kinds) and not inner.name.startswith("_"):
                    yield inner, f"{node.name}.{inner.name}", inner.lineno


def test_every_public_name_is_documented() -> None:
    """Rooms, public names and public methods carry a docstring."""
    bare = [
        f"{where(path, line)} {name}"
        for path in rooms()
        for node, name, line in _documented(parsed(path))
        if not ast.get_docstring(node)
    ]
    assert bare == []


def test_summaries_are_short_sentences() -> None:
    """The first line of a public docstring is a short sentence, shorter for what the package publishes."""
    poor = []
    for path in rooms():
        for node, name, line in _documented(parsed(path)):
            summary = (ast.get_docstring(node) or ".").splitlines()[0]
            limit = LONGEST_PUBLISHED_SUMMARY if name in lessonkit.__all__ else LONGEST_SUMMARY
            if isinstance(node, ast.Module):
                limit = 110
            if len(summary) > limit or not summary.endswith((".", "?", ":")):
                poor.append(f"{where(path, line)} {name}: {summary}")
    assert poor == []


def test_every_test_says_what_it_holds() -> None:
    """Each test carries a docstring whose first line is a sentence."""
    bare = [
        where(path, node.lineno)
        for path in files_of_tests()
        for node in ast.walk(parsed(path))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and node.name.startswith("test_")
        and not (ast.get_docstring(node) or "").split("\n\n")[0].rstrip().endswith((".", "?"))
    ]
    assert bare == []


def test_outside_checks_name_their_sources() -> None:
    """Every file of outside checks tells where its numbers come from."""
    silent = [
        where(path)
        for path in files_of_tests()
        if path.parent.name == "outside" and "source" not in (ast.get_docstring(parsed(path)) or "").lower()
    ]
    assert silent == []


def test_no_test_judges_by_the_clock() -> None:
    """Time is measured in tests/speed alone, where nothing fails for a busy machine."""
    clocks = [
        where(path, node.lineno)
        for path in files_of_tests()
        if path.parent.name != "speed" and re.search("perf_counter|process_time", path.read_text("utf-8"))
        for node in ast.walk(parsed(path))
        if isinstance(node, ast.Attribute) and node.attr.startswith(("perf_counter", "process_time"))
    ]
    assert clocks == []


# They look for programs too, but for others than the tests are run without.
LOOKS_FOR_OTHERS = {"lessonkit.grading.children", "lessonkit.site.fetch"}


def test_what_asks_for_a_program_is_known(asking: tuple[frozenset[str], Callable[[Path], bool]]) -> None:
    """`pytest --programs` knows each room that looks for a program, and the unit tests that reach one."""
    rooms_that_ask, asks = asking
    looking = {
        module_name(path)
        for path in rooms()
        if re.search(r"\b(shutil[.]which|find_program)\b", path.read_text("utf-8"))
    }
    assert looking - LOOKS_FOR_OTHERS <= rooms_that_ask
    assert {"lessonkit.grading.run", "lessonkit.commands.handouts"} <= rooms_that_ask
    unit = CHECKOUT / "tests" / "unit"
    assert asks(unit / "grading" / "test_grading_run.py")
    assert not asks(unit / "grading" / "test_grading_tables.py")
    assert not asks(unit / "bench" / "test_bench.py")


def _lines_with(pattern: re.Pattern[str]) -> list[str]:
    """Say where a pattern stands in any file that is text."""
    found = []
    for path in tracked():
        if path.suffix.lower() in (".png", ".jpg", ".pdf", ".npz", ".gz"):
            continue
        text = path.read_text(encoding="utf-8", errors="replace")
        if pattern.search(text):
            lines = enumerate(text.splitlines(), 1)
            found += [where(path, number) for number, line in lines if pattern.search(line)] or [where(path)]
    return found


def test_no_machine_is_written_down() -> None:
    """No file names a folder of the machine that it was made on."""
    assert _lines_with(MACHINE_PATHS) == []


def test_nothing_points_outside_the_project() -> None:
    """Sources are standards, books and libraries, named where they are used."""
    assert _lines_with(STRAY_CITES) == []
