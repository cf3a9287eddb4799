"""Panels and pictures on an unusual page: untrusted, strict, printed, exported, dark, narrow, old.

The sizes and colours share one notebook; the rest need a page of their own.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import nbformat
import pytest
from labpage import open_notebook, run_all, run_command, shared, write_notebook
from nbclient import NotebookClient
from nbconvert import HTMLExporter

import lessonkit as lk
from lessonkit.draw.palette import contrast

pytestmark = pytest.mark.chromium

CELLS = (
    "import lessonkit as lk\nfrom IPython.display import display",
    "panel = lk.bench_panel('two-run', call='cool-2')\ndisplay(panel)",
)
WHOLE_IMAGE = "image => image.complete && image.naturalWidth > 900 && image.alt.length > 200"


@pytest.fixture(scope="module")
def seen(lab: tuple[str, Path], page: Any) -> Iterator[Any]:
    """Open a panel for looking at, and put size and colours back at the end."""
    notebook = write_notebook(lab[1] / "seen.ipynb", *CELLS)
    before = page.viewport_size
    run_all(page, lab[0], notebook.name, "cell-1")
    panel = page.locator(".lk-panel.lk-ready")
    panel.wait_for()
    yield panel
    page.emulate_media(forced_colors="none", media="screen")
    page.set_viewport_size(before)


def at_size(panel: Any, wide: int, high: int) -> dict[str, dict[str, float]]:
    """Give the window a size, put the panel at the top, and return where its parts are."""
    panel.page.set_viewport_size({"width": wide, "height": high})
    panel.page.wait_for_function(
        "w => document.documentElement.clientWidth === w && document.querySelector('.lk-drawn svg')", arg=wide
    )
    panel.evaluate("panel => panel.scrollIntoView()")
    panel.page.wait_for_timeout(400)
    parts = {
        "calls": ".lk-row",
        "picture": ".lk-drawn svg",
        "behind": ".lk-still svg",
        "equipment": ".lk-equipment tbody",
        "meter": ".lk-display",
    }
    return {name: panel.locator(at).first.bounding_box() for name, at in parts.items()}


@pytest.mark.parametrize(("wide", "high"), [(1280, 720), (1920, 1080)])
def test_a_projector_shows_calls_picture_equipment_and_meter(seen: Any, wide: int, high: int) -> None:
    """All four are above the fold with JupyterLab's own bars open, and nothing is wider than the panel."""
    parts = at_size(seen, wide, high)
    floor = seen.page.locator("#jp-bottom-panel, .jp-StatusBar-Widget").first.bounding_box()["y"]
    for name, part in parts.items():
        assert part["y"] >= 0, name
        assert part["y"] + part["height"] <= floor, name
    assert parts["picture"] == pytest.approx(parts["behind"], abs=0.5)
    assert seen.evaluate("panel => panel.scrollWidth <= panel.clientWidth")
    if high == 1080:
        letters = seen.evaluate(
            """panel => ['.lk-drawn text:not([font-size])', '.lk-key', '.lk-equipment tbody th']
                .map(at => panel.querySelector(at)).map(one =>
                  parseFloat(getComputedStyle(one).fontSize) * (one.getScreenCTM?.().a ?? 1))"""
        )
        assert min(letters) >= high / 50 - 0.1


def test_a_narrow_page_cuts_nothing(seen: Any) -> None:
    """At 390 px, without the side bar, choices stay within the panel, and picture and links scroll."""
    run_command(seen.page, "application:toggle-left-area")
    try:
        at_size(seen, 390, 844)
        over = seen.evaluate(
            """panel => { const edge = panel.getBoundingClientRect().right + 1;
              return [...panel.querySelectorAll('button, select, input, .lk-display, .lk-equipment table')]
                .filter(one => one.checkVisibility() && one.getBoundingClientRect().right > edge)
                .map(one => one.outerHTML.slice(0, 120)); }"""
        )
        assert over == []
        for scrolled in (".lk-links", ".lk-top"):
            assert seen.locator(scrolled).evaluate("one => getComputedStyle(one).overflowX") == "auto"
    finally:
        run_command(seen.page, "application:toggle-left-area")
        at_size(seen, 1400, 1000)


def _contrast_of(found: Any) -> float:
    """Return how well letters stand out from the first paper behind them."""
    ink, paper = found.evaluate(
        """one => { const ink = getComputedStyle(one).color;
          for (let at = one; at; at = at.parentElement) {
            const paper = getComputedStyle(at).backgroundColor;
            if (paper !== 'rgba(0, 0, 0, 0)') return [ink, paper];
          }
          return [ink, 'rgb(255, 255, 255)']; }"""
    )
    one, other = ("#" + "".join(f"{int(n):02x}" for n in re.findall(r"\d+", c)[:3]) for c in (ink, paper))
    return contrast(one, other)


def test_a_dark_page_keeps_every_caption(seen: Any) -> None:
    """On JupyterLab's dark theme all words, and choosers' arrows, keep 4.5 to 1 (WCAG 2.2, 1.4.3)."""
    run_command(seen.page, "apputils:change-theme", theme="JupyterLab Dark")
    seen.page.wait_for_selector("body[data-jp-theme-light=false]", state="attached")
    try:
        for words in (".lk-table caption", ".lk-table td", ".lk-news", ".lk-key", ".lk-on", ".widget-label"):
            for found in seen.locator(words).all():
                if found.is_visible() and found.is_enabled() and found.inner_text().strip():
                    assert _contrast_of(found) >= 4.5, (words, found.inner_text())
        choosers = [one for one in seen.locator("select").all() if one.is_visible()]
        assert choosers
        for chooser in choosers:
            assert _contrast_of(chooser) >= 4.5
            ink, arrow = chooser.evaluate(
                "one => [getComputedStyle(one).color, getComputedStyle(one).backgroundImage]"
            )
            assert ink in arrow
    finally:
        run_command(seen.page, "apputils:change-theme", theme="JupyterLab Light")


def test_forced_colours_leave_keys_their_borders(seen: Any) -> None:
    """Where a system forces its own colours, each key has a border and a pressed one a second."""
    seen.page.emulate_media(forced_colors="active")
    try:
        styles = seen.evaluate(
            """panel => [...panel.querySelectorAll('.lk-key')].filter(key => key.checkVisibility())
              .map(key => { const s = getComputedStyle(key);
              return [s.borderTopStyle, parseFloat(s.borderTopWidth), s.borderTopColor,
                key.classList.contains('lk-on'), s.outlineStyle]; })"""
        )
        assert len(styles) > 20
        for style, width, colour, pressed, outline in styles:
            assert (style, width >= 1) == ("solid", True)
            assert colour != "rgba(0, 0, 0, 0)"
            assert not pressed or outline == "solid"
    finally:
        seen.page.emulate_media(forced_colors="none")


def test_the_next_day_a_picture_and_a_sentence_are_there(seen: Any, lab: tuple[str, Path]) -> None:
    """Opened again with a new kernel, the panel is gone; its picture stays, and how to wake it."""
    page = seen.page
    asleep = page.locator(".lk-asleep")
    assert not asleep.is_visible()
    run_command(page, "docmanager:save")
    page.wait_for_function("() => !window.jupyterapp.shell.currentWidget.context.model.dirty")
    run_command(page, "kernelmenu:shutdown")
    open_notebook(page, lab[0], "seen.ipynb")
    asleep.wait_for()
    assert "To use it, run the notebook from its top" in asleep.inner_text()
    assert asleep.locator("img").evaluate(WHOLE_IMAGE)


def test_an_untrusted_notebook_shows_its_pictures(lab: tuple[str, Path], page: Any) -> None:
    """A teacher who opens a student's file sees the picture, with its words, and no letters run together."""
    notebook = nbformat.read(write_notebook(lab[1] / "student.ipynb", "lk.show_bench()"), 4)
    shown = lk.show_bench("two-run", "cool-2", scope="outdoor")
    data = {"text/plain": repr(shown), "text/html": shown._repr_html_()}
    notebook.cells[0].outputs = [nbformat.v4.new_output("display_data", data)]
    nbformat.write(notebook, lab[1] / "student.ipynb")
    open_notebook(page, lab[0], "student.ipynb")
    assert not page.evaluate("() => window.jupyterapp.shell.currentWidget.content.widgets[0].model.trusted")
    images = page.locator(".jp-OutputArea img")
    images.nth(1).wait_for()
    assert images.evaluate_all(f"images => images.map({WHOLE_IMAGE})") == [True, True]
    assert images.first.get_attribute("alt").startswith("Wiring of")
    assert "".join(page.locator(".jp-OutputArea").all_inner_texts()).strip() == ""


def test_a_page_that_forbids_handlers_keeps_the_cell(lab: tuple[str, Path], page: Any) -> None:
    """Where no inline handler may run, `x` on a key still leaves the cell alone, and keys say their state."""
    write_notebook(lab[1] / "strict.ipynb", *CELLS)

    def strict(route: Any) -> None:
        answer = route.fetch()
        policy = {"content-security-policy": "script-src-attr 'none'"}
        route.fulfill(response=answer, headers={**answer.headers, **policy})

    page.route("**/lab/tree/**", strict)
    refused: list[str] = []
    page.on("console", lambda message: refused.append(message.text))
    try:
        run_all(page, lab[0], "strict.ipynb", "cell-1")
        panel = page.locator(".lk-panel.lk-ready")
        panel.wait_for()
        assert any("script-src-attr" in text for text in refused), "the page forbids nothing"
        panel.get_by_role("button", name="fan", exact=True).click()
        panel.locator(".lk-news").filter(has_text="call fan").wait_for()
        before = page.locator(".jp-Notebook .jp-Cell").count()
        for shortcut in ("x", "d", "d", "m"):
            page.keyboard.press(shortcut)
        page.keyboard.press("Tab")
        page.keyboard.press("Space")
        panel.locator(".lk-news").filter(has_text="call cool-1").wait_for()
        assert page.locator(".jp-Notebook .jp-Cell").count() == before
    finally:
        page.unroute("**/lab/tree/**")


def test_an_export_shows_pictures_offline_and_on_paper(
    page: Any, private_env: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An executed notebook as HTML, opened with no network, shows all of each picture on A4 and on Letter."""
    for name in ("JUPYTER_RUNTIME_DIR", "IPYTHONDIR", "JUPYTER_DATA_DIR"):
        monkeypatch.setenv(name, private_env[name])
    monkeypatch.setenv(
        "PYTHONPATH", os.pathsep.join([str(shared.CHECKOUT), os.environ.get("PYTHONPATH", "")])
    )
    path = write_notebook(tmp_path / "made.ipynb", *CELLS, "lk.show_bench('two-run', 'heat-1')")
    notebook = nbformat.read(path, 4)
    NotebookClient(notebook, timeout=120, kernel_name="python3").execute()
    assert "widgets" in notebook.metadata, "the state of widgets is stored: the hard case"
    exported = tmp_path / "made.html"
    exported.write_text(HTMLExporter().from_notebook_node(notebook)[0], encoding="utf-8")
    context = page.context.browser.new_context(offline=True)
    try:
        paper = context.new_page()
        paper.goto(exported.as_uri(), wait_until="domcontentloaded")
        images = paper.locator("img")
        assert images.evaluate_all(f"images => images.map({WHOLE_IMAGE})") == [True, True]
        paper.emulate_media(media="print")
        for size, wide in (("A4", 718), ("Letter", 740)):  # portrait, less margins of 1 cm
            paper.set_viewport_size({"width": wide, "height": 1000})
            boxes = [image.bounding_box() for image in images.all()]
            assert all(box["x"] >= 0 and box["x"] + box["width"] <= wide + 1 for box in boxes), size
            assert all(box["width"] > 500 for box in boxes), size
            printed = tmp_path / f"{size}.pdf"
            paper.pdf(path=str(printed), format=size)
            assert printed.read_bytes().startswith(b"%PDF")
    finally:
        context.close()


def test_what_jupyterlab_loads_is_what_the_panels_use(lab: tuple[str, Path], page: Any) -> None:
    """The installed handler is that of the checkout; after a change of it, install again."""
    installed = page.request.get(f"{lab[0]}/lab/extensions/lessonkit/static/page.js")
    assert installed.ok, "install the checkout again: pip install -e ."
    here = (shared.CHECKOUT / "lessonkit" / "panels" / "page.js").read_text(encoding="utf-8")
    assert installed.text() == here, "install the checkout again: pip install -e ."
    package = shared.CHECKOUT / "lessonkit" / "panels" / "labextension" / "package.json"
    assert json.loads(package.read_text(encoding="utf-8"))["version"] == lk.__version__
