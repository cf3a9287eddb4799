"""What a panel needs of the page around it: letters large enough, and keys that keep the keyboard.

A notebook has shortcuts of its own, and they fire while a key of a panel has the focus: `x` would cut the
cell with the panel in it. The page leaves a control alone that carries `data-lm-suppress-shortcuts`, an
attribute that widgets can't set. So an invisible mark in the panel listens for the focus and sets it. The
mark's handler runs the moment it appears on the page, because an animation of no visible effect begins then.
The same mark tells screen readers which keys are pressed, makes the line of news a live region, and passes a
click on a conductor in a picture on to the key that breaks it. On a page that forbids such handlers
everything else still works.
"""

from __future__ import annotations

from xml.etree.ElementTree import Element, SubElement, tostring

__all__ = ["PANEL", "page_mark"]

PANEL = "lk-panel"
"""Class of the outermost box of every panel."""

_STYLE = f"""
@keyframes lk-appears {{ from {{ opacity: 0.99 }} to {{ opacity: 1 }} }}
.lk-mark {{ animation: lk-appears 1ms; position: absolute }}
.{PANEL} {{ --jp-widgets-font-size: 16px; --jp-widgets-inline-height: 34px; gap: 6px;
  --jp-widgets-inline-label-width: auto; overflow: visible }}
.{PANEL} .lk-key {{ min-height: 34px; width: auto; min-width: 46px; padding: 0 12px; line-height: 32px }}
.{PANEL} .lk-key:focus-visible, .{PANEL} select:focus-visible, .{PANEL} input:focus-visible
  {{ outline: 3px solid #e69f00; outline-offset: 1px }}
.{PANEL} .lk-row {{ flex-flow: row wrap; align-items: center; gap: 4px 6px; overflow: visible }}
.{PANEL} .lk-side {{ align-items: flex-start; gap: 4px 18px }}
.{PANEL} .lk-on.mod-warning {{ color: #000 }}
.{PANEL} .lk-row > .widget-label {{ margin-right: 4px }}
.{PANEL} .widget-html > .widget-html-content {{ line-height: 1.4; font-size: 16px }}
.{PANEL} .widget-dropdown, .{PANEL} .widget-text {{ width: auto }}
.{PANEL} .lk-side > .lk-picture {{ flex: 3 1 860px; min-width: 0 }}
.{PANEL} .lk-hands {{ gap: 6px; min-width: 0; overflow: visible }}
.{PANEL} .lk-picture, .{PANEL} .lk-picture > .widget-html-content
  {{ width: 100%; overflow-x: auto; margin: 0; height: auto }}
.{PANEL} .lk-display {{ background: #fff; color: #000; border: 2px solid #000; padding: 4px 12px }}
.{PANEL} .lk-display strong {{ font: bold 30px monospace; padding-right: 12px }}
.{PANEL} [data-key]:hover {{ filter: drop-shadow(0 0 3px #e69f00) }}
"""

# The handler of the mark. It runs once for each view of a panel; all else follows from what the page does.
_HANDLER = f"""
const panel = this.closest('.{PANEL}');
if (panel && !panel.classList.contains('lk-ready')) {{
  panel.classList.add('lk-ready');
  panel.addEventListener('focusin', event =>
    event.target.setAttribute('data-lm-suppress-shortcuts', 'true'));
  panel.setAttribute('role', 'group');
  panel.setAttribute('aria-label', this.title);
  const set = (one, name, value) => {{
    if (one.getAttribute(name) !== String(value)) one.setAttribute(name, value);
  }};
  const tell = () => {{
    for (const key of panel.querySelectorAll('.lk-key')) {{
      if (key.classList.contains('lk-toggle'))
        set(key, 'aria-pressed', key.classList.contains('lk-on'));
      set(key, 'aria-label', key.title || key.textContent.trim());
    }}
    for (const news of panel.querySelectorAll('.lk-news .widget-html-content'))
      set(news, 'aria-live', 'polite');
  }};
  let told = 0;
  const soon = () => {{ told = told || setTimeout(() => {{ told = 0; tell(); }}, 30); }};
  tell();
  new MutationObserver(soon).observe(panel,
    {{subtree: true, childList: true, attributes: true, attributeFilter: ['class', 'title']}});
  panel.addEventListener('click', event => {{
    const drawn = event.target.closest('[data-key]');
    const name = drawn && 'lk-break-' + drawn.dataset.key.replace('.', '-');
    const key = name && panel.getElementsByClassName(name)[0];
    if (key) key.click();
  }});
}}
"""


def page_mark(name: str) -> str:
    """Return the invisible mark of a panel as HTML; `name` is what a screen reader calls the panel."""
    box = Element("div")
    SubElement(box, "style").text = _STYLE
    SubElement(
        box, "span", {"class": "lk-mark", "title": name, "onanimationstart": " ".join(_HANDLER.split())}
    )
    return tostring(box, encoding="unicode", method="html")
