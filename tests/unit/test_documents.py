"""README.md and DEVELOPERS.md say what is there: links, commands, options and rooms."""

from __future__ import annotations

import argparse
import re
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest

from lessonkit import begin
from lessonkit.__main__ import COMMANDS

CHECKOUT = Path(__file__).resolve().parents[2]
DOCUMENTS = ("README.md", "DEVELOPERS.md")


def _text(name: str) -> str:
    return (CHECKOUT / name).read_text(encoding="utf-8")


@pytest.mark.parametrize("name", DOCUMENTS)
def test_links_and_pictures_lead_somewhere(name: str) -> None:
    """Every relative link of a document is a file of the checkout."""
    targets = re.findall(r"\]\(([^)#]+)[^)]*\)", _text(name))
    assert [to for to in targets if "://" not in to and not (CHECKOUT / to).exists()] == []


@pytest.mark.parametrize("name", DOCUMENTS)
def test_shown_commands_exist_with_their_options(name: str) -> None:
    """Every `lessonkit ...` line that a reader may copy names a command and options that it takes."""
    shown = re.findall(r"^ {4,}lessonkit (.+)$", _text(name), re.MULTILINE)
    assert shown
    for line in shown:
        word, *rest = line.split("#")[0].split()
        assert word in COMMANDS, line
        parser = argparse.ArgumentParser()
        import_module(COMMANDS[word].room).add_arguments(parser)
        taken = {option for action in parser._actions for option in action.option_strings}
        assert {option.split("=")[0] for option in rest if option.startswith("--")} <= taken, line


def test_the_two_first_commands_are_what_begin_takes() -> None:
    """README's two commands are those of lessonkit.begin, and CI runs the second one as it stands there."""
    shown = re.findall(r"^    (python3 -m lessonkit\.begin \w+)", _text("README.md"), re.MULTILINE)
    assert [line.split()[-1] for line in shown] == ["lab", "test"]
    assert all(line.split()[-1] in begin.USAGE for line in shown)
    assert shown[1] in (CHECKOUT / ".ci" / "run").read_text(encoding="utf-8")


def test_every_workbook_is_in_the_readme() -> None:
    """README's table names each workbook of the series."""
    series = [path.name for path in (CHECKOUT / "notebooks").glob("*.ipynb")]
    assert [name for name in series if f"](notebooks/{name})" not in _text("README.md")] == []


def test_the_readme_s_python_runs() -> None:
    """The lines of Python in README do what the sentence about the same command says."""
    lines = re.findall(r"^    ((?:import|bench).*)$", _text("README.md"), re.MULTILINE)
    names: dict[str, Any] = {}
    exec("\n".join(lines), names)  # noqa: S102 - README is ours
    responding = names["bench"].state.responding
    assert "on" in responding["blower"]
    assert responding["compressor stage 1"] == "off"
