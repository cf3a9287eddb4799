"""The bench against ngspice: every terminal of every demo job, sound and broken, live and recorded.

Source: ngspice, the open-source descendant of the Berkeley circuit simulator (version 39 for the recording),
which runs the netlists that `Bench.to_spice` exports, in batch and just as they are.

Agreement is to 0.1 % wherever either side has more than 1 microvolt, so floating terminals count too: live as
phasors, so that the phase counts too; recorded as magnitudes.
"""

from __future__ import annotations

import json
import runpy
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.copper.network import Network, Solution, solve
from lessonkit.copper.spice import settled_netlist, spice_name
from lessonkit.job.calls import CALLS
from lessonkit.job.toml import demo_job, demo_names, job_from_toml

BOOK = runpy.run_path(str(Path(__file__).parent / "recorded" / "record_bench.py"))
RECORDED: dict[str, Any] = json.loads(BOOK["RECORD"].read_text(encoding="ascii"))
bench_for, run_ngspice, label = BOOK["bench_for"], BOOK["run_ngspice"], BOOK["label"]

SHARE, FLOOR_V = 1e-3, 1e-6


def close(ours: complex, theirs: complex) -> bool:
    """Return whether two readings agree to 0.1 %, or are both below 1 microvolt."""
    larger = max(abs(ours), abs(theirs))
    return larger < FLOOR_V or abs(ours - theirs) <= SHARE * larger


def disagreements(
    solution: Solution, theirs: dict[str, complex]
) -> dict[str, tuple[complex, complex | None]]:
    """Return the nodes where ngspice has other volts, or none."""
    ours = {spice_name(node): solution.v(node) for node in solution.network.nodes}
    return {
        name: (volts, theirs.get(name))
        for name, volts in ours.items()
        if name not in theirs or not close(volts, theirs[name])
    }


@pytest.mark.ngspice
@pytest.mark.parametrize("case", BOOK["cases"](live=True), ids=lambda case: label(*case))
def test_every_node_agrees_live(case: tuple[str, str, str], ngspice: str) -> None:
    """Run here and now, ngspice finds the bench's volts at every node, in magnitude and phase."""
    bench = bench_for(*case)
    assert disagreements(bench.solution, run_ngspice(bench.to_spice(), ngspice)) == {}


@pytest.mark.ngspice
@pytest.mark.parametrize(
    "works",
    [
        ("lift out:outdoor.Y1", "jumper out:R out:Y1"),
        ("move stat:thermostat.G stat:Y1", "twist air:outdoor.Y2 air:outdoor.O"),
        ("unplug out:defrost-board", "lift air:thermostat.C"),
        ("lift air:thermostat.G", "relay air:Y1 air:R air:G"),
    ],
)
def test_what_hands_did_agrees_live(works: tuple[str, ...], ngspice: str) -> None:
    """With wires lifted, moved, twisted, a jumper or relay in, a plug pulled, ngspice agrees."""
    bench = bench_for("full-cable", "", "cool-2")
    bench.set_hands(works)
    assert disagreements(bench.solution, run_ngspice(bench.to_spice(), ngspice)) == {}


@pytest.mark.parametrize("case", BOOK["cases"](live=False), ids=lambda case: label(*case))
def test_every_terminal_agrees_with_the_recording(case: tuple[str, str, str]) -> None:
    """The recorded magnitudes are the bench's; after a change of the model, record again (see README)."""
    nodes, magnitudes = RECORDED["nodes of " + case[0]], RECORDED[label(*case)]
    ours = {spice_name(node): volts for node, volts in bench_for(*case).solution.volts.items()}
    theirs = dict(zip(nodes, magnitudes, strict=True))
    assert set(theirs) <= set(ours)
    assert {name: (ours[name], v) for name, v in theirs.items() if not close(ours[name], v)} == {}


def test_enough_is_recorded() -> None:
    """Every demo job is there in all calls, and under at least ten faults; nothing recorded is left over."""
    for job in demo_names():
        assert all(label(job, "", call) in RECORDED for call in CALLS)
        assert len(BOOK["faults_of"](job)) >= 10
    extra = set(RECORDED) - {label(*case) for case in BOOK["cases"](live=False)}
    assert extra == {"program", *(f"nodes of {job}" for job in demo_names())}


@pytest.mark.ngspice
@pytest.mark.parametrize("job", [job for job in demo_names() if demo_job(job).links])
@pytest.mark.parametrize("fault", ["", "outdoor.SIG=open", "outdoor.earth=open", "outdoor.{}=short:SIG"])
def test_signal_levels_agree_at_direct_current(job: str, fault: str, ngspice: str) -> None:
    """The direct levels of a link, which decide marks and spaces, are ngspice's operating point."""
    feeds = "R" if "R" in demo_job(job).outdoor_run.conductors else "C"
    network: Network = bench_for(job, fault.format(feeds), "cool-1").network()
    levels = run_ngspice(settled_netlist(network, 0.0, "levels"), ngspice)
    levels.setdefault(spice_name(network.reference), 0j)
    assert disagreements(solve(network, 0.0), levels) == {}


@pytest.mark.ngspice
def test_names_of_any_sort_survive_the_netlist(ngspice: str) -> None:
    """A job with an accented name, 50 Hz and a second transformer runs in ngspice as well."""
    text = """
    name = "Škrabák; .end R1 a b 0"
    frequency_hz = 50.0
    [supply]
    interconnection_listed = true
    [runs.outdoor]
    arrangement = "link"
    return = "second-transformer"
    conductors = ["SIG", "C", "spare", "bad-2"]
    far_in_phase = false
    [runs.outdoor.far_supply]
    rated_va = 40.0
    interconnection_listed = true
    """
    bench = Bench(job_from_toml(text), faults=["outdoor.spare=short:C@0.123456789", "outdoor.SIG=earth@1e-5"])
    bench.set_call("heat-aux")
    bench.advance(10.0)
    assert disagreements(bench.solution, run_ngspice(bench.to_spice(), ngspice)) == {}
    # A job has no line break in its name, but whoever exports a network may put one into its title.
    titled = settled_netlist(bench.network(), 50.0, "Škrabák\n.end\nR1 a b 0")
    assert disagreements(bench.solution, run_ngspice(titled, ngspice)) == {}


def test_the_recording_notices() -> None:
    """A transformer with a tenth more resistance is enough to be found out."""
    case = ("full-cable", "", "cool-2")
    branches = bench_for(*case).network().branches
    poorer = tuple(
        replace(branch, r_ohm=1.1 * branch.r_ohm) if branch.name == "transformer air" else branch
        for branch in branches
    )
    ours = {spice_name(node): v for node, v in solve(Network(poorer, "air:C"), 60.0).volts.items()}
    theirs = zip(RECORDED["nodes of full-cable"], RECORDED[label(*case)], strict=True)
    assert sum(not close(ours[name], volts) for name, volts in theirs) > 10
