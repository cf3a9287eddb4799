"""A plan with a shared conductor against ngspice, on the whole circuit with its diodes.

Source: ngspice, the open-source descendant of the Berkeley circuit simulator, in batch.  It runs the site of
the plan at its worst corner through time: transformer, copper, boards and coils of the bench's own circuit,
and in the place of each relay's stand-in two diodes at either end, the relay's coil and its freewheel diode.
"""

from __future__ import annotations

import math
import runpy
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from lessonkit.copper.elements import Branch, Diode, Resistance, Winding
from lessonkit.copper.network import Network
from lessonkit.studies.arrangements import Arrangement, arrangements
from lessonkit.studies.cases import Case, Rest, rest
from lessonkit.studies.corners import LINE, unfriendly
from lessonkit.studies.half_wave import RELAY, Shared, SharedWire, is_shared_relay, read_pair, relay_at
from lessonkit.studies.survey import Survey, WallConductor, WallRun

BOOK = runpy.run_path(str(Path(__file__).parent / "recorded" / "record_transient.py"))
CYCLE_S = 1 / 60


@cache
def sharing() -> Arrangement:
    """Return an arrangement in which both runs share a conductor between Y1 and Y2."""

    def sound(names: str) -> tuple[WallConductor, ...]:
        return tuple(WallConductor(name, True, 1.0, 50.0) for name in names)

    runs = (WallRun("thermostat", sound("mnopqrs"), 24.0, 18), WallRun("outdoor", sound("abcde"), 24.0, 18))
    survey = Survey("Cooper's Yard 3", runs, rated_va=75.0, fuse_a=5.0, bonded=False)
    return next(how for how in arrangements(survey) if len(how.shared) == 2)


def with_diodes(end: Rest, pairs: tuple[Shared, ...]) -> Network:
    """Return the circuit of an end with every stand-in of a relay replaced by what it stands for."""
    branches: list[Branch] = []
    shared = {relay_at(pair.run, t): (pair, t) for pair in pairs for t in pair.terminals}
    ways = {f"{pair.run}.{t}#0" for pair in pairs for t in pair.terminals}
    for branch in end.wiring.network(end.settled.on).branches:
        if branch.name in ways or (isinstance(branch, Resistance) and branch.r_ohm == math.inf):
            continue
        if branch.name.startswith("coil ") and is_shared_relay(branch.name.removeprefix("coil ")):
            pair, terminal = shared[branch.name.removeprefix("coil ")]
            up = terminal == pair.first
            near = next(b for b in end.wiring.template.branches if b.name == f"{pair.run}.{terminal}#0").a
            wire = f"{pair.run}-shared"
            for name, one, two in (("near", near, f"{wire}-near"), ("far", f"{wire}-far", branch.a)):
                branches.append(Diode(f"{name} {branch.name}", *((one, two) if up else (two, one))))
            branches.append(Winding(f"relay {branch.name}", branch.a, branch.b, RELAY.r_ohm, RELAY.l_henry))
            branches.append(Resistance(f"iron {branch.name}", branch.a, branch.b, RELAY.loss_ohm))
            back = (branch.b, branch.a) if up else (branch.a, branch.b)
            branches.append(Diode(f"freewheel {branch.name}", *back))
        else:
            branches.append(branch)
    for pair in pairs:
        ohm = end.wiring.job.runs[pair.run].ohm_of(pair.first)
        wire = f"{pair.run}-shared"
        branches.append(Resistance(f"conductor {wire}", f"{wire}-near", f"{wire}-far", ohm))
        branches.append(Resistance(f"leak {wire}", f"{wire}-far", "air:C", 1e9))
    return Network(tuple(replace(b, a=plain(b.a), b=plain(b.b)) for b in branches), plain("air:C"))


def plain(node: str) -> str:
    """Return a node as the recorder of waves through time names it."""
    return node.replace(":", "_").replace("-", "_").lower()


@pytest.mark.ngspice
@pytest.mark.parametrize("call", ["cool-1", "cool-2"])
def test_a_shared_conductor_is_that_of_ngspice(call: str, ngspice: str) -> None:
    """Every coil has the plan's RMS volts to 0.1 %, and each relay the mean volts that the plan reads."""
    how = sharing()
    corner = unfriendly(how.job, LINE[0], 1.0)
    wire = SharedWire(how.shared)
    end = rest(corner, [Case(call)], wire=wire)[0]
    network = with_diodes(end, how.shared)
    BOOK["CASES"]["shared"] = (network, 10 * CYCLE_S, CYCLE_S / 256, "rest")
    seen = BOOK["run_ngspice"]("shared", ngspice)
    time_s = np.arange(8 * 256, 10 * 256) * CYCLE_S / 256
    wave = BOOK["on_grid"](seen, time_s) | {plain("air:C"): np.zeros(time_s.size)}
    for name in sorted(end.settled.latches.sealed):
        at = end.wiring.coils[name]
        across = wave[plain(at.a)] - wave[plain(at.b)]
        if is_shared_relay(name):
            continue
        rms_v = math.sqrt(float(np.mean(across**2)))
        assert abs(end.settled.solution.v(at.a, at.b)) == pytest.approx(rms_v, rel=1e-3), name
    for pair in how.shared:
        reading = read_pair(pair, [end], [end], "line at 95%")
        at = end.wiring.coils[relay_at(pair.run, reading.weaker)]
        mean_v = abs(float(np.mean(wave[plain(at.a)] - wave[plain(at.b)])))
        assert reading.least_v == pytest.approx(mean_v, rel=1e-2)
        assert reading.least_v <= mean_v * 1.005  # rounded to the unfriendly side
