"""Commissioning sheets, against worked examples and ngspice.

Sources:

* Loop of 18 AWG: 1.277 ohm for 100 ft of run at 20 C (copper wire tables, 6.385 ohm for 1000 ft).
* Insulation of a circuit of 24 V: 0.5 megohm at 250 V direct (BS 7671, table of minimum values for SELV and
  PELV, as quoted in a trade journal of 2018).
* A source of 28.5 V behind 2.7 ohm gives 27.15, 25.80, 24.90, 24.00 and 21.75 V at 0.5, 1, 1.333, 1.667 and
  2.5 A (by hand from Ohm's law); a 208 V line on a 230 V tap gives 21.70 V at the rated load of 24 V.
* ngspice, the open-source descendant of the Berkeley circuit simulator, which runs the netlists as they are.
"""

from __future__ import annotations

import runpy
from pathlib import Path

import pytest

from lessonkit.bench.wiring import Wiring
from lessonkit.copper.spice import settled_netlist, spice_name
from lessonkit.job.toml import demo_job
from lessonkit.studies.commissioning import RING_OUT
from lessonkit.studies.corners import GROUND, LINE, Corner, at_corner, at_line
from lessonkit.studies.prove import prove
from lessonkit.studies.technician import read_again

BOOK = runpy.run_path(str(Path(__file__).parent / "recorded" / "record_bench.py"))
run_ngspice = BOOK["run_ngspice"]

FOOT_M = 0.3048


def test_the_band_of_a_loop_holds_the_table_and_rejects_a_splice() -> None:
    """100 ft of 18 AWG reads 1.277 ohm, inside its band; three times that is outside."""
    job = demo_job("full-cable").with_run("outdoor", length_m=100 * FOOT_M, gauge_awg=18)
    proof = prove(job)
    loops = [s for s in proof.steps if s.part == RING_OUT and s.red.startswith("air:outdoor.")]
    assert loops
    for step in loops:
        taken = proof.taken[step.number - 1]
        assert float(taken.value) == pytest.approx(1.277, abs=0.02)  # two joints of 5 milliohm, one digit
        assert step.off_by(1.277) is None
        assert step.off_by(3 * 1.277) is not None


def test_insulation_is_held_to_the_standard() -> None:
    """Half a megohm passes at every conductor and 0.49 does not, whatever a sound cable reads."""
    steps = [s for s in prove("four-wire").steps if s.unit == "Mohm"]
    assert len(steps) > 6
    assert all(s.off_by(0.5) is None and s.off_by(0.49) is not None for s in steps)


def test_a_source_behind_its_ohms_on_another_line() -> None:
    """The worked volts of 28.5 V behind 2.7 ohm come out, and each falls by the same 1.425 V at 95 %."""
    # With 24 V rated this is (28.5 - 24) / 2.7 = 1.667 A, 40 VA.
    job = demo_job("full-cable").with_supply(open_v=28.5, rated_va=40.0)
    supply, low = job.supply.transformer, at_line(job, 0.95).supply.transformer
    assert supply.r_ohm == pytest.approx(2.7)
    for amps, volts in ((0.5, 27.15), (1.0, 25.80), (4 / 3, 24.90), (5 / 3, 24.00), (2.5, 21.75)):
        assert supply.open_v - amps * supply.r_ohm == pytest.approx(volts, abs=0.005)
        assert low.open_v - amps * low.r_ohm == pytest.approx(volts - 0.05 * 28.5, abs=0.005)


def test_a_208_volt_line_on_a_230_volt_tap() -> None:
    """At the rated load 24 V x 208/230 is 21.70 V, as long as the load is a resistance."""
    share = 208 / 230
    job = demo_job("full-cable")
    whole, low = job.supply.transformer, at_line(job, share).supply.transformer
    load_ohm = 24.0 / whole.rated_a
    assert low.open_v * load_ohm / (load_ohm + low.r_ohm) == pytest.approx(21.70, abs=0.01)


@pytest.mark.ngspice
@pytest.mark.parametrize("job", ["full-cable", "two-run", "isolated-receiver", "wire-dual-fuel"])
def test_volts_of_a_sheet_agree_with_ngspice(job: str, ngspice: str) -> None:
    """At a low line, hot and with worn ground, every volts step of a sheet is ngspice's to 0.1 %."""
    proof = prove(job)
    corner = at_corner(proof.job, Corner(LINE[0], 60.0, GROUND[1]))
    ours = read_again(proof.taken, corner)
    moments = {(taken.hands, taken.on) for taken in proof.taken if taken.unit == "V" and taken.call}
    checked = 0
    for hands, on in sorted(moments, key=str)[:6]:
        network = Wiring(corner, (), hands).network(on)
        theirs = run_ngspice(settled_netlist(network, corner.frequency_hz, "sheet"), ngspice)
        theirs.setdefault(spice_name(network.reference), 0j)
        for taken, reading in zip(proof.taken, ours, strict=True):
            if (taken.unit, taken.hands, taken.on) == ("V", hands, on) and reading is not None:
                volts = abs(theirs[spice_name(taken.red)] - theirs[spice_name(taken.black)])
                if volts > 2.0:  # a ghost is what the meter's own 10 megohm leave of it
                    assert float(reading) == pytest.approx(volts, rel=1e-3)
                    checked += 1
    assert checked >= 20
