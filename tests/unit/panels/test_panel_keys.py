"""Keys of the bench panel for hands, disconnects, the whole meter, and ways to look at a bench."""

from __future__ import annotations

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import Meter
from lessonkit.panels.bench import BenchPanel, bench_panel
from lessonkit.panels.keys import is_pressed


@pytest.fixture
def panel() -> BenchPanel:
    """Return a panel that cools."""
    return bench_panel("second-transformer", call="cool-1")


def test_each_disconnect_has_a_key(panel: BenchPanel) -> None:
    """The one indoors leaves the outdoor unit live; the key of both opens what is still closed."""
    panel.service.places["air"].click()
    state = panel.bench.state
    assert dict(state.power) == {"air": False, "out": True}
    assert [is_pressed(panel.service.places[place]) for place in ("air", "out")] == [False, True]
    assert state.volts["out:XFMR"] > 20.0
    panel.service.power.click()
    assert not panel.bench.powered
    panel.service.power.click()
    assert panel.bench.power == {"air": True, "out": True}


def test_a_burnt_transformer_gets_its_key() -> None:
    """A new transformer is offered where one burnt out by itself."""
    job = Bench("full-cable").job.with_supply(rated_va=20.0, fuse_a=3.0)
    panel = BenchPanel(Bench(job, call="heat-aux"))
    assert panel.service.transformers["air"].disabled
    panel.session.wait(7200.0)
    assert panel.bench.state.transformers["air"] == "burnt-out"
    assert not panel.service.transformers["air"].disabled
    panel.calls["off"].click()
    panel.service.transformers["air"].click()
    assert panel.bench.state.transformers["air"] == "whole"


def test_hands_are_refused_on_what_is_live_and_work_on_what_is_dead(panel: BenchPanel) -> None:
    """Lift, put back, jumper, twist, plug and undo: each does what the bench says, with its minutes."""
    hands = panel.hands
    hands.choose("lift", "out:outdoor.C")
    panel.service.power.click()
    hands.do.click()
    assert panel.bench.state.hands == ("lift out:outdoor.C",)
    assert "lifted" in panel.living.value
    assert "min of work" in hands._done.value
    hands.choose("put back", "out:outdoor.C")
    hands.do.click()
    assert panel.bench.state.hands == ()
    for act, what, other, work in (
        ("move", "stat:thermostat.W1", "stat:E", "move stat:thermostat.W1 stat:E"),
        ("twist", "out:outdoor.C", "out:outdoor.SIG", "twist out:outdoor.C out:outdoor.SIG"),
        ("jumper", "air:R", "air:G", "jumper air:R air:G"),
        ("unplug", "out:relay-board", "", "unplug out:relay-board"),
    ):
        hands.choose(act, what, other)
        hands.do.click()
        assert work in panel.bench.state.hands, panel.session.refused
    hands.choose("take out", "air:R", "air:G")
    hands.do.click()
    hands.choose("plug", "out:relay-board")
    hands.do.click()
    hands.undo.click()
    assert panel.bench.state.hands[-1] == "unplug out:relay-board"
    hands.put_all_back.click()
    assert panel.bench.state.hands == ()
    panel.service.power.click()
    hands.choose("lift", "stat:thermostat.R")
    hands.do.click()
    assert "is live at" in panel.living.value
    assert panel.bench.state.hands == ()


def test_every_setting_of_the_meter_reads_or_says_why_not(panel: BenchPanel) -> None:
    """Direct volts and amperes on a live circuit; farads and insulation wait until it is dead and bare."""
    meter = panel.meter
    meter.turn("clamp")
    assert (meter.red.layout.display, meter.around.layout.display) == ("none", None)
    meter.around.value = "air:fuse"
    assert meter.reading == f"{Meter(panel.bench).amps('air:fuse')} RMS air handler fuse"
    meter.turn("dc")
    meter.red.value = "air:SIG-out"
    assert " V direct from air handler" in meter.reading
    for setting in ("capacitance", "250 V", "500 V", "ohms"):
        meter.turn(setting)
        assert "refused: the power is still on" in meter.reading
    panel.service.power.click()
    meter.red.value = "air:R"
    meter.turn("250 V")
    assert "250 V would have destroyed the" in meter.reading
    meter.turn("capacitance")
    assert "F power off" in meter.reading


def test_the_ladder_has_a_key_and_costs_nothing_when_off(panel: BenchPanel) -> None:
    """The diagram lives beside the bench while its key is pressed, and lights what is followed."""
    assert panel.views.diagram.value == ""
    panel.views.ladder.click()
    assert is_pressed(panel.views.ladder)
    before = panel.views.diagram.value
    assert "Ladder diagram" in before
    panel.calls["off"].click()
    after = panel.views.diagram.value
    assert after != before
    panel.views.follow_choice.value = "out:contactor"
    assert panel.views.diagram.value != after
    assert "the loop of the contactor" in panel.living.value
    panel.views.ladder.click()
    assert panel.views.diagram.value == ""


def test_the_projector_key_makes_the_panel_large(panel: BenchPanel) -> None:
    """One class on the panel is all that the page needs."""
    panel.views.large.click()
    assert "lk-projector" in panel._dom_classes
    panel.views.large.click()
    assert "lk-projector" not in panel._dom_classes


def test_a_click_reads_the_bench_once(panel: BenchPanel, monkeypatch: pytest.MonkeyPatch) -> None:
    """However much is shown of it, a click makes one state."""
    looks: list[float] = []
    real = Bench._look

    def counted(bench: Bench) -> object:
        looks.append(bench.time_s)
        return real(bench)

    monkeypatch.setattr(Bench, "_look", counted)
    panel.views.ladder.click()
    panel.views.follow_choice.value = "out:contactor"
    for button in (panel.calls["cool-2"], panel.service.places["out"], panel.calls["off"]):
        looks.clear()
        button.click()
        assert len(looks) == 1


def test_the_mode_of_a_thermostat_that_holds_its_valve_is_told() -> None:
    """Satisfied after cooling, the news and the state say that the thermostat is still set to cool."""
    job = Bench("full-cable").job.with_electronics("thermostat", holds_valve="mode")
    panel = BenchPanel(Bench(job, call="cool-1"))
    panel.calls["satisfied"].click()
    assert "The thermostat is set to cool." in panel.living.value
    assert panel.bench.state.to_dict()["mode"] == "cool"
    panel.calls["off"].click()
    assert panel.bench.state.to_dict()["mode"] == ""
