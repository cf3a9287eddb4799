"""What is particular to workbook 06: its prose against the bench, right hand work, and judges from outside.

Sources of the outside checks: scipy's normal distribution for the share below minus one sigma; 5.26 % of
clock tolerance as an electronics magazine answers it; crccheck, a library of its own, for which damage a CRC
notices; the one's-complement sum as RFC 1071 describes it, added here by hand.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from pathlib import Path

import pytest
from crccheck.crc import Crc
from lesson import assert_right_by_hand, words_of
from scipy import stats

from lessonkit.bench.bench import Bench
from lessonkit.copper.wire import DEFAULT_CAPACITANCE_F_PER_M
from lessonkit.exercises.core import Exercise, Givens, givens_for, judge, modelled, solution
from lessonkit.exercises.series.workbook_06 import BACK, CHECKS, CLOCK, EXERCISES, WHICH
from lessonkit.exercises.series.workbook_06_design import DESIGN
from lessonkit.exercises.series.workbook_06_faults import CAUSES, EACH, WHY
from lessonkit.job.calls import CALLS
from lessonkit.signal.edges import cable_edge
from lessonkit.signal.error_rates import clock_tolerance
from lessonkit.studies.broken import OUTCOMES, break_each
from lessonkit.studies.check_trials import count_slips
from lessonkit.studies.link_trial import try_link
from lessonkit.studies.noisy_frames import count_frames

NOTEBOOK = Path(__file__).resolve().parents[2] / "notebooks" / "06_when_bits_go_wrong.ipynb"
STUDENTS = range(30)
FEW = range(8)


def text() -> str:
    """Return the words of the workbook."""
    return words_of("06")


# The lesson ------------------------------------------------------------------------------------------------


def test_noise_in_the_prose_is_the_benchs() -> None:
    """Frames heard, wrong outputs and slips stand in the text as they are counted."""
    heard = count_frames("forge-office", 2.5, 2000).heard_percent
    assert f"{heard:.0f} of 100. The upper picture" in text()
    assert (
        count_frames("forge-office", 1.5, 400).heard_percent
        > 99
        > 5
        > count_frames("forge-office", 4.0, 400).heard_percent
    )
    hard = count_frames("forge-office", 4.5, 6000, seed=5)
    assert (hard.slipped, hard.wrong_one, hard.wrong_two) == (4, 2, 0)
    for said in ("Four wrong frames slipped through here", "switched wrongly twice", "next two seeds none"):
        assert said in text()
    assert [count_frames("forge-office", 4.5, 6000, seed=seed).slipped for seed in (6, 7)] == [0, 0]


def test_the_share_below_minus_its_rms_is_scipys() -> None:
    """Sixteen of a hundred values of Gaussian noise lie below minus its RMS."""
    assert f"minus its RMS in {100 * stats.norm.cdf(-1):.0f} of" in text()


def test_edges_in_the_prose_are_computed() -> None:
    """The ladder by hand and the line that is spread out agree, and are what the text says."""
    farad = 2 * DEFAULT_CAPACITANCE_F_PER_M * 100
    rc_s = farad / (1 / 1000 + 1 / 10_000)
    assert f"{1e12 * farad:,.0f} pF".replace(",", " ")[:4] == "16 4"
    assert f"909 ohm x 16 400 pF = {1e6 * rc_s:.1f} us" in text()
    rise_s = cable_edge(100).rise_s()
    assert 2.2 * rc_s == pytest.approx(rise_s, rel=0.02)
    assert f"{1e6 * rise_s:.0f} us. By hand" in text()
    assert f"(833 us) that is {100 * rise_s * 1200:.0f} %" in text()
    assert f"At 19 200 baud a bit is {1e6 / 19200:.0f} us" in text()


def test_clocks_in_the_prose_are_computed() -> None:
    """Half a bit over nine and a half, less a look of sixteen; a clock 6 % off hears nothing, at 4 % all."""
    assert f"0.5 / 9.5 = {100 * clock_tolerance():.2f} %" in text()
    assert 100 * clock_tolerance() == pytest.approx(5.26, abs=0.005)
    assert f"(0.5 - 0.0625) / 9.5 = {100 * clock_tolerance(16):.2f} %" in text()
    assert try_link("forge-office", clock_error=0.06).through == 0.0
    assert try_link("forge-office", clock_error=0.04).through == 1.0


def test_checks_in_the_prose_are_counted_and_exhausted() -> None:
    """What slips through stands in the text: counted, and over every pattern."""
    slips = count_slips(10_000)
    assert slips.share("2 bits", "one parity bit") == 1.0
    for damage in ("1 bit", "2 bits", "3 bits", "a burst of 8 bits"):
        assert slips.exhausted(damage)[0] == 0
        assert slips.share(damage, "CRC-8") == 0.0
    assert slips.exhausted("3 bits")[1] == math.comb(32, 3) == 4960
    fooled, of = slips.exhausted("4 bits")
    assert (fooled, of) == (264, math.comb(32, 4))
    assert "of the 35 960 patterns of four, 264 do" in text()
    assert f"That is {100 * fooled / of:.2f} %" in text()
    assert slips.share("4 bits", "CRC-8") == pytest.approx(fooled / of, rel=0.35)
    assert 2117 % 7 == 3
    assert 2171 % 7 == 1


def test_the_welder_stops_the_compressor_as_told() -> None:
    """Noise, silence, rest: the contactor lets go seconds after the noise began, and rests five minutes."""
    bench = Bench("forge-office", call="cool-2")
    began_s = bench.advance(20).time_s
    bench.set_faults(["outdoor.SIG=noise:6"])
    bench.advance(30)
    bench.set_faults([])
    bench.advance(310)
    (_, stopped_s), (back_s, _) = bench.log.spans("out:contactor")
    assert f"After {stopped_s - began_s:.1f} s: the last good frame" in text()
    assert back_s - stopped_s == pytest.approx(300, abs=1)
    assert bench.log.spans("out:unloader")[1][0] - (began_s + 30) == pytest.approx(2, abs=1)


def test_safe_states_in_the_prose_are_the_benchs() -> None:
    """Two breaks ahead of the encoder are not safe; of the link's own three, none is, under any call."""
    table = break_each("forge-office", "cool-2")
    assert table.unsafe == ["thermostat.G", "thermostat.O"]
    assert len(table.rows) == 11
    rows = {row.conductor: row.delivering for row in table.rows}
    assert rows["thermostat.O"].startswith("heating")
    for call in CALLS:
        assert break_each("forge-office", call, "outdoor").unsafe == []


# The exercises ---------------------------------------------------------------------------------------------


def by_hand_clock(givens: Givens) -> float:
    """Half a bit over the bits to the middle of the stop bit, less what the sender uses."""
    return round(50 / (10.5 if givens["parity"] else 9.5) - givens["long_percent"], 2)


def sum_by_hand(numbers: tuple[int, ...]) -> int:
    """Add up, and bring the carry round, as RFC 1071 does with 16 bits."""
    total = sum(numbers)
    while total > 255:
        total = total % 256 + total // 256
    return total


def by_hand_which(givens: Givens) -> dict[str, list[str]]:
    """Count ones, add up, and let crccheck divide."""
    crc = Crc(8, 0x2F, initvalue=0xFF, reflect_input=True, reflect_output=True, xor_output=0xFF)
    sent, answer = givens["sent"], {}
    for row, got, kind in zip("ABCD", givens["received"], givens["kinds"], strict=True):
        odd = [one.bit_count() % 2 != other.bit_count() % 2 for one, other in zip(sent, got, strict=True)]
        seen = {
            "parity": any(odd) and kind != "swapped",
            "sum": sum_by_hand(sent) != sum_by_hand(got),
            "CRC": crc.calc(bytes(sent)) != crc.calc(bytes(got)),
        }
        answer[row] = [check for check, notices in seen.items() if notices]
    return answer


def by_hand_back(givens: Givens) -> float:
    """It stops after the watchdog's time, and rests from then on."""
    return float(givens["watchdog_s"] + givens["short_cycle_s"])


def by_hand_each(givens: Givens) -> dict[str, str]:
    """Say for each conductor what hangs on it."""
    call, valve_on = (
        givens["call"],
        givens["call"].startswith("cool" if givens["job"] == "forge-office" else "heat"),
    )
    two = call.endswith("2")
    known = {
        "R": "nothing", "C": "nothing", "Y1": "air only", "Y2": "less of it" if two else "as before",
        "G": "no air", "O": "the other mode" if valve_on else "as before",
        "B": "the other mode" if valve_on else "as before", "W1": "as before", "E": "as before",
    }  # fmt: skip
    return {
        name: known[name.partition(".")[2]] if name.startswith("thermostat") else "air only"
        for name in givens["conductors"]
    }


def by_hand_why(givens: Givens) -> dict[str, object]:
    """Read the question's own table."""
    rows = {}
    for line in WHY.question(givens).splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if len(cells) == 3 and cells[1][:1].isdigit():
            rows[cells[0].partition(",")[0]] = [float(cell.split()[0]) for cell in cells[1:]]
    mark, sine = rows["a mark"][1], rows["a sine of 60 Hz on SIG"][1]
    if rows["fuzz on the trace"][0] > 1:
        cause = CAUSES[0]
    elif rows["one bit of a frame"] != rows["one bit of a reply"]:
        cause = CAUSES[2]
    else:
        cause = CAUSES[3] if rows["a mark"][0] < 9 else CAUSES[1]
    return {"room_v": round(mark - 1.414 * sine - 7.5, 2), "cause": cause}


def by_hand_design(givens: Givens) -> dict[str, float]:
    """Poll twice in the time allowed, and let the watchdog have nearly all of its time."""
    return {
        "interval_s": round(0.95 * givens["slowest_s"] / 2, 2),
        "watchdog_s": round(0.98 * givens["let_go_s"], 1),
    }


BY_HAND = (
    (CLOCK, by_hand_clock),
    (WHICH, by_hand_which),
    (BACK, by_hand_back),
    (EACH, by_hand_each),
    (WHY, by_hand_why),
    (DESIGN, by_hand_design),
)


@pytest.mark.parametrize(("exercise", "by_hand"), BY_HAND, ids=[exercise.id for exercise, _ in BY_HAND])
def test_right_hand_work_is_right(exercise: Exercise, by_hand: Callable[[Givens], object]) -> None:
    """Paper and pencil, from what the workbook taught, is right for every student."""
    assert_right_by_hand(exercise, by_hand, STUDENTS)


@pytest.mark.parametrize("exercise", EXERCISES, ids=lambda exercise: exercise.id)
def test_every_student_gets_the_hint_that_fits(exercise: Exercise) -> None:
    """Whatever the numbers, a wrong answer of its own is taken for no other mistake."""
    for student in FEW:
        givens = givens_for(exercise, student)
        for name, answer in modelled(exercise, givens).items():
            verdict = judge(exercise, givens, answer)
            assert (verdict.outcome, verdict.model) == ("not yet", name), student


def test_each_cause_loses_frames_as_the_question_says() -> None:
    """A link that is said to lose frames does so on the bench, at rest or under load."""
    for student in STUDENTS:
        rows = WHY.question(givens_for(WHY, student)).splitlines()
        heard = next(line for line in rows if line.startswith("| frames heard"))
        at_rest, under_load = (int(cell) for cell in heard.strip("|").split("|")[1:])
        assert min(at_rest, under_load) < 64, student


def test_there_are_several_right_watchdogs() -> None:
    """The design has more than one right answer, and the bench refuses what lets go too soon or too late."""
    for student in FEW[:3]:
        givens = givens_for(DESIGN, student)
        tried = itertools.product((0.8, 0.98, 1.1), (0.85, 0.95, 0.99, 1.05))
        outcomes = {
            (early, share): judge(
                DESIGN,
                givens,
                {
                    "interval_s": round(early * givens["slowest_s"] / 2, 3),
                    "watchdog_s": round(share * givens["let_go_s"], 2),
                },
            ).outcome
            for early, share in tried
        }
        right = {pair for pair, outcome in outcomes.items() if outcome == "right"}
        assert right == {(early, share) for early in (0.8, 0.98) for share in (0.95, 0.99)}


def test_each_wrong_check_in_a_row_has_its_hint() -> None:
    """One check too many, or one left out, in one row of 6.2: a model says what to ask, not just where."""
    for student in STUDENTS:
        givens = givens_for(WHICH, student)
        right = solution(WHICH, givens)
        for row, check in itertools.product(right, CHECKS):
            slip = {**right, row: [one for one in CHECKS if (one in right[row]) != (one == check)]}
            assert judge(WHICH, givens, slip).model, (student, row, check)


def test_each_wrong_outcome_of_a_break_has_its_hint() -> None:
    """Another outcome in one row of 6.4, whichever it is, is met by a model."""
    for student in STUDENTS:
        givens = givens_for(EACH, student)
        right = solution(EACH, givens)
        for row, outcome in itertools.product(right, OUTCOMES):
            if outcome != right[row]:
                assert judge(EACH, givens, {**right, row: outcome}).model, (student, row, outcome)
