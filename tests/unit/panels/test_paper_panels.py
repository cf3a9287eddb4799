"""The panels of plan, prove and season without a page: the same boxes and keys, used by code."""

from __future__ import annotations

from collections.abc import Iterator
from html import unescape

import ipywidgets as widgets
import pytest

import lessonkit as lk
from lessonkit.panels.keys import is_pressed
from lessonkit.panels.plan import PlanPanel
from lessonkit.panels.prove import ProvePanel, verdict
from lessonkit.panels.season import SeasonPanel
from lessonkit.studies.prove import Proof
from lessonkit.studies.season import season
from lessonkit.studies.sheet import sheet_from_text


@pytest.fixture(scope="module")
def planner() -> Iterator[PlanPanel]:
    """Return a panel with a small survey in it; the tests go through one story in their order."""
    panel = lk.plan_panel("tannery-row")
    yield panel
    panel.close()


def test_every_way_stands_in_the_order_of_the_plan(planner: PlanPanel) -> None:
    """The choice holds the plans by their rank, and the best one is open with its schedule."""
    planned = planner.planned
    assert list(planned.plans) == sorted(planned.plans, key=lambda one: one.rank)
    names = [words for words, _ in planner.ways.options]
    assert all(one.arrangement.name in words for one, words in zip(planned.plans, names, strict=True))
    assert planner.opened_plan == planned.plans[0]
    for served in planner.opened_plan.arrangement.schedule:
        assert served.label in planner.opened.value


def test_another_way_is_opened_with_its_volts(planner: PlanPanel) -> None:
    """The last way is shown with its own coils and its own reasons."""
    planner.ways.value = len(planner.planned.plans)
    coil = next(iter(planner.opened_plan.coils.values()))
    assert f"{coil.volts:.1f} V" in planner.opened.value
    assert planner.opened_plan.arrangement.name in planner.opened.value


def test_what_cannot_be_read_is_said_and_changes_nothing(planner: PlanPanel) -> None:
    """Words in a box of ohms: one sentence with the conductor, and the plans before it stay."""
    before = planner.planned
    run = before.survey.runs[0]
    box = planner.boxes[run.name, run.conductors[0].label, "loop_ohm"]
    kept, box.value = box.value, "two"
    planner.again.click()
    assert f"✕ {run.conductors[0].label}, loop ohms is 'two'" in unescape(planner.news.value)
    box.value = "-1"
    planner.again.click()
    assert "must be above 0" in planner.news.value
    assert planner.planned is before
    box.value = kept


def test_a_conductor_that_is_broken_is_used_no_more(planner: PlanPanel) -> None:
    """Called not continuous in its box and planned again, it serves nothing in any way."""
    run = planner.planned.survey.runs[0]
    label = next(s.label for s in planner.planned.plans[0].arrangement.schedule if s.run == run.name)
    planner.boxes[run.name, label, "continuous"].value = "no"
    assert "plan it again" in planner.news.value
    planner.again.click()
    served = [s for one in planner.planned.plans for s in one.arrangement.schedule if s.run == run.name]
    assert all(not s.terminal for s in served if s.label == label)
    assert "ways work" in planner.news.value


@pytest.fixture(scope="module")
def sheet() -> Iterator[ProvePanel]:
    """Return a sheet to fill in; the tests go through one story in their order."""
    panel = lk.prove_panel("full-cable")
    yield panel
    panel.close()


def _open(panel: ProvePanel, title: str) -> None:
    panel.part.value = next(k for words, k in panel.part.options if title in words)


def test_a_reading_is_judged_beside_its_box(sheet: ProvePanel) -> None:
    """Inside, below, no number, empty: each says so beside its box, and the count follows."""
    _open(sheet, "Cooling (cool-1)")
    line = sheet.lines[0]
    step = line.step
    assert step is not None
    line.box.value = f"{(float(step.low) + float(step.high)) / 2:.2f}"
    assert "✓ in its band" in line.says.value
    line.box.value = f"{float(step.low) - 1:.2f}"
    assert "✕ 1.00 V below its band" in line.says.value
    assert "one is out of its band" in sheet.news.value
    line.box.value = "about 24"
    assert "must be a number of V, or OL" in line.says.value
    assert "1 can" in sheet.news.value
    line.box.value = ""
    assert line.says.value == ""
    assert sheet.readings == {}


def test_a_part_keeps_what_was_typed_in_it(sheet: ProvePanel) -> None:
    """The next part begins empty, and the one before has its reading when it is open again."""
    _open(sheet, "Cooling (cool-1)")
    sheet.lines[0].box.value = "26.1"
    sheet.forward.click()
    assert sheet.lines[0].box.value == ""
    sheet.back.click()
    assert sheet.lines[0].box.value == "26.1"


def test_the_fault_behind_the_readings_is_named(sheet: ProvePanel) -> None:
    """A sheet put in as CSV text, filled by a bench with a broken valve conductor: the key names it."""
    told = sheet.proof.filled(["outdoor.O=open"])
    sheet.keep.click()
    assert sheet.csv() == sheet.text.value
    assert "download" in sheet.file.value
    sheet.text.value = sheet.proof.csv(told)
    sheet.take.click()
    assert sheet.readings == told == sheet_from_text(sheet.csv(), sheet.proof.steps)
    sheet.explain.click()
    assert "outdoor.O=open" in sheet.answer.value
    assert "Best explained by outdoor.O=open" in sheet.news.value
    assert "The model fits" in sheet.answer.value
    sheet.lines[0].box.value = "1"
    assert sheet.answer.value == ""


def test_a_text_that_is_no_sheet_is_refused(sheet: ProvePanel) -> None:
    """Its sentence stands in the news, and the readings stay."""
    before = sheet.readings
    sheet.text.value = "step;reading\n999;4"
    sheet.take.click()
    assert "✕ CSV text: line 2: step is" in sheet.news.value
    assert sheet.readings == before


def test_a_word_and_a_tick_are_judged_too() -> None:
    """A look takes the beginning of its word, a tick yes or no."""
    proof: Proof = lk.prove("full-cable")
    look = next(s for s in proof.steps if s.unit == "word" and str(s.low) == "on")
    tick = next(s for s in proof.steps if s.unit == "tick")
    assert verdict(look, "on") == "✓ as it should be"
    assert verdict(look, "off") == "✕ not on"
    assert verdict(tick, "no") == "✕ not yes"
    assert verdict(tick, "maybe") == "✕ reading is 'maybe', but must be yes or no"


@pytest.fixture(scope="module")
def cold() -> Iterator[SeasonPanel]:
    """Return a house with a furnace, whose changeover is there to turn."""
    panel = lk.season_panel("fennick-forge", "cold-valley")
    yield panel
    panel.close()


def test_cost_and_hours_follow_a_lockout(cold: SeasonPanel) -> None:
    """Turned to another temperature, the season is that of the library with the same setting."""
    cold.turned["compressor_below_c"].value = 6.0
    wanted = season(cold.house.with_lockouts(compressor_below_c=6.0), "cold-valley")
    assert cold.found.cost == wanted.cost != cold.own.cost
    assert f"{wanted.cost:,.0f}" in cold.table.value
    assert f"{wanted.locked_out_hours:,.0f}" in cold.table.value
    assert "43 °F" in cold._both["compressor_below_c"].value
    assert "<img" in cold.picture.value


def test_a_lockout_can_be_taken_out_and_put_back(cold: SeasonPanel) -> None:
    """Its key takes it out, and the house's own settings come back with theirs."""
    cold.used["compressor_below_c"].click()
    assert not is_pressed(cold.used["compressor_below_c"])
    assert cold.found.house.outdoor_thermostat.compressor_below_c is None
    assert cold.turned["compressor_below_c"].disabled
    cold.back.click()
    assert cold.found.cost == cold.own.cost
    assert "as with the house" in cold.news.value


def test_changeover_goes_where_both_cost_the_same(cold: SeasonPanel) -> None:
    """One key sets both lockouts there, to the half kelvin; an electric house has no such key."""
    cold.changeover.click()
    at_c = cold.own.balance.changeover_c
    assert at_c is not None
    assert cold.turned["compressor_below_c"].value == pytest.approx(at_c, abs=0.25)
    assert cold.turned["auxiliary_above_c"].value == cold.turned["compressor_below_c"].value
    cold.houses.value = "harrowmere"
    assert cold.changeover.layout.display == "none"
    assert cold.found.house.name == "harrowmere"


def boxes_in(widget: widgets.Widget) -> Iterator[widgets.Widget]:
    """Yield the boxes of a panel that are typed into."""
    if hasattr(widget, "continuous_update"):
        yield widget
    for child in getattr(widget, "children", ()):
        yield from boxes_in(child)


def test_no_box_tells_the_kernel_letter_by_letter(
    planner: PlanPanel, sheet: ProvePanel, cold: SeasonPanel
) -> None:
    """An answer to the first letter could take the second one away, so a box speaks once it is left."""
    for panel in (planner, sheet, cold):
        found = list(boxes_in(panel))
        assert len(found) >= 2
        assert not any(box.continuous_update for box in found)
