"""Ghosts: terminals that show volts and can deliver nothing.

A conductor that hangs loose lies beside live ones for its whole length, and their capacitance lifts it to as
much as half the supply. A meter of high impedance believes it; a load of a few kilohms takes it away. That is
the test here, on the same circuit that decides everything else.
"""

from __future__ import annotations

from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import INPUT_OHM
from lessonkit.copper.network import Resistance, solve_many
from lessonkit.draw.looks import LIVE_V, reference
from lessonkit.job.calls import PLACES

__all__ = ["ghost_nodes"]

#: What can leave a terminal hanging; without one of these, no search is made.
_LOOSENING = frozenset({"open", "burnt-out", "swapped", "stuck-open", "dead", "resistance"})


def ghost_nodes(bench: Bench) -> frozenset[str]:
    """Return the nodes that look live and lose half their volts at a low-impedance meter."""
    if not any(fault.kind in _LOOSENING for fault in bench.faults):
        return frozenset()
    solution, state = bench.solution, bench.state
    against = {place: reference(state, bench.job, place) for place in PLACES}
    looks_live = {}
    for node in state.volts:
        common = against[node.partition(":")[0]]
        if not node.endswith((":R", ":C", ":XFMR", ":GND")) and abs(solution.v(node, common)) >= LIVE_V:
            looks_live[node] = common
    if not looks_live:
        return frozenset()
    loaded = [
        bench.network(extra=(Resistance("meter", node, common, INPUT_OHM["low"], "meter"),))
        for node, common in looks_live.items()
    ]
    after = solve_many(loaded, bench.job.frequency_hz)
    return frozenset(
        node
        for (node, common), with_load in zip(looks_live.items(), after, strict=True)
        if abs(with_load.v(node, common)) < 0.5 * abs(solution.v(node, common))
    )
