"""The series as a folder of files: opened in a browser with nothing else in reach, worked in, handed in.

One test goes the whole way of a student; the others take a way that is less smooth.
"""

from __future__ import annotations

import re
import shutil
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from sitepage import (
    cells_when,
    fill_in,
    kept,
    listening,
    open_book,
    run_book,
    site_browser,
    site_server,
)

from lessonkit.exercises.plain import literal
from lessonkit.exercises.pristine import workbook_names
from lessonkit.exercises.workbook import open_workbook, right_answers
from lessonkit.grading.roster import assign
from lessonkit.grading.school import load_school
from lessonkit.site import ClassSite
from lessonkit.site.build import workbook_files

pytestmark = [pytest.mark.chromium, pytest.mark.site]

START = "00_start_here.ipynb"


@pytest.fixture(scope="module")
def address(built_site: Path) -> Iterator[str]:
    """Serve the site."""
    with site_server(built_site) as found:
        yield found


@pytest.fixture(scope="module")
def browser(browser_tools: Any, chromium: str) -> Iterator[Any]:
    """Open a browser that reaches nothing but this computer."""
    with site_browser(browser_tools, chromium) as opened:
        yield opened


@pytest.fixture
def page(browser: Any) -> Iterator[Any]:
    """Open a page in a browser profile of its own."""
    context = browser.new_context(viewport={"width": 1200, "height": 900}, accept_downloads=True)
    yield context.new_page()
    context.close()


def test_student_works_reloads_and_hands_in(
    page: Any, address: str, tmp_path: Path, run_lessonkit: Any
) -> None:
    """All runs at once, SIG breaks on the panel, an answer survives a reload, and grading gives its mark."""
    wrong = listening(page, address)
    page.goto(address)
    page.get_by_role("link", name="00 start here").first.wait_for()
    assert page.get_by_text("kept in this browser, on this device, and nowhere else").is_visible()

    open_book(page, address, START)
    cells = run_book(page)  # before Python is there: nobody is asked anything
    assert page.locator(".jp-Dialog").count() == 0
    errors = [
        cell["id"] for cell in cells.values() if any(o["output_type"] == "error" for o in cell["outputs"])
    ]
    assert errors == ["red-error"]  # shown on purpose, to be read and cured

    panel = page.locator(".lk-panel.lk-ready")
    panel.scroll_into_view_if_needed()
    panel.get_by_role("button", name="cool-2").click()
    panel.get_by_role("button", name="outdoor run: break SIG", exact=True).click()
    panel.locator(".lk-break-outdoor-SIG[aria-pressed=true]").wait_for()
    panel.get_by_role("button", name="wait 10 s").click()
    row = panel.get_by_role("row").filter(
        has=page.get_by_role("rowheader", name=re.compile("compressor stage 1$"))
    )
    row.get_by_role("cell", name="off", exact=True).wait_for()

    answer = f"answer_0_1 = {literal(right_answers(open_workbook('00'))['0.1'])}"
    before = int(page.evaluate("Date.now()"))
    fill_in(page, "answer-0-1", answer)
    kept(page, before)
    page.reload()
    page.wait_for_function("document.body.dataset.workbook === 'open'")
    assert cells_when(page, "true")["answer-0-1"]["source"] == answer

    page.on("dialog", lambda asked: asked.accept("Ann Abel"))
    with page.expect_download() as coming:
        page.locator(".lk-download").click()
    handed_in = tmp_path / "handed-in"
    handed_in.mkdir()
    archive = handed_in / coming.value.suggested_filename
    coming.value.save_as(archive)
    assert archive.name == "answers_ann-abel.zip"
    with zipfile.ZipFile(archive) as content:
        assert len(content.namelist()) == len(workbook_names())
    assert wrong == []

    done = run_lessonkit("grade", str(handed_in), "--out", "marks", "--unconfined")
    assert done.returncode in (0, 1), done.stderr
    marks = (tmp_path / "marks" / "verdicts.csv").read_text(encoding="utf-8-sig")
    (line,) = [line for line in marks.splitlines() if re.search(r"\b0[.]1\b", line)]
    assert "right" in line
    assert "ann-abel" in line


def test_endless_loop_has_a_way_out(page: Any, address: str) -> None:
    """A loop without end is told where it happens; the button stops it and runs the cells above again."""
    open_book(page, address, START)
    page.evaluate("document.body.dataset.slowSeconds = '3'")
    fill_in(page, "cool", "while True: pass")
    page.locator(".lk-run").click()
    stop = page.get_by_role("button", name="Stop it, and run the cells above again")
    stop.click()
    stop.wait_for(state="detached")
    page.wait_for_function(
        "() => { const model = window.jupyterapp.shell.currentWidget.content.widgets"
        ".find(cell => cell.model.id === 'job').model;"
        " return model.executionState === 'idle' && model.executionCount > 0; }",
    )
    assert cells_when(page, "true")["cool"]["source"] == "while True: pass"


def test_class_site_gives_each_student_own_numbers(page: Any, built_site: Path, tmp_path: Path) -> None:
    """A typed name and a link each lead to that student's numbers, and each student's work is kept apart."""
    school = load_school(None, ("00",))
    room = ClassSite(school, assign(school, ("Ann Abel", "Bo Brook"), "autumn"), "autumn")
    folder = tmp_path / "class-site"
    shutil.copytree(built_site, folder)
    for name, data in room.files(workbook_files()).items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_bytes(data)
    with site_server(folder) as address:
        page.goto(address)
        page.get_by_label("Your name").fill("nobody")
        page.get_by_role("button", name="That is me").click()
        page.get_by_text("There is no nobody on the roster").wait_for()
        page.get_by_label("Your name").fill("ann abel")
        page.get_by_role("button", name="That is me").click()
        page.get_by_role("link", name="01 calls").first.wait_for()
        for student in ("Ann Abel", "Bo Brook"):
            if student == "Bo Brook":
                page.goto("about:blank")
                page.goto(f"{address}{room.links()[student]}")
                page.get_by_text("whoever this link was made for").wait_for()
            open_book(page, address, START)
            place = room.roll.of(student, "00")
            assert place is not None
            assert f"variant={place.variant})" in cells_when(page, "true")["setup"]["source"]
