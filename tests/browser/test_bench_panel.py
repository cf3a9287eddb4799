"""The bench panel in a real JupyterLab page: what a trainee does, and what a fast hand or a keyboard does."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from labpage import run_all, write_notebook

pytestmark = pytest.mark.chromium

CELLS = (
    "import lessonkit as lk\nfrom IPython.display import display",
    "panel = lk.bench_panel('two-run')\ndisplay(panel)",
)


NOTEBOOKS = Path(__file__).resolve().parents[2] / "notebooks"


def open_panel(lab: tuple[str, Path], page: Any, notebook: Path, cell: str) -> Any:
    """Open a notebook, run it all, and return the panel that a cell shows."""
    run_all(page, lab[0], notebook.name, cell)
    found = page.locator(".lk-panel.lk-ready")
    found.wait_for()
    return found


@pytest.fixture
def panel(lab: tuple[str, Path], page: Any, request: pytest.FixtureRequest) -> Any:
    """Return a panel in a fresh notebook of its own."""
    notebook = write_notebook(lab[1] / f"{request.node.name}.ipynb", *CELLS)
    return open_panel(lab, page, notebook, "cell-1")


def responds(panel: Any, name: str, words: str) -> None:
    """Wait until the table says that a piece of equipment does something."""
    row = panel.get_by_role("row").filter(
        has=panel.page.get_by_role("rowheader", name=re.compile(f"{name}$"))
    )
    row.get_by_role("cell", name=words, exact=True).wait_for()


def test_broken_signal_releases_the_outdoor_unit(lab: tuple[str, Path], page: Any) -> None:
    """In workbook 00, cool-2 starts both stages; with SIG broken the watchdog stops the outdoor unit."""
    workbook = Path(shutil.copy(NOTEBOOKS / "00_start_here.ipynb", lab[1]))
    panel = open_panel(lab, page, workbook, "panel-bench")
    responds(panel, "compressor stage 2", "off")
    panel.get_by_role("button", name="cool-2").click()
    for name, words in (
        ("blower", "on"),
        ("compressor stage 1", "on"),
        ("compressor stage 2", "on"),
        ("reversing valve", "on, cooling"),
    ):
        responds(panel, name, words)
    assert panel.get_by_role("button", name="cool-2").get_attribute("aria-pressed") == "true"
    panel.get_by_role("button", name="outdoor run: SIG sound, break it").click()
    panel.get_by_role("button", name="outdoor run: SIG broken, mend it").wait_for()
    # Five seconds have passed, and the watchdog is not over yet.
    responds(panel, "compressor stage 2", "on")
    panel.get_by_role("button", name="wait 10 s").click()
    responds(panel, "compressor stage 1", "off")
    responds(panel, "reversing valve", "off")
    responds(panel, "blower", "on")
    picture = panel.get_by_role("img", name=re.compile("Wiring of .*, call cool-2"))
    assert "SIG signalling, broken, then dead" in picture.get_attribute("aria-label")


def test_a_click_on_a_conductor_breaks_it(panel: Any) -> None:
    """The picture itself is a control: its conductors break where they are clicked, and mend again."""
    drawn = panel.locator('[data-key="thermostat.R"]')
    drawn.locator("line").last.click(force=True)
    panel.get_by_role("button", name="thermostat run: R broken, mend it").wait_for()
    responds(panel, "blower", "off")
    drawn.locator("line").last.click(force=True)
    panel.get_by_role("button", name="thermostat run: R sound, break it").wait_for()


def test_fast_clicks_are_all_counted(panel: Any) -> None:
    """Sixty clicks without a pause each let their time pass, and the last call is the one shown."""
    keys = ("cool-1", "cool-2", "fan", "heat-1")
    for k in range(60):
        panel.get_by_role("button", name=keys[k % 4], exact=True).evaluate("key => key.click()")
    # Five seconds before the first click and five for each.
    panel.get_by_text("After 5 min 5 s: call heat-1").wait_for()


def test_every_control_has_a_name(panel: Any) -> None:
    """Whatever can be focused has a name for a screen reader, the box for the outdoor air among them."""
    outdoor = panel.get_by_label("outdoor air, °C:")
    assert outdoor.input_value() == "8"
    outdoor.fill("-5")
    outdoor.press("Enter")
    panel.get_by_text("After 10 s:").wait_for()
    nameless = panel.evaluate(
        """panel => [...panel.querySelectorAll('button, input, select, [tabindex="0"]')]
          .filter(one => one.checkVisibility())
          .filter(one => !(one.getAttribute('aria-label')
            || one.tagName === 'BUTTON' && one.textContent.trim()
            || [...one.labels || []].some(label => label.textContent.trim())))
          .map(one => one.outerHTML)"""
    )
    assert nameless == []


@pytest.mark.parametrize(("wide", "high", "columns"), [(1920, 1080, 2), (1280, 720, 1)])
def test_a_projector_shows_picture_keys_and_meter_at_once(
    panel: Any, page: Any, wide: int, high: int, columns: int
) -> None:
    """On a wide page keys and meter stand beside the picture; on a narrow one they follow below."""
    before = page.viewport_size
    page.set_viewport_size({"width": wide, "height": high})
    try:
        panel.evaluate("panel => panel.scrollIntoView()")
        page.wait_for_function(
            "w => document.documentElement.clientWidth === w && document.querySelector('.lk-picture svg')",
            arg=wide,
        )
        page.wait_for_timeout(300)
        picture = panel.locator(".lk-picture svg").first.bounding_box()
        meter = panel.locator(".lk-display").bounding_box()
        keys = panel.locator(".lk-break-outdoor-SIG").bounding_box()
        assert (keys["x"] >= picture["x"] + picture["width"]) == (columns == 2)
        if columns == 2:
            assert max(one["y"] + one["height"] for one in (picture, meter, keys)) <= high
        else:
            assert keys["y"] >= picture["y"] + picture["height"]
        assert panel.evaluate("panel => panel.scrollWidth <= panel.clientWidth")
    finally:
        page.set_viewport_size(before)


def test_the_keyboard_works_and_shortcuts_stay_quiet(panel: Any, page: Any) -> None:
    """Tab, Space and Enter work the keys, and the notebook's own shortcuts leave the cell alone."""
    panel.get_by_role("button", name="off", exact=True).focus()
    for _ in range(3):
        page.keyboard.press("Tab")
    page.keyboard.press("Space")
    panel.get_by_text("call cool-2").first.wait_for()
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    panel.get_by_text("call heat-1").first.wait_for()
    cells = page.locator(".jp-Notebook .jp-Cell")
    before = cells.count()
    for shortcut in ("x", "m", "d", "d", "a", "b"):
        page.keyboard.press(shortcut)
    page.keyboard.press("Tab")
    page.keyboard.press("Space")
    panel.get_by_text("call heat-2").first.wait_for()
    assert cells.count() == before
    assert panel.get_by_role("button", name="heat-2").get_attribute("aria-pressed") == "true"
