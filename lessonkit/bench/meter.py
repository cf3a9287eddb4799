"""A meter on a bench: volts and ohms.

A meter is part of the circuit that it measures.  With its high input impedance it hardly loads anything,
and so it shows the ghost voltage that a broken conductor picks up from its neighbours; with its low one it
loads the ghost away and leaves what can deliver current.  An ohmmeter sends a current of its own, so it
needs a dead circuit; on a live one its reading would be nonsense and the meter could be damaged: it
refuses, and says why.

All volts are RMS at the supply frequency.  Where the model stops: no burden in amperes ranges, no lead
resistance, no crest-factor error, and the direct-current level of a signal doesn't show in an
alternating-current range.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from types import MappingProxyType

from lessonkit.bench.bench import Bench
from lessonkit.bench.reading import Reading
from lessonkit.bench.state import GHOST_LOAD_OHM
from lessonkit.copper.elements import Source
from lessonkit.copper.network import UnknownNode, solve
from lessonkit.errors import BadParameter, LessonError
from lessonkit.job.calls import PLACES

#: Input impedances in ohms: 10 Mohm and about 3 kohm (common practice for digital multimeters and their
#: low-impedance setting).
METER_OHM = MappingProxyType({"high": 10e6, "low": GHOST_LOAD_OHM})

#: An ohmmeter's own source, and where it gives up and shows OL.
_OHMS_V, _OHMS_SOURCE_OHM, _OVERLOAD_OHM = 0.5, 1000.0, 50e6

#: More than this between the probes and the circuit is not dead.
DEAD_BELOW_V = 0.1


class LiveCircuit(LessonError, RuntimeError):
    """Ohms were asked for on a circuit that is not dead."""


class Meter:
    """A meter with two probes on a bench.

    Parameters: `bench` is the `Bench` to measure on.  Probes touch nodes such as "air:R"; `nodes()` lists
    them.
    """

    def __init__(self, bench: Bench) -> None:
        self.bench = bench

    def nodes(self) -> tuple[str, ...]:
        """Return the nodes that a probe can touch: terminals, not the inside of a cable."""
        names = self.bench.network().nodes
        return tuple(sorted((n for n in names if n.partition(":")[0] in PLACES), key=_by_place))

    def _check(self, probes: Iterable[str]) -> None:
        for node in probes:
            if node not in self.nodes():
                raise UnknownNode(node, self.nodes())

    def volts(self, red: str, black: str = "air:C", setting: str = "high") -> Reading:
        """Return the RMS volts between two nodes.

        `setting` is "high" (10 Mohm) or "low" (about 3 kohm); the meter loads the circuit while it
        measures, and the coils stay where they are for that moment.
        """
        if setting not in METER_OHM:
            raise BadParameter("meter setting", setting, "high or low (the input impedance)")
        self._check((red, black))
        if red == black:
            return Reading(0.0, "V", (red, black), setting)
        loaded_v = self.bench.solution.thevenin(red, black).loaded_v(METER_OHM[setting])
        return Reading(abs(loaded_v), "V", (red, black), setting)

    def ohms(self, red: str, black: str) -> Reading:
        """Return the resistance between two nodes of a dead circuit, every parallel path included.

        Raises `LiveCircuit` while the bench has power: open the disconnect and prove it dead first.
        """
        self._check((red, black))
        if self.bench.powered:
            volts = self.volts(red, black).value
            raise LiveCircuit(
                f"ohms from {red} to {black} refused: the power is still on, whatever the probes show "
                f"({volts:.1f} V between them); "
                "open the disconnect, prove it dead with a volts reading, then measure"
            )
        if red == black:
            return Reading(0.0, "ohm", (red, black), "ohms")
        probe = Source("meter", red, black, _OHMS_SOURCE_OHM, 0j, _OHMS_V, note="ohmmeter")
        solution = solve(self.bench.network(extra=(probe,)), 0.0)
        volts = solution.v(red, black).real
        current_a = (_OHMS_V - volts) / _OHMS_SOURCE_OHM
        ohm = volts / current_a if current_a > 0 else math.inf
        return Reading(ohm if ohm < _OVERLOAD_OHM else math.inf, "ohm", (red, black), "ohms")

    def is_dead(self, red: str, black: str) -> bool:
        """Return whether a volts reading shows nothing, which is what has to be proved before touching."""
        return self.volts(red, black).value < DEAD_BELOW_V


def _by_place(node: str) -> tuple[int, str]:
    place = node.partition(":")[0]
    return PLACES.index(place), node
