"""Every workbook whole in the page's Python: each cell says what it says in this computer's.

Workbooks are found by themselves. They are run answered and with every prediction made, so that nothing stays
covered; one Node process runs all of them, while this computer's Python does the same.
"""

from __future__ import annotations

import json
import re
from itertools import cycle
from pathlib import Path
from typing import Any

import pytest
from in_node import finished, start_here, start_in_node
from labpage import shared

from lessonkit.exercises.notebooks import read_notebook, solved, source_of, write_notebook
from lessonkit.exercises.pristine import pristine_folder
from lessonkit.site.build import workbook_files

pytestmark = pytest.mark.site

BOOKS = sorted(workbook_files())

LAST_DIGITS: dict[tuple[str, str], str] = {}
"""Cells, by notebook and id, whose last shown digits may differ, each with the reason.

Readings are rounded before they are shown, so there is none. In the plain forms behind tables and pictures,
which no page shows, every number may differ by `NEARLY`: it has all its 16 digits, and the page's linear
algebra, which is reference LAPACK compiled to 32 bits, adds up in another order.
"""

NEARLY = 1e-9

NUMBER = re.compile(r"[-+]?(?:\d+[.]?\d*|[.]\d+)(?:[eE][-+]?\d+)?")
ARRAY_SHAPE = re.compile(r",\s+shape=\([\d, ]+\)")
"""numpy says it of an array with dots in the middle since version 2.2; the page has 2.0."""


def answered(path: Path) -> dict[str, Any]:
    """Return a workbook with right answers and with something in each prediction."""
    notebook = solved(read_notebook(path)) if re.match(r"\d\d_", path.name) else read_notebook(path)
    words = cycle(('"skip"', '"a guess"'))
    for cell in notebook["cells"]:
        if cell["cell_type"] == "code":
            made = re.sub(
                r"(?m)^(prediction_\w+|reason_\w+) = [.]{3}$",
                lambda found: f"{found[1]} = {next(words)}",
                source_of(cell),
            )
            cell["source"] = made.splitlines(keepends=True)
    return notebook


def nearly(one: str, other: str) -> bool:
    """Tell whether two texts are equal but for the last digits of their numbers."""
    if NUMBER.sub("#", one) != NUMBER.sub("#", other):
        return False
    pairs = zip(NUMBER.findall(one), NUMBER.findall(other), strict=True)
    return all(a == b or float(a) == pytest.approx(float(b), rel=NEARLY, abs=NEARLY) for a, b in pairs)


def same(place: tuple[str, str], here: dict[str, Any], page: dict[str, Any]) -> bool:
    """Tell whether a cell says the same in both."""
    alike = nearly if place in LAST_DIGITS else str.__eq__
    if len(here["outputs"]) != len(page["outputs"]):
        return False
    return all(alike(here[what], page[what]) for what in ("printed", "warned", "error")) and all(
        alike(one["shown"], other["shown"])
        and nearly(*(ARRAY_SHAPE.sub("", output["behind"]) for output in (one, other)))
        for one, other in zip(here["outputs"], page["outputs"], strict=True)
    )


@pytest.fixture(scope="module")
def told(built_site: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], dict[str, Any]]:
    """Run all workbooks in both; gives what the cells say here and in the page."""
    room = tmp_path_factory.mktemp("told")
    (room / "books").mkdir()
    for name in BOOKS:
        stem = name.removesuffix(".ipynb").replace("/", "-")
        write_notebook(room / "books" / f"{stem}.ipynb", answered(pristine_folder() / name))
    page = start_in_node(
        built_site,
        Path(__file__).with_name("told_in_node.py"),
        {"/books": room / "books", "/out": room},
        room / "page.log",
    )
    env = shared.make_private_env(room / "home")
    here = start_here(
        Path(__file__).with_name("told.py"),
        *(str(room / "books"), str(room / "here.json")),
        env=env,
        log=room / "here.log",
    )
    try:
        finished(here, room / "here.log")
        finished(page, room / "page.log")
    finally:
        for process in (here, page):
            process.kill()
    return tuple(json.loads((room / f"{name}.json").read_text(encoding="utf-8")) for name in ("here", "page"))


@pytest.mark.parametrize("name", BOOKS)
def test_workbook_says_the_same_in_the_page(name: str, told: tuple[dict[str, Any], dict[str, Any]]) -> None:
    """Each cell of the workbook prints, shows and raises in the page what it does on this computer."""
    stem = name.removesuffix(".ipynb").replace("/", "-")
    here, page = told[0][stem], told[1][stem]
    assert list(here) == list(page)
    assert {
        cell: (here[cell], page[cell]) for cell in here if not same((stem, cell), here[cell], page[cell])
    } == {}


def test_nothing_stays_covered(told: tuple[dict[str, Any], dict[str, Any]]) -> None:
    """What is compared is a workbook that was worked through: errors only on purpose, every check right."""
    texts = 0
    for name in BOOKS:
        stem = name.removesuffix(".ipynb").replace("/", "-")
        for cell in read_notebook(pristine_folder() / name)["cells"]:
            if cell["cell_type"] != "code":
                continue
            said = told[1][stem][cell["id"]]
            texts += bool(said["printed"] or said["outputs"])
            if "raises-exception" not in cell["metadata"].get("tags", []):
                assert said["error"] == "", (stem, cell["id"])
            if cell["id"].startswith("check-"):
                assert re.match(r"\S+ right\b", said["printed"]), (stem, cell["id"])
    assert texts > 200


def test_another_digit_would_be_found() -> None:
    """Texts that differ by a last digit are told apart, and count as near only where that is allowed."""
    cell = {"printed": "", "warned": "", "error": "", "outputs": []}
    one = {**cell, "outputs": [{"shown": "26.4 V", "behind": "26.41234567890123"}]}
    for shown, behind, alike in (
        ("26.4 V", "26.41234567890124", True),
        ("26.5 V", "26.41234567890123", False),
    ):
        other = {**cell, "outputs": [{"shown": shown, "behind": behind}]}
        assert same(("00", "cell"), one, other) is alike
    assert nearly("1.0000000000001 ohm", "1.0 ohm")
    assert not nearly("1.001 ohm", "1.0 ohm")
    assert not nearly("1.0 ohm", "1.0 volt")
