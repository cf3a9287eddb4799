"""A site in a headless browser: served from a folder, with every other address out of reach."""

from __future__ import annotations

import contextlib
import json
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from labpage import BROWSER_OPTIONS

from lessonkit.site import serve_site

PATIENCE_MS = 240_000
"""How long to wait for anything in a page: far longer than any step took anywhere so far."""

OPEN: list[tuple[Any, list[str]]] = []
"""The pages with a workbook, each with what it has said in its console."""

STATE = """
() => {
  const panel = window.jupyterapp?.shell?.currentWidget;
  const kernel = panel?.sessionContext?.session?.kernel;
  return {
    said: document.querySelector('.lk-state')?.textContent,
    noted: { ...document.body.dataset },
    dialog: document.querySelector('.jp-Dialog')?.textContent,
    kernel: kernel && [kernel.connectionStatus, kernel.status, kernel.handleComms],
    cells: panel?.content?.widgets?.filter(cell => cell.model.type === 'code').map(cell =>
      [cell.model.id, cell.model.executionCount, cell.model.executionState, cell.model.outputs.length]),
    panels: [...document.querySelectorAll('.lk-panel')].map(one => one.className),
    scripts: performance.getEntriesByType('resource').filter(one => !one.responseEnd).map(one => one.name),
  };
}
"""

CELLS = """
() => window.jupyterapp.shell.currentWidget.content.widgets
  .filter(cell => cell.model.type === 'code')
  .map(cell => ({
    id: cell.model.id,
    ran: cell.model.executionCount,
    busy: cell.model.executionState === 'running',
    source: cell.model.sharedModel.getSource(),
    outputs: cell.model.outputs.toJSON(),
  }))
"""


@contextlib.contextmanager
def site_server(folder: Path) -> Iterator[str]:
    """Serve a site's folder on this computer; yields its address."""
    server = serve_site(folder)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_address[1]}/"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@contextlib.contextmanager
def site_browser(
    tools: Any, chromium: str, *, rules: str = "MAP * ~NOTFOUND, EXCLUDE 127.0.0.1"
) -> Iterator[Any]:
    """Open a browser that finds no address but this computer's; `tools` is what sync_playwright() gives."""
    browser = tools.chromium.launch(
        executable_path=chromium, args=[*BROWSER_OPTIONS, f"--host-resolver-rules={rules}"]
    )
    try:
        yield browser
    finally:
        browser.close()


def listening(page: Any, address: str) -> list[str]:
    """Return a list that fills with what goes wrong: requests elsewhere, missing files, errors."""
    wrong: list[str] = []

    def asked(request: Any) -> None:
        if not request.url.startswith((address, "data:", "blob:")):
            wrong.append(f"asked for {request.url}")

    def answered(answer: Any) -> None:
        if answer.status >= 400:
            wrong.append(f"{answer.status} for {answer.url}")

    page.on("request", asked)
    page.on("response", answered)
    page.on("pageerror", lambda error: wrong.append(str(error)))
    return wrong


def open_book(page: Any, address: str, path: str) -> None:
    """Open a workbook of the site."""
    page.set_default_timeout(PATIENCE_MS)
    if all(one is not page for one, _ in OPEN):
        heard: list[str] = []
        page.on("console", lambda word: heard.append(word.text))
        page.on("pageerror", lambda error: heard.append(str(error)))
        page.on("close", lambda one: OPEN.remove((one, heard)))
        OPEN.append((page, heard))
    page.goto(f"{address}notebooks/index.html?path={path}")
    page.wait_for_function("document.body.dataset.workbook === 'open'")


def states() -> str:
    """Return how each open page with a workbook is, for a test that failed."""
    found = []
    for page, heard in OPEN:
        try:
            state = json.dumps(page.evaluate(STATE), indent=1)
        except Exception as error:  # a page may be past answering; that is a finding, too
            state = f"it does not answer: {error}"
        found.append("\n".join([page.url, state, *heard[-20:]]))
    return "\n\n".join(found)


def cells_when(page: Any, done: str) -> dict[str, dict[str, Any]]:
    """Wait until a condition on all code cells holds, then return them by id.

    `done` is JavaScript of one cell, `cell`.
    """
    page.wait_for_function(f"() => ({CELLS})().every(cell => {done})")
    return {cell["id"]: cell for cell in page.evaluate(CELLS)}


def run_book(page: Any) -> dict[str, dict[str, Any]]:
    """Press `Run all`, and return the code cells when all of them have run."""
    page.locator(".lk-run").click()
    cells = cells_when(page, "cell.ran > 0 && !cell.busy")
    page.wait_for_function(
        "() => window.jupyterapp.shell.currentWidget.sessionContext.session.kernel.status === 'idle'"
    )
    return cells


def fill_in(page: Any, cell_id: str, source: str) -> None:
    """Write into a cell as a student does: click into it, select all, type."""
    cell = page.locator(f'[data-site-cell="{cell_id}"]')
    page.evaluate(
        """id => {
            const notebook = window.jupyterapp.shell.currentWidget.content;
            const index = notebook.widgets.findIndex(cell => cell.model.id === id);
            notebook.widgets[index].node.dataset.siteCell = id;
            notebook.scrollToItem(index, 'center');
        }""",
        cell_id,
    )
    cell.locator(".cm-content").click()
    page.keyboard.press("Control+A")
    page.keyboard.type(source)


def kept(page: Any, since: int) -> int:
    """Wait until the work as it is now was kept in the browser, after a moment, and return when."""
    page.wait_for_function(
        "since => document.body.dataset.work === 'kept' && Number(document.body.dataset.savedAt) > since",
        arg=since,
    )
    return int(page.evaluate("Number(document.body.dataset.savedAt)"))
