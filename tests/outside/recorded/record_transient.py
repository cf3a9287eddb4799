"""Run the transient circuits through ngspice, and write down what it says.

    python tests/outside/recorded/record_transient.py

writes `transient.json` beside this file. The tests load this file for its circuits and its reader of raw
files, so that what is recorded and what is checked can't drift apart.
"""

from __future__ import annotations

import cmath
import hashlib
import json
import math
import re
import shutil
import subprocess
import tempfile
from pathlib import Path

import numpy as np

from lessonkit.copper.elements import (
    Capacitance,
    Diode,
    PulseSource,
    Resistance,
    Source,
    Switch,
    Winding,
)
from lessonkit.copper.network import Network
from lessonkit.copper.spice import spice_tag, transient_netlist
from lessonkit.studies.steering import DcCoil, Steering, steering_circuit

RECORD = Path(__file__).with_name("transient.json")
CYCLE_S = 1 / 60


def _supply(phase_deg: float = 0.0) -> Source:
    return Source("supply", "r", "0", 2.7, cmath.rect(24.0, math.radians(phase_deg)))


def _steered(call: str, coil: DcCoil, **site: object) -> Network:
    return steering_circuit(Steering(first=coil, second=coil, **site), call)  # type: ignore[arg-type]


FREE, BARE = DcCoil(freewheel=True), DcCoil()
SMOOTH = DcCoil(smoothing_farad=47e-6)

#: Each case: the network, how long it runs, the step, and how it starts.
CASES: dict[str, tuple[Network, float, float, str]] = {
    "half-wave": (
        Network((_supply(), Diode("steer", "r", "x"), Resistance("load", "x", "0", 100.0)), "0"),
        3 * CYCLE_S,
        CYCLE_S / 1000,
        "rest",
    ),
    "half-wave, another diode, starting at the top": (
        Network(
            (
                _supply(90.0),
                Diode("steer", "r", "x", 1e-14, 1.0, 2.0),
                Resistance("load", "x", "0", 1000.0),
            ),
            "0",
        ),
        2 * CYCLE_S,
        CYCLE_S / 1000,
        "rest",
    ),
    "coil with freewheel diode": (
        Network(
            (
                _supply(),
                Diode("steer", "r", "x"),
                Winding("coil", "x", "0", 160.0, 0.6),
                Diode("freewheel", "0", "x"),
            ),
            "0",
        ),
        6 * CYCLE_S,
        CYCLE_S / 1000,
        "rest",
    ),
    "rectifier with smoothing": (
        Network(
            (
                _supply(),
                Diode("steer", "r", "x"),
                Resistance("load", "x", "0", 160.0),
                Capacitance("smooth", "x", "0", 100e-6),
            ),
            "0",
        ),
        6 * CYCLE_S,
        CYCLE_S / 1000,
        "rest",
    ),
    "ringing after closing": (
        Network(
            (
                Source("battery", "p", "0", 0.01, dc_v=12.0),
                Switch("contact", "p", "q", toggles_s=(1e-3, 6e-3)),
                Winding("coil", "q", "t", 5.0, 10e-3),
                Capacitance("plate", "t", "0", 10e-6),
                Resistance("leak", "t", "0", 2000.0),
            ),
            "0",
        ),
        12e-3,
        2e-6,
        "rest",
    ),
    "pulses from an operating point": (
        Network(
            (
                PulseSource("driver", "d", "0", 1000.0, 1.0, 5.0, 0.4e-3, 0.2e-3, 1e-5, 2e-5, 1e-3),
                Resistance("way", "d", "x", 1000.0),
                Capacitance("line", "x", "0", 50e-9),
                Resistance("receiver", "x", "0", 1e4),
            ),
            "0",
        ),
        3e-3,
        1e-6,
        "dc",
    ),
    "steering, none": (_steered("none", FREE), 2 * CYCLE_S, CYCLE_S / 1000, "rest"),
    "steering, first": (_steered("first", FREE), 4 * CYCLE_S, CYCLE_S / 1000, "rest"),
    "steering, second": (_steered("second", FREE), 4 * CYCLE_S, CYCLE_S / 1000, "rest"),
    "steering, both": (_steered("both", FREE), 4 * CYCLE_S, CYCLE_S / 1000, "rest"),
    "steering, both, bare coils": (_steered("both", BARE), 4 * CYCLE_S, CYCLE_S / 1000, "rest"),
    "steering, first, smoothed": (_steered("first", SMOOTH), 4 * CYCLE_S, CYCLE_S / 1000, "rest"),
    "steering, second, far-first shorted": (
        _steered("second", FREE, shorted=("far-first",)),
        4 * CYCLE_S,
        CYCLE_S / 1000,
        "rest",
    ),
}


def netlist(case: str) -> str:
    """Return the netlist of a case."""
    network, stop_s, step_s, start = CASES[case]
    return transient_netlist(network, stop_s, step_s, start=start, title=case)


def fingerprint(case: str) -> str:
    """Return a digest of a case's netlist, less its comments."""
    bare = "\n".join(line.split(";")[0].rstrip() for line in netlist(case).splitlines() if line[:1] != "*")
    return hashlib.sha256(bare.encode()).hexdigest()[:16]


def read_raw(path: Path) -> dict[str, np.ndarray]:
    """Return the vectors of an ngspice raw file (binary, real) by their names."""
    head, _, body = path.read_bytes().partition(b"Binary:\n")
    lines = head.decode("ascii", "replace").splitlines()
    value = {line.split(":")[0]: line.split(":")[1].strip() for line in lines if line[:4] == "No. "}
    count, points = int(value["No. Variables"]), int(value["No. Points"])
    start = next(k for k, line in enumerate(lines) if line.startswith("Variables:")) + 1
    names = [line.split()[1].lower() for line in lines[start : start + count]]
    table = np.frombuffer(body, dtype="<f8", count=count * points).reshape(points, count)
    return dict(zip(names, table.T, strict=True))


def run_ngspice(case: str, program: str) -> dict[str, np.ndarray]:
    """Return a case as ngspice sees it: `time`, each node, and sources' and windings' amperes by name."""
    network = CASES[case][0]
    with tempfile.TemporaryDirectory() as folder:
        deck, raw = Path(folder, "case.cir"), Path(folder, "case.raw")
        deck.write_text(netlist(case), encoding="ascii")
        command = [program, "-b", "-r", str(raw), str(deck)]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        assert "error" not in (done.stdout + done.stderr).lower(), done.stdout + done.stderr
        vectors = read_raw(raw)
    seen = {"time": vectors["time"]}
    seen |= {node: vectors[f"v({node.replace('-', '_')})"] for node in network.nodes[1:]}
    for branch in network.branches:
        tag = spice_tag(network, branch.name)
        if isinstance(branch, Source | PulseSource):
            seen["amperes " + branch.name] = vectors[f"i(v{tag})"]
        elif isinstance(branch, Winding):
            seen["amperes " + branch.name] = vectors[f"i(l{tag})"]
    return seen


def on_grid(seen: dict[str, np.ndarray], time_s: np.ndarray) -> dict[str, np.ndarray]:
    """Return ngspice's waves, which have uneven steps, at the given moments."""
    return {name: np.interp(time_s, seen["time"], wave) for name, wave in seen.items() if name != "time"}


def kept(case: str) -> range:
    """Return which of our samples are compared with the recording: forty, not on the zeros of the supply."""
    _, stop_s, step_s, _ = CASES[case]
    steps = round(stop_s / step_s)
    return range(steps // 111, steps + 1, steps // 40)


def main() -> None:
    """Record every case."""
    program = shutil.which("ngspice")
    if program is None:
        raise SystemExit("ngspice is not on this machine; install it first.")
    version = subprocess.run([program, "--version"], capture_output=True, text=True, check=True).stdout
    record: dict[str, object] = {"program": next(w for w in version.split() if w.startswith("ngspice-"))}
    for case, (_, _, step_s, _) in CASES.items():
        moments = np.array(kept(case)) * step_s
        waves = on_grid(run_ngspice(case, program), moments)
        record[case] = {
            "netlist": fingerprint(case),
            "waves": {name: [float(f"{x:.5g}") for x in wave] for name, wave in waves.items()},
        }
    # One wave a line: short enough to read, and a change shows where it is.
    text = re.sub(r"\[[^\]]*\]", lambda row: " ".join(row[0].split()), json.dumps(record, indent=1))
    RECORD.write_text(text + "\n", encoding="ascii")
    print(f"{len(CASES)} cases recorded in {RECORD.name}")


if __name__ == "__main__":
    main()
