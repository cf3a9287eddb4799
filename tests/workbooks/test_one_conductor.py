"""What is particular to workbook 05: its prose against the bench, hand work, the gaps of the ten lines.

Sources of the outside checks: a letter A between start and stop bit is the worked example of every book on
serial ports (ASCII, ISO 646, has it as 65; common practice); 833 microseconds for a bit at 1200 baud too.
The check character of a frame is judged by crccheck, a library of its own.
"""

from __future__ import annotations

import ast
from collections.abc import Callable
from pathlib import Path

import pytest
from crccheck.crc import Crc
from lesson import assert_right_by_hand, words_of

from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import Meter
from lessonkit.draw.zoom import scope_levels, scope_numbers
from lessonkit.exercises.core import Exercise, Givens, givens_for, judge, modelled
from lessonkit.exercises.notebooks import read_notebook, source_of
from lessonkit.exercises.series.workbook_05 import EXERCISES, REST, TIME, WRITE
from lessonkit.exercises.series.workbook_05_design import DESIGN
from lessonkit.exercises.series.workbook_05_frames import LOST, PLACES, READ
from lessonkit.signal.frames import character_levels
from lessonkit.studies.link_trial import try_link
from lessonkit.studies.secrets import secret_bench, try_reader

NOTEBOOK = Path(__file__).resolve().parents[2] / "notebooks" / "05_one_conductor_many_calls.ipynb"
STUDENTS = range(30)
BITS = ("Y1", "Y2", "G", "O", "B", "W1", "E", "W2")
SUSPECTS = ["thermostat.Y2=open", "outdoor.SIG=open", "out.relay-Y2=stuck-open", "out.unloader=burnt-out"]


def cells() -> dict[str, str]:
    """Return the sources of the workbook's cells by their ids."""
    return {cell["id"]: source_of(cell) for cell in read_notebook(NOTEBOOK)["cells"]}


def text() -> str:
    """Return the words of the workbook."""
    return words_of("05")


def under(call: str) -> Bench:
    """Return the pottery's bench ten seconds after a call."""
    bench = Bench("kiln-room", call=call)
    bench.advance(10)
    return bench


# The lesson ------------------------------------------------------------------------------------------------


def test_readings_in_the_prose_are_the_benchs() -> None:
    """A meter reads what the text says without a call and under one, and it is the mean of the levels."""
    rest, cool = (Meter(under(call)).dc_volts("out:SIG", "out:C") for call in ("off", "cool-2"))
    assert f"{rest:.2f} V from SIG to C outdoors" in text()
    spaces = [scope_levels(under("cool-2"), way=way).count(0) for way in ("down", "up")]
    assert f"{spaces[0]} + {spaces[1]} = {sum(spaces)} spaces" in text()
    by_hand = 12 * 5000 / 6000 * (1 - sum(spaces) / 1200)
    assert float(cool) == pytest.approx(by_hand, abs=0.01)
    assert f"for {1000 * sum(spaces) / 1200:.0f} ms of each second" in text()
    assert "He read 9.4 volts" in text()
    assert round(float(rest), 1) == 9.4


def test_levels_and_times_in_the_prose_are_the_benchs() -> None:
    """Mark, thresholds, bit time, frame time, delay and share stand in the text as they come out."""
    link = under("off").state.links["outdoor"]
    assert f"{link.high_v:.1f} V. The receiver takes 7.5 V or more" in text()
    trial = try_link("kiln-room")
    for said in (
        "0.83 ms",
        f"5 x 10 / 1200 s = {1000 * trial.frame_s:.1f} ms",
        f"{100 * trial.busy:.1f} % of the time",
    ):
        assert said in text(), said
    assert f"Frame and reply take {2000 * trial.frame_s:.1f} ms of each second" in text()
    assert trial.slowest_s == pytest.approx(2.0, abs=0.01)
    assert scope_numbers(under("cool-1"))[2] == 9


def test_secret_benches_are_what_the_text_explains() -> None:
    """The one read by eye calls three terminals; the pottery's fault is Y2, other seeds draw the others."""
    assert scope_numbers(secret_bench("kiln-room", 2))[2] == 1 + 2 + 8
    found = secret_bench("kiln-room", 4, "cool-2", SUSPECTS)
    assert found.state.faults == ("thermostat.Y2=open",)
    assert [scope_numbers(found, way=way)[2] for way in ("down", "up")] == [9, 9]
    assert found.state.delivering == "cooling, stage 1"
    others = [secret_bench("kiln-room", seed, "cool-2", SUSPECTS).state.faults[0] for seed in (2, 0, 1)]
    assert others == SUSPECTS[1:]
    assert str(SUSPECTS).replace("'", '"') in cells()["told"]


def test_ten_lines_run_with_their_gaps_and_read_right_without() -> None:
    """Blank, the reader's own function runs and is wrong; with the two gaps filled it reads every frame."""
    source = cells()["own-words"]
    assert len(ast.parse(source).body) == 1
    assert len(source.splitlines()) <= 10
    filled = source.replace("first = 0", "first = 21").replace("if level >= 0:", "if level == 1:")
    trials = []
    for words in (source, filled):
        names: dict[str, Callable[[list[int]], list[str]]] = {}
        exec(words, names)  # noqa: S102  the workbook's own cell
        trials.append(try_reader(names["called_in"]))
    assert trials[0].right < trials[1].right == trials[1].frames


def test_a_letter_and_a_bit_as_books_have_them() -> None:
    """A capital A is 0 10000010 1 on the line, and a bit at 1200 baud lasts 833 microseconds."""
    assert "".join(map(str, character_levels(ord("A")).tolist())) == "0100000101"
    assert pytest.approx(833, abs=0.5) == 1e6 / 1200


@pytest.mark.parametrize("call", ["off", "cool-1", "cool-2", "heat-1", "heat-2"])
def test_a_library_of_its_own_accepts_the_check(call: str) -> None:
    """The check of a frame that the bench sent is what crccheck makes of the three before it."""
    _, *body, check = scope_numbers(under(call))
    judge_of = Crc(8, 0x2F, initvalue=0xFF, reflect_input=True, reflect_output=True, xor_output=0xFF)
    assert judge_of.calc(bytes(body)) == check


# The exercises ---------------------------------------------------------------------------------------------


def by_hand_time(givens: Givens) -> float:
    """Ten bits a character, eleven with parity."""
    return round(1000 * givens["characters"] * (11 if givens["parity"] else 10) / givens["baud"], 1)


def by_hand_write(givens: Givens) -> list[int]:
    """Start, a one under each terminal called, stop."""
    return [0, *(int(name in givens["terminals"]) for name in BITS), 1]


def by_hand_rest(givens: Givens) -> float:
    """Both inputs side by side against the sender's own ohms."""
    inputs = givens["load_ohm"] / 2
    return round(givens["drive_v"] * inputs / (inputs + givens["drive_ohm"]), 1)


def rows(question: str) -> list[str]:
    """Return the levels that a question shows in its table, without their blanks."""
    return [part.replace(" ", "") for part in question.split("`") if set(part) == {"0", "1", " "}]


def names_in(levels: str) -> list[str]:
    """Return the terminals under the ones of a character."""
    return [name for name, level in zip(BITS, levels[1:9], strict=True) if level == "1"]


def by_hand_read(givens: Givens) -> dict[str, object]:
    """Read the characters off the question's own table."""
    _, address, calls, number, _ = rows(READ.question(givens))
    worth = [sum(int(level) << k for k, level in enumerate(row[1:9])) for row in (address, number)]
    run = {1: "thermostat", 2: "outdoor"}[worth[0]]
    return {"run": run, "terminals": names_in(calls), "number": worth[1]}


def by_hand_lost(givens: Givens) -> dict[str, object]:
    """Go through the workbook's table, from the words of the question alone."""
    question = LOST.question(givens)
    found = rows(question)
    asked = question.partition("asks for ")[2].partition(". The house")[0].replace(" and ", ", ").split(", ")
    frame, held = names_in(found[0]), names_in(found[1]) if len(found) > 1 else []
    live = [
        part.split()[0]
        for part in question.partition("to C | ")[2].partition(" |")[0].split(", ")
        if float(part.split()[1]) > 12
    ]
    if any(name not in frame for name in asked if name != "G"):
        place = PLACES[0]
    elif "no reply comes" in question:
        place = PLACES[1]
    else:
        place = PLACES[3] if set(held) <= set(live) else PLACES[2]
    return {"frame": frame, "held": held, "lost": place}


def by_hand_design(givens: Givens) -> dict[str, object]:
    """Poll a little more often than twice in the time allowed, at the slowest speed that is free enough."""
    interval_s = round(0.94 * givens["slowest_s"] / 2, 3)
    bauds = (300, 600, 1200, 2400, 4800, 9600)
    return {
        "baud": next(b for b in bauds if 100 / b / interval_s <= givens["busy_percent"] / 100),
        "interval_s": interval_s,
    }


BY_HAND = (
    (TIME, by_hand_time),
    (WRITE, by_hand_write),
    (REST, by_hand_rest),
    (READ, by_hand_read),
    (LOST, by_hand_lost),
    (DESIGN, by_hand_design),
)


@pytest.mark.parametrize(("exercise", "by_hand"), BY_HAND, ids=[exercise.id for exercise, _ in BY_HAND])
def test_right_hand_work_is_right(exercise: Exercise, by_hand: Callable[[Givens], object]) -> None:
    """Paper and pencil, from what the workbook taught, is right for every student."""
    assert_right_by_hand(exercise, by_hand, STUDENTS)


# Each trial of 5.6 is a bench; test_class_of_thirty.py holds the same of it.
@pytest.mark.parametrize("exercise", [one for one in EXERCISES if one is not DESIGN], ids=lambda one: one.id)
def test_every_student_gets_the_hint_that_fits(exercise: Exercise) -> None:
    """Whatever the numbers, a wrong answer of its own is taken for no other mistake."""
    for student in STUDENTS:
        givens = givens_for(exercise, student)
        for name, answer in modelled(exercise, givens).items():
            verdict = judge(exercise, givens, answer)
            assert (verdict.outcome, verdict.model) == ("not yet", name), student


def test_there_are_several_right_settings() -> None:
    """The design has more than one right answer, and the bench refuses what is too slow, too busy or lost."""
    for student in STUDENTS[:3]:
        givens = givens_for(DESIGN, student)
        longest_s = givens["slowest_s"] / 2
        intervals = [round(share * longest_s, 3) for share in (0.8, 0.92, 0.95, 0.98, 1.02)]
        fitting = [
            next(b for b in (600, 1200, 2400, 4800, 9600) if 100 / b / i <= givens["busy_percent"] / 100)
            for i in intervals
        ]
        outcomes = [
            judge(DESIGN, givens, {"baud": baud, "interval_s": interval_s}).outcome
            for baud, interval_s in zip(fitting, intervals, strict=True)
        ]
        assert outcomes == ["not yet", "right", "right", "right", "not yet"]
