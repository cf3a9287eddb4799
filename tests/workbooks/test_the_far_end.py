"""What is particular to workbook 08: its prose against the bench, right hand work, single slips, designs.

Each number of the prose that the bench can compute is computed here again, and must stand in the text as it
comes out.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from lesson import assert_right_by_hand, words_of

from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import Meter
from lessonkit.exercises.core import Exercise, Givens, givens_for, judge, solution
from lessonkit.exercises.series.workbook_08 import CLOCK, DEMAND, LATENCY, LEAK
from lessonkit.exercises.series.workbook_08_design import DESIGN, judged
from lessonkit.exercises.series.workbook_08_moments import DIAGNOSIS, MOMENT, START
from lessonkit.job.model import Job
from lessonkit.job.parts import RELAY_BOARD
from lessonkit.job.toml import demo_job
from lessonkit.studies.defrosts import RUNS, watch_defrost
from lessonkit.studies.latency import latency
from lessonkit.studies.leaks import leak

NOTEBOOK = Path(__file__).resolve().parents[2] / "notebooks" / "08_the_far_end.ipynb"
CLASS = range(30)


def text() -> str:
    """Return the words of the workbook."""
    return words_of("08")


def site() -> Job:
    """Return the wiring of the lesson."""
    return demo_job("wire-return").with_equipment(valve="O")


# The lesson ------------------------------------------------------------------------------------------------


def test_what_is_said_of_latency() -> None:
    """One link takes 1 to 2 s, two in a row 3 to 4 s; 0.4 s after a poll it is 1.6 s."""
    one, two = latency(site()), latency("two-run")
    assert (
        f"more: {float(one.longest_s):.0f} s. Just before a poll it takes {float(one.shortest_s):.0f} s"
        in text()
    )
    assert f"{float(two.shortest_s):.0f} to {float(two.longest_s):.0f} s" in text()
    assert "0.6 s for the next poll" in text()
    at = float(one.taken_s[abs(one.after_poll_s - 0.4).argmin()])
    assert at == pytest.approx(1.6, abs=0.06)


def test_what_is_said_of_the_contact() -> None:
    """Amperes of the contactor, in and while it pulls in, and what a capacitor lets through."""
    bench = Bench(site(), call="cool-2")
    bench.advance(20)
    assert f"{Meter(bench).amps('out:contactor')} for the contactor" in text()
    coil = site().coil("contactor")
    assert coil.inrush_va / coil.sealed_va == pytest.approx(3)
    x_ohm = 1 / (2 * math.pi * 60 * 0.47e-6)
    assert round(x_ohm, -1) == 5640
    assert round(math.hypot(1e4, x_ohm), -2) == 11500
    assert round(24e3 / math.hypot(1e4, x_ohm), 1) == 2.1
    large, small = leak(0.47, 1e4), leak(0.1, 1e4)
    assert f"{large.volts:.0f} V: **on**" in text()
    assert f"With 0.1 uF it is {small.volts:.0f} V and off" in text()
    assert (large.word, small.word) == ("on", "off")
    assert float(leak(0.47, 24**2 / coil.sealed_va).volts) == pytest.approx(0.25, abs=0.02)


def test_what_is_said_of_the_stages() -> None:
    """Without Y1 nothing cools although Y2 is live; without Y2 it is stage 1."""
    no_first = Bench(site(), faults=["out.relay-Y1=stuck-open"], call="cool-2")
    assert no_first.advance(20).delivering == "air only"
    assert Meter(no_first).volts("out:Y2", "out:C").value > 24
    no_second = Bench(site(), faults=["out.relay-Y2=stuck-open"], call="cool-2")
    assert no_second.advance(20).delivering == "cooling, stage 1"


def test_the_delay_is_live_in_front_and_dead_behind() -> None:
    """While it waits, Y1 is live and the coil dead; it starts 300 s after the stop."""
    bench = Bench(site(), call="heat-1")
    bench.advance(600)
    bench.set_call("off")
    bench.advance(20)
    bench.set_call("heat-1")
    bench.advance(5)
    meter = Meter(bench)
    assert meter.volts("out:Y1", "out:C").value > 24
    assert meter.volts("out:CC", "out:C").value < 0.5
    bench.advance(400)
    assert float(bench.log.of("out:contactor").since(590).span_s) == pytest.approx(300, abs=0.5)
    assert "280 s after the call, which is 300 s from the stop" in text()


def test_what_is_said_of_the_defrost() -> None:
    """By hand and by the bench: 102 minutes, 3.5 minutes, a share of 0.033."""
    assert round(0.27 / 0.00265) == 102
    seen = watch_defrost(site().with_equipment(defrost_by="demand"), minutes=120)
    assert f"{float(seen.begins):.0f} minutes, and then" in text()
    assert round(7.8 - 5.7 * 0.75, 1) == 3.5
    assert f"So 3.5 of {102 + 3.5} minutes are defrost: a share of {3.5 / 105.5:.3f}" in text()


def test_the_request_comes_a_second_after_the_valve() -> None:
    """D travels back in two equal answers; without its contact the house gets no heat in a defrost."""
    for faults, words in (
        ((), "defrost, the indoor coil cold, with auxiliary heat"),
        (
            ("air.relay-D=stuck-open",),
            "defrost, the indoor coil cold",
        ),
    ):
        bench = Bench(site(), call="heat-1", outdoor_c=2, faults=faults)
        bench.advance(900)
        bench.force_defrost()
        assert bench.advance(40).delivering == words
    times = {event.name: event.time_s for event in after_pins().log.since(880)}
    assert 0.5 < times["air:sequencer"] - times["out:reversing-valve"] < 2.5


def after_pins() -> Bench:
    """Return a sound bench in the middle of a defrost by the pins."""
    bench = Bench(site(), call="heat-1", outdoor_c=2)
    bench.advance(900)
    bench.force_defrost()
    bench.advance(40)
    return bench


def test_a_blink_costs_the_delay_and_a_cut_outdoors_none() -> None:
    """0.05 s of no power wake the delay with all boards awake; 2 s without line voltage outdoors don't."""
    assert RELAY_BOARD.hold_up_s == pytest.approx(0.1)
    bench = Bench(site(), call="heat-1")
    bench.advance(600)
    bench.set_power(False)
    bench.advance(0.05)
    bench.set_power(True)
    state = bench.advance(1)
    assert all(board.awake for board in state.boards.values())
    assert state.waiting_s > 290
    outdoors = Bench(site(), call="heat-1")
    outdoors.advance(600)
    outdoors.set_power(False, "out")
    assert outdoors.advance(2).responding["compressor stage 1"] == "off"
    outdoors.set_power(True, "out")
    assert outdoors.advance(0.5).responding["compressor stage 1"] == "on"


# The exercises ---------------------------------------------------------------------------------------------


def by_hand_start(givens: Givens) -> float:
    """The delay from the stop, or from when the power is back, or the call that comes later."""
    if givens["off_s"]:
        return float(givens["cut_s"] + givens["off_s"] + givens["short_s"])
    return float(max(givens["back_s"], givens["short_s"]))


BY_HAND: tuple[tuple[Exercise, Callable[[Givens], float]], ...] = (
    (LATENCY, lambda g: round(g["interval_s"] * g["acceptance"] * g["links"], 1)),
    (LEAK, lambda g: round(_leak_by_hand(g), 1)),
    (DEMAND, lambda g: round(0.27 / (5.3 * g["dw"]))),
    (CLOCK, lambda g: round(7.8 - 5.7 * (1.02 - 5.3 * g["dw"] * g["every_min"]), 1)),
    (START, by_hand_start),
)


def _leak_by_hand(givens: Givens) -> float:
    x_ohm = round(1e6 / (6.28 * 60 * givens["microfarad"]))
    r_ohm = 1e3 * givens["load_kohm"]
    return float(givens["supply_v"] / math.sqrt(r_ohm**2 + x_ohm**2) * r_ohm)


@pytest.mark.parametrize(("exercise", "by_hand"), BY_HAND, ids=[exercise.id for exercise, _ in BY_HAND])
def test_right_hand_work_is_right(exercise: Exercise, by_hand: Callable[[Givens], float]) -> None:
    """Paper and pencil, from the numbers printed in the question, are right for every student."""
    assert_right_by_hand(exercise, by_hand, CLASS)


def test_faults_of_the_diagnosis_can_be_told_apart() -> None:
    """No two causes show the same two rows, whatever the minutes and the length."""
    for student in CLASS:
        table = DIAGNOSIS.question(givens_for(DIAGNOSIS, student))
        site_a, _, site_b = table.partition("**Site B**")
        assert site_a.split("| as you arrive")[1] != site_b.split("| as you arrive")[1]


def test_moments_come_with_both_valves() -> None:
    """A class meets O and B valves, defrosts and moments without one."""
    drawn = [moment for student in CLASS for moment in givens_for(MOMENT, student)["moments"]]
    assert {valve for _, valve in drawn} == {"O", "B"}
    assert len({k for k, _ in drawn}) == 9


# The design ------------------------------------------------------------------------------------------------

WISHES: Givens = {"arrive_s": 2.0, "gap_s": 12, "release_s": 16}


def settings(interval_s: float, frames: int, watchdog_s: float) -> dict[str, Any]:
    """Return an answer to 8.8."""
    return {"interval_s": interval_s, "frames": frames, "watchdog_s": watchdog_s}


@pytest.mark.parametrize("answer", [settings(1.0, 2, 14.0), settings(0.5, 3, 13.5), settings(0.4, 4, 15.5)])
def test_several_settings_are_right(answer: dict[str, Any]) -> None:
    """Settings that keep all four wishes on the bench are right, whichever they are."""
    assert judged(WISHES, answer) is None
    assert judge(DESIGN, WISHES, answer).outcome == "right"


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        (settings(1.0, 1, 14.0), "wish 2"),
        (settings(1.5, 2, 14.0), "wish 1"),
        (settings(1.0, 2, 20.0), "wish 3"),
        (settings(1.0, 2, 11.0), "wish 4"),
        (settings(0.05, 2, 14.0), "fit between two polls"),
        (settings(1.0, 2, 1.5), "more than the frames"),
        (settings(0.3, 7, 14.0), "equal frames"),
    ],
)
def test_settings_that_fail_are_told_why(answer: dict[str, Any], said: str) -> None:
    """Each wish that is broken has a hint that names it."""
    verdict = judge(DESIGN, WISHES, answer)
    assert verdict.outcome == "not yet"
    assert said in verdict.hint


def test_one_thing_wrong_at_one_moment_has_its_hint() -> None:
    """One thing too many, or one left out, at one moment of 8.6: a model asks about that thing."""
    for seed in range(30):
        givens = givens_for(MOMENT, seed)
        right = solution(MOMENT, givens)
        for moment, what in itertools.product(right, RUNS):
            slip = {**right, moment: [one for one in RUNS if (one in right[moment]) != (one == what)]}
            assert judge(MOMENT, givens, slip).model, (seed, moment, what)
