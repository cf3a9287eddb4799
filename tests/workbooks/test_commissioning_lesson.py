"""What is particular to workbook 12: its prose against the bench, right hand work, single slips, designs.

Each number of the prose that the bench can compute is computed here again, and must stand in the text as it
comes out. The least squares of exercise 12.4 are held against numpy's own, and a band against its formula.
"""

from __future__ import annotations

import re
from functools import lru_cache
from itertools import combinations, islice
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from lesson import words_of

from lessonkit.bench.bench import Bench
from lessonkit.bench.hands import Hands
from lessonkit.bench.meter import Meter
from lessonkit.exercises.core import givens_for, judge, solution
from lessonkit.exercises.series.workbook_12 import AFTER, BAND, TIME
from lessonkit.exercises.series.workbook_12_design import DESIGN, judged
from lessonkit.exercises.series.workbook_12_sheet import DIAGNOSIS, FIT
from lessonkit.job.model import Job
from lessonkit.job.toml import demo_job
from lessonkit.studies.coverage import notices
from lessonkit.studies.prove import Proof, prove
from lessonkit.studies.sheet_parts import fit_sheet, over_calls, sheet_part

NOTEBOOK = Path(__file__).resolve().parents[2] / "notebooks" / "12_commissioning.ipynb"
CLASS = range(8)


def text() -> str:
    """Return the words of the workbook."""
    return words_of("12")


@lru_cache(maxsize=1)
def sheet() -> Proof:
    """Return the sheet of the lesson's site."""
    return prove(site())


def site() -> Job:
    """Return the wiring of the lesson."""
    return demo_job("second-transformer").with_outdoor_thermostat(auxiliary_above_c=4, compressor_below_c=-15)


# The lesson ------------------------------------------------------------------------------------------------


def test_the_hand_case_is_the_sheet() -> None:
    """27.50 V, 5 % either way, 1 % and 0.03 V: both ends by hand are those of the sheet."""
    before = sheet_part(sheet(), "Volts before wiring")
    low, high = before.low("air:XFMR"), before.high("air:XFMR")
    assert float(low) == pytest.approx(27.5 * 0.95 * 0.99 - 0.03, abs=0.015)
    assert float(high) == pytest.approx(27.5 * 1.05 * 1.01 + 0.03, abs=0.015)
    assert f"the high end: {high}." in text()
    assert f"**{low}**" in text()


def test_what_is_said_of_volts_under_load() -> None:
    """Outdoors the second stage of cooling is the hungriest call, indoors emergency heat."""
    outdoors, indoors = over_calls(sheet(), "out:R"), over_calls(sheet(), "air:R")
    assert (outdoors.lowest, indoors.lowest) == ("cool-2", "emergency")
    assert f"from {outdoors.under('off')} with nothing called to {outdoors.under('cool-2')}" in text()
    assert f"pull `air:R` down to {indoors.under('emergency')}" in text()


def test_what_two_stages_miss() -> None:
    """Two stages that run say nothing about W1 and E."""
    assert notices(site()).missed(["cool-2", "heat-2"]) == ("thermostat.W1", "thermostat.E")
    assert "W1 and E: no call for auxiliary or emergency heat was made" in text()


def test_what_is_said_of_time() -> None:
    """Without SIG only the blower runs, the delay counts from the stop; after power the board waits."""
    bench = Bench(site(), call="cool-1")
    bench.advance(60)
    hands = Hands(bench)
    hands.lift("outdoor.SIG", "out")
    on = {name for name, word in bench.advance(15).responding.items() if word != "off"}
    assert on == {"blower"}
    hands.put_back("outdoor.SIG", "out")
    bench.advance(400)
    stop, start = (event.time_s for event in bench.log.of("out:contactor")[-2:])
    assert start - stop == pytest.approx(300, abs=0.5)
    assert site().outdoor_run.link.watchdog_s == 10


def test_what_is_said_of_the_phase() -> None:
    """Turned round, hot to hot is the sum of both sides."""
    turned = Bench(site().with_run("outdoor", far_in_phase=False))
    turned.advance(5)
    meter = Meter(turned)
    assert float(meter.volts("air:R", "out:R")) == pytest.approx(54.6, abs=0.05)
    for place in ("air", "out"):
        assert round(float(meter.volts(f"{place}:R", f"{place}:C")), 1) in (27.3, 27.2)


def test_what_is_said_of_the_filled_sheet() -> None:
    """A splice hides in the band of the volts, the dead cable shows it, and the fit finds it."""
    low_line = ["air.transformer=weak:0.96", "out.transformer=weak:0.96"]
    readings = sheet().filled([*low_line, "thermostat.R=resistance:1.5"])
    assert over_calls(sheet(), "stat:R", readings=readings).out == 0
    out = sheet().out(readings)
    assert len(out) == 7
    assert {sheet().steps[n - 1].part for n in out} == {"Ring out: ohms of the conductors"}
    assert f"{readings[min(out)]} ohm, where at most {sheet().steps[min(out) - 1].high} ohm" in text()
    plain = sheet().filled(low_line)
    step = next(row.step for row in over_calls(sheet(), "stat:R").rows if row.call == "emergency")
    assert f"it takes {float(plain[step]) - float(readings[step]):.1f} V under `emergency`" in text()


def test_what_is_said_of_the_fit() -> None:
    """The share that the fit finds is that of one reading by hand, and it finds the splice besides."""
    later = ["air.transformer=weak:0.97", "out.transformer=weak:0.97"]
    again = sheet().filled([*later, "thermostat.R=resistance:0.9"])
    fitted = fit_sheet(sheet(), again)
    assert fitted.line_percent == pytest.approx(97.0, abs=0.02)
    assert fitted.fit.splice_ohm["thermostat"] == pytest.approx(0.9, abs=0.01)
    assert f"reading and model were {fitted.before_v} apart" in text()
    assert f"read {float(again[42]):.2f} V" in text()
    assert float(again[42]) / 27.5 == pytest.approx(0.97, abs=0.0005)


def test_a_fit_says_when_it_is_not_to_be_believed() -> None:
    """One weak supply of two is in no unknown of the fit, and more is left than a reading is in doubt by."""
    fitted = fit_sheet(sheet(), sheet().filled(["out.transformer=weak:0.88"]))
    assert fitted.left_is == "more than the doubt"
    assert f"{fitted.left_v} are left where a reading is in doubt by {fitted.doubt_v}" in text()


def test_lockouts_as_the_text_has_them() -> None:
    """Warm, auxiliary heat is locked out, emergency heat goes past that; degrees are written as people do."""
    assert "(-0 °F)" not in str(sheet_part(sheet(), "Outdoor lockouts"))
    for call, word in (("heat-aux", "off"), ("emergency", "on")):
        assert Bench(site(), call=call, outdoor_c=7).advance(20).responding["auxiliary heat"] == word


# The exercises ---------------------------------------------------------------------------------------------


def test_right_hand_work_is_right() -> None:
    """Paper and pencil, from the numbers printed in the question, are right for every student."""
    for student in CLASS:
        givens = givens_for(BAND, student)
        ohm_per_km = float(re.search(r"conductors of ([\d.]+) ohm", BAND.question(givens))[1])  # type: ignore[index]
        loop = 2 * givens["length_m"] * ohm_per_km / 1000
        cold, hot = loop * (1 - 0.00393 * 40), loop * (1 + 0.00393 * 40)
        answer: Any = {"low_ohm": round(cold * 0.991 - 0.02, 2), "high_ohm": round(hot * 1.009 + 0.02, 2)}
        assert judge(BAND, givens, answer).outcome == "right", (student, answer)

        givens = givens_for(AFTER, student)
        model, read, sound, after = map(float, re.findall(r"([\d.]+) V \|", AFTER.question(givens)))
        expected = round(sound * read / model, 2)
        fits = abs(after - expected) <= 0.01 * after + 0.03
        word = "the line alone" if fits else "not the line alone"
        answer = {"line_percent": round(100 * read / model, 1), "expected_v": expected, "explained_by": word}
        assert judge(AFTER, givens, answer).outcome == "right", (student, answer)

        givens = givens_for(TIME, student)
        rest_s = givens["short_s"] - (givens["lifted_s"] - givens["watchdog_s"])
        answer = {"lets_go_s": givens["watchdog_s"], "back_s": rest_s, "power_s": givens["short_s"]}
        assert judge(TIME, givens, answer).outcome == "right", (student, answer)


def test_least_squares_agree_with_numpy() -> None:
    """The share and what is left are those of numpy.linalg.lstsq on the printed numbers."""
    for student in CLASS:
        givens = givens_for(FIT, student)
        numbers = np.array([float(v) for v in re.findall(r"([\d.]+) V \|", FIT.question(givens))])
        model, read = numbers[0::2], numbers[1::2]
        share, left, *_ = np.linalg.lstsq(model[:, None], read, rcond=None)
        left_v = float(np.sqrt(left[0] / 4))
        word = "the line explains it" if left_v <= 0.3 else "something else is wrong"
        answer = {
            "line_percent": round(100 * float(share[0]), 2),
            "left_v": round(left_v, 2),
            "verdict": word,
        }
        assert judge(FIT, givens, answer).outcome == "right", (student, answer)


def test_both_verdicts_and_explanations_are_drawn() -> None:
    """A class meets lines that explain all, and sites with a splice."""
    for exercise, key in ((FIT, "verdict"), (AFTER, "explained_by")):
        words = [solution(exercise, givens_for(exercise, student))[key] for student in CLASS]
        assert len(set(words)) == 2


def test_causes_of_the_diagnosis_can_be_told_apart() -> None:
    """No two causes have the same readings out of their band, and each has at least one."""
    seen: dict[str, set[str]] = {}
    for student in range(30):
        givens = givens_for(DIAGNOSIS, student)
        if {length for _, length, _ in givens["sites"]} - {30}:
            continue
        for table, (name, *_) in zip(
            DIAGNOSIS.question(givens).split("**Site")[1:], givens["sites"], strict=True
        ):
            rows = [
                row.split(" | ") for row in table.splitlines() if row.startswith("| ") and "---" not in row
            ]
            seen.setdefault(name, set()).add(str([row[1] for row in rows[1:] if is_out(row[2], row[3])]))
    assert len(seen) >= 2
    for one, other in combinations(seen.values(), 2):
        assert not one & other
    assert "[]" not in set().union(*seen.values())


def is_out(band: str, read: str) -> bool:
    """Tell whether a printed reading is outside a printed band."""
    read = read.rstrip(" |")
    match = re.match(r"([\d.]+) to ([\d.]+)", band)
    return not float(match[1]) <= float(read) <= float(match[2]) if match else band != read


def test_several_choices_of_looks_are_right() -> None:
    """More than one set of looks is right, a set with one left out is told what goes unnoticed."""
    givens = givens_for(DESIGN, 0)
    size = len(solution(DESIGN, givens))
    offered = range(1, len(givens["offered"]) + 1)
    right = list(islice((some for some in combinations(offered, size) if judged(givens, some) is None), 2))
    assert len(right) == 2
    assert "goes unnoticed" in str(judged(givens, right[0][1:]))
    spare = next(n for n in offered if n not in right[0])
    assert "fewer looks" in str(judged(givens, (*right[0], spare)))
    assert "not one of those" in str(judged(givens, (99,)))
