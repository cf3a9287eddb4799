"""Every notebook in one JupyterLab page: opened one after the other, run, and looked at in many ways.

All of them share one kernel, which forgets what the last one did before the next one runs; a kernel for each
would take longer than all lessons together. What is measured is our own content, text cells and outputs, and
never JupyterLab's bars around it.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from labpage import run_command
from playwright.sync_api import Error

#: What is ours on the page; the colours of a red error are JupyterLab's.
OURS = (
    ".jp-Notebook .jp-RenderedMarkdown, "
    '.jp-Notebook .jp-OutputArea-output:not([data-mime-type="application/vnd.jupyter.stderr"])'
)
#: The sizes that people have: a phone, a projector, a small laptop; and 1280 x 720 at 200 % zoom, which is
#: half as many CSS pixels each way.
SIZES = {"phone": (390, 844), "projector": (1280, 720), "laptop": (1366, 768), "zoomed": (640, 360)}

#: What the kernel runs between two notebooks.
_FORGET = """
import ipywidgets
ipywidgets.Widget.close_all()
%reset -f
"""

_OPEN = """
async ([path, id, forget]) => {
  const { commands, shell } = window.jupyterapp;
  for (const widget of [...shell.widgets('main')]) {
    if (widget.context?.model) widget.context.model.dirty = false;
    widget.dispose();
  }
  const kernel = id ? { id } : undefined;
  const widget = await commands.execute('docmanager:open', { path, factory: 'Notebook', kernel });
  await Promise.all([widget.context.ready, widget.revealed, widget.sessionContext.ready]);
  // An area that was empty for a moment gets a launcher, which may have come to lie on top.
  shell.activateById(widget.id);
  // A page that makes cells only where somebody looks could not be looked at as a whole.
  widget.content.notebookConfig = { ...widget.content.notebookConfig, windowingMode: 'none' };
  const running = widget.sessionContext.session.kernel;
  if (id) await running.requestExecute({ code: forget, store_history: false }).done;
  await commands.execute('notebook:run-all-cells');
  // JupyterLab stops at an error, at one shown on purpose, too; whoever reads on runs the rest.
  const code = widget.content.widgets.filter(cell => cell.model.type === 'code');
  for (let k = code.findIndex(cell => !cell.model.executionCount); k > 0; ) {
    const tags = code[k - 1].model.getMetadata('tags') ?? [];
    if (!tags.includes('raises-exception')) break;
    widget.content.activeCellIndex = widget.content.widgets.indexOf(code[k]);
    await commands.execute('notebook:run-all-below');
    const next = code.findIndex(cell => !cell.model.executionCount);
    k = next === k ? 0 : next;
  }
  return running.id;
}
"""

_CELLS = """
() => [...window.jupyterapp.shell.widgets('main')].find(one => one.content?.model?.cells).content.widgets
  .filter(cell => cell.model.type === 'code')
  .map(cell => ({
    id: cell.model.id,
    ran: cell.model.executionCount,
    expected: (cell.model.getMetadata('tags') ?? []).includes('raises-exception'),
    outputs: cell.model.outputs.toJSON().map(one => ({ ...one, data: Object.keys(one.data ?? {}) })),
  }))
"""

#: Until the page has been drawn twice.
_SETTLE = "() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))"

#: What is cut off: a part of ours that ends right of what one can see, and that nothing scrolls into view.
_CUT = """
selector => {
  const scrolls = one => {
    const how = getComputedStyle(one).overflowX;
    // Blanks at the end of a wrapped line stand outside and are nothing that anybody misses.
    const wide = one.tagName === 'PRE' || one.scrollWidth > one.clientWidth;
    return (how === 'auto' || how === 'scroll') && wide;
  };
  const seen = document.querySelector('.jp-NotebookPanel-notebook').getBoundingClientRect();
  const cut = [];
  for (const root of document.querySelectorAll(selector)) {
    for (const one of root.querySelectorAll('*')) {
      if (one.closest('svg') !== null && one.tagName !== 'svg') continue;
      const box = one.getBoundingClientRect();
      if (!box.width || !box.height || box.right <= seen.right + 1 || !one.checkVisibility()) continue;
      let at = one.parentElement;
      while (at && at !== document.body && !scrolls(at)) at = at.parentElement;
      if (!at || at === document.body || !at.closest('.jp-Cell')) {
        cut.push(`${Math.round(box.right - seen.right)} px: ${one.outerHTML.slice(0, 160)}`);
      }
    }
  }
  return cut;
}
"""

#: A chooser of a meter's probe that is too narrow to tell what is chosen.
_NARROW = """
() => [...document.querySelectorAll('.lk-probes select')]
  .filter(one => one.checkVisibility() && one.clientWidth < 100)
  .filter(one => one.selectedOptions[0]?.label.length * 6 > one.clientWidth)
  .map(one => `${one.clientWidth} px for ${one.selectedOptions[0].label}`)
"""

_UNSAID = """
selector => [...document.querySelectorAll(selector)]
  .flatMap(root => [...root.querySelectorAll('img')])
  .filter(one => !one.alt || one.alt === 'Image')
  .map(one => one.outerHTML.slice(0, 160))
"""

#: What moves although the system asks for less motion. The mark by which a page hears that a panel has come
#: is no part of it that anybody sees.
_MOVES = """
() => {
  const moving = [];
  for (const one of document.querySelectorAll('.lk-panel, .lk-panel *:not(.lk-mark)')) {
    const style = getComputedStyle(one);
    const long = style.transitionDuration.split(',').some(time => parseFloat(time) > 0.01);
    if (style.animationName !== 'none' || (long && style.transitionProperty !== 'none')) {
      moving.push(one.outerHTML.slice(0, 120));
    }
  }
  return moving;
}
"""

_AXE = {
    "resultTypes": ["violations"],
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]},
    # Parts of a page can't have its title, its language, or its one main landmark.
    "rules": {
        "target-size": {"enabled": True},
        "document-title": {"enabled": False},
        "html-has-lang": {"enabled": False},
    },
}

#: After a change of theme: what looks at colours. Names, alternatives and sizes are those of the page before.
_AXE_COLOURS = {
    "resultTypes": ["violations"],
    "runOnly": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]},
}


@dataclass
class Visit:
    """What one notebook showed: its code cells, what is cut off at each size, findings, and its panels."""

    name: str
    cells: list[dict[str, Any]] = field(default_factory=list)
    cut: dict[str, list[str]] = field(default_factory=dict)
    findings: dict[str, list[str]] = field(default_factory=dict)
    moving: list[str] = field(default_factory=list)
    panels: int = 0
    by_mouse: list[str] = field(default_factory=list)
    by_keyboard: list[str] = field(default_factory=list)


class Reader:
    """Somebody who opens one notebook after the other on one page, and notes what is there."""

    def __init__(self, page: Any, address: str) -> None:
        self.page, self.kernel = page, ""
        page.goto(f"{address}/lab?reset")
        page.wait_for_function("() => window.jupyterapp?.restored")
        page.evaluate("() => window.jupyterapp.restored")
        run_command(page, "application:toggle-left-area")
        # JupyterLab's body is 0 px high, and axe-core calls whatever lies in such a box invisible.
        page.add_style_tag(content="html, body { height: 100vh; overflow: visible !important }")
        self.axe = Axe()

    def visit(self, path: str) -> Visit:
        """Open a notebook, run all of it, and look at it in every way."""
        page, seen = self.page, Visit(path)
        page.set_viewport_size({"width": 1280, "height": 720})
        self.kernel = page.evaluate(_OPEN, [path, self.kernel, _FORGET])
        page.wait_for_function(
            "() => [...document.querySelectorAll('.jp-Notebook .lk-panel')]"
            ".every(one => one.classList.contains('lk-ready'))"
        )
        seen.cells = page.evaluate(_CELLS)
        self._use(seen)
        for size, (wide, high) in SIZES.items():
            page.set_viewport_size({"width": wide, "height": high})
            page.wait_for_function("w => document.documentElement.clientWidth === w", arg=wide)
            page.evaluate(_SETTLE)
            seen.cut[size] = page.evaluate(_CUT, OURS) + page.evaluate(_NARROW)
            self._keep(path, size)
        page.set_viewport_size({"width": 1280, "height": 720})
        themes = ("Light", "Dark") if self._theme() == "Light" else ("Dark", "Light")
        for options, theme in zip((_AXE, _AXE_COLOURS), themes, strict=True):
            self._turn(theme)
            seen.findings[theme] = self._findings(options)
            if theme == "Dark":
                self._keep(path, "dark")
        # A change takes seconds, so the next notebook begins in this theme; but not where pictures are kept.
        if "LESSONKIT_SCREENSHOTS" in os.environ:
            self._turn("Light")
        page.emulate_media(reduced_motion="reduce")
        seen.moving = page.evaluate(_MOVES)
        page.emulate_media(reduced_motion="no-preference")
        return seen

    def _theme(self) -> str:
        """Return the theme that the page has now."""
        return "Light" if self.page.locator("body[data-jp-theme-light=true]").count() else "Dark"

    def _turn(self, theme: str) -> None:
        """Give the page a theme, and wait until it is drawn."""
        if theme != self._theme():
            run_command(self.page, "apputils:change-theme", theme=f"JupyterLab {theme}")
            light = str(theme == "Light").lower()
            self.page.wait_for_selector(f"body[data-jp-theme-light={light}]", state="attached")
        self.page.evaluate(_SETTLE)

    def _findings(self, options: dict[str, Any]) -> list[str]:
        """Return what axe-core finds serious or critical in our content."""
        include = [[part.strip()] for part in OURS.split(",")]
        self.page.evaluate(self.axe.axe_script)
        # The sign beside a heading, by which one gets its address, is JupyterLab's.
        within = {"include": include, "exclude": [[".jp-InternalAnchorLink"]]}
        answer = self.page.evaluate("([within, options]) => axe.run(within, options)", [within, options])
        # An image without words gets a word by JupyterLab, which says no more than nothing.
        unsaid = self.page.evaluate(_UNSAID, OURS)
        return [f"image-alt: {image}" for image in unsaid] + [
            f"{finding['id']}: {node['html'][:160]}: {node['failureSummary'][-160:]}"
            for finding in answer["violations"]
            if finding["impact"] in ("serious", "critical")
            for node in finding["nodes"]
        ]

    def _use(self, seen: Visit) -> None:
        """Use every panel, by mouse and then by keyboard alone."""
        panels = self.page.locator(".jp-Notebook .lk-panel.lk-ready")
        seen.panels = panels.count()
        for k in range(seen.panels):
            panel = panels.nth(k)
            panel.scroll_into_view_if_needed()
            seen.by_mouse.append(_press(panel, self.page, keyboard=False))
            seen.by_keyboard.append(_press(panel, self.page, keyboard=True))

    def _keep(self, path: str, size: str) -> None:
        """Keep a picture of all of it, for whoever names a folder in LESSONKIT_SCREENSHOTS."""
        if "LESSONKIT_SCREENSHOTS" not in os.environ:
            return
        page, folder = self.page, Path(os.environ["LESSONKIT_SCREENSHOTS"])
        before = page.viewport_size
        high = page.evaluate(
            "() => Math.max(...[...document.querySelectorAll('.jp-NotebookPanel *')]"
            ".map(one => one.scrollHeight))"
        )
        page.set_viewport_size({"width": before["width"], "height": min(int(high) + 200, 15_000)})
        page.evaluate(
            "() => document.querySelectorAll('.jp-NotebookPanel *').forEach(one => one.scrollTo(0, 0))"
        )
        page.wait_for_timeout(200)
        folder.mkdir(parents=True, exist_ok=True)
        page.screenshot(path=folder / f"{Path(path).stem}-{size}.png")
        page.set_viewport_size(before)


#: A key that can be pressed, or a box in which a number of hands is counted.
_KEYS = "button.lk-key:not([disabled])"
_PARTS = f"{_KEYS}[aria-pressed=false], {_KEYS}:not([aria-pressed]), input[type=number]:not([disabled])"
#: What a panel says: its words, which keys are pressed, and which can be.
_STATE = (
    "panel => panel.innerText + [...panel.querySelectorAll('button, input')]"
    ".map(one => `${one.ariaPressed} ${one.disabled} ${one.value}`)"
)


def _press(panel: Any, page: Any, keyboard: bool) -> str:
    """Use a part of a panel, such as a key, and return its name; "" where nothing changed."""
    found = next((part for part in panel.locator(_PARTS).all() if part.is_visible()), None)
    if found is None:
        return ""
    counts = found.evaluate("one => one.tagName === 'INPUT'")
    name = str(found.get_attribute("aria-label") or found.inner_text()) or "a part without a name"
    before = panel.evaluate(_STATE)
    if keyboard:
        # From the first part that takes the focus, by Tab alone, to this one.
        panel.locator("button, select, input").first.evaluate("one => one.focus()")
        for _ in range(200):
            if found.evaluate("one => one === document.activeElement"):
                break
            page.keyboard.press("Tab")
        else:
            return ""
        page.keyboard.press("ArrowUp" if counts else "Space")
    else:
        found.click()
        if counts:
            page.keyboard.type("3")
    if counts:
        page.keyboard.press("Tab")
    try:
        changed = f"([panel, before]) => ({_STATE})(panel) !== before"
        page.wait_for_function(changed, arg=[panel.element_handle(), before], timeout=20_000)
    except Error:  # playwright's own: nothing changed in time
        return ""
    return name
