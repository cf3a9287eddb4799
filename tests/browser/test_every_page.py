"""Every workbook and demonstration as people meet it: run, used, at each size, in the dark, and by axe-core.

The judge of accessibility is axe-core, with its rules for WCAG 2.0 to 2.2 at levels A and AA: contrast
(1.4.3), names, text alternatives (1.1.1), target size (2.5.8: 24 by 24 CSS pixels) and the rest. Notebooks
are found by themselves. LESSONKIT_SCREENSHOTS names a folder for pictures of all pages, which nobody commits.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from bookpage import SIZES, Reader, Visit
from labpage import browser_page, write_notebook

from lessonkit.exercises.pristine import copy_workbooks, pristine_folder
from lessonkit.exercises.start_page import START, write_start_page
from lessonkit.files import write_whole

pytestmark = pytest.mark.chromium

BOOKS = sorted(
    path.relative_to(pristine_folder()).as_posix()
    for path in pristine_folder().rglob("*.ipynb")
    if ".ipynb_checkpoints" not in path.parts
)


@pytest.fixture(scope="module")
def reader(lab: tuple[str, Path], browser_tools: Any, chromium: str) -> Iterator[Reader]:
    """Return somebody with an apprentice's folder open in JupyterLab."""
    copy_workbooks(lab[1] / "own")
    for name in BOOKS:
        if not (lab[1] / "own" / name).exists():  # the concept test, which only a school hands out
            write_whole(lab[1] / "own" / name, (pristine_folder() / name).read_bytes())
    write_start_page(lab[1] / "own")
    with browser_page(browser_tools, chromium, 1280, 720) as page:
        yield Reader(page, lab[0])


@pytest.fixture(scope="module", params=[*BOOKS, START], ids=lambda name: Path(name).stem)
def visit(request: pytest.FixtureRequest, reader: Reader) -> Visit:
    """Return what one notebook showed."""
    return reader.visit(f"own/{request.param}")


#: A flaw of each kind: pale words, a picture without words, small keys, a part outside the page, motion.
FLAWS = """
<p style="color:#bbb;background:#fff">pale</p>
<img src="data:image/gif;base64,R0lGODlhAQABAAAAACwAAAAAAQABAAACADs=">
<button style="width:9px;height:9px;padding:0">x</button>
<button style="width:9px;height:9px;padding:0">y</button>
<div style="position:fixed;left:80vw;width:40vw"><p>cut</p></div>
<div class="lk-panel lk-ready" style="transition:color 2s">moves</div>
"""


def test_the_judges_find_what_is_planted(reader: Reader, lab: tuple[str, Path]) -> None:
    """On a page with a flaw of each kind, each is found: no test here passes whatever there is."""
    shown = f"from IPython.display import HTML, display\ndisplay(HTML({FLAWS!r}))"
    write_notebook(lab[1] / "own" / "planted.ipynb", shown, "1 / 0")
    seen = reader.visit("own/planted.ipynb")
    assert [one["evalue"] for one in seen.cells[1]["outputs"]] == ["division by zero"]
    found = {finding.partition(":")[0] for finding in seen.findings["Light"]}
    assert {"color-contrast", "image-alt", "target-size"} <= found
    assert any(finding.startswith("color-contrast") for finding in seen.findings["Dark"])
    assert all(any("cut" in part for part in seen.cut[size]) for size in SIZES), seen.cut
    assert len(seen.moving) == 1
    assert (seen.by_mouse, seen.by_keyboard) == ([""], [""])


def test_it_runs_to_its_end(visit: Visit) -> None:
    """Opened as handed out and run from top to bottom, nothing is red that should not be."""
    assert [cell["id"] for cell in visit.cells if not cell["ran"]] == []
    red = {
        cell["id"]: [one.get("evalue") for one in cell["outputs"] if one["output_type"] == "error"]
        for cell in visit.cells
        if not cell["expected"]
    }
    assert {name: errors for name, errors in red.items() if errors} == {}
    checks = [cell for cell in visit.cells if cell["id"].startswith("check-")]
    said = ["".join("".join(one.get("text", "")) for one in cell["outputs"]) for cell in checks]
    assert all(" unanswered: " in words for words in said), said


def test_panels_answer_to_mouse_and_keyboard(visit: Visit) -> None:
    """On each panel a key does something when clicked, and another one by Tab and Space alone."""
    assert len(visit.by_mouse) == len(visit.by_keyboard) == visit.panels
    assert all(visit.by_mouse), visit.by_mouse
    assert all(visit.by_keyboard), visit.by_keyboard


@pytest.mark.parametrize("size", SIZES)
def test_nothing_is_cut_off(visit: Visit, size: str) -> None:
    """On a phone, a projector, a small laptop and at 200 %, what is wider than the page can be scrolled."""
    assert visit.cut[size] == []


@pytest.mark.parametrize("theme", ["Light", "Dark"])
def test_axe_finds_nothing_serious(visit: Visit, theme: str) -> None:
    """In both themes our content has no finding of axe-core that is serious or critical.

    Each page is judged by all rules in one theme, every second page in the dark one, and by those for colours
    in the other.
    """
    assert visit.findings[theme] == []


def test_nothing_moves_where_less_motion_is_asked_for(visit: Visit) -> None:
    """No part of a panel has an animation or a transition then."""
    assert visit.moving == []
