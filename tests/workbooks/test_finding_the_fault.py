"""What is particular to workbook 10: its prose against the bench, exercises against hand work, the design.

Each number of the prose that the bench can compute is computed here again, and must stand in the text as it
comes out. The rule for parts that are tried in turn is held against a worked example (facts of the trade of
scheduling, from memory; all six orders are tried).
"""

from __future__ import annotations

import itertools
import math
import re
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from lesson import words_of

from lessonkit.bench.bench import Bench
from lessonkit.errors import LessonError
from lessonkit.exercises.core import Exercise, Givens, givens_for, judge, modelled, solution
from lessonkit.exercises.notebooks import read_notebook, source_of
from lessonkit.exercises.series.workbook_10 import BREAKS, EXERCISES, FIRST, TURN
from lessonkit.exercises.series.workbook_10_design import DESIGN, judged
from lessonkit.exercises.series.workbook_10_dictionary import (
    ALIKE,
    CALL,
    DIAGNOSIS,
    FICKLE,
    JOB,
    LOOKS,
    SUSPECTS,
    lookbook,
)
from lessonkit.job.model import Job
from lessonkit.job.toml import demo_job
from lessonkit.studies.broken import break_each
from lessonkit.studies.cable import locate_short, ring_out
from lessonkit.studies.find import Search
from lessonkit.studies.hidden import HiddenFault, hidden_fault
from lessonkit.studies.hunt import box_hunt, still_likely
from lessonkit.studies.search import huffman_mean

NOTEBOOK = Path(__file__).resolve().parents[2] / "notebooks" / "10_finding_the_fault.ipynb"
CLASS = range(30)


def text() -> str:
    """Return the words of the workbook."""
    return words_of("10")


@cache
def site() -> Job:
    """Return the wiring of the boat hall."""
    return demo_job("wire-return").at_site("Fennerby Rowing Club, boat hall")


@cache
def faults() -> list[str]:
    """Return the suspects that the workbook lists."""
    cell = next(c for c in read_notebook(NOTEBOOK)["cells"] if c["id"] == "predict-6")
    return re.findall(r'"([^"]+=[^"]+)"', source_of(cell))


def hidden() -> HiddenFault:
    """Return the fault that the workbook hides."""
    return hidden_fault(site(), seed=17)


# The lesson ------------------------------------------------------------------------------------------------


def test_what_still_runs() -> None:
    """Four of eleven conductors give air only, and they are those of the text."""
    broken = break_each(site(), CALL)
    outcomes = broken.outcomes
    assert broken.count("air only") == 4
    with pytest.raises(LessonError, match="air only"):
        broken.count("warm")
    alike = [name for name, outcome in outcomes.items() if outcome == "air only"]
    assert len(outcomes) == 11
    assert alike == ["thermostat.Y1", "outdoor.R", "outdoor.SIG", "outdoor.C"]
    assert "Four: Y1 of the thermostat run, and all three of the outdoor run" in text()


def test_what_is_said_of_boxes() -> None:
    """Bits, looks and minutes of the three cables stand in the text as the hunts have them."""
    even, odds = box_hunt([1] * 8), [*[1] * 7, 7]
    assert even.best().looks == pytest.approx(3)
    assert f"It teaches {even.bits_of('box 1'):.2f} bits only" in text()
    uneven = box_hunt(odds)
    assert uneven.best().first == "box 7"
    assert f"On average it takes {uneven.best().looks:.2f} looks" in text()
    assert uneven.greedy("count").looks == pytest.approx(3)
    assert f"the curve says {uneven.bits_of('box 4'):.2f} bits" in text()
    dear = box_hunt(odds, [*[2] * 6, 12])
    assert dear.scores()[0].test == dear.best().first == "box 6"
    assert f"It teaches {dear.bits_of('box 6'):.2f} bits" in text()
    assert f"takes {dear.best().minutes:.1f} minutes on average" in text()
    assert f"The most bits first takes {dear.greedy('bits').minutes:.1f}" in text()
    by_hand = 0.25 * 2 + 0.75 * 0.415
    assert by_hand == pytest.approx(box_hunt([1, 3]).bits_of("box 1"), abs=1e-3)
    assert f"0.25 x 2 + 0.75 x 0.415 = {by_hand:.2f}" in text()


def test_what_is_said_of_six_states() -> None:
    """The cell's own table gives 2.18, 2.86 and 1.59, and the first tests of the text."""
    cell = next(c for c in read_notebook(NOTEBOOK)["cells"] if c["id"] == "six-states")
    names: dict[str, Any] = {}
    import lessonkit as lk

    source = source_of(cell).partition("shown =")[0].removeprefix("import lessonkit as lk")
    exec(source, {"lk": lk}, names)  # noqa: S102  the cell of our own workbook
    case = names["case"]
    assert f"takes {case.best().looks:.2f} tests on average" in text()
    assert f"at each step it takes {case.greedy('bits').looks:.2f}" in text()
    assert (case.best().first, case.greedy().first) == ("t2", "t1")
    assert f"could go below {huffman_mean(list(case.chance.values())):.2f}" in text()


@pytest.fixture(scope="module")
def search() -> Search:
    """Return the search among twelve, told the reading of the workbook."""
    found = Search(site(), suspects=faults(), calls=[CALL], call=CALL, here="air")
    scores = {score.test: score for score in found.scores()}
    near = [scores[f"{CALL}: {act}"] for act in ("volts air:Y1 air:C", "direct volts air:SIG-out air:C")]
    far = scores[f"{CALL}: volts out:R out:C"]
    # Both looks beside Emeka teach the same, and the one at R teaches more and costs seven times as much.
    assert {round(one.bits, 6) for one in near} == {round(near[0].bits, 6)}
    assert f"teach {near[0].bits:.2f} bits in half a minute: {near[0].bits_a_minute:.2f} a minute" in text()
    assert f"{far.bits:.2f}, but {far.minutes} minutes make {far.bits_a_minute:.2f} bits a minute" in text()
    assert max(scores.values(), key=lambda score: score.bits) == far
    reading = hidden().dc_volts("air:SIG-out", "air:C")
    assert f"The meter shows {str(reading).split(' from ')[0]}" in text()
    found.read(f"{CALL}: air:SIG-out air:C {reading.value:.2f} VDC")
    return found


def test_one_reading_leaves_four(search: Search) -> None:
    """After the reading an ambiguity group of four is left, and no look tells much more."""
    assert len(faults()) == 12
    left = search.found
    assert left is not None
    group = {"outdoor.R=short:SIG", "outdoor.SIG=short:C", "outdoor.SIG=earth:0.5", "air.encoder=dead"}
    assert {one.name for one in left} == group
    assert group in [set(names) for names in search.groups]
    assert search.next is None or search.next.bits < 0.02


@pytest.mark.parametrize(
    ("fault", "volts"),
    [("outdoor.SIG=short:C", 10.91), ("outdoor.SIG=earth:0.5", 10.91), ("air.encoder=dead", 0.0)],
)
def test_the_act_parts_them(fault: str, volts: float) -> None:
    """With SIG lifted, the mark is back for a touch in the cable, and not for a dead encoder."""
    found = hidden_fault(site(), fault=fault)
    found.power(False)
    found.lift("outdoor.SIG", "air")
    found.power(True)
    assert found.dc_volts("air:SIG-out", "air:C").value == pytest.approx(volts, abs=0.01)
    assert f"{volts:.4g} V: the mark is back" in text() or volts == 0


def test_it_is_found_where_the_text_says() -> None:
    """Ringing out finds the touch, both ends say where, and a new conductor mends it."""
    found = hidden()
    found.power(False)
    assert ring_out(found.bench, "outdoor").shorts == (("SIG", "C"),)
    located = locate_short(found.bench, "outdoor", "SIG", "C")
    assert f"SIG touches C, {located.distance_m:.1f} m from the air handler" in text()
    assert found.replace("outdoor.SIG")
    assert found.wrong_parts == 0


def test_all_suspects_say_the_same() -> None:
    """Among all single faults, with those that come and go, the same four have the share that the text "
    "says."""
    wide = Search(site(), calls=[CALL], call=CALL, here="air")
    wide.told(f"{CALL}: blower on")
    wide.told(f"{CALL}: compressor stage 1 off")
    wide.read(f"{CALL}: air:SIG-out air:C 0.01 VDC")
    top = wide.candidates[:4]
    assert {one.name for one in top} == {
        "outdoor.R=short:SIG",
        "outdoor.SIG=short:C",
        "outdoor.SIG=earth:0.5",
        "air.encoder=dead",
    }
    assert f"with {100 * sum(one.probability for one in top):.0f} % between them" in text()


def test_what_is_said_of_sound_looks() -> None:
    """33, 20 and 11 percent after one, two and three sound looks."""
    one, two, three = still_likely(50, 2, 3)[1:]
    assert f"{three:.0f} %: not zero" in text()
    assert f"25 have the joint: {one:.0f} %" in text()
    assert f"of 62.5 that is {two:.0f} %" in text()


# The exercises ----------------------------------------------------------------------------------------------


def test_still_running_by_hand() -> None:
    """A broken SIG lets the whole outdoor unit go; a broken G of a full cable takes the blower alone."""
    link: Givens = {
        "job": "wire-return",
        "call": "heat-aux",
        "broken": ("outdoor.SIG", "thermostat.G", "outdoor.C"),
    }
    right = solution(BREAKS, link)
    assert right["break 1"] == right["break 3"]
    assert "compressor stage 1" not in right["break 1"]
    assert "auxiliary heat" in right["break 1"]
    cable: Givens = {
        "job": "full-cable",
        "call": "cool-2",
        "broken": ("thermostat.G", "outdoor.O", "outdoor.Y2"),
    }
    assert solution(BREAKS, cable)["break 1"] == [
        "compressor stage 1",
        "compressor stage 2",
        "reversing valve",
    ]
    assert solution(BREAKS, cable)["break 3"] == ["blower", "compressor stage 1", "reversing valve"]


@pytest.mark.parametrize("seed", range(12))
def test_boxes_by_hand(seed: int) -> None:
    """Bits from shares by the formula, and the best boxes by going through all, come out the same."""
    givens = givens_for(FIRST, seed)
    total = sum(givens["odds"])
    bits = []
    for box in range(1, 8):
        p = sum(givens["odds"][:box]) / total
        bits.append(p * math.log2(1 / p) + (1 - p) * math.log2(1 / (1 - p)))
    each = [b / m for b, m in zip(bits, givens["minutes"], strict=True)]
    answer = {
        "bits": round(bits[givens["asked"] - 1], 2),
        "most bits": 1 + bits.index(max(bits)),
        "most bits a minute": 1 + each.index(max(each)),
    }
    assert judge(FIRST, givens, answer).outcome == "right"


def test_parts_in_turn_against_a_worked_example() -> None:
    """Chances .5 .3 .2 and costs 10, 3, 1: 8.4 on average in the order of chance over cost, 11.7 at worst."""
    from lessonkit.exercises.series.workbook_10 import _turn_min

    givens: Givens = {"parts": ("a", "b", "c"), "chance": (50, 30, 20), "minutes": (10, 3, 1)}
    costs = {order: _turn_min(givens, order) for order in itertools.permutations("abc")}
    assert min(costs, key=lambda order: costs[order]) == ("c", "b", "a")
    assert min(costs.values()) == pytest.approx(8.4)
    assert max(costs.values()) == pytest.approx(11.7)


@pytest.mark.parametrize("seed", range(12))
def test_parts_in_turn_by_the_rule(seed: int) -> None:
    """The order that is best of all is the order of chance divided by minutes."""
    givens = givens_for(TURN, seed)
    each = dict(zip(givens["parts"], zip(givens["chance"], givens["minutes"], strict=True), strict=True))
    rule = sorted(each, key=lambda part: -each[part][0] / each[part][1])
    assert judge(TURN, givens, rule).outcome == "right"


def test_readings_of_the_diagnosis_differ() -> None:
    """No two suspects of the diagnosis give the same readings, at any length of cable."""
    from lessonkit.exercises.series.workbook_10_dictionary import _BLAMED, _read

    for length_m in (12.0, 45.0):
        shown = {tuple(float(r.split()[0]) > 2 for r in _read(name, length_m)) for name in _BLAMED}
        assert len(shown) == len(_BLAMED)


def test_the_dictionary_is_what_a_bench_shows() -> None:
    """A broken C: R outdoors has nothing against it, C itself has the volts, and the call does not arrive."""
    bench = Bench(JOB, faults=[SUSPECTS["C open"]], call=CALL)
    state = bench.advance(20)
    words = {look: at.words["C open"] for look, at in lookbook().looks.items()}
    assert words["R outdoors"] == f"{state.between('out:R', 'out:C'):.0f} V"
    assert words["C to ground"] == f"{state.between('out:C', 'out:GND'):.0f} V"
    assert (words["link outdoors"], words["Y1 outdoors"]) == ("silent", "0 V")


@pytest.mark.parametrize("seed", range(8))
def test_look_alikes_by_the_table(seed: int) -> None:
    """Going down the columns of the table by hand gives the suspects that are left."""
    givens = givens_for(ALIKE, seed)
    looks = lookbook().looks

    def shown(one: str) -> tuple[str, ...]:
        return tuple(looks[look].words[one] for look in givens["taken"])

    alike = [
        one
        for one in givens["suspects"]
        if one != givens["culprit"] and shown(one) == shown(givens["culprit"])
    ]
    right = solution(ALIKE, givens)
    assert right["alike"] == alike
    assert right["next"] in LOOKS
    assert len({looks[right["next"]].words[one] for one in (givens["culprit"], *alike)}) > 1


def test_what_comes_and_goes_by_hand() -> None:
    """60 % at first, shown in one look of three, two sound looks: 26.67 of 66.67 is 40 percent."""
    givens: Givens = {"chance": 60, "shows": 3, "looks": 2}
    assert judge(FICKLE, givens, 100 * 60 * (4 / 9) / (60 * (4 / 9) + 40)).outcome == "right"
    assert judge(FICKLE, givens, 40).outcome == "right"


EASY: Givens = {
    "suspects": ("Y1 open", "R open", "SIG open", "SIG touches C", "relay Y1 stuck", "contactor burnt out"),
    "odds": (8, 1, 3, 6, 1, 1),
    "looks": ("Y1 indoors", "SIG indoors", "R outdoors", "SIG outdoors", "Y1 outdoors"),
    "minutes": (0.5, 0.5, 0.5, 1.0, 2.0),
    "here": "air",
}


@pytest.mark.parametrize(
    "answer",
    [
        ("Y1 indoors", "SIG indoors", "SIG outdoors", "R outdoors", "Y1 outdoors"),
        ("SIG indoors", "Y1 indoors", "SIG outdoors", "R outdoors", "Y1 outdoors"),
        ("Y1 indoors", "SIG indoors", "SIG outdoors", "Y1 outdoors", "R outdoors"),
    ],
)
def test_several_orders_are_right(answer: tuple[str, ...]) -> None:
    """An order that parts all and keeps within the minutes is right, whichever it is."""
    assert judged(EASY, answer) is None
    assert judge(DESIGN, EASY, list(answer)).outcome == "right"


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        (("R outdoors", "SIG outdoors", "Y1 outdoors", "Y1 indoors", "SIG indoors"), "outdoors"),
        (("Y1 indoors", "Y1 indoors"), "twice"),
        (("SIG outdoors",), "still together"),
        (("Y1 outdoors", "Y1 indoors", "SIG indoors", "SIG outdoors", "R outdoors"), "minutes"),
    ],
)
def test_an_order_that_fails_is_told_why(answer: tuple[str, ...], said: str) -> None:
    """Each way to go wrong has a hint that names the matter."""
    verdict = judge(DESIGN, EASY, list(answer))
    assert verdict.outcome == "not yet"
    assert said in verdict.hint


def test_minutes_of_an_order_by_hand() -> None:
    """Y1 first settles 8 of 20; each of the others costs what a walk and its looks add up to."""
    from lessonkit.exercises.series.workbook_10_design import _minutes

    order = ("Y1 indoors", "SIG indoors", "SIG outdoors", "R outdoors", "Y1 outdoors")
    # Y1: 0.5. SIG touches C: 0.5 + 0.5. Then outdoors, 3 + 1: SIG open. R, 0.5 more: R open. Y1, 2 more.
    by_hand = (8 * 0.5 + 6 * 1.0 + 3 * 5.0 + 1 * 5.5 + 2 * 7.5) / 20
    assert _minutes(EASY, order) == pytest.approx(by_hand)


@pytest.mark.parametrize("exercise", [DIAGNOSIS, ALIKE], ids=lambda exercise: exercise.id)
def test_single_slips_have_their_own_hint(exercise: Exercise) -> None:
    """Whoever takes one site for something else, or chooses another next look, is told about that."""
    for seed in CLASS[:8]:
        givens = givens_for(exercise, seed)
        right = solution(exercise, givens)
        slips = (
            [{**right, site: word} for site in right for word in exercise.compare.item.options]
            if exercise is DIAGNOSIS
            else [{**right, "next": look} for look in LOOKS]
        )
        for slip in slips:
            if slip != right:
                assert judge(exercise, givens, slip).model, (seed, slip)


def test_there_are_seven_and_their_points() -> None:
    """Seven exercises in order, nineteen points, and each has models that a class of thirty meets."""
    assert [exercise.id for exercise in EXERCISES] == [f"10.{k}" for k in range(1, 8)]
    assert sum(exercise.points for exercise in EXERCISES) == 19
    for exercise in EXERCISES:
        met = {name for seed in CLASS[:10] for name in modelled(exercise, givens_for(exercise, seed))}
        assert len(met) >= 3
