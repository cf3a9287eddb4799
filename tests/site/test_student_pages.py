"""What a student uses in the page: all that the bench can do, a phone, a room's server without https."""

from __future__ import annotations

import re
import threading
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from labpage import run_command
from sitepage import cells_when, fill_in, kept, listening, open_book, run_book, site_server

from lessonkit.exercises.pristine import workbook_names
from lessonkit.site.serve import SiteHandler

pytestmark = [pytest.mark.chromium, pytest.mark.site]

START = "00_start_here.ipynb"
GLOSSARY = "glossary/glossary.ipynb"

#: The least size of what a finger has to hit: WCAG 2.2, success criterion 2.5.8.
TARGET_PX = 24

PREDICTED = """\
import lessonkit as lk
bench = lk.Bench("two-run", call="cool-2")
lk.reveal("skip", bench.state.delivering, show=bench)
lk.predictions()"""

PROVED = """\
print(lk.judge_sheet("full-cable", {}))"""

SEASON = """\
season = lk.show_season("harrowmere", "cold-valley")
print(season.words[:40])"""

PRINTED = """\
from lessonkit.draw.season_page import season_page
lk.refused(lambda: season_page(season))"""

HIDDEN = """\
panel = lk.hidden_fault_panel("four-wire", seed=4)
display(panel)"""

SMALL_TARGETS = """
least => [...document.querySelectorAll('.lk-panel, .lk-bar, .lk-notice, .lk-front')]
  .flatMap(part => [...part.querySelectorAll('button, select, input, a')])
  .filter(one => one.checkVisibility())
  .map(one => [one.title || one.textContent.trim() || one.className, one.getBoundingClientRect()])
  .filter(([, box]) => box.width < least || box.height < least)
  .map(([name, box]) => `${name} ${box.width} x ${box.height}`)
"""

TOO_WIDE = """
() => [...document.querySelectorAll('.jp-RenderedMarkdown, .lk-panel, .lk-bar, .lk-front main')]
  .filter(one => one.checkVisibility() && one.getBoundingClientRect().right > innerWidth + 1)
  .map(one => `${one.className} ${one.textContent.trim().slice(0, 60)}`)
"""


#: The longest that the bar says.
NOT_KEPT = "this browser would not keep your work: download it now"

CUT_OFF = """
words => words.filter(one => {
  const state = document.querySelector('.lk-state');
  const before = state.textContent;
  state.textContent = one;
  const bar = document.querySelector('.lk-bar').getBoundingClientRect();
  const covers = bar.bottom > document.getElementById('main').getBoundingClientRect().top;
  const cut = state.scrollHeight > state.clientHeight || state.scrollWidth > state.clientWidth;
  state.textContent = before;
  return cut || covers;
})
"""


#: Parts of a workbook with a height of their own, in which a student would have to scroll beside the page.
SQUEEZED = """
() => [...document.querySelectorAll('.jp-Cell-outputArea')]
  .filter(one => one.scrollHeight > one.clientHeight + 2)
  .map(one => `${one.textContent.slice(0, 40)}: ${one.clientHeight} of ${one.scrollHeight}`)
"""


def write_cells(page: Any, *sources: str) -> None:
    """Put cells of our own in the place of a workbook's."""
    page.evaluate(
        """sources => {
            const { model } = window.jupyterapp.shell.currentWidget.context;
            const sheet = model.toJSON();
            sheet.cells = sources.map((source, k) => ({ cell_type: 'code', id: `own-${k}`, metadata: {},
              outputs: [], execution_count: null, source }));
            model.fromJSON(sheet);
        }""",
        list(sources),
    )


def text_of(cell: dict[str, Any]) -> str:
    """Return what a cell says, errors included."""
    words = []
    for output in cell["outputs"]:
        words += [output.get("text", ""), output.get("evalue", "")]
        words += [str(text) for kind, text in output.get("data", {}).items() if kind == "text/plain"]
    return "".join("".join(word) for word in words)


def test_all_that_the_bench_can_do_runs_in_the_page(open_context: Callable[..., Any], address: str) -> None:
    """Predictions, a commissioning sheet, a season, and a hidden fault to its best plan all run."""
    page = open_context(viewport={"width": 1200, "height": 900}).new_page()
    wrong = listening(page, address)
    open_book(page, address, START)
    write_cells(page, PREDICTED, PROVED, SEASON, PRINTED, HIDDEN)
    cells = run_book(page)
    assert page.evaluate("document.body.dataset.pythonMemory") == "kept"
    said = [text_of(cells[f"own-{k}"]) for k in range(5)]
    assert not any(o["output_type"] == "error" for cell in cells.values() for o in cell["outputs"]), said
    assert "skipped" in said[0]
    assert "0 of 0 readings" in said[1]
    assert said[2].strip()
    assert "lessonkit season HOUSE --html" in said[3]
    panel = page.locator(".lk-panel.lk-ready")
    panel.get_by_role("button", name="volts", exact=True).click()
    panel.locator(".lk-display").wait_for()
    panel.get_by_role("button", name="give up", exact=True).click()
    panel.get_by_text("The best plan is being worked out").first.wait_for()
    panel.get_by_text("The best plan", exact=True).first.wait_for()
    assert wrong == []


def test_a_browser_that_is_too_old_is_told_so(open_context: Callable[..., Any], address: str) -> None:
    """Without the newest part of what it needs a page says so in one sentence, and starts nothing."""
    context = open_context()
    context.add_init_script("delete window.DecompressionStream")
    page = context.new_page()
    for place in ("", f"notebooks/index.html?path={START}"):
        page.goto(address + place)
        page.get_by_text("This browser is too old for this page (it has no DecompressionStream)").wait_for()
    assert page.evaluate("[document.body.dataset.workbook, typeof window.jupyterapp]") == [None, "undefined"]


def test_panel_and_prose_on_a_phone(open_context: Callable[..., Any], address: str) -> None:
    """At 390 x 844 nothing is cut off, every target is large enough, and a tap breaks a conductor."""
    page = open_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True).new_page()
    page.goto(address)
    page.get_by_role("link", name="00 start here").first.wait_for()
    assert page.evaluate(SMALL_TARGETS, TARGET_PX) == []
    assert page.evaluate(TOO_WIDE) == []
    open_book(page, address, START)
    assert page.evaluate(CUT_OFF, ["fetching Python and the bench (100 %)", NOT_KEPT]) == []
    page.get_by_role("button", name="I understand").tap()
    page.locator(".lk-run").tap()
    panel = page.locator(".lk-panel.lk-ready")
    panel.wait_for()
    cells_when(page, "cell.ran > 0 && !cell.busy")
    assert page.evaluate(SMALL_TARGETS, TARGET_PX) == []
    assert page.evaluate(TOO_WIDE) == []
    panel.get_by_role("button", name="cool-2").tap()
    panel.get_by_role("button", name="outdoor run: break SIG", exact=True).tap()
    panel.locator(".lk-break-outdoor-SIG[aria-pressed=true]").wait_for()

    # The whole panel, with scope and hands, is three times as high as the screen.
    write_cells(page, "import lessonkit as lk\nlk.bench_panel('kiln-room')")
    page.locator(".lk-run").tap()
    panel.wait_for()
    page.wait_for_function("height => document.querySelector('.lk-panel').scrollHeight > height", arg=2 * 844)
    page.wait_for_timeout(1000)
    assert page.evaluate(SQUEEZED) == []
    assert page.evaluate(SMALL_TARGETS, TARGET_PX) == []
    assert page.evaluate(TOO_WIDE) == []


def test_plain_http_under_another_name(
    open_context: Callable[..., Any], address: str, tmp_path: Path
) -> None:
    """With no https, and no kept memory, work is kept all the same, and all of it is handed in."""
    elsewhere = address.replace("127.0.0.1", "classroom.test")
    rules = "MAP classroom.test 127.0.0.1, MAP * ~NOTFOUND, EXCLUDE 127.0.0.1"
    page = open_context(rules, viewport={"width": 1200, "height": 900}).new_page()
    wrong = listening(page, elsewhere)
    page.route("**/python.memory", lambda asked: asked.abort())
    open_book(page, elsewhere, START)
    assert (
        page.evaluate("[isSecureContext, 'serviceWorker' in navigator, crossOriginIsolated]") == [False] * 3
    )
    run_book(page)
    assert page.evaluate("document.body.dataset.pythonMemory") == "none"
    panel = page.locator(".lk-panel.lk-ready")
    panel.get_by_role("button", name="cool-2").click()
    panel.get_by_text("call cool-2").first.wait_for()
    before = int(page.evaluate("Date.now()"))
    fill_in(page, "answer-0-1", "answer_0_1 = 0")
    kept(page, before)

    # The glossary is kept like a workbook, and has no answers.
    open_book(page, elsewhere, GLOSSARY)
    before = int(page.evaluate("Date.now()"))
    page.evaluate("window.jupyterapp.shell.currentWidget.context.model.setMetadata('seen', true)")
    kept(page, before)
    open_book(page, elsewhere, START)
    assert cells_when(page, "true")["answer-0-1"]["source"] == "answer_0_1 = 0"
    page.on("dialog", lambda asked: asked.accept("Bo Brook"))
    with page.expect_download() as coming:
        page.locator(".lk-download").click()
    assert coming.value.suggested_filename == "answers_bo-brook.zip"
    coming.value.save_as(tmp_path / "answers.zip")
    with zipfile.ZipFile(tmp_path / "answers.zip") as content:
        assert content.testzip() is None
        assert sorted(content.namelist()) == [
            f"bo-brook/{name.removesuffix('.ipynb')}_bo-brook.ipynb" for name in workbook_names()
        ]
        assert b'"answer_0_1 = 0"' in content.read("bo-brook/00_start_here_bo-brook.ipynb")
    assert wrong == []


def test_first_visit_tells_how_far_it_is_and_the_next_needs_no_network(
    open_context: Callable[..., Any], built_site: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is kept for later is shown while it still comes in; then the server may go."""
    rest_may_come = threading.Event()
    send = SiteHandler.copyfile

    def send_a_part_first(handler: SiteHandler, source: Any, out: Any) -> None:
        if "/python." in handler.path:
            out.write(source.read(2_000_000))
            out.flush()
            rest_may_come.wait(120)
        send(handler, source, out)

    monkeypatch.setattr(SiteHandler, "copyfile", send_a_part_first)
    page = open_context(viewport={"width": 1200, "height": 900}).new_page()
    with site_server(built_site) as address:
        page.goto(address)
        page.wait_for_function("navigator.serviceWorker.controller")
        open_book(page, address, START)
        told = re.compile(r"^fetching Python and the bench [(][1-9]\d? %[)]$")
        page.get_by_text(told).wait_for(timeout=60_000)
        rest_may_come.set()
        run_book(page)
        page.wait_for_function(
            """async () => {
                const shelves = await Promise.all((await caches.keys()).map(name => caches.open(name)));
                const paths = (await Promise.all(shelves.map(shelf => shelf.keys()))).flat();
                return ['pack', 'memory'].every(one => paths.some(({ url }) => url.endsWith(`.${one}`)));
            }"""
        )
    page.goto(address)
    page.get_by_role("link", name="00 start here").first.wait_for()
    open_book(page, address, START)
    run_book(page)


def test_two_saves_at_once_are_no_conflict(open_context: Callable[..., Any], address: str) -> None:
    """On a slow device a save is not through when the next begins; nobody is asked to go back."""
    page = open_context(viewport={"width": 1200, "height": 900}).new_page()
    open_book(page, address, START)
    page.evaluate(
        """async () => {
            const { contents } = window.jupyterapp.serviceManager;
            const { context } = window.jupyterapp.shell.currentWidget;
            const sleep = ms => new Promise(done => setTimeout(done, ms));
            await context.save();
            await sleep(1000);
            // A save asks what there is, writes, and asks again; the first one's last word comes late.
            const get = contents.get.bind(contents);
            const late = [0, 3000];
            contents.get = async (...what) => {
                const ms = late.shift() ?? 0;
                const found = await get(...what);
                await sleep(ms);
                return found;
            };
            const begin = k => { context.model.setMetadata("round", k); return context.save(); };
            const first = begin(1);
            await sleep(1000);
            Promise.all([first, begin(2)]).then(() => { window.allSaved = true; });
        }"""
    )
    page.wait_for_function("window.allSaved || document.querySelector('.jp-Dialog')")
    assert page.locator(".jp-Dialog").count() == 0
    assert page.evaluate("window.jupyterapp.shell.currentWidget.context.model.metadata.round") == 2


#: How far the page is scrolled, and the cell in hand.
PLACE = """
() => {
  const notebook = window.jupyterapp.shell.currentWidget.content;
  return [notebook.outerNode.scrollTop, notebook.activeCellIndex];
}
"""


def test_run_all_stays_with_its_reader_goes_to_an_error_and_wakes_python(
    open_context: Callable[..., Any], address: str
) -> None:
    """The page moves only to show an error; and Python that was shut down by the menu is started again."""
    page = open_context(viewport={"width": 1200, "height": 900}).new_page()
    open_book(page, address, START)
    long = "print('a line\\n' * 80)"
    write_cells(page, "x = 1", long, "print(x)", long, "1 / 0", "y = 2")
    page.locator(".lk-run").click()
    page.get_by_text("ZeroDivisionError").first.wait_for()
    page.wait_for_function(f"() => ({PLACE})()[1] === 4")
    page.wait_for_function(
        """() => { const box = document.querySelectorAll('.jp-Cell')[4].getBoundingClientRect();
          return box.top >= 0 && box.top < window.innerHeight; }"""
    )
    assert cells_when(page, "!cell.busy")["own-5"]["ran"] is None

    write_cells(page, "x = 1", long, "print(x)", long, "y = 2", long)
    page.evaluate(
        """() => {
            const notebook = window.jupyterapp.shell.currentWidget.content;
            notebook.activeCellIndex = 0;
            notebook.outerNode.scrollTop = 0;
        }"""
    )
    page.wait_for_function(f"() => ({PLACE})().every(one => one === 0)")
    run_book(page)
    assert page.evaluate(PLACE) == [0, 0]

    run_command(page, "kernelmenu:shutdown")
    page.get_by_text("Python is shut down: Run all starts it again").wait_for()
    write_cells(page, "x = 3", "print(x)")
    assert text_of(run_book(page)["own-1"]) == "3\n"


def test_menus_run_all_cells_past_an_error_shown_on_purpose(
    open_context: Callable[..., Any], address: str
) -> None:
    """Restart Kernel and Run All Cells, which workbook 00 names, and Run All Cells both come to the end."""
    page = open_context(viewport={"width": 1200, "height": 900}).new_page()
    open_book(page, address, START)
    page.wait_for_function("document.body.dataset.pythonSeconds")
    page.evaluate("() => { window.jupyterapp.commands.execute('runmenu:restart-and-run-all'); }")
    page.locator(".jp-Dialog .jp-mod-warn").click()
    cells = cells_when(page, "cell.ran > 0 && !cell.busy")
    assert any(output["output_type"] == "error" for output in cells["red-error"]["outputs"])
    page.evaluate("() => { window.jupyterapp.commands.execute('runmenu:run-all'); }")
    cells_when(page, f"cell.ran > {len(cells)} && !cell.busy")
