"""The bench panel in a real JupyterLab page: what a trainee does with a mouse, a keyboard or a screen reader.

All tests here share one notebook: a panel, a second meter on its bench, and a cell that changes the bench.
Each begins by mending all faults, so none needs another.
"""

from __future__ import annotations

import contextlib
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from labpage import is_pressed, key, run_all, run_command, write_notebook
from playwright.sync_api import Error

from lessonkit.draw.palette import contrast

pytestmark = pytest.mark.chromium

CELLS = (
    "import lessonkit as lk\nfrom IPython.display import display",
    "panel = lk.bench_panel('two-run')\ndisplay(panel)",
    "from lessonkit.panels.meter import meter_panel\ndisplay(meter_panel(panel.bench, 'air:Y1', 'air:C'))",
    # Run with all cells it changes nothing; run once more it opens the disconnect.
    "if 'opened' in globals():\n    panel.bench.set_power(False)\nopened = True",
)
NOTEBOOKS = Path(__file__).resolve().parents[2] / "notebooks"


def responds(panel: Any, name: str, words: str) -> None:
    """Wait until the table says that a piece of equipment does something."""
    row = panel.get_by_role("row").filter(has=panel.page.get_by_role("rowheader", name=name, exact=True))
    row.get_by_role("cell", name=words, exact=True).wait_for()


@pytest.fixture(scope="module")
def desk(lab: tuple[str, Path], page: Any) -> Any:
    """Open the notebook that the tests share, and return its page."""
    notebook = write_notebook(lab[1] / "desk.ipynb", *CELLS)
    run_all(page, lab[0], notebook.name, "cell-2")
    page.locator(".lk-panel.lk-ready").nth(1).wait_for()
    return page


@pytest.fixture
def panel(desk: Any) -> Any:
    """Return the panel, sound and on its page."""
    found = desk.locator(".lk-panel.lk-ready").first
    found.evaluate("panel => panel.scrollIntoView()")
    mend = found.get_by_role("button", name="mend all")
    if mend.is_enabled():
        mend.click()
        found.get_by_text("nothing", exact=True).first.wait_for()
    return found


def says(panel: Any, words: str) -> None:
    """Wait until the line of news says something."""
    panel.locator(".lk-news").filter(has_text=words).wait_for()


def test_broken_signal_releases_the_outdoor_unit(lab: tuple[str, Path], page: Any) -> None:
    """In workbook 00, cool-2 starts both stages; with SIG broken the watchdog stops the outdoor unit."""
    workbook = Path(shutil.copy(NOTEBOOKS / "00_start_here.ipynb", lab[1]))
    run_all(page, lab[0], workbook.name, "panel-bench")
    panel = page.locator(".lk-panel.lk-ready")
    panel.wait_for()
    responds(panel, "compressor stage 2", "off")
    key(panel, "cool-2").click()
    for name, words in (
        ("blower", "on"),
        ("compressor stage 1", "on"),
        ("compressor stage 2", "on"),
        ("outdoor fan", "on"),
    ):
        responds(panel, name, words)
    is_pressed(panel, "cool-2")
    key(panel, "outdoor run: break SIG").click()
    panel.locator(".lk-break-outdoor-SIG[aria-pressed=true]").wait_for()
    # Five seconds have passed, and the watchdog is not over yet.
    responds(panel, "compressor stage 2", "on")
    key(panel, "wait 10 s").click()
    responds(panel, "compressor stage 1", "off")
    responds(panel, "outdoor fan", "off")
    responds(panel, "blower", "on")
    picture = panel.get_by_role("img", name=re.compile("Wiring of .*, call cool-2"))
    assert "SIG signalling, broken, then dead" in picture.get_attribute("aria-label")


def test_a_click_on_a_conductor_breaks_it(panel: Any) -> None:
    """The picture itself is a control: its conductors break where they are clicked, and mend again."""
    pressed = panel.locator(".lk-break-thermostat-R")
    # A finger hits the paper beside the line; a mouse hits the line itself.
    panel.locator('.lk-top .lk-still [data-key="thermostat.R"]').dispatch_event("click")
    panel.locator(".lk-break-thermostat-R[aria-pressed=true]").wait_for()
    assert pressed.get_attribute("aria-label") == "thermostat run: break R"
    responds(panel, "blower", "off")
    drawn = panel.locator('.lk-drawn [data-key="thermostat.R"] path').first.bounding_box()
    panel.page.mouse.click(drawn["x"] + 6, drawn["y"] + drawn["height"] / 2)
    panel.locator(".lk-break-thermostat-R[aria-pressed=false]").wait_for()


_SENDINGS = r"""
panel => {
  const place = panel.querySelector('.lk-top .lk-living > .widget-html-content');
  const begin = '<div class="lk-drawn"><svg><title>t</title><g>', end = '</g></svg></div>';
  const drawn = (...lines) => [begin, ...lines, end].join('\n');
  const text = (x, words, more = '') => `<text x="${x}" y="1" ${more}>${words}</text>`;
  const [a, b, c] = [text(1, 'a'), text(2, 'b'), '<g><title>c</title><path d="M1 1h1"></path></g>'];
  const news = words => `<div>${words}</div>`;
  const keeps = [drawn(a, b, c), drawn(a, c), drawn(a, '<path d="M2 2h2"></path>', b, c),
    drawn(a, text(2, 'B', 'fill="red"'), c), drawn(a, a, a, b, c), drawn(text(0, '0'), a),
    drawn(a).replace('>t<', '>T<')]
    .map((html, k) => html + '\n\n' + news(k % 3 ? 'news' : 'other <b>news</b>'));
  const others = [drawn(c, b, a), 'words <b>x</b>', '', '', drawn(b), '<p>one</p><p>two</p>', '<p>two</p>',
    news('one') + '\n\n' + news('two'), news('one') + '\n\n' + '<p>two</p>', drawn(), drawn(a, b)];
  const wrong = [];
  let first = null;
  for (const html of [...keeps, ...others]) {
    place.innerHTML = html;
    const wanted = document.createElement('div');
    wanted.innerHTML = html.replaceAll('\n', '');
    if (place.innerHTML !== wanted.innerHTML) wrong.push([html, place.innerHTML]);
    first = first ?? place.querySelector('text');
    if (keeps.includes(html) && !place.contains(first)) wrong.push([html, 'was drawn again']);
  }
  return wrong;
}
"""


def test_the_page_shows_what_was_sent_and_keeps_what_stayed(panel: Any) -> None:
    """Whatever a sending adds, drops, moves or changes is seen once, and what stayed is not drawn again."""
    assert panel.evaluate(_SENDINGS) == []
    key(panel, "fan").click()
    says(panel, "call fan")


def test_fast_clicks_are_all_counted(panel: Any) -> None:
    """Sixty clicks without a pause each let their time pass, and the last call is the one shown."""
    keys = ("cool-1", "cool-2", "fan", "heat-1")
    news = panel.locator(".lk-news")
    key(panel, "emergency").click()
    says(panel, "call emergency")
    before = _seconds(news.inner_text())
    for k in range(60):
        key(panel, keys[k % 4]).evaluate("key => key.click()")
    after = before + 300
    told = f"After {after // 60} min{f' {after % 60} s' if after % 60 else ''}: call heat-1"
    news.filter(has_text=told).wait_for()


def _seconds(news: str) -> int:
    units = {"h": 3600, "min": 60, "s": 1}
    told = news.partition(":")[0]
    return sum(int(count) * units[unit] for count, unit in re.findall(r"(\d+) (h|min|s)\b", told))


def test_everything_has_a_name_and_one_only(panel: Any) -> None:
    """What can be focused has a name; no tip says null, no circle and no inner part of a picture is read."""
    panel.get_by_label("What:").select_option("thermostat run: R")
    panel.get_by_label("how:").select_option(label="bad splice")
    panel.get_by_label("value:").wait_for()
    panel.get_by_text("Any fault:", exact=True).wait_for()
    nameless = panel.evaluate(
        """panel => [...panel.querySelectorAll('button, input, select, [tabindex="0"]')]
          .filter(one => one.checkVisibility())
          .filter(one => !(one.getAttribute('aria-label')
            || one.tagName === 'BUTTON' && one.textContent.trim()
            || [...one.labels || []].some(label => label.textContent.trim())))
          .map(one => one.outerHTML)"""
    )
    assert nameless == []
    assert panel.locator('[title="null"]').count() == 0
    heard = panel.aria_snapshot()
    assert "●" not in heard
    assert "○" not in heard
    assert len(re.findall(r"- '?img ", heard)) == 2, heard
    assert "contact Y1" not in heard
    assert 'rowheader "blower"' in heard


def test_a_pressed_key_keeps_its_name(panel: Any) -> None:
    """Pressing changes a key's state and nothing else that is heard of it."""
    for name in ("outdoor run: break SIG", "scope", "power: the disconnect is closed"):
        found = key(panel, name)
        before = found.get_attribute("aria-pressed")
        for state in ("false" if before == "true" else "true", before):
            found.click()
            panel.page.wait_for_function(
                "([key, state]) => key.getAttribute('aria-pressed') === state",
                arg=[found.element_handle(), state],
            )
            assert found.count() == 1


def test_every_kind_of_control_shows_its_focus(panel: Any) -> None:
    """Key, select and number box have a ring of 3 to 1 against the page (WCAG 2.2, 1.4.11)."""
    page = panel.page
    controls = (key(panel, "fan"), panel.get_by_label("red:"), panel.get_by_label("outdoor air, °C:"))
    for control in controls:
        control.focus()
        page.keyboard.press("Shift+Tab")
        page.keyboard.press("Tab")
        style, width, colour = control.evaluate(
            """one => { const s = getComputedStyle(one);
              return [s.outlineStyle, parseFloat(s.outlineWidth), s.outlineColor]; }"""
        )
        assert (style, width) == ("solid", 3)
        red, green, blue = map(int, re.findall(r"\d+", colour)[:3])
        assert contrast(f"#{red:02x}{green:02x}{blue:02x}", "#ffffff") >= 3


def test_what_is_new_is_said_once(panel: Any) -> None:
    """A new reading and the news reach a live region that stays in place."""
    region = panel.locator(".lk-told[aria-live=polite]")
    kept = region.element_handle()
    panel.get_by_label("red:").select_option(label="thermostat R")
    panel.get_by_label("black:").select_option(label="thermostat C")
    region.filter(has_text="V RMS from thermostat R to thermostat C").wait_for()
    key(panel, "cool-1").click()
    region.filter(has_text="call cool-1").wait_for()
    assert kept.evaluate("node => node.isConnected")


def test_focus_stays_after_a_mend(panel: Any) -> None:
    """A key that mends is gone once it did; the next one has the focus, and at last the one that adds."""
    page = panel.page
    for name in ("outdoor run: break SIG", "outdoor run: break R"):
        key(panel, name).click()
    mends = panel.get_by_role("button", name=re.compile("^mend outdoor"))
    mends.nth(1).wait_for()
    mends.first.focus()
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.activeElement.textContent.startsWith('mend outdoor')")
    page.wait_for_function(
        "() => document.querySelector('.lk-panel').textContent.split('mend outdoor').length === 2"
    )
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.activeElement.textContent === 'add this fault'")


def test_ctrl_s_saves_from_every_kind_of_control(panel: Any, lab: tuple[str, Path]) -> None:
    """While a key, a toggle, a select or a number box has the focus, Ctrl+S saves the notebook."""
    page = panel.page
    dirty = "() => window.jupyterapp.shell.currentWidget.context.model.dirty"
    for control in (
        key(panel, "wait 1 s"),
        key(panel, "heat-1"),
        panel.get_by_label("red:"),
        panel.get_by_label("outdoor air, °C:"),
    ):
        page.evaluate("() => { window.jupyterapp.shell.currentWidget.context.model.dirty = true; }")
        assert page.evaluate(dirty)
        control.focus()
        # JupyterLab does not hear Ctrl+S until its last save has written the checkpoint, which no part of the
        # page tells: it is pressed until it is heard.
        for _ in range(30):
            page.keyboard.press("Control+s")
            with contextlib.suppress(Error):  # playwright's own: it was not heard
                page.wait_for_function(f"() => !({dirty})()", timeout=2000)
                break
        else:
            pytest.fail("Ctrl+S does not save")


def test_the_keyboard_works_and_shortcuts_stay_quiet(panel: Any) -> None:
    """Tab, Space and Enter work the keys, and the notebook's own shortcuts leave the cell alone."""
    page = panel.page
    key(panel, "off").focus()
    for _ in range(3):
        page.keyboard.press("Tab")
    page.keyboard.press("Space")
    says(panel, "call cool-2")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    says(panel, "call heat-1")
    cells = page.locator(".jp-Notebook .jp-Cell")
    before = cells.count()
    for shortcut in ("x", "m", "d", "d", "a", "b"):
        page.keyboard.press(shortcut)
    page.keyboard.press("Tab")
    page.keyboard.press("Space")
    says(panel, "call heat-2")
    assert cells.count() == before
    is_pressed(panel, "heat-2")


def test_a_second_meter_follows_the_bench(panel: Any) -> None:
    """It reads what a key of the other panel did, and what a cell of the notebook did."""
    page = panel.page
    second = page.locator(".lk-panel.lk-ready").nth(1).locator(".lk-display strong")
    key(panel, "cool-1").click()
    says(panel, "call cool-1")
    # The page makes cells only where somebody looks.
    page.evaluate(
        """() => { const notebook = window.jupyterapp.shell.currentWidget.content;
          notebook.activeCellIndex = 3; notebook.scrollToItem(2, 'start'); }"""
    )
    second.filter(has_text=re.compile(r"^2\d\.")).wait_for()
    run_command(page, "notebook:run-cell")
    second.filter(has_text=re.compile(r"^0\.")).wait_for()
    page.locator(".lk-key[aria-label^=power][aria-pressed=false]").wait_for(state="attached")


def test_a_panel_without_its_kernel_says_what_to_do(panel: Any) -> None:
    """After a restart the keys do nothing, and a sentence says so; no broken-link sign is left alone."""
    page = panel.page
    assert not panel.locator(".lk-lost").is_visible()
    page.evaluate("() => window.jupyterapp.shell.currentWidget.sessionContext.session.kernel.restart()")
    lost = panel.locator(".lk-lost")
    lost.wait_for()
    assert "Run, Run All Cells" in lost.inner_text()
    assert key(panel, "fan").evaluate("key => getComputedStyle(key, '::before').display") == "none"
