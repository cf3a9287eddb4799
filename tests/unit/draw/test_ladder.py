"""Loops, the ladder diagram, symbols of supplies, wires taken off: they say what the circuit says."""

from __future__ import annotations

from itertools import combinations
from xml.etree import ElementTree

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.draw.ladder import ladder, ladder_svg
from lessonkit.draw.looks import conductors
from lessonkit.draw.loops import follow_names, loop_of
from lessonkit.draw.svg import text_width
from lessonkit.draw.wiring import wiring_svg
from lessonkit.draw.words import state_words
from lessonkit.errors import BadParameter
from lessonkit.job.toml import demo_names, load_job

SVG = "{http://www.w3.org/2000/svg}"


def _running(job: str, call: str, *faults: str) -> Bench:
    bench = Bench(job, call=call, faults=faults)
    bench.advance(400.0)
    return bench


def _words(bench: Bench, of: str) -> list[str]:
    return [part.words for part in loop_of(bench.state, of).parts]


def test_a_loop_goes_the_way_of_the_wiring() -> None:
    """The contactor's loop goes by wire on a full cable, by relay and earth over a link with earth return."""
    board = "defrost board, compressor"
    by_wire = ["fuse air", "thermostat.R", "call Y1", "thermostat.Y1", "outdoor.Y1", board, "outdoor.C"]
    assert _words(_running("full-cable", "cool-1"), "out:contactor") == by_wire
    by_earth = ["fuse air", "outdoor.R", "relay Y1 out", board, "earth"]
    assert _words(_running("two-run", "cool-1"), "out:contactor") == by_earth
    fed_there = ["fuse out", "relay Y1 out", board]
    assert _words(_running("second-transformer", "cool-1"), "out:contactor") == fed_there


def test_the_loop_of_a_defrost_goes_by_the_board() -> None:
    """In a defrost the valve of an O unit is fed by the board from R, and no longer by a call."""
    bench = Bench("full-cable", outdoor_c=0.0, call="heat-1")
    bench.advance(400.0)
    assert "call O" in _words(bench, "out:reversing-valve")
    bench.force_defrost()
    assert _words(bench, "out:reversing-valve")[1:3] == ["outdoor.R", "defrost board, defrost"]
    assert loop_of(bench.state, "out:reversing-valve").closed


@pytest.mark.parametrize("job", demo_names())
@pytest.mark.parametrize("call", ["off", "cool-2", "heat-aux", "emergency"])
def test_a_loop_is_closed_just_where_its_coil_is_in(job: str, call: str) -> None:
    """A sound coil is in where its loop is closed, and out where a contact is open."""
    state = _running(job, call).state
    for of, coil in state.coils.items():
        loop = loop_of(state, of)
        assert loop.amps == pytest.approx(state.amps[of])
        if coil.sealed:
            assert loop.closed, of
        elif of not in ("out:contactor", "out:lockout-relay"):  # in series when one locks out, shorted else
            assert loop.opened, of


@pytest.mark.parametrize("conductor", ["thermostat.R", "thermostat.Y1", "outdoor.Y1", "outdoor.C"])
def test_a_broken_conductor_opens_the_loop_at_itself(conductor: str) -> None:
    """Wherever the one loop of the contactor is cut, the loop is open there and nowhere else."""
    bench = _running("full-cable", "cool-1")
    assert conductor in _words(bench, "out:contactor")
    bench.add_fault(f"{conductor}=open")
    bench.advance(5.0)
    opened = [part.words for part in loop_of(bench.state, "out:contactor").opened]
    assert conductor in opened
    # A thermostat without R sleeps and lets its contact go; a broken C takes the board's power too.
    assert set(opened) <= {conductor, "call Y1", "defrost board, compressor"}


def test_a_terminal_without_a_wire_opens_its_loop() -> None:
    """With five conductors to the thermostat no wire ends on G: the blower's loop is open there."""
    bench = _running("warden-flat", "cool-1")
    loop = loop_of(bench.state, "air:blower-relay")
    assert [part.words for part in loop.opened] == ["no wire on G"]
    assert "no wire on G" in ladder_svg(bench.state, bench.job)
    assert "open: no wire on G" in wiring_svg(bench.state, bench.job, follow="air:blower-relay")


def test_a_coil_that_is_none_is_refused_with_those_there_are() -> None:
    """Follow names a coil of the job, or the sentence says which there are."""
    state = Bench("full-cable").state
    for of in ("out:furnace", "contactor", "", None):
        with pytest.raises(BadParameter, match="air:blower-relay, "):
            loop_of(state, of)  # type: ignore[arg-type]


@pytest.mark.parametrize("job", demo_names())
@pytest.mark.parametrize("call", ["heat-1", "cool-2"])
def test_ladder_words_keep_clear_of_each_other(job: str, call: str) -> None:
    """Every demo job has a ladder with a rung for each coil and board, and no words lie on words."""
    bench = _running(job, call)
    root = ElementTree.fromstring(ladder_svg(bench.state, bench.job))
    boxes = []
    for text in root.iter(f"{SVG}text"):
        size, words = float(text.get("font-size", 16)), text.text or ""
        wide = text_width(words, size, text.get("font-weight") == "bold") * 0.92
        shift = {"middle": wide / 2, "end": wide}.get(text.get("text-anchor", ""), 0.0)
        left, y = float(text.get("x", 0)) - shift, float(text.get("y", 0))
        boxes.append((left, y - 0.72 * size, left + wide, y, words))
    for one, two in combinations(boxes, 2):
        apart = one[2] <= two[0] or two[2] <= one[0] or one[3] <= two[1] or two[3] <= one[1]
        assert apart, (one[4], two[4])
    said = " ".join(box[4] for box in boxes)
    for of in follow_names(bench.state):
        assert of.partition(":")[2].replace("-", " ") in said


def test_a_ladder_shows_itself_and_says_the_same() -> None:
    """In a notebook it is a picture with its rungs in words; printed, it is the words."""
    bench = _running("two-run", "cool-1", "outdoor.SIG=open")
    shown = ladder(bench, "out:contactor")
    assert "The loop of the contactor at the outdoor unit is open at relay Y1 out" in repr(shown)
    assert "data:image/svg+xml" in shown._repr_html_()
    assert 'stroke="#f0e442"' in shown.svg


def test_a_followed_loop_is_lit_in_the_wiring() -> None:
    """The picture lights the loop of one coil, says it in words, and rings what keeps it open."""
    bench = _running("full-cable", "cool-1")
    plain, lit = (wiring_svg(bench.state, bench.job, follow=of) for of in ("", "out:contactor"))
    assert "carries" not in plain
    assert "the loop of the contactor at the outdoor unit carries 0.4" in lit
    bench.add_fault("outdoor.Y1=open")
    opened = wiring_svg(bench.state, bench.job, follow="out:contactor")
    assert "open: outdoor.Y1" in opened


def test_fuse_and_transformer_have_their_symbols() -> None:
    """What is drawn of a supply says what it is and how it is."""
    bench = _running("second-transformer", "cool-1", "out.fuse=blown", "air.transformer=burnt-out")
    bench.set_power(False, "out")
    svg = wiring_svg(bench.state, bench.job)
    assert "A fuse at the outdoor unit, blown" in svg
    assert "transformer at the air handler, burnt-out, disconnect closed" in svg
    assert "transformer at the outdoor unit, whole, disconnect open" in svg
    breaker = bench.job.with_supply(protector="breaker")
    assert "A breaker at the air handler, whole" in ladder_svg(Bench(breaker).state, breaker)


def test_a_lifted_wire_is_drawn_lifted() -> None:
    """An end that hands took off its terminal says so in the picture and in words; put back, it doesn't."""
    bench = Bench("full-cable", call="cool-1")
    works = ["lift out:outdoor.Y2", "move air:outdoor.O air:Y2", "twist out:outdoor.D out:outdoor.R"]
    bench.set_hands(works)
    wires = {wire.key: wire for wire in conductors(bench.state, bench.job)}
    assert (wires["outdoor.Y2"].near_off, wires["outdoor.Y2"].far_off) == ("", "lifted")
    assert wires["outdoor.O"].near_off == "on Y2"
    assert wires["outdoor.D"].far_off == "twisted"
    svg = wiring_svg(bench.state, bench.job)
    assert all(f">{word}<" in svg for word in ("lifted", "on Y2", "twisted"))
    assert "its far end lifted" in state_words(bench.state, bench.job)
    bench.set_hands([])
    assert "lifted" not in wiring_svg(bench.state, bench.job)


def test_a_lifted_end_looks_like_what_is_on_it() -> None:
    """R lifted outdoors is live up to its loose end, and the unit behind it is dead."""
    bench = Bench("full-cable", call="cool-1")
    bench.set_hands(["lift out:outdoor.R"])
    bench.advance(5.0)
    wire = next(w for w in conductors(bench.state, bench.job) if w.key == "outdoor.R")
    assert (wire.near, wire.far) == ("live", "live")
    assert not bench.state.boards["out:defrost-board"].awake


def test_a_thermostat_ahead_of_an_encoder_is_drawn() -> None:
    """Where a link carries Y1 on, its input has a rung with the outdoor thermostat that locks it out."""
    job = load_job("two-run").with_outdoor_thermostat(compressor_below_c=-5.0, at="air")
    for outdoor_c, state, volts in ((8.0, "closed", "live"), (-10.0, "open", "dead")):
        bench = Bench(job, call="heat-1", outdoor_c=outdoor_c)
        bench.advance(60.0)
        svg = ladder_svg(bench.state, job)
        assert f"outdoor thermostat: {state}" in svg
        assert "input Y1" in svg
        assert f"V, {volts}<" in svg
    assert "input" not in ladder_svg(Bench("full-cable").state, load_job("full-cable"))
