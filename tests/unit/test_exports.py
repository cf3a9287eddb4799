"""What `import lessonkit` publishes, and what it does not load."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
import textwrap
from importlib import import_module
from pathlib import Path

import pytest

import lessonkit


def test_all_equals_the_table_of_rooms() -> None:
    """The list of names and the table that fetches them say the same."""
    assert sorted(lessonkit.__all__) == sorted(["__version__", *lessonkit._ROOM_OF])


def test_type_checker_is_told_the_same_rooms(checkout: Path) -> None:
    """The imports for editors and mypy are those of the table."""
    tree = ast.parse((checkout / "lessonkit" / "__init__.py").read_text(encoding="utf-8"))
    told = {
        alias.name: node.module
        for block in ast.walk(tree)
        if isinstance(block, ast.If)
        for node in block.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }
    assert told == lessonkit._ROOM_OF


@pytest.mark.parametrize("name", sorted(lessonkit._ROOM_OF))
def test_every_published_name_is_there(name: str) -> None:
    """Each name comes out of its room."""
    room = import_module(lessonkit._ROOM_OF[name])
    assert getattr(lessonkit, name) is getattr(room, name)


def test_unknown_name_is_told_what_there_is() -> None:
    """A misspelt name gets the list of names."""
    with pytest.raises(AttributeError, match="publishes no 'Bensch'; it publishes.*Bench"):
        _ = lessonkit.Bensch


def test_import_loads_no_heavy_library() -> None:
    """A fresh process that imports lessonkit has loaded none of its dependencies."""
    heavy = ("numpy", "matplotlib", "ipywidgets", "IPython", "scipy", "pytest", "nbformat", "rich", "jinja2")
    asked = f"import json, sys, lessonkit; print(json.dumps([m for m in {heavy} if m in sys.modules]))"
    done = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert json.loads(done.stdout) == []


def test_a_notebook_draws_a_bench_and_its_log() -> None:
    """In a process with a notebook's shell, a bench and its log come out as pictures; elsewhere as words."""
    asked = """
        from IPython.core.interactiveshell import InteractiveShell
        shell = InteractiveShell.instance()
        import lessonkit as lk, sys
        assert "matplotlib" not in sys.modules and "lessonkit.draw.view" not in sys.modules
        bench = lk.Bench("full-cable", call="cool-2")
        shown, _ = shell.display_formatter.format(bench)
        assert "<img" in shown["text/html"] and shown["text/plain"].startswith("Bench full-cable:"), shown
        shown, _ = shell.display_formatter.format(bench.log)
        assert "<img" in shown["text/html"] and "out:contactor pulls in" in shown["text/plain"], shown
        print("drawn")
    """
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(asked)], capture_output=True, text=True, check=False
    )
    assert done.stdout.strip().endswith("drawn"), done.stderr


@pytest.mark.parametrize("floor", ["copper", "signal", "job", "bench", "studies"])
def test_lower_floors_load_no_picture_or_widget(floor: str, checkout: Path) -> None:
    """The floors up to the studies work where there is no notebook: they load numpy at most."""
    names = [f"lessonkit.{floor}.{path.stem}" for path in (checkout / "lessonkit" / floor).glob("[a-z]*.py")]
    heavy = ("matplotlib", "ipywidgets", "IPython", "scipy", "pytest")
    asked = (
        f"import json, sys, {', '.join(names)}; print(json.dumps([m for m in {heavy} if m in sys.modules]))"
    )
    done = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout) == []
