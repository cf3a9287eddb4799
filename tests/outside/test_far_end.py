"""The far end against the world: a published defrost, reactances, and what a relay application page reckons.

Sources, each named again beside its check:

* EPRI EM-4226 by way of a design note's worked example: dw 0.0005, 102 minutes, share 0.0334, 3.525 minutes
* leak of a capacitor at 24 V and 60 Hz, 0.90 mA for 0.1 uF and 4.25 mA for 0.47 uF: the reactance of any
  handbook, worked out by hand
* service manuals: in a defrost the fan is off, the O valve energised, W1 fed back indoors
* control manuals: a delay of 2, 4 or 5 minutes after a stop
"""

from __future__ import annotations

import pytest

from lessonkit.exercises.core import givens_for, judge
from lessonkit.exercises.series.workbook_08 import CLOCK, DEMAND, LEAK
from lessonkit.exercises.series.workbook_08_moments import START
from lessonkit.job.toml import demo_job
from lessonkit.studies.defrosts import watch_defrost
from lessonkit.studies.leaks import leak


def test_the_published_example_answers_the_exercises() -> None:
    """At dw 0.0005 a defrost on demand comes after 102 minutes, and takes 3.525 (the design note)."""
    assert judge(DEMAND, {"dw": 0.0005}, 102).outcome == "right"
    seen = watch_defrost(demo_job("wire-return").with_equipment(defrost_by="demand"), minutes=240)
    assert float(seen.begins) == pytest.approx(102, abs=0.3)
    assert float(seen.lasts) == pytest.approx(3.525, abs=0.26)  # somebody looks four times a minute
    period = seen.defrosts[1][0] - seen.defrosts[0][0]
    assert 3.525 / period == pytest.approx(0.0334, abs=2e-4)


@pytest.mark.parametrize("student", range(8))
def test_the_report_s_formula_answers_the_clock(student: int) -> None:
    """7.8 - 5.7 q with q = 1.02 - 5.3 dw t (same report) is right for every student."""
    givens = givens_for(CLOCK, student)
    q = 1.02 - 5.3 * givens["dw"] * givens["every_min"]
    assert judge(CLOCK, givens, round(7.8 - 5.7 * q, 2)).outcome == "right"


@pytest.mark.parametrize(("microfarad", "milliamps"), [(0.1, 0.90), (0.47, 4.25)])
def test_a_capacitor_leaks_as_reckoned(microfarad: float, milliamps: float) -> None:
    """Into next to no load a capacitor lets through what its reactance allows."""
    assert 1e3 * float(leak(microfarad, 1.0).amps) == pytest.approx(milliamps, abs=0.01)


@pytest.mark.parametrize("student", range(8))
def test_complex_numbers_answer_the_leak(student: int) -> None:
    """Python's own complex numbers, an independent way to the divider, answer 8.2."""
    givens = givens_for(LEAK, student)
    r = 1e3 * givens["load_kohm"]
    x = 1 / (2j * 3.14159265 * 60 * givens["microfarad"] * 1e-6)
    assert judge(LEAK, givens, round(abs(givens["supply_v"] * r / (r + x)), 1)).outcome == "right"


def test_a_manual_s_defrost_runs_what_it_says() -> None:
    """Fan off, O valve energised, heat fed back indoors, compressor and blower on (service manuals)."""
    job = demo_job("wire-return").with_equipment(valve="O")
    words = watch_defrost(job, minutes=25, pins_at=20)
    k = int((words.minute > 20.9).argmax())
    on = {name for name, ran in words.runs.items() if ran[k]}
    assert on == {"compressor", "reversing valve", "auxiliary heat", "blower"}


@pytest.mark.parametrize("minutes", [2, 4, 5])
def test_a_delay_of_the_manuals_is_kept(minutes: int) -> None:
    """Delays of 2, 4 and 5 minutes (control manuals) hold the compressor from its stop on."""
    givens = {"short_s": 60 * minutes, "back_s": 20, "cut_s": 0, "off_s": 0}
    assert judge(START, givens, 60 * minutes).outcome == "right"
