"""The panels of plan, prove and season in a real JupyterLab page, by their names and by the keyboard."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from labpage import is_pressed, key, open_panel

pytestmark = pytest.mark.chromium

BEGIN = "import lessonkit as lk\nfrom IPython.display import display"


def test_a_survey_is_edited_and_a_way_opened(lab: tuple[str, Path], page: Any) -> None:
    """Boxes have whole names, a mistake is heard, and the choice opens another way."""
    panel = open_panel(page, lab, "plan.ipynb", BEGIN, "display(lk.plan_panel('orchard-gate'))")
    assert panel.get_attribute("aria-label") == "Plan"
    panel.locator(".lk-told").wait_for(state="attached")
    box = panel.get_by_role("textbox", name=", loop ohms:").first
    box.fill("two")
    box.press("Tab")
    key(panel, "plan it").focus()
    page.keyboard.press("Enter")
    panel.locator(".lk-told").get_by_text("loop ohms is 'two'").first.wait_for(state="attached")
    panel.get_by_label("open:").select_option(index=1)
    panel.get_by_role("heading").filter(has_text="thermostat run").first.wait_for()
    panel.get_by_role("columnheader", name="far end").wait_for()


def test_a_reading_is_judged_beside_its_box(lab: tuple[str, Path], page: Any) -> None:
    """Typed at full speed and left, no letter is lost; the notebook's own keys do nothing meanwhile."""
    panel = open_panel(page, lab, "prove.ipynb", BEGIN, "display(lk.prove_panel('full-cable'))")
    panel.get_by_label("part:").select_option(label="5. Volts before wiring")
    # The part before has a box of the same points, which must be dead: it is the band that tells them apart.
    fed = re.compile(r"Transformer, ahead of the fuse – C, air handler, 2\d\.")
    box = panel.get_by_role("combobox", name=fed).first
    box.press_sequentially("12.5x")
    box.press("Tab")
    panel.get_by_text("reading is '12.5x', but must be a number of V, or OL").wait_for()
    box.fill("12.5")
    box.press("Enter")
    panel.get_by_text("V below its band").wait_for()
    key(panel, "next part").click()
    panel.get_by_text("One of").first.wait_for()


def test_a_lockout_is_turned_by_the_keyboard(lab: tuple[str, Path], page: Any) -> None:
    """Arrow keys turn it, and table and news follow."""
    panel = open_panel(page, lab, "season.ipynb", BEGIN, "display(lk.season_panel('harrowmere'))")
    panel.get_by_text("as with the house's own settings").first.wait_for()
    box = panel.get_by_label("compressor rests from (°C) down:")
    box.focus()
    for _ in range(3):
        page.keyboard.press("ArrowUp")
    box.press("Enter")
    panel.get_by_text("than with the house's own settings").first.wait_for()
    is_pressed(panel, "compressor lockout is used")
