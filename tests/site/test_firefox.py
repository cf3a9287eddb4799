"""The series in a second engine: Firefox opens workbook 00, runs it, and its panel is clicked on."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from bidi import Page, firefox_page
from sitepage import CELLS, site_server

pytestmark = [pytest.mark.firefox, pytest.mark.site]

KEY = (
    "[...document.querySelectorAll('.lk-panel button')].find("
    "key => [key.textContent.trim(), key.title, key.ariaLabel].includes('{}'))"
)
RESPONDS = (
    "[...document.querySelectorAll('.lk-panel tr')]"
    ".find(row => /compressor stage 1$/.test(row.firstElementChild.textContent))"
    "?.lastElementChild.textContent"
)


@pytest.fixture
def page(firefox: str, tmp_path: Path) -> Iterator[Page]:
    """Open a Firefox that reaches nothing but this computer."""
    with firefox_page(firefox, tmp_path) as opened:
        yield opened


def test_firefox_runs_a_workbook_and_its_panel(page: Page, built_site: Path) -> None:
    """Workbook 00 runs, a call brings the compressor on, a broken signal conductor brings it off again."""
    assert page.browser["browserName"] == "firefox"
    with site_server(built_site) as address:
        page.open(address)
        page.wait_for("document.querySelectorAll('#list a').length > 3")
        page.open(f"{address}notebooks/index.html?path=00_start_here.ipynb")
        page.wait_for("document.body.dataset.workbook === 'open'")
        page.click("document.querySelector('.lk-run')")
        page.wait_for("document.querySelector('.lk-panel.lk-ready')")
        page.wait_for("document.body.dataset.pythonMemory === 'kept'")
        # While cells still run the page moves, and a click would miss.
        page.wait_for(f"{CELLS.strip()[6:]}.every(cell => cell.ran > 0 && !cell.busy)")
        page.click(KEY.format("cool-2"))
        page.wait_for(f"{KEY.format('cool-2')}.ariaPressed === 'true'")
        page.click(KEY.format("wait 10 s"))
        page.wait_for(f"{RESPONDS} === 'on'")
        page.click("document.querySelector('.lk-break-outdoor-SIG')")
        page.wait_for("document.querySelector('.lk-break-outdoor-SIG[aria-pressed=true]')")
        page.click(KEY.format("wait 10 s"))
        page.wait_for(f"{RESPONDS} === 'off'")
