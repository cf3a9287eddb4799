"""What is particular to workbook 07: its prose against the bench, right hand work, a class of thirty.

Each number of the prose that the bench can compute is computed here again, and must stand in the text as it
comes out.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest
from lesson import assert_right_by_hand, words_of

from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import Meter
from lessonkit.copper.wire import resistance_per_m
from lessonkit.exercises.core import Exercise, Givens, givens_for, judge, modelled, solution
from lessonkit.exercises.series.workbook_07 import (
    COMMONS,
    EDGES_OHM,
    EXERCISES,
    MARGIN,
    TWO_WAYS,
    earth_choices,
)
from lessonkit.exercises.series.workbook_07_design import (
    COMMON,
    DESIGN,
    GROUND,
    ISOLATED,
    WIRE,
    judged,
)
from lessonkit.exercises.series.workbook_07_sources import LIVE, PHASE
from lessonkit.job.model import Job
from lessonkit.job.toml import demo_job
from lessonkit.studies.sweeps import earth_sweep

NOTEBOOK = Path(__file__).resolve().parents[2] / "notebooks" / "07_the_way_back.ipynb"
CLASS = range(30)
POOR = "outdoor.earth=resistance:1.8"


def text() -> str:
    """Return the words of the workbook."""
    return words_of("07")


def by_wire() -> Job:
    """Return the nursery's wiring with a wire for C."""
    return demo_job("earth-return").with_run("outdoor", return_by="wire", conductors=("R", "SIG", "C"))


def meter(job: Job | str, *faults: str, call: str = "cool-2", seconds: float = 20.0) -> Meter:
    """Return a meter at a job some seconds after a call."""
    bench = Bench(job, faults=faults, call=call)
    bench.advance(seconds)
    return Meter(bench)


# The lesson ------------------------------------------------------------------------------------------------


def test_what_the_customer_sees() -> None:
    """With 1.8 ohm more, the second stage runs for less than a minute and waits for five, again and again."""
    bench = Bench("earth-return", faults=[POOR], call="cool-2", outdoor_c=30)
    assert bench.advance(900).chatter
    spans = bench.log.spans("out:contactor")
    assert len(spans) >= 3
    assert all(0 < end - begin < 60 for begin, end in spans)
    assert all(
        later[0] - earlier[1] == pytest.approx(300, abs=2) for earlier, later in itertools.pairwise(spans)
    )
    assert "runs for less than a minute, and then it waits for five" in text()


def test_what_is_said_of_the_wire() -> None:
    """Amperes, ohms and volts of a wire for C stand in the text as the bench has them."""
    at = meter(by_wire())
    amps, volts = at.amps("outdoor.C"), at.volts("out:C", "air:C")
    ohm = 30 * resistance_per_m(18)
    assert f"By hand {amps.value:.2f} A x {ohm:.2f} ohm = {amps.value * ohm:.2f} V" in text()
    assert volts.value == pytest.approx(amps.value * ohm, rel=0.01)
    assert f"100 m of that wire have {100 * resistance_per_m(18):.2f} ohm" in text()


def test_what_is_said_of_the_ground() -> None:
    """All of the load's current is on the equipment ground; a clamp around the cable shows the same."""
    at = meter("earth-return")
    assert f"All of it: {at.amps('outdoor.earth')}" in text()
    assert at.amps("outdoor").value == pytest.approx(at.amps("outdoor.earth").value, rel=1e-3)
    assert f"still {meter('earth-return', call='off').amps('outdoor.earth')}" in text()


def test_what_is_said_of_two_ways() -> None:
    """A touch of 0.5 ohm shares the current as the text says, and a broken wire then stops nothing."""
    at = meter(by_wire(), "outdoor.C=earth@1")
    wire, metal = at.amps("outdoor.C"), at.amps("outdoor")
    assert f"{wire} on the wire, {metal} on the ground" in text()
    ohm = 30 * resistance_per_m(18)
    assert metal.value / (wire.value + metal.value) == pytest.approx(ohm / (ohm + 0.72), rel=0.01)
    assert f"{ohm:.2f} / ({ohm:.2f} + 0.72) = {ohm / (ohm + 0.72):.2f}" in text()
    broken = meter(by_wire(), "outdoor.C=earth@1", "outdoor.C=open@0.5").bench
    assert broken.state.delivering == "cooling, stage 2"


def test_what_is_said_of_the_picture() -> None:
    """Frames break 1.5 ohm beyond a good bond, with 25 V at the contactor; by hand it is the same."""
    sweep = earth_sweep("earth-return", [1.2, 1.45, 1.6, 1.8], "cool-2")
    assert sweep.outcomes == ("works", "works", "chatters", "chatters")
    assert sweep.fails_first == "the frames"
    assert round(float(sweep.coil_v[2])) == 25
    link = Bench("earth-return").state.links["outdoor"]
    assert f"A mark stands at {link.high_v:.1f} V" in text()
    assert f"So {sweep.margin_v:.1f} V are left" in text()
    apart_v = sweep.margin_v / math.sqrt(2) * 11 / 10
    assert f"may lie {apart_v:.1f} V apart" in text()
    amps = meter(by_wire()).amps("outdoor.C").value
    assert apart_v / amps - 0.2 == pytest.approx(1.5, abs=0.05)


def test_the_drop_goes_away_again() -> None:
    """At rest and under the first stage every poll is answered; under the second the volts pass the limit."""
    bench = Bench("earth-return", faults=[POOR], outdoor_c=30)
    volts = [Meter(bench).volts("out:C", "air:C")]
    bench.set_call("cool-1")
    link = bench.advance(600).links["outdoor"]
    assert (link.sent, link.accepted) == (600, 600)
    volts.append(Meter(bench).volts("out:C", "air:C"))
    bench.set_call("cool-2")
    bench.advance(5)
    volts.append(Meter(bench).volts("out:C", "air:C"))
    assert f"{volts[0]} at rest, {volts[1]} under the first stage, {volts[2]} under the second" in text()
    assert volts[1] < 1.9 < volts[2]


def test_what_is_said_of_two_transformers() -> None:
    """Volts from R to R, a ghost without a joint, and what a wire from hot to hot would draw."""
    job = demo_job("second-transformer")
    at_rest = Meter(Bench(job.with_run("outdoor", far_in_phase=False)))
    indoors, outdoors = at_rest.volts("air:R", "air:C"), at_rest.volts("out:R", "out:C")
    assert f"{indoors.value:.1f} V from R to C indoors and {outdoors.value:.1f} V outdoors" in text()
    assert at_rest.volts("air:R", "out:R").value == pytest.approx(indoors + outdoors, rel=0.001)
    apart = Meter(Bench(demo_job("isolated-receiver").with_run("outdoor", far_in_phase=False)))
    high, low = apart.volts("air:R", "out:R"), apart.volts("air:R", "out:R", "low")
    assert f"shows {high.value:.0f} V, on the low one {low.value:.1f} V" in text()
    part = job.supply.transformer
    assert f"some {2 * part.open_v / (2 * part.r_ohm):.0f} A" in text()
    assert part.open_v / part.r_ohm > job.supply.holds_a


def test_one_disconnect_is_not_enough() -> None:
    """A second transformer stays live without the indoor disconnect; with one, R outdoors hangs on it."""
    for job, place, live in (
        ("second-transformer", "air", True),
        ("second-transformer", "out", False),
        ("earth-return", "out", True),
        ("earth-return", "air", False),
    ):
        bench = Bench(job, call="cool-2")
        bench.set_power(False, place)
        bench.advance(30)
        assert (Meter(bench).volts("out:R", "out:C") > 20) is live, (job, place)


# The exercises ---------------------------------------------------------------------------------------------


def by_hand_commons(givens: Givens) -> float:
    """Amperes of the clamp times the ohms of one conductor, as printed in the question."""
    bench = Bench(
        by_wire()
        .with_coil("contactor", sealed_va=givens["contactor_va"])
        .with_run("outdoor", length_m=givens["length_m"], gauge_awg=givens["gauge_awg"]),
        call=givens["call"],
    )
    bench.advance(20)
    amps = round(Meter(bench).amps("outdoor.C").value, 2)
    return round(amps * givens["length_m"] * round(100 * resistance_per_m(givens["gauge_awg"]), 2) / 100, 2)


def by_hand_two_ways(givens: Givens) -> float:
    """The current of the clamp, shared by the ohms of the other way."""
    question = TWO_WAYS.question(givens)
    amps = float(question.partition("around R reads ")[2].partition(" A")[0])
    wire = float(question.partition("conductor C has ")[2].partition(" ohm")[0])
    metal = float(question.partition("indoors, has ")[2].partition(" ohm")[0])
    return round(amps * wire / (wire + metal), 2)


def by_hand_margin(givens: Givens) -> float:
    """The smaller distance from a level to its threshold, over 1.41."""
    question = MARGIN.question(givens)
    mark = float(question.partition("a mark stands at ")[2].partition(" V")[0])
    return round(min(mark - givens["high_v"], givens["low_v"]) / 1.41, 2)


BY_HAND = ((COMMONS, by_hand_commons), (TWO_WAYS, by_hand_two_ways), (MARGIN, by_hand_margin))


@pytest.mark.parametrize(("exercise", "by_hand"), BY_HAND, ids=[exercise.id for exercise, _ in BY_HAND])
def test_right_hand_work_is_right(exercise: Exercise, by_hand: Callable[[Givens], float]) -> None:
    """Paper and pencil, from the numbers printed in the question, are right for every student."""
    assert_right_by_hand(exercise, by_hand, CLASS)


@pytest.mark.parametrize("exercise", EXERCISES, ids=lambda exercise: exercise.id)
def test_in_a_class_of_thirty_no_answer_is_everybodys(exercise: Exercise) -> None:
    """No answer is shared by more than six of thirty, and each mistake is taken for no other."""
    answers: Counter[str] = Counter()
    for student in CLASS:
        givens = givens_for(exercise, student)
        answers[repr(solution(exercise, givens))] += 1
        for name, answer in modelled(exercise, givens).items():
            verdict = judge(exercise, givens, answer)
            assert (verdict.outcome, verdict.model) == ("not yet", name), student
    assert max(answers.values()) <= len(CLASS) // 5, answers.most_common(2)


def test_the_disconnects_are_no_guess() -> None:
    """In 7.6 the same words never fit all three sites, so that no single thought answers it."""
    for student in CLASS:
        rows = list(solution(LIVE, givens_for(LIVE, student)).values())
        assert any(row != rows[0] for row in rows), student


@pytest.mark.parametrize("call", EDGES_OHM)
def test_edges_of_an_earth_return(call: str) -> None:
    """Just inside and outside of each edge the bench says what 7.4 keeps clear of."""
    order = ("works", "chatters", "dead")
    for edge, (inside, outside) in zip(EDGES_OHM[call], itertools.pairwise(order), strict=True):
        near = earth_sweep("earth-return", [edge * 0.95, edge * 1.05], call)
        assert near.outcomes == (inside, outside), edge
    for ohm in (ohm for band in earth_choices(call) for ohm in band):
        assert all(abs(ohm - edge) > 0.12 * edge for edge in EDGES_OHM[call])


# The design ------------------------------------------------------------------------------------------------

JACKETS = ("white", "red", "green", "blue", "yellow", "brown", "orange", "black")
SOUND = ("white", "green", "yellow")
SHORT: Givens = {
    "broken": tuple(jacket for jacket in JACKETS if jacket not in SOUND),
    "gauge_awg": 18,
    "length_m": 30,
    "listed": False,
}
LONG: Givens = {**SHORT, "gauge_awg": 22, "length_m": 70}
LISTED: Givens = {**LONG, "listed": True}


def design(way: str, white: str, green: str, yellow: str, **others: str) -> dict[str, str]:
    """Return an answer to 7.8 on the three sound conductors."""
    uses = {"white": white, "green": green, "yellow": yellow, **others}
    return {"way back": way, **{jacket: uses.get(jacket, "none") for jacket in JACKETS}}


@pytest.mark.parametrize(
    ("givens", "answer"),
    [
        (SHORT, design(WIRE, "R", "SIG", "C")),
        (SHORT, design(WIRE, "C", "R", "SIG")),
        (SHORT, design(ISOLATED, "none", "C", "SIG")),
        (LONG, design(ISOLATED, "SIG", "none", "C")),
        (LISTED, design(COMMON, "SIG", "C", "none")),
    ],
)
def test_several_designs_are_right(givens: Givens, answer: dict[str, str]) -> None:
    """A way back that works on the bench and keeps the rules is right, whichever it is."""
    assert judged(givens, answer) is None
    assert judge(DESIGN, givens, answer).outcome == "right"


@pytest.mark.parametrize(
    ("givens", "answer", "said"),
    [
        (SHORT, design(GROUND, "R", "SIG", "none"), "equipment ground"),
        (SHORT, design(WIRE, "R", "SIG", "none", red="C"), "broken"),
        (SHORT, design(WIRE, "R", "SIG", "none"), "what comes home"),
        (SHORT, design(WIRE, "R", "R", "C"), "one conductor each"),
        (SHORT, design(COMMON, "SIG", "C", "none"), "listed"),
        (SHORT, design(ISOLATED, "SIG", "C", "R"), "hot"),
        (LONG, design(WIRE, "R", "SIG", "C"), "commons"),
    ],
)
def test_a_design_that_fails_is_told_why(givens: Givens, answer: dict[str, str], said: str) -> None:
    """Each way to go wrong has a hint that names the matter."""
    verdict = judge(DESIGN, givens, answer)
    assert verdict.outcome == "not yet"
    assert said in verdict.hint


def test_no_two_sites_of_a_question_are_equal() -> None:
    """Each site of 7.5 has readings of its own: in 400 variants no row of the table stands there twice."""
    for seed in range(400):
        sites = givens_for(PHASE, seed)["sites"]
        assert len(set(sites)) == len(sites), seed
