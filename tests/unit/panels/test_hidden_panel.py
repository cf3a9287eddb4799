"""The panel of a hidden fault without a page: the same keys, pressed by code."""

from __future__ import annotations

import pytest

import lessonkit as lk
from lessonkit.panels.hidden import HiddenFaultPanel
from lessonkit.panels.keys import is_pressed


@pytest.fixture
def panel() -> HiddenFaultPanel:
    """Return a panel with a broken valve conductor hidden in it, for a class."""
    return lk.hidden_fault_panel("full-cable", fault="outdoor.O=open", class_view=True)


def test_the_picture_is_covered_until_all_is_over(panel: HiddenFaultPanel) -> None:
    """Nothing on the panel says what is broken; revealed, the picture and the news do."""
    shown = panel.drawn.value + panel.living.value + panel.story.value + "".join(panel.still())
    for telling in ("outdoor.O=open", "broken", "faulted"):
        assert telling not in shown
    assert "Complaint: cool-1: reversing valve off." in panel.living.value
    assert panel.living.value.count("reversing valve off") == 1, "said once, at the start too"
    panel.give_up.click()
    assert "It was O broken (outdoor.O=open)." in panel.living.value
    assert "broken" in panel.drawn.value
    assert "The best plan" in panel.story.value


def test_a_call_is_heard_at_once_and_costs_half_a_minute(panel: HiddenFaultPanel) -> None:
    """Its key is pressed, what responds stands in the news, and the clock runs."""
    panel.calls["heat-1"].click()
    assert is_pressed(panel.calls["heat-1"])
    assert not is_pressed(panel.calls["cool-1"])
    assert "0.5 min" in panel.living.value
    assert "blower, compressor stage 1, outdoor fan on" in panel.living.value


def test_the_meter_reads_once_for_its_minutes(panel: HiddenFaultPanel) -> None:
    """A reading stands on the display with both points, and is gone after the next act."""
    panel.red.value, panel.black.value = "out:R", "out:C"
    panel.reads["volts"].click()
    assert "V from outdoor unit R to outdoor unit C" in panel.display.value
    assert panel.hidden.minutes == 4.5
    panel.calls["off"].click()
    assert panel.display.value == ""


def test_a_refusal_is_said_and_costs_nothing(panel: HiddenFaultPanel) -> None:
    """Ohms on a live circuit: one sentence in the news, no minute, no display."""
    panel.reads["ohms"].click()
    assert "✕" in panel.living.value
    assert "open the disconnect" in panel.living.value
    assert panel.hidden.minutes == 0
    assert panel.display.value == ""


def test_hands_take_a_wire_off_and_the_meter_finds_its_end(panel: HiddenFaultPanel) -> None:
    """With power off the wire comes off, and its loose end can be measured; put back, it is gone again."""
    panel.power.click()
    assert not is_pressed(panel.power)
    panel.end.value = "out:outdoor.O"
    panel.lift.click()
    assert "out:outdoor.O" in [node for _, node in panel.red.options]
    panel.red.value = "out:outdoor.O"
    panel.reads["ohms"].click()
    assert "OL" in panel.display.value
    panel.put_back.click()
    assert "out:outdoor.O" not in [node for _, node in panel.red.options]
    assert panel.red.value == "out:R"


def test_hands_up_are_counted_and_held_against_the_part(panel: HiddenFaultPanel) -> None:
    """The boxes offer the right part among others; after the reveal the right one is marked."""
    assert "outdoor.O" in panel.votes
    panel.votes["outdoor.O"].value = 17
    panel.give_up.click()
    assert "Hands up" in panel.story.value
    assert "✓ outdoor run: O" in panel.story.value
    assert "17" in panel.story.value


def test_a_wrong_part_is_counted_and_the_right_one_ends_it(panel: HiddenFaultPanel) -> None:
    """The score names both; the keys that would go on are switched off."""
    panel.part.value = "out.reversing-valve"
    panel.replace.click()
    assert "one wrong part. " in panel.living.value
    panel.part.value = "outdoor.O"
    panel.replace.click()
    assert "Found after" in panel.living.value
    assert "with one wrong part; the best plan takes" in panel.living.value
    assert panel.replace.disabled
    assert panel.calls["off"].disabled


def test_the_story_is_gone_through_uncovered(panel: HiddenFaultPanel) -> None:
    """Afterwards two keys go through the steps, each with its own picture."""
    panel.calls["heat-1"].click()
    panel.give_up.click()
    assert panel.back.disabled
    first = panel.drawn.value
    assert "Step 1 of 3" in panel.living.value
    panel.forward.click()
    assert "Step 2 of 3: call heat-1" in panel.living.value
    assert panel.drawn.value != first
    panel.forward.click()
    assert panel.forward.disabled
    panel.back.click()
    assert "Step 2 of 3" in panel.living.value


def test_two_clicks_hide_a_fault_and_leave_no_trace(panel: HiddenFaultPanel) -> None:
    """Where, then what: the fault is hidden, what was offered is gone, and the clock starts again."""
    panel.calls["heat-1"].click()
    panel.places["out"].click()
    panel.kinds["out.contactor=burnt-out"].click()
    assert panel.hidden.complaint == "cool-1: compressor stage 1 off"
    assert panel.hidden.minutes == 0
    assert panel.kinds == {}
    assert "out.contactor" in panel.votes
    panel.another.click()
    assert panel.hidden.complaint != ""


def test_alone_there_is_no_show_of_hands() -> None:
    """Without a class the boxes are not there, and the last key gives up."""
    panel = lk.hidden_fault_panel("full-cable", 3)
    assert panel.votes == {}
    assert panel.count_box.layout.display == "none"
    assert panel.give_up.description == "give up"
    panel.close()
