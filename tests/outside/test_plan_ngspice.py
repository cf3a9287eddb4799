"""The volts that a plan promises at every coil, against ngspice.

Source: ngspice, the open-source descendant of the Berkeley circuit simulator, in batch, on the netlist that
the bench writes of the plan's job at its worst corner: every coil that is meant to be in, in every call, to
0.1 %.
"""

from __future__ import annotations

import runpy
from pathlib import Path

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.bench.wiring import Wiring
from lessonkit.copper.spice import spice_name
from lessonkit.job.calls import CALLS
from lessonkit.studies.corners import GROUND, LINE, unfriendly
from lessonkit.studies.plan import outdoors_of, plan
from lessonkit.studies.survey import survey_names

BOOK = runpy.run_path(str(Path(__file__).parent / "recorded" / "record_bench.py"))
REFUSED = {"orchard-gate", "stair-hall", "fen-cottage", "long-barn"}


@pytest.mark.ngspice
@pytest.mark.parametrize("name", [name for name in survey_names() if name not in REFUSED])
def test_a_plan_s_volts_are_those_of_ngspice(name: str, ngspice: str) -> None:
    """The lowest volts of each coil over all calls at the worst corner are the plan's, to 0.1 %."""
    best = plan(name).plans[0]
    ground = GROUND[-1] if best.arrangement.return_by == "earth" else GROUND[0]
    corner = unfriendly(best.arrangement.job, LINE[0], ground).with_equipment(short_cycle_s=0.0)
    lowest: dict[str, float] = {}
    for outdoor_c in outdoors_of(corner):
        for call in CALLS:
            bench = Bench(corner, outdoor_c=outdoor_c)
            bench.set_call(call)
            sealed = bench.advance(20.0).coils
            node_v = BOOK["run_ngspice"](bench.to_spice(), ngspice)
            for coil, at in Wiring(corner).coils.items():
                if coil in best.coils and sealed[coil].sealed:
                    volts = abs(node_v[spice_name(at.a)] - node_v.get(spice_name(at.b), 0j))
                    lowest[coil] = min(volts, lowest.get(coil, volts))
    assert lowest == pytest.approx({coil: one.volts for coil, one in best.coils.items()}, rel=1e-3)
