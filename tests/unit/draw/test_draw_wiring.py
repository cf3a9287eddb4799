"""The wiring picture and its words say what the bench says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations
from xml.etree import ElementTree

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.draw.looks import conductors, earth_path, shown_volts
from lessonkit.draw.palette import LOOKS
from lessonkit.draw.svg import TEXT_PX, text_width
from lessonkit.draw.view import show_bench
from lessonkit.draw.wiring import wiring_svg
from lessonkit.draw.words import clock_words, link_words, state_words
from lessonkit.job.calls import CALLS
from lessonkit.job.faults import single_faults
from lessonkit.job.model import Job
from lessonkit.job.toml import demo_job

SVG = "{http://www.w3.org/2000/svg}"
JOBS = ("full-cable", "earth-return", "wire-return", "two-run")


def _bench(job: str, call: str, *faults: str, seconds: float = 30.0) -> Bench:
    bench = Bench(demo_job(job))
    bench.set_call(call)
    bench.advance(15)
    bench.set_faults(faults)
    bench.advance(seconds)
    return bench


def _ends(bench: Bench, key: str) -> tuple[str, str]:
    found = {wire.key: wire for wire in conductors(bench.state, bench.job)}
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
    ghosts = bench.state.ghosts
    assert _ends(bench, "thermostat.Y1")[0] == "live"
    assert _ends(bench, "thermostat.Y1")[1] != "live"
    assert not any(node.endswith(":R") for node in ghosts)


def test_a_spare_floats_until_something_touches_it() -> None:
    """A spare conductor is floating, and live once it touches R."""
    assert _ends(_bench("two-run", "cool-2"), "thermostat.spare") == ("floating", "floating")
    touched = _bench("two-run", "cool-2", "thermostat.spare=short:R")
    assert _ends(touched, "thermostat.spare") == ("live", "live")


def test_a_spare_that_serves_a_terminal_is_live_with_it() -> None:
    """Moved onto R at both ends, a spare conductor is no longer floating."""
    bench = _bench("two-run", "cool-2")
    bench.set_hands(["move stat:thermostat.spare stat:R", "move air:thermostat.spare air:R"])
    assert _ends(bench, "thermostat.spare") == ("live", "live")


def test_a_lost_bond_lifts_the_metal_outdoors() -> None:
    """With the earth bond lost, common outdoors rises to the hot side, and is drawn live."""
    bench = _bench("earth-return", "cool-2", "outdoor.earth=open")
    earth = earth_path(bench.state, bench.job)
    assert earth.broken
    assert earth.far == "live"


@pytest.mark.parametrize(
    ("job", "fault", "place"),
    [
        ("full-cable", "thermostat.C=open", "stat"),
        ("full-cable", "outdoor.C=open", "out"),
        ("full-cable", "outdoor.C=resistance:60", "out"),
        ("earth-return", "outdoor.earth=open", "out"),
        ("two-run", "thermostat.C=open", "stat"),
        ("wire-return", "outdoor.C=open", "out"),
    ],
)
def test_a_lost_common_breaks_no_other_wire(job: str, fault: str, place: str) -> None:
    """Whole conductors keep one state, live R stays live, and picture and words say where C is."""
    bench = _bench(job, "cool-2", fault, seconds=60.0)
    state = bench.state
    found = conductors(state, bench.job)
    assert [(w.key, w.near, w.far) for w in found if w.whole and w.near != w.far] == []
    assert {w.near for w in found if w.name == "R"} == {"live"}
    # Kirchhoff: with next to no current, copper holds no volts, so both its screws show the same.
    run = "thermostat" if place == "stat" else "outdoor"
    assert shown_volts(state, f"{place}:R") == pytest.approx(shown_volts(state, "air:R"), abs=1.0)
    volts = f"{state.volts[f'{place}:C']:.1f} V"
    assert state.volts[f"{place}:C"] >= 12
    svg = wiring_svg(state, bench.job)
    assert f">C here is at {volts}<" in svg
    assert ">volts against air:C<" in svg
    words = state_words(state, bench.job)
    assert f"is at {volts} against C of the air handler" in words
    whole = [w.name for w in found if w.run == run and w.whole]
    assert not any(f"{name} dead, at the far end" in words for name in whole)
    assert "C here is at" not in wiring_svg(state, bench.job, covered=True)


@pytest.mark.parametrize("job", JOBS)
def test_no_fault_makes_a_whole_wire_look_broken(job: str) -> None:
    """Under every single fault, a conductor without a break or a splice has one state end to end."""
    bench = Bench(demo_job(job))
    bench.set_call("cool-2")
    bench.advance(15)
    for fault in single_faults(bench.job):
        bench.set_faults([fault])
        state = bench.advance(5)
        for wire in conductors(state, bench.job):
            assert wire.near == wire.far or not wire.whole, (fault, wire)


def test_a_shift_of_common_below_the_limit_is_told_against_its_own() -> None:
    """A poor bond lifts C outdoors by a few volts; what a coil there gets is still what is written."""
    bench = _bench("earth-return", "cool-2", "outdoor.earth=resistance:8")
    state = bench.state
    assert 1 < state.volts["out:C"] < 12
    assert shown_volts(state, "out:Y2") == state.between("out:Y2", "out:C")
    assert "C here is at" not in wiring_svg(state, bench.job)


def _boxes(svg: str) -> list[tuple[str, float, float, float, float]]:
    """Return all upright words of a picture with the room they take, a little on the narrow side."""
    found = []
    for text in ElementTree.fromstring(svg).iter(f"{SVG}text"):
        if text.get("transform"):
            continue
        words, size = text.text or "", float(text.get("font-size", TEXT_PX))
        wide = 0.85 * text_width(words, size, text.get("font-weight") == "bold")
        x = float(text.get("x", 0)) - wide * {"middle": 0.5, "end": 1.0}.get(text.get("text-anchor", ""), 0.0)
        y = float(text.get("y", 0))
        found.append((words, x, y - 0.7 * size, x + wide, y))
    return found


def _one_stage() -> Job:
    job = demo_job("wire-return")
    run = job.thermostat_run
    run = replace(run, conductors=tuple(c for c in run.conductors if c != "Y2"))
    return replace(job, equipment=replace(job.equipment, stages=1), thermostat_run=run)


@pytest.mark.parametrize("job", [*map(demo_job, JOBS), _one_stage()], ids=[*JOBS, "one-stage"])
def test_every_single_fault_is_drawn_and_no_words_lie_on_words_or_under_a_mark(job: Job) -> None:
    """Each is named under the picture; words keep clear of words, of crosses, and of the lines of shorts."""
    bench = Bench(job)
    bench.set_call("cool-2" if job.equipment.stages == 2 else "cool-1")
    bench.advance(15)
    for fault in single_faults(job):
        bench.set_faults([fault])
        svg = wiring_svg(bench.state, job)
        boxes = _boxes(svg)
        assert any(f"Faults: {fault.where}.{fault.part}" in box[0] for box in boxes), fault
        for one, two in combinations(boxes, 2):
            assert not _overlap(one[1:], two[1:]), (str(fault), one, two)
        root = ElementTree.fromstring(svg)
        for ring in root.iter(f"{SVG}circle"):
            if ring.get("stroke") == LOOKS["faulted"].colour:
                x, y, r = (float(ring.get(name, 0)) for name in ("cx", "cy", "r"))
                for box in boxes:
                    assert not _overlap(box[1:], (x - r, y - r, x + r, y + r)), (str(fault), box)
        for line in root.iter(f"{SVG}line"):
            x, to_x = float(line.get("x1", 0)), float(line.get("x2", 0))
            y, to_y = sorted((float(line.get("y1", 0)), float(line.get("y2", 0))))
            if line.get("stroke") == LOOKS["faulted"].colour and x == to_x:
                for box in boxes:
                    assert not _overlap(box[1:], (x - 2, y, x + 2, to_y)), (str(fault), box)


def _overlap(one: Sequence[float], two: Sequence[float]) -> bool:
    return one[0] < two[2] and two[0] < one[2] and one[1] < two[3] and two[1] < one[3]


def test_a_second_transformer_shows_its_volts_and_fuse() -> None:
    """With a transformer of its own, the outdoor unit says what it gives and which of both fuses is blown."""
    job = demo_job("wire-return").with_supply(interconnection_listed=True)
    outdoor = replace(job.outdoor_run, return_by="second-transformer", far_supply=job.supply)
    outdoor = replace(outdoor, conductors=tuple(c for c in outdoor.conductors if c != "R"))
    job = replace(job, outdoor_run=outdoor)
    bench = Bench(job, faults=["out.fuse=blown"])
    texts = [words for words, *_ in _boxes(wiring_svg(bench.state, job))]
    supplies = [words for words in texts if words.startswith("supply ")]
    assert [words.partition(", ")[2] for words in supplies] == ["fuse whole", "fuse blown"]
    assert "The fuse at the outdoor unit is blown." in state_words(bench.state, job)
    assert f"supply {bench.state.between('out:XFMR', 'out:C'):.1f} V, fuse blown" in supplies


def test_a_link_says_space_and_mark() -> None:
    """The levels at the receiver are named, in the words of the trade."""
    texts = [words for words, *_ in _boxes(show_bench("two-run", "cool-2").svg)]
    assert texts.count("space 0.0 V") == texts.count("mark 10.0 V") == 2


@pytest.mark.parametrize(
    ("state", "reading", "said"),
    [
        ("working", "", "the link on the outdoor run is working: "),
        ("waiting", "", "is waiting, with no frame heard yet: "),
        ("poor", "read in part", "is poor, with only a part of its frames getting through: "),
        ("silent", "not read", "is silent, with nothing heard for so long that its watchdog ran out: "),
    ],
)
def test_every_state_of_a_link_is_drawn_and_said(state: str, reading: str, said: str) -> None:
    """Box, conductor and words agree on how a link is doing."""
    bench = _bench("two-run", "cool-2")
    shown = bench.state
    links = {**shown.links, "outdoor": replace(shown.links["outdoor"], state=state)}
    shown = replace(shown, links=links)
    found = {wire.key: wire for wire in conductors(shown, bench.job)}
    assert (found["outdoor.SIG"].near, found["outdoor.SIG"].reading) == ("signalling", reading)
    svg = wiring_svg(shown, bench.job)
    assert f">{state}</text>" in svg
    assert f">{reading or 'signalling'}</text>" in svg
    assert said in link_words(shown, "outdoor")


def test_swapped_conductors_cross() -> None:
    """Each of two swapped conductors ends at the other's terminal and carries its own volts there."""
    bench = _bench("full-cable", "cool-1", "thermostat.Y2=swapped:G")
    found = {wire.name: wire for wire in conductors(bench.state, bench.job) if wire.run == "thermostat"}
    assert (found["Y2"].far_name, found["G"].far_name) == ("G", "Y2")
    assert (found["G"].near, found["G"].far) == ("live", "live")


def test_covered_tells_nothing_but_what_responds() -> None:
    """A covered picture has no volts, no fault and no state of a conductor, in letters or in words."""
    shown = show_bench("two-run", "cool-2", ["outdoor.SIG=open"], 30.0, covered=True)
    root = ElementTree.fromstring(shown.svg)
    said = " ".join(text for text in root.itertext()) + (root.get("aria-label") or "")
    assert "blower on" in said
    for telling in ("broken", "Faults", "signalling", "R live", " V", "fuse"):
        assert telling not in said
        assert telling not in shown.words


def test_covered_words_keep_a_blown_fuse_to_themselves() -> None:
    """What only a look inside or a meter tells stands in no words beside a covered picture."""
    shown = show_bench("full-cable", "cool-2", ["air.fuse=blown"], 30.0, covered=True)
    said = shown.words + (ElementTree.fromstring(shown.svg).get("aria-label") or "")
    assert "the thermostat calls cool-2" in said
    assert "fuse" not in said


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


def test_a_simple_picture_leaves_out_what_a_link_counts() -> None:
    """A first picture says whether the link works, and nothing of frames and levels."""
    bench = Bench("wire-return", call="cool-2")
    bench.advance(20)
    whole, simple = show_bench(bench), show_bench(bench, simple=True)
    assert simple.state == bench.state
    assert ("mark 1" in whole.svg, "20 heard" in whole.svg) == (True, True)
    assert ("mark 1" in simple.svg, "20 heard" in simple.svg) == (False, False)
    assert "working" in simple.svg
