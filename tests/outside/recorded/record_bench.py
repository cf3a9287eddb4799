"""Run the bench's exported netlists through ngspice (the source of bench.json), and write down what it says.

    python tests/outside/recorded/record_bench.py

writes `bench.json` beside this file. The test loads this file for its cases and its way of running ngspice,
so that what is recorded and what is checked can't drift apart.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import tempfile
from pathlib import Path

from lessonkit.bench.bench import Bench
from lessonkit.job.calls import CALLS
from lessonkit.job.faults import BadFault, parse_fault
from lessonkit.job.toml import demo_job, demo_names

RECORD = Path(__file__).with_name("bench.json")

#: Faults that every job can have, and those of one kind of wiring alone.
EVERYWHERE = (
    "air.transformer=weak:0.65",
    "air.fuse=blown",
    "thermostat.R=resistance:8",
    "thermostat.C=open@0.3",
    "thermostat.R=short:C",
    "outdoor.R=earth@1",
    "outdoor.earth=open",
    "out.contactor=burnt-out",
    "out.defrost-board=dead",
)
DIRECT = ("outdoor.C=open", "outdoor.Y1=swapped:Y2", "outdoor.Y1=short:C@0.7", "outdoor.D=open@0")
LINKED = (
    "outdoor.SIG=open@0.2",
    "outdoor.R=short:SIG",
    "outdoor.R=swapped:SIG",
    "outdoor.earth=resistance:4",
    "out.relay-board=dead",
    "out.relay-Y1=stuck-closed",
)
ALONE = {
    "two-run": ("thermostat.SIG=short:spare@0.9", "stat.encoder=dead"),
    "two-run-50-hertz": ("thermostat.SIG=short:spare@0.9", "stat.encoder=dead"),
    "four-wire": (
        *(
            "thermostat.Y1=short:W1",
            "thermostat.R=short:Y1",
            "outdoor.R=short:C@0.5",
            "air.furnace=burnt-out",
        ),
    ),
    "old-cable": ("air.outdoor-thermostat=stuck-open", "stat.battery=flat", "out.reversing-valve=burnt-out"),
    "dual-fuel": ("air.interlock=burnt-out", "air.outdoor-thermostat=stuck-closed"),
    "earth-lockout": ("out.high-pressure=open", "air.interlock=burnt-out"),
}

#: The calls under which broken jobs are tried, live and recorded; a sound job is tried under every call. Live
#: each fault that all jobs share has one of them, and the next one on the next job; recorded it has both.
LIVE_CALLS = ("off", "cool-2", "heat-aux", "emergency")
RECORDED_CALLS = ("cool-2", "heat-aux")


def faults_of(job: str) -> tuple[str, ...]:
    """Return the faults that a demo job is tried with."""
    kind = LINKED if demo_job(job).outdoor_run.arrangement == "link" else DIRECT
    described = demo_job(job)

    def possible(fault: str) -> bool:
        try:
            parse_fault(fault, described)
        except BadFault:
            return False
        return True

    return (*filter(possible, (*EVERYWHERE, *kind)), *ALONE.get(job, ()))


def cases(live: bool) -> list[tuple[str, str, str]]:
    """Return the cases: job, fault ("" for none) and call."""
    found = []
    for turn, job in enumerate(demo_names()):
        found += [(job, "", call) for call in CALLS]
        for k, fault in enumerate(faults_of(job), turn):
            calls = LIVE_CALLS if live else RECORDED_CALLS
            if live and fault not in ALONE.get(job, ()):
                calls = (LIVE_CALLS[k % len(LIVE_CALLS)],)
            found += [(job, fault, call) for call in calls]
    return found


def bench_for(job: str, fault: str, call: str) -> Bench:
    """Return a bench that ran sound under a call, was broken, and had a little time since."""
    bench = Bench(demo_job(job))
    bench.set_call(call)
    bench.advance(5.0)
    bench.set_faults([fault] if fault else [])
    bench.advance(4.0)
    return bench


def run_ngspice(netlist: str, program: str) -> dict[str, complex]:
    """Return the volts of every printed node of a netlist that ngspice ran in batch, just as it was."""
    with tempfile.TemporaryDirectory() as folder:
        deck = Path(folder, "bench.cir")
        deck.write_text(netlist, encoding="utf-8")
        done = subprocess.run(
            [program, "-b", deck.name],
            cwd=folder,
            capture_output=True,
            text=True,
            encoding="utf-8",
            check=True,
        )
    said = done.stdout + done.stderr
    assert "error" not in said.lower(), said
    if ".ac" not in netlist:  # direct current: one table of all nodes
        return {m[1]: complex(float(m[2])) for m in re.finditer(r"^\t(\w+)\s+(\S+\d)$", done.stdout, re.M)}
    # A table for each .print card, in the order of the cards; long names are cut short in their headings.
    names = re.findall(r"^\.print ac vr\((\S+)\)", netlist, re.M)
    values = re.findall(r"^0\t\S+\t(\S+)\t(\S+)\t?$", done.stdout, re.M)
    return {name: complex(float(re_), float(im)) for name, (re_, im) in zip(names, values, strict=True)}


def label(job: str, fault: str, call: str) -> str:
    """Return the name of a case in the recording."""
    return f"{job} | {fault or 'sound'} | {call}"


def main() -> None:
    """Record every case."""
    program = shutil.which("ngspice")
    if program is None:
        raise SystemExit("ngspice is not on this machine; install it first.")
    version = subprocess.run([program, "--version"], capture_output=True, text=True, check=True).stdout
    lines = [f'"program": "{next(w for w in version.split() if w.startswith("ngspice-"))}"']
    nodes: dict[str, list[str]] = {}
    rows = []
    for job, fault, call in cases(live=False):
        volts = run_ngspice(bench_for(job, fault, call).to_spice(), program)
        # Nodes inside a cable come and go with the faults; the terminals are a job's own.
        names = nodes.setdefault(
            job, [name for name in volts if name.split("_")[0] in ("stat", "air", "out")]
        )
        magnitudes = [float(f"{abs(volts[name]):.6g}") for name in names]
        rows.append(f"{json.dumps(label(job, fault, call))}: {json.dumps(magnitudes)}")
    lines += [f"{json.dumps('nodes of ' + job)}: {json.dumps(names)}" for job, names in nodes.items()]
    RECORD.write_text("{\n" + ",\n".join(lines + rows) + "\n}\n", encoding="ascii")
    print(f"{len(rows)} cases recorded in {RECORD.name}")


if __name__ == "__main__":
    main()
