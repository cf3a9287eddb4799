"""The series in a page, beside the same series in JupyterLab: `python tests/speed/site_page.py`.

Builds a site, or takes the one that LESSONKIT_SITE names, serves it from this computer, and measures in a
headless Chromium: the first visit of a new browser, by way of the start page as everyone comes, the second,
and clicks on the two-run panel with scope: five times through all keys, from the very first click on. The
first time through is told apart as well, since what is new then is worked out then. The same clicks are timed
in JupyterLab in the same run, and the ratios are printed. Aims, on two cores that do nothing else: Python's
first answer under 12 s and the panel under 15 s, at the second visit under 6 s, and clicks under 60 ms in the
median and 100 ms at the 95th percentile.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS / "browser"), str(TESTS / "speed")]

from labpage import browser_page, lab_server, run_all, shared, write_notebook  # noqa: E402
from panel_clicks import CELLS, clicks  # noqa: E402
from playwright.sync_api import sync_playwright  # noqa: E402
from sitepage import cells_when, open_book, site_browser, site_server  # noqa: E402

ROUNDS = 5
PANEL = "panel = lk.bench_panel('two-run', scope=True)\ndisplay(panel)"


def tell(where: str, page: Any) -> tuple[float, float]:
    """Click, print what it took; return the median and the 95th percentile of all clicks in milliseconds."""
    links = ("thermostat-SIG", "outdoor-SIG")
    first, later = clicks(page, 1, links)[0], clicks(page, ROUNDS - 1, links)[0]
    found = []
    for name, times in (("first time through", first), ("all", first + later)):
        median, p95 = statistics.median(times), statistics.quantiles(times, n=20)[-1]
        print(f"{where}, {len(times)} clicks, {name}: median {median:.0f} ms, 95 % {p95:.0f} ms")
        found.append((median, p95))
    return found[-1]


def beside(one: tuple[float, float], other: tuple[float, float], names: tuple[str, str]) -> str:
    """Return how many times as long two times are as two others, in words."""
    ratios = (f"{name} {a / b:.2f} times" for name, a, b in zip(names, one, other, strict=True))
    return ", ".join(ratios)


def visit(page: Any, address: str, name: str) -> tuple[float, float]:
    """Open workbook 00, run its cells, print and return when Python answered and the panel was there."""
    page.goto(address)
    page.get_by_role("link", name="00 start here").first.wait_for()
    began = time.perf_counter()
    open_book(page, address, "00_start_here.ipynb")
    opened = time.perf_counter() - began
    page.evaluate(
        """source => { const cells = window.jupyterapp.shell.currentWidget.content.widgets;
            cells.find(cell => cell.model.id === 'panel-bench').model.sharedModel.setSource(source); }""",
        PANEL,
    )
    page.locator(".lk-run").click()
    # A kept workbook has the count of its last run; so the kernel has to be there first.
    page.wait_for_function(
        "() => document.body.dataset.pythonSeconds && window.jupyterapp.shell.currentWidget.content.widgets"
        ".some(cell => cell.model.id === 'setup' && cell.model.executionCount > 0"
        " && cell.model.executionState === 'idle')"
    )
    answered = time.perf_counter() - began
    page.locator(".lk-panel.lk-ready").wait_for()
    shown = time.perf_counter() - began
    cells_when(page, "cell.ran > 0 && !cell.busy")
    print(f"{name} visit: page {opened:.1f} s, Python's first answer {answered:.1f} s, panel {shown:.1f} s")
    return answered, shown


def main() -> None:
    """Measure and print."""
    chromium = shared.find_chromium()
    if not chromium:
        sys.exit("no Chromium on this machine")
    print(f"load of this machine before: {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "")
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        site = Path(os.environ.get("LESSONKIT_SITE", root / "public"))
        if not site.exists():
            from lessonkit.site import build_site

            began = time.perf_counter()
            built = build_site(site)
            print(
                f"build: {time.perf_counter() - began:.0f} s, {built.size / 1e6:.1f} MB, {built.files} files"
            )
        with (
            site_server(site) as address,
            sync_playwright() as tools,
            site_browser(tools, chromium) as browser,
        ):
            page = browser.new_context(viewport={"width": 1400, "height": 1000}).new_page()
            visits = []
            for name in ("first", "second"):
                visits.append(visit(page, address, name))
                page.wait_for_timeout(2000)
            print("second visit beside the first:", beside(visits[1], visits[0], ("answer", "panel")))
            in_page = tell("page", page)
        (root / "notebooks").mkdir()
        env = shared.make_private_env(root / "env")
        env["PYTHONPATH"] = os.pathsep.join([str(TESTS.parent), env.get("PYTHONPATH", "")])
        with (
            lab_server(root / "notebooks", env, root / "log.txt") as server,
            sync_playwright() as tools,
            browser_page(tools, chromium) as page,
        ):
            cells = [cell.format(job="two-run", scope=True) for cell in CELLS]
            write_notebook(root / "notebooks" / "two-run.ipynb", *cells)
            run_all(page, server, "two-run.ipynb", "cell-1")
            page.locator(".lk-panel").wait_for()
            page.wait_for_timeout(1000)
            native = tell("JupyterLab", page)
        print("clicks in the page beside JupyterLab:", beside(in_page, native, ("median", "95 %")))


if __name__ == "__main__":
    main()
