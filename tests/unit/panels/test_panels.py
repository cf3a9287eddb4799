"""Panels without a page: the same keys, pressed by code."""

from __future__ import annotations

import sys
from threading import Thread
from typing import Any

import pytest

import lessonkit as lk
from lessonkit.draw.image import svg_image_html
from lessonkit.draw.view import show_bench
from lessonkit.draw.wiring import wiring_layers
from lessonkit.errors import BadParameter
from lessonkit.panels.bench import BenchPanel
from lessonkit.panels.keys import is_pressed
from lessonkit.panels.meter import meter_panel
from lessonkit.panels.scope import scope_panel


@pytest.fixture
def panel() -> BenchPanel:
    """Return a panel on the two-run job."""
    return lk.bench_panel("two-run")


def test_the_panel_shows_what_the_pure_function_shows(panel: BenchPanel) -> None:
    """After the same history, the panel's picture is the one that `show_bench` gives."""
    panel.passes.value = 15.0
    still = show_bench("two-run", "cool-2", seconds=60.0)
    fresh = lk.bench_panel("two-run", call="cool-2", after_s=15.0)
    fresh.waits["1 min"].click()
    assert fresh.still() == (svg_image_html(still.svg), still.words)
    drawn = wiring_layers(fresh.bench.state, fresh.bench.job)
    assert fresh.behind.value == drawn.still
    assert drawn.living in fresh.living.value


def test_a_call_lets_time_pass_and_equipment_respond(panel: BenchPanel) -> None:
    """Pressing cool-2 lets five seconds pass, in which both links have carried it."""
    panel.calls["cool-2"].click()
    assert panel.bench.time_s == 10.0
    assert panel.bench.state.delivering == "cooling, stage 2"
    assert (is_pressed(panel.calls["cool-2"]), is_pressed(panel.calls["off"])) == (True, False)
    assert "The house gets cooling, stage 2." in panel.living.value
    assert '<span aria-hidden="true">● </span>compressor stage 2' in panel.living.value


def test_a_conductor_breaks_and_mends_by_the_same_key(panel: BenchPanel) -> None:
    """Its key is pressed while it is broken, and keeps its name."""
    key = panel.breaking.keys["outdoor.SIG"]
    key.click()
    assert panel.bench.state.faults == ("outdoor.SIG=open",)
    assert is_pressed(key)
    assert (key.description, key.tooltip) == ("SIG", "outdoor run: break SIG")
    key.click()
    assert panel.bench.state.faults == ()
    assert not is_pressed(key)
    assert (key.description, key.tooltip) == ("SIG", "outdoor run: break SIG")


def test_silence_releases_the_outdoor_unit_after_the_watchdog(panel: BenchPanel) -> None:
    """With SIG broken the compressor runs on for a while, and stops with the watchdog."""
    panel.calls["cool-2"].click()
    panel.breaking.keys["outdoor.SIG"].click()
    assert panel.bench.state.responding["compressor stage 1"] == "on"
    panel.waits["10 s"].click()
    assert panel.bench.state.responding["compressor stage 1"] == "off"
    assert panel.bench.state.responding["blower"] == "on"


@pytest.mark.parametrize(
    ("part", "kind", "value", "text"),
    [
        ("thermostat.R", "resistance", 5.0, "thermostat.R=resistance:5"),
        ("thermostat.R", "short", "C", "thermostat.R=short:C"),
        ("outdoor.earth", "open", None, "outdoor.earth=open"),
        ("out.relay-Y1", "stuck-closed", None, "out.relay-Y1=stuck-closed"),
    ],
)
def test_any_fault_can_be_added_and_mended(
    panel: BenchPanel, part: str, kind: str, value: Any, text: str
) -> None:
    """The chooser offers what the part can have, adds it, and lists a key that mends it."""
    panel.chooser.choose(part, kind, value)
    panel.chooser._add.click()
    assert panel.bench.state.faults == (text,)
    (mend,) = panel.chooser._present.children
    assert mend.description.startswith(f"mend {part}: ")
    mend.click()
    assert panel.bench.state.faults == ()


def test_only_fitting_values_are_offered(panel: BenchPanel) -> None:
    """A break asks for no ohms, a splice for no other conductor."""
    chooser = panel.chooser
    chooser.choose("thermostat.SIG", "open")
    assert (chooser._number.layout.display, chooser._other.layout.display) == ("none", "none")
    chooser.choose("thermostat.SIG", "noise")
    assert (chooser._number.layout.display, chooser._other.layout.display) == (None, "none")
    chooser.choose("thermostat.SIG", "short")
    assert (chooser._number.layout.display, chooser._other.layout.display) == ("none", None)
    assert chooser._other.options == ("R", "C", "spare")


def test_what_the_bench_refuses_is_said_and_changes_nothing(panel: BenchPanel) -> None:
    """The same splice twice is refused in a sentence; the panel stays alive."""
    panel.chooser.choose("thermostat.R", "resistance", 5.0)
    panel.chooser._add.click()
    panel.chooser._number.value = 7.0
    panel.chooser._add.click()
    assert "the same fault twice" in panel.living.value
    assert panel.bench.state.faults == ("thermostat.R=resistance:5",)
    panel.calls["fan"].click()
    assert "refused" not in panel.living.value
    assert "✕" not in panel.living.value


def test_the_meter_refuses_ohms_on_a_live_circuit(panel: BenchPanel) -> None:
    """With power on it says why not; with the disconnect open it reads ohms."""
    panel.meter.turn("ohms")
    assert "refused: the power is still on, whatever the probes show" in panel.meter.display.value
    panel.service.power.click()
    assert "power off" in panel.meter.display.value
    assert " ohm" in panel.meter.display.value


def test_the_meter_follows_the_bench(panel: BenchPanel) -> None:
    """Its reading is that of the bench, and a low input takes the ghost away."""
    panel.meter.red.value = "stat:spare"
    ghost = lk.Meter(panel.bench).volts("stat:spare")
    assert str(ghost) in panel.meter.display.value
    panel.meter.turn("low")
    assert "<strong>0.0" in panel.meter.display.value


def test_a_blown_fuse_can_be_replaced(panel: BenchPanel) -> None:
    """R on C blows the fuse; replacing it helps once the short is mended."""
    panel.chooser.choose("thermostat.R", "short", "C")
    panel.chooser._add.click()
    assert panel.bench.state.fuse == "blown"
    assert not panel.service.fuse.disabled
    panel.chooser._mend_all.click()
    panel.service.fuse.click()
    assert panel.bench.state.fuse == "whole"
    assert panel.service.fuse.disabled


def test_only_what_changed_is_sent(panel: BenchPanel) -> None:
    """No time passing sends nothing; a call sends the living layer first, two keys, and no layer behind."""
    panel.passes.value = 0.0
    panel.calls["fan"].click()
    sent: list[str] = []
    parts = {"behind": panel.behind, "living": panel.living, "scope": panel.scope.living}
    for name, part in parts.items():
        part.observe(lambda change, name=name: sent.append(name), "value")
    for call, button in panel.calls.items():
        button.observe(lambda change, call=call: sent.append(call), "_dom_classes")
    panel.calls["fan"].click()
    assert sent == []
    panel.passes.value = 5.0
    panel.calls["cool-2"].click()
    assert sent == ["living", "fan", "cool-2", "scope"]


def test_two_meters_on_one_bench_follow_it(panel: BenchPanel) -> None:
    """A meter of its own shows what the keys of another panel did, and no longer once it is closed."""
    second = meter_panel(panel.bench, "air:Y1", "air:C")
    assert "<strong>0.0" in second.part.display.value
    panel.calls["cool-2"].click()
    assert second.part.reading.startswith(f"{lk.Meter(panel.bench).volts('air:Y1')} RMS from air handler Y1")
    before = second.part.reading
    second.close()
    panel.calls["off"].click()
    assert second.part.reading == before


def test_a_panel_leaves_a_picture_behind(panel: BenchPanel, monkeypatch: pytest.MonkeyPatch) -> None:
    """Shown, it also leaves an image with its words, and a sentence that says how to wake it."""
    outputs: list[dict[str, str]] = []
    monkeypatch.setattr("lessonkit.panels.panel.display", lambda data, raw: outputs.append(data))
    panel._ipython_display_()
    live, asleep = outputs
    assert live["text/plain"] == repr(panel)
    assert asleep["text/plain"] == show_bench("two-run", seconds=5.0, before_s=0.0).words
    assert "<svg" not in asleep["text/html"]
    assert 'src="data:image/svg+xml,' in asleep["text/html"]
    assert "is asleep. To use it, run the notebook from its top" in asleep["text/html"]


def test_clicks_from_two_threads_take_turns(panel: BenchPanel) -> None:
    """A page may send clicks to more than one thread of the kernel; each still passes all its time."""
    usual = sys.getswitchinterval()
    sys.setswitchinterval(1e-6)
    try:
        hands = [
            Thread(target=lambda calls=calls: [panel.calls[call].click() for call in calls * 8])
            for calls in (("cool-1", "fan"), ("heat-2", "off"))
        ]
        for hand in hands:
            hand.start()
        for hand in hands:
            hand.join()
    finally:
        sys.setswitchinterval(usual)
    assert panel.bench.time_s == 5.0 + 32 * 5.0
    assert panel.bench.state.links["outdoor"].sent == lk.Bench("two-run").advance(165.0).links["outdoor"].sent


def test_without_a_page_a_panel_is_a_stable_sentence(panel: BenchPanel) -> None:
    """What is stored for a panel names it and says what to do."""
    assert repr(panel) == "<Bench two-run: run this cell to use it.>"


def test_meter_and_scope_join_a_bench_that_is_there() -> None:
    """Both work on a bench of the notebook's own; a scope needs a link."""
    bench = lk.Bench("two-run")
    bench.advance(5)
    assert "Meter on two-run" in repr(meter_panel(bench))
    assert "Scope on two-run" in repr(scope_panel(bench))
    with pytest.raises(BadParameter, match="a bench whose job has a link"):
        scope_panel(lk.Bench("full-cable"))


def test_odd_times_are_refused() -> None:
    """A panel that lets a negative time pass is refused in one sentence."""
    with pytest.raises(BadParameter, match="after_s"):
        lk.bench_panel("two-run", after_s=-1)


def test_a_small_panel_shows_what_a_first_lesson_needs() -> None:
    """It has calls, conductors, a meter and time; no frames, no levels, no pins of the equipment."""
    small = lk.bench_panel("wire-return", small=True)
    small.calls["cool-2"].click()
    shown = small.living.value + small.behind.value + "".join(small.still())
    assert "cooling, stage 2" in shown
    assert [word for word in ("mark 1", "space 0", " sent<", 'lk-links"><table') if word in shown] == []
    assert small.service.box not in small.children
    assert small.scope.box not in small.children
    whole = lk.bench_panel("wire-return")
    whole.calls["cool-2"].click()
    assert "mark 1" in whole.living.value
    assert whole.service.box in whole.children
