"""nbval over notebooks, as anyone would run it: which cells are red, and what was said there.

What an exercise needs is little: the cell that opens the workbook, its answer and its check.
`exercise_cells_of` takes those out of a notebook, so that one process judges the exercises of all workbooks.
"""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

from lessonkit.exercises.notebooks import (
    Cell,
    Notebook,
    find_answers,
    find_checks,
    source_of,
    write_notebook,
)

_HOMES = (
    "HOME",
    "USERPROFILE",
    "JUPYTER_CONFIG_DIR",
    "JUPYTER_DATA_DIR",
    "JUPYTER_RUNTIME_DIR",
    "IPYTHONDIR",
)


@dataclass(frozen=True)
class Run:
    """What nbval said of one notebook: its red cells by id, with what was said, and how many cells ran."""

    red: dict[str, str]
    ran: int


def code_cells(notebook: Notebook) -> list[Cell]:
    """List the code cells, as nbval counts them."""
    return [cell for cell in notebook["cells"] if cell["cell_type"] == "code"]


def run_nbval(folder: Path, notebooks: dict[str, Notebook]) -> dict[str, Run]:
    """Run nbval over some notebooks, each with a kernel of its own, in a folder and a home of their own.

    pytest loads nbval and no other plugin that is installed: they have no part in it, and take seconds.
    """
    for name, notebook in notebooks.items():
        write_notebook(folder / f"{name}.ipynb", notebook)
    (folder / "own.ini").write_text("[pytest]\n", encoding="utf-8")
    env = {**os.environ, "MPLBACKEND": "Agg", "PYTHONUTF8": "1", **{home: str(folder) for home in _HOMES}}
    env["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
    words = [
        "-p",
        "nbval.plugin",
        "--nbval-lax",
        "--nbval-current-env",
        "--runxfail",
        "-q",
        "-p",
        "no:cacheprovider",
    ]
    words += ["-c", "own.ini", "--rootdir", ".", "--junitxml=report.xml", "--nbval-cell-timeout=120"]
    files = [f"{name}.ipynb" for name in notebooks]
    command = [sys.executable, "-W", "ignore", "-m", "pytest", *words, *files]
    done = subprocess.run(command, cwd=folder, env=env, capture_output=True, text=True, check=False)
    assert done.returncode in (0, 1), done.stdout + done.stderr
    cases = list(ElementTree.parse(folder / "report.xml").iter("testcase"))
    runs = {}
    for name, notebook in notebooks.items():
        own = [case for case in cases if name in case.get("classname", "").replace("/", ".").split(".")]
        cells, red = code_cells(notebook), {}
        for case, cell in zip(own, cells, strict=True):
            for trouble in (*case.findall("failure"), *case.findall("error")):
                red[cell["id"]] = f"{trouble.get('message')} {trouble.text}"
        runs[name] = Run(red, len(own))
    return runs


def exercise_cells_of(notebook: Notebook, prefix: str) -> list[Cell]:
    """List what a notebook's exercises need, in its order: imports, the opened workbook, answers and checks.

    Each id gets the prefix, so that the cells of several notebooks, or of one filled in twice, go into one.
    """
    kept = {*find_answers(notebook).values(), *find_checks(notebook).values()}
    for index, cell in enumerate(notebook["cells"]):
        if cell["cell_type"] == "code" and _opens(source_of(cell)):
            kept.add(index)
    return [
        {**notebook["cells"][index], "id": f"{prefix}{notebook['cells'][index]['id']}"}
        for index in sorted(kept)
    ]


def _opens(source: str) -> bool:
    """Tell whether a cell imports something or opens the workbook."""
    nodes = list(ast.walk(ast.parse(source)))
    called = {node.func.attr for node in nodes if isinstance(node, ast.Call) and hasattr(node.func, "attr")}
    return "open_workbook" in called or any(isinstance(node, ast.Import | ast.ImportFrom) for node in nodes)
