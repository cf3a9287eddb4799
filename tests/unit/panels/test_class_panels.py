"""Panels for a class without a page: hands are counted first, teams take turns, nothing is told too early."""

from __future__ import annotations

import pytest

import lessonkit as lk
from lessonkit.errors import BadParameter
from lessonkit.panels.keys import is_pressed


def test_hands_come_before_the_answer() -> None:
    """The reveal waits for one hand at least; then the count stands, closed, beside the right answer."""
    panel = lk.vote_panel(lk.ask_class("What now?", "off", ("on", "off"), show="It was the fuse."))
    assert panel.reveal.disabled
    panel.reveal.click()
    assert panel.answer.value == ""
    assert "fuse" not in "".join(panel.still())
    panel.boxes["on"].value = 12
    panel.boxes["off"].value = 4
    assert not panel.reveal.disabled
    panel.reveal.click()
    assert "4 of 16 hands" in panel.answer.value
    assert "✓ off" in panel.answer.value
    assert "75 %" in panel.answer.value
    assert "It was the fuse." in panel.answer.value
    assert all(box.disabled for box in panel.boxes.values())
    assert panel.counts == {0: {"on": 12, "off": 4}}


def test_steps_keep_their_counts_and_make_a_table() -> None:
    """One step on and back: what was counted is still there, and revealed steps stand in a table."""
    two = [lk.ask_class(words, "b", ("a", "b")) for words in ("First?", "Second?")]
    panel = lk.vote_panel(*two)
    assert panel.back.disabled
    panel.boxes["b"].value = 3
    panel.forward.click()
    assert "Step 2 of 2. Second?" in panel.asked.value
    assert panel.boxes["b"].value == 0
    panel.back.click()
    assert panel.boxes["b"].value == 3
    panel.reveal.click()
    assert "3 of 3" in panel.steps.value
    panel.forward.click()
    assert panel.answer.value == ""
    assert panel.forward.disabled


def test_a_step_of_a_ground_shows_its_bench() -> None:
    """The reveal of a step has its numbers and the wiring as it is on that ground."""
    panel = lk.vote_panel(lk.worse_ground("earth-return", [0.5, 40]))
    panel.boxes["all works as called"].value = 1
    panel.reveal.click()
    assert "contactor coil, all on" in panel.answer.value
    assert "data:image/svg+xml" in panel.answer.value


def test_what_is_no_question_is_refused() -> None:
    """Nothing, or something else, says what is wanted."""
    for wrong in ((), ("What now?",)):
        with pytest.raises(BadParameter, match="lk.ask_class"):
            lk.vote_panel(*wrong)


def test_a_vote_closes_without_a_bench() -> None:
    """A panel that has no bench is taken off the page as any other."""
    lk.vote_panel(lk.ask_class("What now?", "off", ("on", "off"))).close()


def test_a_bench_may_begin_at_the_size_for_a_projector() -> None:
    """`large` is the projector key, pressed."""
    large, usual = lk.bench_panel("full-cable", large=True), lk.bench_panel("full-cable")
    assert is_pressed(large.views.large)
    assert "lk-projector" in large._dom_classes
    assert "lk-projector" not in usual._dom_classes


def test_scope_and_meter_come_with_the_reveal() -> None:
    """Before it there is neither; after it both stand on the bench as it was left, fault and all."""
    panel = lk.hidden_fault_panel("earth-return", fault="outdoor.SIG=open", class_view=True)
    assert "lk-projector" in panel._dom_classes
    assert panel.instruments.children == ()
    panel.give_up.click()
    meter, scope = panel.instruments.children
    shown = "".join(child.value for box in (meter, scope) for child in _htmls(box))
    assert "V" in shown
    assert "<svg" in shown
    assert "none has been sent" not in shown
    panel.another.click()
    assert panel.instruments.children == ()


def _htmls(box: object) -> list:
    inside = getattr(box, "children", ())
    found = [child for child in inside if hasattr(child, "value") and isinstance(child.value, str)]
    return found + [one for child in inside for one in _htmls(child)]


def test_nothing_is_told_before_every_team_is_through() -> None:
    """A team that has found the fault sees a covered picture until the last one is through."""
    panel = lk.team_hunt_panel("full-cable", ("Red", "Blue"), fault="outdoor.O=open")
    panel.part.value = "outdoor.O"
    panel.replace.click()
    assert "Red found the fault after" in panel.living.value
    seen = panel.drawn.value + panel.living.value + panel.story.value + panel.board.value
    assert "broken" not in seen
    assert "best plan" not in seen
    assert panel.replace.disabled
    panel.teams["Blue"].click()
    assert is_pressed(panel.teams["Blue"])
    assert not panel.replace.disabled
    assert panel.hidden.minutes == 0
    panel.give_up.click()
    assert "It was O broken" in panel.living.value
    assert "the best plan" in panel.board.value
    panel.teams["Red"].click()
    assert "Found after" in panel.living.value
