"""What is particular to workbook 02: its prose against the bench, right hand work, edges of an exercise.

The sentences of a lesson carry numbers. Each one that the bench can compute is computed here again, and must
stand in the text as it comes out, so that a change of the model can't leave the lesson behind.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import pytest
from lesson import assert_right_by_hand, words_of

from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import Meter
from lessonkit.copper.wire import loop_ohm, resistance_per_m
from lessonkit.draw.triangle import triangle_picture
from lessonkit.exercises.core import Exercise, Givens, givens_for
from lessonkit.exercises.series.workbook_02 import TRANSFORMER
from lessonkit.exercises.series.workbook_02_copper import COPPER, SPLICE
from lessonkit.exercises.series.workbook_02_faults import CHATTER, OHMS, SUPPLIES, edges_ohm, start
from lessonkit.job.calls import CALLS, terminals_for
from lessonkit.job.model import Job
from lessonkit.job.parts import CONTACTOR
from lessonkit.job.toml import demo_job
from lessonkit.studies.budget import va_budget
from lessonkit.studies.experiment import experiment
from lessonkit.studies.ghosts import ghost_places

NOTEBOOK = Path(__file__).resolve().parents[2] / "notebooks" / "02_the_24_volt_circuit.ipynb"
STUDENTS = range(40)


def text() -> str:
    """Return the words of the workbook."""
    return words_of("02")


def under(call: str, *faults: str, job: Job | str = "full-cable") -> Bench:
    """Return a bench some seconds after a call."""
    return experiment(job, call, faults, before_s=0, after_s=10).bench()


def contactor_v(bench: Bench) -> float:
    """Return the volts across the contactor."""
    return bench.state.coils["out:contactor"].volts


# The lesson ------------------------------------------------------------------------------------------------


def test_what_is_said_of_the_transformer() -> None:
    """The source behind 1.15 ohm gives 27.4 V at rest, and 34.9 VA under cool-2."""
    job = demo_job("full-cable")
    assert "1.15 ohm" in text()
    assert round(job.supply.transformer.r_ohm, 2) == 1.15
    rest = Bench(job)
    assert f"{Meter(rest).volts('air:R', 'air:C').value:.1f} V: a reading" in text()
    state = under("cool-2").state
    va = state.amps["air:fuse"] * state.volts["air:R"]
    assert f"`cool-2` with its {va:.1f} VA" in text()
    assert all(coil.volts > 24 for coil in state.coils.values() if coil.sealed)


def test_what_is_said_of_the_budget() -> None:
    """The VA of cool-2 add up to 30.5 sealed, and its coils to 53 VA of inrush."""
    job = demo_job("full-cable")
    kit = job.equipment
    coils = (kit.contactor, kit.reversing_valve, kit.unloader, kit.blower_relay)
    sealed = sum(coil.sealed_va for coil in coils) + job.thermostat.load_va + job.defrost_board.load_va
    assert f"**{sealed:g} VA**" in text()
    assert f"inrush, too: {sum(coil.inrush_va for coil in coils):g} VA" in text()
    most = va_budget(job).hungriest
    assert f"{most.bench_va:.1f} VA on the bench. By nameplates it is {most.sealed_va:.1f} VA" in text()


def test_what_is_said_of_the_copper() -> None:
    """By hand and by the bench, 60 m of 22 AWG take the volts that the text says."""
    job = demo_job("full-cable")
    assert f"{loop_ohm(14, 18):.2f} ohm out and back" in text()
    far = under("heat-1", job=job.with_run("outdoor", length_m=60.0, gauge_awg=22))
    meter = Meter(far)
    out, back = meter.volts("air:Y1", "out:Y1").value, meter.volts("air:C", "out:C").value
    by_hand = loop_ohm(60, 22) * 26.5 * CONTACTOR.sealed_va / 24**2
    assert f"By hand {by_hand:.1f} V, by the bench {out:.2f} + {back:.2f} V" in text()
    assert out + back == pytest.approx(by_hand, rel=0.03)
    lost = meter.volts("air:Y1", "air:C").value - meter.volts("out:Y1", "out:C").value
    assert f"only {lost:.1f} V less" in text()


def test_one_circuit_has_two_states() -> None:
    """The same splice and call: sealed after a first stage, open from rest; so with a weak supply."""
    splice = "thermostat.R=resistance:7.5"
    staged = under("cool-1", splice)
    staged.set_call("cool-2")
    fresh = under("cool-2", splice)
    assert (
        f"{contactor_v(staged):.0f} V and sealed last night, {contactor_v(fresh):.0f} V and open today"
        in text()
    )
    assert staged.state.coils["out:contactor"].sealed
    assert not any(coil.sealed for coil in fresh.state.coils.values())
    grown = under("cool-2")
    grown.set_faults([splice])
    assert grown.state.coils["out:contactor"].sealed
    grown.set_call("off")
    grown.set_call("cool-2")
    assert not grown.advance(320).coils["out:contactor"].sealed
    sagging = under("cool-2")
    sagging.set_faults(["air.transformer=weak:0.72"])
    assert sagging.state.coils["out:contactor"].sealed
    assert not under("cool-2", "air.transformer=weak:0.72").state.coils["out:contactor"].sealed


def test_the_delay_hides_the_chatter() -> None:
    """With 15 ohm in R all is quiet for the five minutes of the delay; then the thermostat starves itself."""
    bench = under("cool-2")
    bench.set_faults(["thermostat.R=resistance:15"])
    assert bench.state.coils["out:contactor"].sealed
    bench.set_call("off")
    bench.set_call("cool-2")
    quiet = bench.advance(295)
    assert quiet.boards["stat:thermostat"].awake
    assert quiet.coils["air:blower-relay"].sealed
    loud = bench.advance(10)
    assert loud.chatter == ("stat:thermostat",)
    assert round(loud.volts["stat:R"]) == 26


def test_a_spare_shows_a_ghost() -> None:
    """Between two live wires a loose one shows all their volts, until the meter is a load."""
    wires = ("R", "C", "Y1", "spare", "Y2", "G", "O", "W1", "E")
    meter = Meter(under("cool-2", job=demo_job("full-cable").with_run("thermostat", conductors=wires)))
    assert f"{meter.volts('stat:spare', 'stat:C').value:.1f} V on a wire" in text()
    assert meter.volts("stat:spare", "stat:C", "low").value < 0.5
    assert meter.volts("stat:Y1", "stat:C", "low").value > 26
    places = ghost_places("full-cable", "cool-2")
    assert f"half, some {places.between('O', 'W1').value:.1f} V" in text()
    assert f"next to nothing, {places.between('W1', 'E').value:.2f} V" in text()


def test_low_impedance_does_not_prove_that_a_wire_can_deliver() -> None:
    """Through 100 ohm 3 kilohms read nearly all volts with no coil joined, and few with it."""
    bench = Bench("full-cable", call="cool-1")
    bench.set_call("off")
    bench.add_fault("outdoor.Y1=resistance:100")
    bench.set_call("cool-1")
    assert Meter(bench).volts("out:Y1", "out:C", "low").value > 26
    bench.advance(320)
    assert Meter(bench).volts("out:Y1", "out:C", "low").value < 5
    assert not bench.state.coils["out:contactor"].sealed


def test_the_triangle_by_hand_is_the_picture() -> None:
    """The lesson's numbers, 1.5 A, 13.5 V, 15 V and 28.5 V, are those of the picture beside them."""
    words = triangle_picture(25.5, 9, 10, 6).words
    for said, shown in (
        ("13.5 V, and the coil", "splice, 13.5 V"),
        ("= 15 V.", "coil, 15.0 V"),
        ("28.5 V, more", "28.5 V"),
    ):
        assert said in text()
        assert shown in words


@pytest.mark.parametrize("call", [call for call in CALLS if call != "off"])
def test_a_live_wire_on_common_takes_the_fuse(call: str) -> None:
    """Whichever wire of a call touches C, near or far, in either supply, the fuse is what goes."""
    for va, fuse_a in ((40.0, 3.0), (75.0, 3.0)):
        for one in terminals_for(call):
            for at in (0.0, 0.5, 1.0):
                bench = under(call, job=demo_job("full-cable").with_supply(rated_va=va, fuse_a=fuse_a))
                bench.set_faults([f"thermostat.{one}=short:C@{at}"])
                state = bench.advance(10)
                assert (state.fuse, state.delivering) == ("blown", "nothing"), (one, at, va)
                assert state.volts["air:XFMR"] > 27


def test_a_new_fuse_lasts_until_the_call() -> None:
    """A short behind a contact that is open harms nothing before it closes."""
    bench = under("cool-2", "thermostat.Y2=short:C")
    assert bench.state.fuse == "blown"
    bench.set_call("off")
    bench.replace_fuse()
    assert bench.advance(600).fuse == "whole"
    bench.set_call("cool-2")
    assert bench.advance(1).fuse == "blown"


# The exercises ---------------------------------------------------------------------------------------------


def by_hand_transformer(givens: Givens) -> float:
    """Share the volts out between the ohms behind the secondary and the load."""
    behind_ohm = (givens["open_v"] - 24) / (givens["rated_va"] / 24)
    return givens["open_v"] * givens["load_ohm"] / (givens["load_ohm"] + behind_ohm)


def by_hand_copper(givens: Givens) -> float:
    """Take the amperes that the coil would draw at the near end, and both conductors."""
    amps = givens["near_v"] / (24**2 / givens["sealed_va"])
    return amps * 2 * givens["length_m"] * resistance_per_m(givens["gauge_awg"])


def by_hand_splice(givens: Givens) -> dict[str, object]:
    """Add the splice to the coil's copper, at right angles to its reactance."""
    z_ohm = 24**2 / givens["inrush_va"]
    x_ohm = math.sqrt(z_ohm**2 - givens["r_ohm"] ** 2)
    volts = givens["near_v"] * z_ohm / math.hypot(givens["r_ohm"] + givens["splice_ohm"], x_ohm)
    return {"coil_v": round(volts, 1), "contactor": "pulls in" if volts >= 18 else "hums"}


def by_hand_ohms(givens: Givens) -> float:
    """Product over sum, and nothing for the touch."""
    one, other = givens["one_ohm"], givens["other_ohm"]
    return one * other / (one + other)


BY_HAND = (
    (TRANSFORMER, by_hand_transformer),
    (COPPER, by_hand_copper),
    (SPLICE, by_hand_splice),
    (OHMS, by_hand_ohms),
)


@pytest.mark.parametrize(("exercise", "by_hand"), BY_HAND, ids=[exercise.id for exercise, _ in BY_HAND])
def test_right_hand_work_is_right(exercise: Exercise, by_hand: Callable[[Givens], object]) -> None:
    """Paper and pencil, with what the trade leaves out, are within the tolerance for every student."""
    assert_right_by_hand(exercise, by_hand, STUDENTS)


@pytest.mark.parametrize("student", STUDENTS[:12])
def test_splices_that_are_asked_about_lie_clear_of_an_edge(student: int) -> None:
    """A splice of 6 % more or less than what 2.7 asks about has the same outcome, whatever the supply."""
    givens = givens_for(CHATTER, student)
    supply = (givens["rated_va"], givens["open_v"])
    for ohm in givens["ohms"]:
        outcome = start(givens["call"], supply, ohm)
        assert {start(givens["call"], supply, share * ohm) for share in (0.94, 1.06)} == {outcome}, ohm


def test_a_supply_moves_the_edges() -> None:
    """The same splice under the same call runs, hums or restarts, depending on the transformer."""
    edges = {edges_ohm("cool-2", supply) for supply in SUPPLIES}
    assert len(edges) == len(SUPPLIES)
    assert all(first < second for first, second in edges)
