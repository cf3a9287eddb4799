"""Every shipped notebook is pristine: short cells, stable ids, nothing left over from a run."""

from __future__ import annotations

import ast
import re
import statistics
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import nbformat
import pytest

import lessonkit

NOTEBOOKS = Path(__file__).resolve().parents[2] / "notebooks"
ALL = sorted(path for path in NOTEBOOKS.rglob("*.ipynb") if ".ipynb_checkpoints" not in path.parts)
SERIES = [path for path in ALL if path.parent == NOTEBOOKS]

CHECK_MARK = "# NBVAL_CHECK_OUTPUT"
LONGEST_CELL = 12
MEDIAN_CELL = 3
MACHINE_PATHS = re.compile(r"/[w]ork/|/[r]oot/|/[h]ome/\w|/[U]sers/\w|C:\\+[U]sers|/[t]mp/")
RANDOM_ID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){0,3}(-[0-9a-f]{12})?")

each_notebook = pytest.mark.parametrize("path", ALL, ids=lambda path: path.stem)
each_workbook = pytest.mark.parametrize("path", SERIES, ids=lambda path: path.stem)


@cache
def opened(path: Path) -> Any:
    """Read a notebook once, as it is stored."""
    return nbformat.reader.reads(path.read_text(encoding="utf-8"))


def code_cells(path: Path) -> list[Any]:
    """List the code cells."""
    return [cell for cell in opened(path).cells if cell.cell_type == "code"]


def text_of(path: Path) -> str:
    """Join the text cells."""
    return "\n\n".join(cell.source for cell in opened(path).cells if cell.cell_type == "markdown")


def is_check(cell: Any) -> bool:
    """Tell whether a cell's stored output is held against a new one."""
    return CHECK_MARK in cell.source


@each_notebook
def test_no_sentence_turns_into_a_list(path: Path) -> None:
    """No line inside a sentence begins like an item of a list, as "7 to" and "1." on the next line do."""
    item = re.compile(r" {0,3}([0-9]+[.)]|[-+*]) ")
    for cell in opened(path).cells:
        lines = cell.source.split("\n") if cell.cell_type == "markdown" else []
        for above, line in pairwise(lines):
            within = above.strip() and not re.match(r" *([0-9]+[.)]|[-+*>|]) |  ", above)
            assert not (within and item.match(line)), (cell.id, above, line)


def test_there_are_workbooks() -> None:
    """The series starts with workbook 00, and numbers are not used twice."""
    numbers = [path.name[:2] for path in SERIES]
    assert numbers[:1] == ["00"]
    assert len(set(numbers)) == len(numbers)
    assert all(re.fullmatch(r"\d\d_[a-z0-9_]+", path.stem) for path in SERIES)


@each_notebook
def test_format_is_valid_and_current(path: Path) -> None:
    """Each notebook is valid nbformat 4.5, the first one in which cells have ids."""
    notebook = opened(path)
    assert (notebook.nbformat, notebook.nbformat_minor) == (4, 5)
    nbformat.validate(notebook)


@each_notebook
def test_ids_are_stable(path: Path) -> None:
    """Ids are unique and chosen, so that making a notebook again changes nothing."""
    ids = [cell.id for cell in opened(path).cells]
    assert len(set(ids)) == len(ids)
    assert [name for name in ids if RANDOM_ID.fullmatch(name)] == []


@each_notebook
def test_metadata_names_no_machine(path: Path) -> None:
    """The kernel is any Python 3, and no widget state was kept."""
    metadata = opened(path).metadata
    assert "widgets" not in metadata
    assert metadata.kernelspec.name == "python3"
    assert metadata.kernelspec.language == "python"
    assert dict(metadata.get("language_info", {})).get("version") is None


@each_notebook
def test_only_checks_keep_their_output(path: Path) -> None:
    """Outputs belong to check cells, which must have one, or nbval compares nothing."""
    checks = [cell for cell in code_cells(path) if is_check(cell)]
    others = [cell for cell in code_cells(path) if not is_check(cell)]
    assert [cell.id for cell in others if cell.outputs or cell.execution_count] == []
    assert [cell.id for cell in checks if not (cell.outputs and cell.execution_count)] == []


@each_notebook
def test_cells_are_short(path: Path) -> None:
    """Code cells have 3 lines in the median and never more than 12."""
    lengths = {cell.id: len(cell.source.strip().splitlines()) for cell in code_cells(path)}
    assert {name: length for name, length in lengths.items() if length > LONGEST_CELL} == {}
    assert statistics.median(lengths.values() or [0]) <= MEDIAN_CELL


@each_notebook
def test_no_machine_is_written_down(path: Path) -> None:
    """Neither a cell nor an output names a folder of the machine that it was made on."""
    assert MACHINE_PATHS.findall(path.read_text(encoding="utf-8")) == []


@each_notebook
def test_code_is_plain_python(path: Path) -> None:
    """Cells hold Python without magics, shell lines or star imports."""
    for cell in code_cells(path):
        stars = [node for node in ast.walk(ast.parse(cell.source)) if isinstance(node, ast.ImportFrom)]
        assert all(alias.name != "*" for node in stars for alias in node.names), cell.id


@each_notebook
def test_lessons_use_what_is_published(path: Path) -> None:
    """A cell reaches lessonkit by `import lessonkit as lk` alone: no room, no `replace`, no `try`."""
    for cell in code_cells(path):
        for node in ast.walk(ast.parse(cell.source)):
            if isinstance(node, ast.ImportFrom):
                assert (node.module or "").split(".")[0] not in ("", "lessonkit", "dataclasses"), cell.id
            if isinstance(node, ast.Import):
                assert not any(alias.name.startswith("lessonkit.") for alias in node.names), cell.id
            assert not isinstance(node, ast.Try), cell.id
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "lk":
                assert node.attr in lessonkit.__all__, f"{cell.id}: lk.{node.attr} is not published"


def assigned_names(tree: ast.Module) -> list[str]:
    """List the names that a cell assigns."""
    targets = [target for node in tree.body if isinstance(node, ast.Assign) for target in node.targets]
    return [target.id for target in targets if isinstance(target, ast.Name)]


def calls_in(tree: ast.AST, *names: str) -> list[ast.Call]:
    """List the calls of functions with these names, however they are reached."""
    calls = [node for node in ast.walk(tree) if isinstance(node, ast.Call)]
    return [call for call in calls if getattr(call.func, "attr", getattr(call.func, "id", "")) in names]


@each_workbook
def test_nothing_is_shown_before_a_prediction(path: Path) -> None:
    """From a prediction to the next text, cells show only what `lk.reveal` holds back until it is written."""
    waiting: set[str] = set()
    for cell in opened(path).cells:
        if cell.cell_type != "code":
            assert not waiting, f"before {cell.id}: nothing reveals {waiting}"
            continue
        tree = ast.parse(cell.source)
        made = {name for name in assigned_names(tree) if name.startswith(("prediction_", "reason_"))}
        revealed = calls_in(tree, "reveal")
        if waiting or revealed:
            *_, last = tree.body
            assert not calls_in(tree, "print", "display"), f"{cell.id} shows something by itself"
            assert revealed or not isinstance(last, ast.Expr), f"{cell.id} shows its last line by itself"
            assert not revealed or (isinstance(last, ast.Expr) and last.value in revealed), cell.id
        for call in revealed:
            given = [*call.args[:1], *(word.value for word in call.keywords if word.arg == "because")]
            assert {node.id for node in given if isinstance(node, ast.Name)} & waiting, cell.id
            waiting -= {node.id for node in given if isinstance(node, ast.Name)}
        waiting |= made
    assert not waiting


@each_notebook
def test_begins_with_its_title_and_carries_a_caution(path: Path) -> None:
    """Each notebook opens with a title, and shows the caution that fits it."""
    assert opened(path).cells[0].source.startswith("# ")
    assert re.search(r"\bcaution", text_of(path), re.IGNORECASE)


@each_workbook
def test_workbook_ends_with_summary_and_sources(path: Path) -> None:
    """A workbook sums up what was learnt, and says where its facts come from."""
    headings = re.findall(r"^#+ (.+)$", text_of(path), re.MULTILINE)
    assert any("summary" in heading.lower() for heading in headings)
    assert any("sources" in heading.lower() for heading in headings)
