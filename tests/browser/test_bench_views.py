"""The bench panel's ladder, hands, disconnects and meter in a real page, wide, low and narrow."""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import Any

import pytest
from labpage import key, open_panel, run_command

pytestmark = pytest.mark.chromium

CELLS = (
    "import lessonkit as lk\nfrom IPython.display import display",
    "panel = lk.bench_panel('two-run', call='cool-1')\ndisplay(panel)",
)
#: Pages of a classroom: a laptop, a small laptop, a telephone.
SIZES = ((1366, 768), (1280, 720), (390, 844))


@pytest.fixture(scope="module")
def panel(lab: tuple[str, Path], page: Any) -> Any:
    """Return the panel on its page."""
    return open_panel(page, lab, "views.ipynb", *CELLS)


def choose(panel: Any, name: str, words: str) -> None:
    """Choose something in a list by the list's name."""
    panel.get_by_role("combobox", name=name, exact=True).select_option(label=words)


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
def test_a_loop_is_followed_at_every_size(panel: Any, size: tuple[int, int]) -> None:
    """A coil is chosen, its loop is lit, the ladder opens, and nothing sticks out of the panel."""
    narrow = size[0] < 600
    if narrow:
        run_command(panel.page, "application:toggle-left-area")
    panel.page.set_viewport_size({"width": size[0], "height": size[1]})
    choose(panel, "Follow:", "contactor at the outdoor unit")
    panel.locator(".lk-drawn title").filter(has_text="the loop of the contactor").first.wait_for(
        state="attached"
    )
    ladder = panel.locator(".lk-ladder img")
    if not ladder.count():
        key(panel, "ladder diagram").press("Enter")
    ladder.wait_for()
    assert re.search("the loop of the contactor .* carries", ladder.get_attribute("alt") or "", re.IGNORECASE)
    over = panel.evaluate(
        """panel => { const edge = panel.getBoundingClientRect().right + 1;
          return [...panel.querySelectorAll('button, select, input, .lk-display')]
            .filter(one => one.checkVisibility() && one.getBoundingClientRect().right > edge)
            .map(one => one.outerHTML.slice(0, 120)); }"""
    )
    assert over == []
    if folder := os.environ.get("LESSONKIT_LOOK"):  # for the eye of whoever changes it
        panel.evaluate("panel => panel.scrollIntoView()")
        panel.page.screenshot(path=f"{folder}/panel-{size[0]}.png")
        panel.locator(".lk-ladder").evaluate("one => one.scrollIntoView()")
        panel.page.screenshot(path=f"{folder}/ladder-{size[0]}.png")
    if narrow:
        run_command(panel.page, "application:toggle-left-area")


def test_hands_work_by_keyboard(panel: Any) -> None:
    """A live wire is refused with the reason; with the disconnect open it is lifted and drawn lifted."""
    panel.page.set_viewport_size({"width": 1366, "height": 768})
    choose(panel, "which:", "R of the outdoor run, at the air handler")
    key(panel, "do it: the work of hands chosen beside").press("Enter")
    panel.locator(".lk-news").filter(has_text="refused: outdoor.R is live").wait_for()
    for place in ("air handler", "outdoor unit"):
        key(panel, f"{place}: its disconnect is closed").press("Space")
    panel.locator(".lk-drawn title").filter(has_text="disconnect open").first.wait_for(state="attached")
    key(panel, "do it: the work of hands chosen beside").press("Enter")
    panel.locator(".lk-drawn text").filter(has_text="lifted").wait_for(state="attached")
    key(panel, "put all back").press("Enter")
    panel.get_by_text("nothing (", exact=False).and_(panel.locator("label, .widget-label")).wait_for()


def test_the_meter_turns_to_the_clamp_and_back(panel: Any) -> None:
    """With the clamp on, one choice says around what; with volts, the two probes are back."""
    choose(panel, "Meter, also:", "clamp A")
    around = panel.get_by_role("combobox", name="around:", exact=True)
    around.wait_for()
    around.select_option(label="the whole cable of the outdoor run")
    panel.locator(".lk-display").filter(has_text=" A").wait_for()
    key(panel, "volts: V, 10 MΩ input").press("Enter")
    panel.get_by_role("combobox", name="red:", exact=True).wait_for()
    around.wait_for(state="hidden")
