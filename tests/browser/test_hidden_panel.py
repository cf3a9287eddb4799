"""The panel of a hidden fault in a real JupyterLab page: by keyboard, for a class, to its end."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from labpage import is_pressed, key, open_panel

pytestmark = pytest.mark.chromium

CELLS = (
    "import lessonkit as lk\nfrom IPython.display import display",
    "panel = lk.hidden_fault_panel('full-cable', fault='outdoor.O=open', class_view=True)\ndisplay(panel)",
)


@pytest.fixture(scope="module")
def panel(lab: tuple[str, Path], page: Any) -> Any:
    """Open a notebook with the panel, and return it; the tests go through one story in their order."""
    return open_panel(page, lab, "hidden.ipynb", *CELLS)


def test_the_panel_is_named_and_says_the_complaint(panel: Any) -> None:
    """A screen reader hears what the panel is; the complaint stands there, the fault doesn't."""
    assert panel.get_attribute("aria-label") == "Hidden fault of full-cable"
    panel.get_by_text("Complaint: cool-1: reversing valve off.").first.wait_for()
    assert "outdoor.O=open" not in panel.inner_text()
    assert "broken" not in panel.inner_html()


def test_a_call_by_the_keyboard_is_heard(panel: Any) -> None:
    """Space on a key makes the call; it is pressed then, and the news are told."""
    key(panel, "heat-1").focus()
    panel.page.keyboard.press("Space")
    panel.get_by_text("Call heat-1: blower, compressor stage 1, outdoor fan on.").first.wait_for()
    told = panel.locator(".lk-told")
    told.get_by_text("Call heat-1").first.wait_for(state="attached")
    is_pressed(panel, "heat-1")


def test_a_reading_is_heard_with_its_points(panel: Any) -> None:
    """The meter's key reads once, and display and news say it."""
    key(panel, "volts").click()
    panel.get_by_text("V from outdoor unit R to outdoor unit C").first.wait_for()


def test_hands_are_counted_in_boxes_with_names(panel: Any) -> None:
    """Each box of the show of hands has the name of its part."""
    box = panel.get_by_label("outdoor run: O", exact=True)
    box.fill("12")
    box.press("Enter")
    assert box.input_value() == "12"


def test_the_reveal_shows_both_stories(panel: Any) -> None:
    """After it the right part is marked, both stories stand there, and two keys go through one's own."""
    key(panel, "reveal").click()
    panel.get_by_text("It was O broken").first.wait_for()
    panel.get_by_text("The best plan", exact=True).wait_for()
    panel.get_by_role("rowheader", name="✓ outdoor run: O").wait_for()
    key(panel, "one step on").click()
    panel.get_by_text("Step 2 of").first.wait_for()
