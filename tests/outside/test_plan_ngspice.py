"""The volts that a plan promises at every coil, against ngspice.

Source: ngspice, the open-source descendant of the Berkeley circuit simulator, in batch, on a netlist of the
plan's job at its worst corner: every coil that is meant to be in, in every call, to 0.1 %.
"""

from __future__ import annotations

import runpy
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.bench.wiring import Wiring
from lessonkit.copper.network import Network
from lessonkit.copper.spice import settled_netlist, spice_name
from lessonkit.job.calls import CALLS
from lessonkit.studies.corners import GROUND, LINE, unfriendly
from lessonkit.studies.plan import Planned, outdoors_of
from lessonkit.studies.survey import survey_names

BOOK = runpy.run_path(str(Path(__file__).parent / "recorded" / "record_bench.py"))
REFUSED = {"orchard-gate", "stair-hall", "fen-cottage", "long-barn"}


def in_one_deck(networks: Sequence[Network]) -> Network:
    """Return networks as one, in which they meet at their reference alone: none knows of the others.

    Node and branch X of the second one are called "state-1 X" there.
    """
    reference = networks[0].reference

    def own(k: int, node: str) -> str:
        return node if node == reference else f"state-{k} {node}"

    branches = (
        replace(branch, name=f"state-{k} {branch.name}", a=own(k, branch.a), b=own(k, branch.b))
        for k, network in enumerate(networks)
        for branch in network.branches
    )
    return Network(tuple(branches), reference)


@pytest.mark.ngspice
@pytest.mark.parametrize("name", [name for name in survey_names() if name not in REFUSED])
def test_a_plan_s_volts_are_those_of_ngspice(
    name: str, ngspice: str, plan_of: Callable[[str], Planned]
) -> None:
    """The lowest volts of each coil over all calls at the worst corner are the plan's, to 0.1 %."""
    best = plan_of(name).plans[0]
    ground = GROUND[-1] if best.arrangement.return_by == "earth" else GROUND[0]
    corner = unfriendly(best.arrangement.job, LINE[0], ground).with_equipment(short_cycle_s=0.0)
    states: dict[Network, set[str]] = {}
    for outdoor_c in outdoors_of(corner):
        for call in CALLS:
            bench = Bench(corner, outdoor_c=outdoor_c)
            bench.set_call(call)
            coils = bench.advance(20.0).coils
            states[bench.network()] = {coil for coil in best.coils if coils[coil].sealed}
    deck = in_one_deck([*states])
    node_v = BOOK["run_ngspice"](settled_netlist(deck, corner.frequency_hz, name), ngspice)
    lowest: dict[str, float] = {}
    for k, sealed in enumerate(states.values()):
        for coil in sealed:
            at = Wiring(corner).coils[coil]
            hot, home = (node_v.get(spice_name(f"state-{k} {node}"), 0j) for node in (at.a, at.b))
            lowest[coil] = min(abs(hot - home), lowest.get(coil, abs(hot - home)))
    assert lowest == pytest.approx({coil: one.volts for coil, one in best.coils.items()}, rel=1e-3)
