"""What hands and a meter found of a cable, as tables; insulation with all lifted; halving by a meter."""

from __future__ import annotations

import math

from lessonkit.bench.bench import Bench
from lessonkit.bench.insulation import LIMIT_OHM
from lessonkit.bench.meter import Meter
from lessonkit.studies.cable import half_split, locate_open, locate_short, prove_insulation, ring_out

POINTS = ["air:XFMR", "air:R", "stat:R", "stat:Y2", "air:Y2", "out:Y2"]


def test_a_ring_out_says_what_was_found_of_each() -> None:
    """Open, poor and touching conductors have their word, and the rest are sound."""
    faults = ["outdoor.Y2=open@0.3", "outdoor.spare=resistance:2", "outdoor.D=short:O@0.7"]
    rung = ring_out(Bench("net-loft", faults=faults), "outdoor")
    words = {name: rung.found(name) for name in rung.ohms}
    assert words == {
        "R": "sound",
        "C": "sound",
        "D": "touches O",
        "O": "touches D",
        "Y1": "sound",
        "spare": "poor",
        "Y2": "open",
        "spare-2": "sound",
    }
    table = rung._repr_markdown_().splitlines()
    assert table[0] == "| conductor | read with | loop | it alone | found |"
    assert [line.split(" | ")[0].strip("| ") for line in table[2:10]] == list(rung.ohms)
    assert "| Y2 | R | OL ohm | none | open |" in table
    assert len(str(rung).splitlines()) == len(rung.ohms) + 1


def test_what_was_located_shows_both_ends() -> None:
    """A break and a touch show their readings with both probes, and the metres."""
    bench = Bench("net-loft", faults=["outdoor.Y2=open@0.25", "outdoor.D=short:O@0.75"])
    broken, touch = locate_open(bench, "outdoor", "Y2"), locate_short(bench, "outdoor", "D", "O")
    assert "| near | air:outdoor.Y2 | air:outdoor.R |" in broken._repr_markdown_()
    assert "**8.0 m** from the near end" in broken._repr_markdown_()
    assert "24.0 m from the near end" in str(touch)


def test_insulation_is_tested_with_everything_lifted() -> None:
    """A damp conductor is weak, to ground and by that to a second one; afterwards all wires are back."""
    bench = Bench("net-loft", faults=["outdoor.spare=earth:200000@0.3"])
    tested = prove_insulation(bench, "outdoor")
    assert tested.weak == ("spare",)
    assert tested.to_ground["spare"] < LIMIT_OHM < tested.to_others["spare"]
    assert bench.hands == ()
    assert not bench.powered
    assert tested.minutes > 30
    assert "| spare |" in tested._repr_markdown_()
    assert tested._repr_markdown_().count("| weak |") == str(tested).count("weak") == 1


def test_insulation_of_either_run_is_read_at_the_air_handler() -> None:
    """Grounded metal is there, so both runs are tested from it, at either voltage."""
    bench = Bench("net-loft", faults=["thermostat.G=earth:300000@0.9", "outdoor.O=earth:100000@0.9"])
    for run, weak in (("thermostat", "G"), ("outdoor", "O")):
        for volts in (250, 500):
            tested = prove_insulation(bench, run, volts)
            assert tested.weak == (weak,)
            assert all(reading.probes[0].startswith("air:") for reading in tested.to_others.values())


def test_a_meter_halves_by_volts_that_can_deliver() -> None:
    """With a meter for a judge, volts at low impedance decide, and the readings are kept."""
    bench = Bench("net-loft", faults=["outdoor.Y2=open@0.28"], call="cool-2")
    bench.advance(15)
    found = half_split(POINTS, Meter(bench))
    assert found.between == ("air:Y2", "out:Y2")
    assert [reading.probes[0] for reading in found.readings] == list(found.read)
    assert all(reading.setting == "low" for reading in found.readings)
    assert "Lost between **air:Y2** and **out:Y2**" in found._repr_markdown_()
    assert "lost between air:Y2 and out:Y2" in str(found)
    asked = half_split(POINTS, lambda point: point != "out:Y2")
    assert (asked.between, asked.readings) == (found.between, ())
    assert "stat:R" in asked._repr_markdown_()


def test_a_conductor_without_a_loop_has_no_ohms() -> None:
    """An open conductor's own ohms are endless, and its table says none."""
    rung = ring_out(Bench("net-loft", faults=["outdoor.R=open"]), "outdoor")
    assert math.isinf(rung.ohms["R"])
    assert rung.opens == ("R",)
    assert "| R | C | OL ohm | none | open |" in rung._repr_markdown_()
