"""The wiring picture and its words say what the bench says."""

from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree

import pytest

from lessonkit.bench import Bench
from lessonkit.calls import CALLS
from lessonkit.draw.ghosts import ghost_nodes
from lessonkit.draw.looks import earth_wire, wires
from lessonkit.draw.view import show_bench
from lessonkit.draw.wiring import wiring_svg
from lessonkit.draw.words import clock_words, state_words
from lessonkit.faults import single_faults
from lessonkit.job import demo_job

JOBS = ("full-cable", "earth-return", "wire-return", "two-run")


def _bench(job: str, call: str, *faults: str, seconds: float = 30.0) -> Bench:
    bench = Bench(demo_job(job))
    bench.set_call(call)
    bench.advance(15)
    bench.set_faults(faults)
    bench.advance(seconds)
    return bench


def _ends(bench: Bench, key: str) -> tuple[str, str]:
    found = {wire.key: wire for wire in wires(bench.state, bench.job, ghost_nodes(bench))}
    return found[key].near, found[key].far


@pytest.mark.parametrize("job", JOBS)
@pytest.mark.parametrize("call", CALLS)
def test_every_job_and_call_can_be_drawn(job: str, call: str) -> None:
    """Each gives well-formed SVG with a role, a title and words, and draws every conductor once."""
    bench = _bench(job, call, seconds=5.0)
    root = ElementTree.fromstring(wiring_svg(bench.state, bench.job))
    assert root.get("role") == "img"
    assert f"call {call}" in (root.findtext("{*}title") or "")
    keys = [
        group.get("data-key") for group in root.iter("{http://www.w3.org/2000/svg}g") if group.get("data-key")
    ]
    drawn = [f"{run}.{c}" for run, cable in bench.job.runs.items() for c in cable.conductors]
    assert sorted(keys) == sorted([*drawn, "outdoor.earth"])


@pytest.mark.parametrize("job", JOBS)
def test_every_single_fault_can_be_drawn(job: str) -> None:
    """Each fault that a job can have is drawn and named under the picture."""
    bench = Bench(demo_job(job))
    bench.set_call("cool-2")
    for fault in single_faults(bench.job):
        bench.set_faults([fault])
        root = ElementTree.fromstring(wiring_svg(bench.state, bench.job))
        under = [text.text or "" for text in root.iter("{http://www.w3.org/2000/svg}text")]
        assert any(f"Faults: {fault.where}.{fault.part}" in text for text in under), fault


def test_it_is_a_pure_function() -> None:
    """The same state gives the same picture, letter for letter."""
    bench = _bench("two-run", "cool-2")
    assert wiring_svg(bench.state, bench.job) == wiring_svg(bench.state, bench.job)
    assert show_bench("two-run", "cool-2").svg == show_bench("two-run", "cool-2").svg


def test_names_cannot_break_the_picture() -> None:
    """A title with markup in it stays text."""
    bench = Bench(replace(demo_job("two-run"), title='<script>alert("1")</script> & sons'))
    svg = wiring_svg(bench.state, bench.job)
    assert "<script" not in svg
    assert '<script>alert("1")</script> & sons' in (ElementTree.fromstring(svg).findtext("{*}title") or "")


def test_a_broken_signal_is_heard_at_one_end_only() -> None:
    """The encoder's half still signals, the relay board's half is dead, and the words say so."""
    bench = _bench("two-run", "cool-2", "outdoor.SIG=open")
    assert _ends(bench, "outdoor.SIG") == ("signalling", "dead")
    assert "SIG signalling, broken, then dead" in state_words(bench.state, bench.job)


def test_a_ghost_is_not_drawn_live() -> None:
    """Y1 hangs loose while the defrost board holds the compressor: it shows volts and floats all the same."""
    bench = _bench("full-cable", "cool-2", "thermostat.Y1=open")
    assert bench.state.volts["air:Y1"] > 8
    ghosts = ghost_nodes(bench)
    assert _ends(bench, "thermostat.Y1")[0] == "live"
    assert _ends(bench, "thermostat.Y1")[1] != "live"
    assert not any(node.endswith(":R") for node in ghosts)


def test_a_spare_floats_until_something_touches_it() -> None:
    """A spare conductor is floating, and live once it touches R."""
    assert _ends(_bench("two-run", "cool-2"), "thermostat.spare") == ("floating", "floating")
    touched = _bench("two-run", "cool-2", "thermostat.spare=short:R")
    assert _ends(touched, "thermostat.spare") == ("live", "live")


def test_a_lost_bond_lifts_the_metal_outdoors() -> None:
    """With the earth bond lost, common outdoors rises to the hot side, and is drawn live."""
    bench = _bench("earth-return", "cool-2", "outdoor.earth=open")
    earth = earth_wire(bench.state, bench.job)
    assert earth.broken
    assert earth.far == "live"


def test_swapped_conductors_cross() -> None:
    """Each of two swapped conductors ends at the other's terminal and carries its own volts there."""
    bench = _bench("full-cable", "cool-1", "thermostat.Y2=swapped:G")
    found = {wire.conductor: wire for wire in wires(bench.state, bench.job) if wire.run == "thermostat"}
    assert (found["Y2"].far_conductor, found["G"].far_conductor) == ("G", "Y2")
    assert (found["G"].near, found["G"].far) == ("live", "live")


def test_covered_tells_nothing_but_what_responds() -> None:
    """A covered picture has no volts, no fault and no state of a conductor, in letters or in words."""
    shown = show_bench("two-run", "cool-2", ["outdoor.SIG=open"], 30.0, covered=True)
    root = ElementTree.fromstring(shown.svg)
    said = " ".join(text for text in root.itertext()) + (root.get("aria-label") or "")
    assert "blower on" in said
    for telling in ("broken", "Faults", "signalling", "R live"):
        assert telling not in said


def test_words_follow_the_bench() -> None:
    """What responds in the state is on in the words, and the rest is off."""
    bench = _bench("two-run", "cool-2")
    words = state_words(bench.state, bench.job)
    on, off = words.split("On: ")[1].split(".")[0].split("; off: ")
    for name, does in bench.state.responding.items():
        assert (name in on, name in off) == (does != "off", does == "off")


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0, "0 s"), (0.5, "0.5 s"), (60, "1 min"), (200, "3 min 20 s"), (3720, "1 h 2 min")],
)
def test_times_are_written_for_reading(seconds: float, words: str) -> None:
    """Seconds become minutes and hours where those are shorter."""
    assert clock_words(seconds) == words
