"""The way back against the world: a wire table, a limit of Class 2, and ngspice for a shared current.

Sources, each named again beside its check:

* ohms per 1000 ft of solid copper at 20 C: HyperPhysics, "Common Wire Gauges" (a page was read)
* UL 1585: at most 30 V RMS under any load (as told by a test house's page)
* ngspice, the open-source descendant of the Berkeley circuit simulator, for the current of two ways home
"""

from __future__ import annotations

import runpy
from pathlib import Path

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.exercises.core import givens_for, judge
from lessonkit.exercises.series.workbook_07 import COMMONS, TWO_WAYS
from lessonkit.job.toml import demo_job
from lessonkit.studies.sweeps import phase_volts

FOOT_M = 0.3048
#: HyperPhysics, "Common Wire Gauges": ohms per 1000 ft at 20 C.
HANDBOOK_OHM_PER_KFT = {18: 6.385, 20: 10.15, 22: 16.14}
CLASS_2_V = 30.0
run_ngspice = runpy.run_path(str(Path(__file__).parent / "recorded" / "record_bench.py"))["run_ngspice"]


@pytest.mark.parametrize("student", range(12))
def test_a_handbook_and_a_clamp_answer_the_first_exercise(student: int) -> None:
    """With the ohms of a printed wire table and the amperes of the question, 7.1 comes out right."""
    givens = givens_for(COMMONS, student)
    amps = float(COMMONS.question(givens).partition("around C reads ")[2].partition(" A")[0])
    ohm = HANDBOOK_OHM_PER_KFT[givens["gauge_awg"]] * givens["length_m"] / FOOT_M / 1000
    assert judge(COMMONS, givens, amps * ohm).outcome == "right"


def test_out_of_phase_is_more_than_class_2_may_have() -> None:
    """In phase two sources stay far below the 30 V of UL 1585 from hot to hot; out of phase they pass it."""
    in_phase_v, out_of_phase_v = phase_volts(demo_job("second-transformer"))
    assert in_phase_v < 1 < CLASS_2_V < out_of_phase_v


@pytest.mark.ngspice
@pytest.mark.parametrize("student", range(6))
def test_ngspice_shares_the_current_as_the_exercise_says(student: int, ngspice: str) -> None:
    """Run by ngspice, the circuit of 7.2 has the same amperes on the equipment ground."""
    givens = givens_for(TWO_WAYS, student)
    job = (
        demo_job("earth-return")
        .with_coil("contactor", sealed_va=givens["contactor_va"])
        .with_run(
            "outdoor",
            return_by="wire",
            conductors=("R", "SIG", "C"),
            length_m=givens["length_m"],
            gauge_awg=givens["gauge_awg"],
        )
    )
    bench = Bench(job, faults=[f"outdoor.C=earth:{givens['touch_ohm']:g}@1"], call=givens["call"])
    bench.advance(20)
    volts = run_ngspice(bench.to_spice(), ngspice)
    ground_a = abs(volts["out_gnd"] - volts["air_gnd"]) / job.outdoor_run.earth_ohm
    assert judge(TWO_WAYS, givens, ground_a).outcome == "right"
