"""Send frames through the whole circuit of a job in ngspice, and write down what arrives.

    python tests/outside/recorded/record_link.py

writes `link.json` beside this file.  The test loads this file for its cases and its netlists, so that what is
recorded and what is checked can't drift apart.

A netlist here is a job in its settled state, with everything on that is called: transformer, coils, boards,
earth, both runs.  Three things are put in the place of the bench's steady sources and lumps: each supply is a
sine; the sending end's driver is a row of levels, one frame long; and the conductor SIG is a ladder of many
short pieces of copper, each with its share of the capacitance to the conductors beside it.  Nothing of
`channel` or `edges` is in it.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
import runpy
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from lessonkit.bench.layout import conductor_node
from lessonkit.bench.link import down_frame, up_frame
from lessonkit.bench.settling import Settled
from lessonkit.bench.signal_path import SignalPath, ways
from lessonkit.bench.wiring import Wiring
from lessonkit.copper.elements import Branch, Capacitance, Resistance, Source, Winding
from lessonkit.job.faults import as_faults
from lessonkit.job.model import RUN_ENDS, Job, LinkSettings, Supply
from lessonkit.job.toml import demo_job
from lessonkit.signal.channel import LEAD_BITS, TAIL_BITS
from lessonkit.signal.frames import frame_levels
from lessonkit.studies.cases import Case, if_held

RECORD = Path(__file__).with_name("link.json")
READ_RAW = runpy.run_path(str(Path(__file__).with_name("record_transient.py")))["read_raw"]

#: The frame begins after so many whole cycles of the supply, when every coil has found its swing.
CYCLES_BEFORE = 15
#: Pieces of the ladder; a row of pi-sections is right to about one part in this many squared.
PIECES = 40
EDGE_S = 1e-9


@dataclass(frozen=True)
class Sending:
    """One frame over one link: the job, the call and the faults, the run, and "down" or "up"."""

    job: Job
    call: str
    faults: tuple[str, ...] = ()
    run: str = "outdoor"
    way: str = "down"


def _two_transformers() -> Job:
    return (
        demo_job("wire-return")
        .with_supply(interconnection_listed=True)
        .with_run(
            "outdoor",
            return_by="second-transformer",
            conductors=("SIG", "C", "spare"),
            far_supply=Supply(interconnection_listed=True),
            far_in_phase=False,
        )
    )


def _long_and_fast() -> Job:
    return demo_job("wire-return").with_run(
        "outdoor", length_m=300.0, capacitance_pf_per_m=160.0, link=LinkSettings(baud=2400.0)
    )


CASES: dict[str, Sending] = {
    "good bond, second stage": Sending(demo_job("earth-return"), "cool-2"),
    "poor bond, second stage": Sending(demo_job("earth-return"), "cool-2", ("outdoor.earth=resistance:2",)),
    "poor bond, reply": Sending(
        demo_job("earth-return"), "cool-2", ("outdoor.earth=resistance:2",), way="up"
    ),
    "wire return, heating": Sending(demo_job("wire-return"), "heat-2"),
    "long cable, fast, slow edges": Sending(_long_and_fast(), "fan"),
    "bad splice in C of the thermostat run": Sending(
        demo_job("two-run"), "cool-1", ("thermostat.C=resistance:8",), "thermostat"
    ),
    "two transformers, opposed": Sending(_two_transformers(), "heat-2"),
}


@dataclass(frozen=True)
class Sent:
    """What `Sending` means in the circuit: wiring, settled state, the way as we see it, the levels."""

    wiring: Wiring
    settled: Settled
    way: SignalPath
    levels: tuple[int, ...]
    bit_s: float

    @property
    def span_s(self) -> tuple[float, float]:
        """Return from when to when the waveform is compared, from the first falling edge."""
        return -LEAD_BITS * self.bit_s, (len(self.levels) + TAIL_BITS) * self.bit_s


def sent(sending: Sending) -> Sent:
    """Return the circuit in which a frame is sent, and the frame."""
    job = sending.job
    faults = as_faults(sending.faults, job)
    (held,) = if_held(job, [Case(sending.call, faults)])
    wiring, settled = Wiring(job, faults), held.settled
    way = ways(wiring, settled.on, settled.latches.awake)[sending.run, sending.way]
    live = frozenset(t for t in job.outdoor_terminals if f"relay out:{t}" in settled.on)
    down = sending.way == "down"
    frame = down_frame(sending.run, live, 1) if down else up_frame(sending.run, live, True, 1)
    levels = tuple(int(level) for level in frame_levels(frame.to_bytes()))
    return Sent(wiring, settled, way, levels, 1 / job.runs[sending.run].link.baud)


def _driven(sending: Sending, on: frozenset[str]) -> tuple[str, frozenset[str]]:
    """Return the driver that sends, and what is on while it does: the other end of its run has let go."""
    sender, listener = ("near", "far") if sending.way == "down" else ("far", "near")
    key = f"driver {sending.run}.{sender}"
    on = (on - {f"driver {sending.run}.{listener}"}) | {key}
    if sending.way == "up":  # all links answer at the same time, as in `reception`
        on -= {f"driver {run}.near" for run in sending.job.links}
        on |= {f"driver {run}.far" for run in sending.job.links}
    return key, on


def _steps(one: Sent, begin_s: float, drive_v: float) -> str:
    """Return the driver's volts as points for ngspice: it rests at a mark before and behind."""
    points, before = [(0.0, 1)], 1
    for k, level in enumerate((*one.levels, 1)):
        if level != before:
            at_s = begin_s + k * one.bit_s
            points += [(at_s, before), (at_s + EDGE_S, level)]
        before = level
    return " ".join(f"{at_s:.9g} {level * drive_v:g}" for at_s, level in points)


def _ladder(sending: Sending) -> Iterator[str]:
    """Yield SIG as short pieces, each beside its neighbours."""
    run, (near, far) = sending.job.runs[sending.run], RUN_ENDS[sending.run]
    ends = [_name(conductor_node(sending.run, "SIG", place)) for place in (near, far)]
    nodes = [ends[0], *(f"sig{k}" for k in range(1, PIECES)), ends[1]]
    for k in range(PIECES):
        yield f"Rsig{k} {nodes[k]} {nodes[k + 1]} {run.conductor_ohm / PIECES:.9g}"
    for number, pair in enumerate(pair for pair in run.neighbours() if "SIG" in pair):
        beside = pair[0] if pair[1] == "SIG" else pair[1]
        for k, node in enumerate(nodes):
            share = (0.5 if k in (0, PIECES) else 1.0) / PIECES
            other = _name(conductor_node(sending.run, beside, near if k < PIECES / 2 else far))
            yield f"Csig{number}x{k} {node} {other} {run.pair_farad * share:.9g}"


def _name(node: str) -> str:
    return "n" + "".join(c if c.isalnum() else "_" for c in node.lower())


def _replaced(branch: Branch, run: str) -> bool:
    """Return whether the ladder stands in for a branch."""
    pair = branch.name.split()[1:3] if isinstance(branch, Capacitance) else []
    return branch.name.startswith(f"{run}.SIG#") or (pair[:1] == [run] and "SIG" in pair[1].split("/"))


def _lines(k: int, branch: Branch, freq_hz: float, steps: str) -> Iterator[str]:
    """Yield a branch for an analysis through time; `steps` is what its driver does, if it sends."""
    a, b = _name(branch.a), _name(branch.b)
    if isinstance(branch, Resistance):
        if math.isfinite(branch.r_ohm):
            yield f"R{k} {a} {b} {branch.r_ohm:.9g}"
    elif isinstance(branch, Winding):
        yield f"R{k} {a} x{k} {branch.r_ohm:.9g}"
        yield f"L{k} x{k} {b} {max(branch.l_henry, 1e-12):.9g}"
    elif isinstance(branch, Capacitance):
        if branch.c_farad:
            yield f"C{k} {a} {b} {branch.c_farad:.9g}"
    elif isinstance(branch, Source):
        peak_v, phase_deg = math.sqrt(2) * abs(branch.ac_v), math.degrees(np.angle(branch.ac_v))
        swing = f"SIN(0 {peak_v:.9g} {freq_hz:g} 0 0 {phase_deg:g})" if peak_v else f"DC {branch.dc_v:g}"
        yield f"V{k} x{k} {b} {f'PWL({steps})' if steps else swing}"
        yield f"R{k} x{k} {a} {branch.r_ohm:.9g}"


def netlist(case: str) -> str:
    """Return the netlist of a case; the receiver's volts against its own common are `v(ear)`."""
    sending = CASES[case]
    one, job = sent(sending), sending.job
    begin_s = CYCLES_BEFORE / job.frequency_hz
    key, on = _driven(sending, one.settled.on)
    steps = _steps(one, begin_s, job.runs[sending.run].link.drive_v)
    lines = [f"* {case}", f"Vref {_name('air:C')} 0 0"]
    for k, branch in enumerate(one.wiring.network(on).branches):
        if not _replaced(branch, sending.run):
            lines += _lines(k, branch, job.frequency_hz, steps if branch.name == key else "")
    lines += _ladder(sending)
    place = RUN_ENDS[sending.run][sending.way == "down"]
    signal, common = conductor_node(sending.run, "SIG", place), f"{place}:C"
    lines.append(f"Eear ear 0 {_name(signal)} {_name(common)} 1")
    first_s, last_s = one.span_s
    step_s = one.bit_s / 40
    lines.append(f".tran {step_s:.6g} {begin_s + last_s:.9g} {begin_s + first_s:.9g} {step_s:.6g}")
    lines += [".save v(ear)", ".end", ""]
    return "\n".join(lines)


def fingerprint(case: str) -> str:
    """Return a digest of a case's netlist."""
    return hashlib.sha256(netlist(case).encode()).hexdigest()[:16]


def run_ngspice(case: str, program: str) -> tuple[np.ndarray, np.ndarray]:
    """Return the receiver's volts as ngspice sees them: seconds from the first falling edge, and volts."""
    with tempfile.TemporaryDirectory() as folder:
        deck, raw = Path(folder, "case.cir"), Path(folder, "case.raw")
        deck.write_text(netlist(case), encoding="ascii")
        command = [program, "-b", "-r", str(raw), str(deck)]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        assert "error" not in (done.stdout + done.stderr).lower(), done.stdout + done.stderr
        vectors = READ_RAW(raw)
    begin_s = CYCLES_BEFORE / CASES[case].job.frequency_hz
    return vectors["time"] - begin_s, vectors["v(ear)"]


def kept(case: str) -> np.ndarray:
    """Return the moments that are recorded: four in each bit, one of them soon behind the edge."""
    one = sent(CASES[case])
    bits = np.arange(-2, len(one.levels) + 1)
    return ((bits[:, np.newaxis] + [0.1, 0.3, 0.5, 0.8]) * one.bit_s).ravel()


def main() -> None:
    """Record every case."""
    program = shutil.which("ngspice")
    if program is None:
        raise SystemExit("ngspice is not on this machine; install it first.")
    version = subprocess.run([program, "--version"], capture_output=True, text=True, check=True).stdout
    record: dict[str, object] = {"program": next(w for w in version.split() if w.startswith("ngspice-"))}
    for case in CASES:
        volts = np.interp(kept(case), *run_ngspice(case, program))
        record[case] = {"netlist": fingerprint(case), "volts": [float(f"{v:.5g}") for v in volts]}
    text = re.sub(r"\[[^\]]*\]", lambda row: " ".join(row[0].split()), json.dumps(record, indent=1))
    RECORD.write_text(text + "\n", encoding="ascii")
    print(f"{len(CASES)} cases recorded in {RECORD.name}")


if __name__ == "__main__":
    main()
