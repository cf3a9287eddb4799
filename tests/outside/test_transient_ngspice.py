"""The time-domain solver against ngspice, live and recorded.

Source: ngspice, the open-source descendant of the Berkeley circuit simulator (version 39 for the recording),
which runs the netlists that `transient_netlist` exports. It uses the same law for a diode but its own uneven
steps and its own code.

Tolerances: ngspice's steps are at most as long as ours, both rules have errors of the second order, and where
a diode lets go of a coil volts jump, so that one sample may fall on either side. Hence 995 of 1000 samples
within 0.5 % of the wave's peak (of 1 V or 1 mA for smaller waves), mean magnitude and RMS within 0.1 % on the
same terms. For the supply's current it is 990 of 1000: a coil that a diode lets go of charges its diodes for
some microseconds, in each half of the sine, and nothing but the supply carries that step.
"""

from __future__ import annotations

import json
import re
import runpy
import shutil
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lessonkit.copper.spice import transient_netlist
from lessonkit.copper.traces import Trace
from lessonkit.copper.transient import simulate
from lessonkit.studies.steering import DcCoil, Steering, steering_circuit

RECORDED = Path(__file__).parent / "recorded"
BOOK = runpy.run_path(str(RECORDED / "record_transient.py"))
CASES: dict[str, Any] = BOOK["CASES"]


def ours(case: str) -> Trace:
    """Run a case in our solver."""
    network, stop_s, step_s, start = CASES[case]
    return simulate(network, stop_s, step_s, start=start)


def wave_of(trace: Trace, name: str) -> np.ndarray:
    """Return the wave that ngspice's results call by this name."""
    return trace.amperes[name[8:]] if name.startswith("amperes ") else trace.volts[name]


def smallest_peak(name: str) -> float:
    """Return the peak below which a wave is judged as if it had this one: 1 mA or 1 V."""
    return 1e-3 if name.startswith("amperes ") else 1.0


def share_held(name: str) -> float:
    """Return the share of samples that has to be met."""
    return 0.99 if name == "amperes supply" else 0.995


@pytest.mark.ngspice
@pytest.mark.parametrize("case", CASES)
def test_every_node_and_current_follows_ngspice(case: str) -> None:
    """Volts of nodes and amperes of sources and windings run as ngspice says, all the time."""
    trace = ours(case)
    theirs = BOOK["on_grid"](BOOK["run_ngspice"](case, shutil.which("ngspice")), trace.time_s)
    assert set(trace.volts) - {"0"} <= set(theirs)
    for name, wave in theirs.items():
        mine, peak = wave_of(trace, name), max(float(np.abs(wave).max()), smallest_peak(name))
        # The first sample is left out: ngspice shows there an instant before the start.
        assert np.quantile(np.abs(mine - wave)[1:], share_held(name)) < 0.005 * peak, name
        assert abs(np.mean(np.abs(mine)) - np.mean(np.abs(wave))) < 0.001 * peak, name
        assert abs(np.sqrt(np.mean(mine**2)) - np.sqrt(np.mean(wave**2))) < 0.001 * peak, name


@pytest.mark.parametrize("case", CASES)
def test_the_recorded_run_is_met(case: str) -> None:
    """Without ngspice, its recorded samples are met as closely."""
    record = json.loads((RECORDED / "transient.json").read_text("ascii"))
    told = "the circuit has changed since it was recorded: run tests/outside/recorded/record_transient.py"
    assert record[case]["netlist"] == BOOK["fingerprint"](case), told
    trace = ours(case)
    for name, samples in record[case]["waves"].items():
        wave = np.array(samples)
        mine = wave_of(trace, name)[list(BOOK["kept"](case))]
        peak = max(float(np.abs(wave).max()), smallest_peak(name))
        assert np.abs(mine - wave).max() < 0.005 * peak, name


@pytest.mark.ngspice
@pytest.mark.parametrize("case", ["pulses from an operating point", "steering, both"])
def test_the_netlist_runs_in_batch_as_it_is(case: str, tmp_path: Path) -> None:
    """ngspice takes the file with -b alone, prints every node, and has nothing to warn of."""
    deck = tmp_path / "case.cir"
    deck.write_text(BOOK["netlist"](case), encoding="ascii")
    program = shutil.which("ngspice")
    assert program is not None
    done = subprocess.run([program, "-b", str(deck)], capture_output=True, text=True, check=True)
    said = (done.stdout + done.stderr).lower()
    for node in CASES[case][0].nodes[1:]:
        # A heading has room for a dozen letters.
        heading = rf"^index +time +(v\()?{node.replace('-', '_')[:12]}"
        assert re.search(heading, said, re.MULTILINE), node
    assert "warning" not in said
    assert "error" not in said


COILS = {
    "bare": DcCoil(),
    "with freewheel diode": DcCoil(freewheel=True),
    "smoothed": DcCoil(smoothing_farad=47e-6),
}


@pytest.mark.ngspice
@pytest.mark.parametrize("loop_ohm", [0.2, 1.28, 10.0])
@pytest.mark.parametrize("call", ["first", "second", "both"])
@pytest.mark.parametrize("coil", COILS)
def test_ordinary_steering_runs_to_its_end(
    coil: str, call: str, loop_ohm: float, ngspice: str, tmp_path: Path
) -> None:
    """Whatever coil, call and length, ngspice runs the netlist to its end and finds our volts.

    Steps of a 512th of a cycle are coarse for a coil that lets go, hence 1 % for 99 of 100 samples and for
    the RMS.
    """
    network = steering_circuit(Steering(first=COILS[coil], second=COILS[coil], loop_ohm=loop_ohm), call)
    stop_s, step_s = 2 / 60, 1 / 60 / 512
    deck, raw = tmp_path / "steering.cir", tmp_path / "steering.raw"
    deck.write_text(transient_netlist(network, stop_s, step_s), encoding="ascii")
    done = subprocess.run([ngspice, "-b", "-r", str(raw), str(deck)], capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "too small" not in done.stdout + done.stderr
    theirs, trace = BOOK["read_raw"](raw), simulate(network, stop_s, step_s)
    assert theirs["time"][-1] == pytest.approx(stop_s)
    for node in network.nodes[1:]:
        wave = np.interp(trace.time_s, theirs["time"], theirs[f"v({node.replace('-', '_')})"])
        peak = max(1.0, float(np.abs(wave).max()))
        assert np.quantile(np.abs(trace.volts[node] - wave)[1:], 0.99) < 0.01 * peak, node
        assert abs(trace.rms_v(node) - float(np.sqrt(np.mean(wave**2)))) < 0.01 * peak, node


@pytest.mark.parametrize("case", CASES)
def test_every_line_of_a_netlist_says_what_it_is(case: str) -> None:
    """Each element and model line carries a comment that begins with the element's name."""
    lines = BOOK["netlist"](case).splitlines()
    parts = [line for line in lines if line[0] not in "*." or line.startswith(".model")]
    names = [branch.name for branch in CASES[case][0].branches]
    assert all(line.split(" ; ")[1].split(":")[0] in names for line in parts)
    assert all(any(f" ; {name}: " in line for line in parts) for name in names)
