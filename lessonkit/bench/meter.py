"""A meter on a bench: volts, ohms, amperes, capacitance, and an insulation tester.

A meter is part of the circuit that it measures.  With its high input impedance it hardly loads anything,
and so it shows the ghost voltage that a broken conductor picks up from its neighbours; with its low one it
loads the ghost away and leaves what can deliver current.  An ohmmeter sends a current of its own, so it
needs a dead circuit; on a live one its reading would be nonsense and the meter could be damaged: it
refuses, and says why.  So do the capacitance range and the insulation tester.

    volts        alternating volts, RMS: a true-RMS meter, or an averaging one marked for a sine
    dc_volts     the mean: the level of a signal, the direct part of a half-wave
    ohms         every parallel path included, the leads' own resistance taken off
    amps         a clamp around a conductor, a whole cable, a fuse's or a coil's wire
    capacitance  between two points with nothing else between them
    insulation   at 250 or 500 V direct, refused while electronics hang on

Every reading has the digits and the band of a real meter (`reading`).  The black probe starts at C of the
place where the red one is.

Where the model stops: no burden in amperes ranges, no crest-factor error; a conductor's capacitance is that
to its two neighbours.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from types import MappingProxyType

from lessonkit.bench.bench import Bench
from lessonkit.bench.insulation import TEST_V, TESTER_A, WouldDestroy, electronics_in
from lessonkit.bench.plugs import branches_of_boards, unplugged
from lessonkit.bench.reading import Reading
from lessonkit.bench.state import GHOST_LOAD_OHM
from lessonkit.bench.waves import between
from lessonkit.copper import meters
from lessonkit.copper.elements import Source
from lessonkit.copper.network import Network, UnknownNode, solve
from lessonkit.errors import BadParameter, LessonError, require
from lessonkit.job.calls import PLACES

__all__ = ["CLAMP_LEAST_A", "METER_OHM", "LiveCircuit", "Meter", "WouldDestroy"]

#: Input impedances in ohms: 10 Mohm and about 3 kohm. Both are common practice; meters sold as "low
#: impedance" have from 2 to 300 kohm, so the ohms have to be said.
METER_OHM = MappingProxyType({"high": 10e6, "low": GHOST_LOAD_OHM})

#: What an alternating range makes of a wave that is no sine.
RESPONSES = ("true-rms", "average")

#: An ohmmeter's own source, and where it gives up and shows OL.
_OHMS_V, _OHMS_SOURCE_OHM, _OVERLOAD_OHM = 0.5, 1000.0, 50e6

#: More than this between the probes and the circuit is not dead.
DEAD_BELOW_V = 0.1

#: A clamp shows nothing below this: its core and the field of the house are worth as much (common practice).
CLAMP_LEAST_A = 0.05

#: A capacitance range works at a few hundred hertz, and gives up where more leaks than charges.
_CAPACITANCE_HZ = 400.0


class LiveCircuit(LessonError, RuntimeError):
    """Something that needs a dead circuit was asked for on one that is not dead."""


class Meter:
    """A meter with two probes on a bench.

    Parameters: `bench` is the `Bench` to measure on; `response` is "true-rms" or "average", what its
    alternating volts range is.  Probes touch nodes such as "air:R"; `nodes()` lists them.
    """

    def __init__(self, bench: Bench, response: str = "true-rms") -> None:
        require(response in RESPONSES, "response", response, f"one of {', '.join(RESPONSES)}")
        self.bench = bench
        self.response = response

    def nodes(self) -> tuple[str, ...]:
        """Return the nodes that a probe can touch: terminals and loose ends, not the inside of a cable."""
        names = self.bench.network().nodes
        return tuple(sorted((n for n in names if n.partition(":")[0] in PLACES), key=_by_place))

    def _check(self, probes: Iterable[str]) -> None:
        nodes = self.nodes()
        for node in probes:
            if node not in nodes:
                raise UnknownNode(node, nodes)

    def _probes(self, red: str, black: str | None) -> tuple[str, str]:
        """Return both probes, checked; the black one starts at C of the place where the red one is."""
        place = red.partition(":")[0] if isinstance(red, str) else ""
        probes = red, f"{place}:C" if black is None else black
        self._check(probes)
        return probes

    def volts(self, red: str, black: str | None = None, setting: str = "high") -> Reading:
        """Return the alternating volts between two nodes, RMS.

        `setting` is "high" (10 Mohm) or "low" (about 3 kohm); the meter loads the circuit while it
        measures, and the coils stay where they are for that moment. Frames on SIG count with the share of
        time that they take, as far as a meter of this response hears them through its capacitor.
        """
        if not isinstance(setting, str) or setting not in METER_OHM:
            raise BadParameter("meter setting", setting, "high or low (the input impedance)")
        red, black = self._probes(red, black)
        if red == black:
            return Reading(0.0, "V", (red, black), setting)
        found = between(self.bench, red, black, METER_OHM[setting])
        shown = found.ac_v if found.is_steady else meters.KINDS[self.response](found.wave)
        return Reading(shown, "V", (red, black), setting)

    def dc_volts(self, red: str, black: str | None = None) -> Reading:
        """Return the direct volts of red against black: the mean over an interval of polls (10 Mohm)."""
        red, black = self._probes(red, black)
        if red == black:
            return Reading(0.0, "V", (red, black), "dc")
        found = between(self.bench, red, black, METER_OHM["high"])
        return Reading(meters.mean_of(found.direct_v), "V", (red, black), "dc")

    def ohms(self, red: str, black: str | None = None) -> Reading:
        """Return the resistance between two nodes of a dead circuit, every parallel path included.

        Raises `LiveCircuit` while the bench has power: open the disconnect and prove it dead first.
        """
        red, black = self._probes(red, black)
        self._dead("ohms", red, black)
        if red == black:
            return Reading(0.0, "ohm", (red, black), "ohms")
        ohm = _direct_ohm(self.bench.network_at_rest(), red, black, _OHMS_V, _OHMS_SOURCE_OHM)
        return Reading(ohm if ohm < _OVERLOAD_OHM else math.inf, "ohm", (red, black), "ohms")

    def amps(self, around: str, turns: int = 1) -> Reading:
        """Return the amperes (RMS) that a clamp reads, live or dead.

        `around` is a conductor such as "outdoor.R" (at its near end), a whole cable such as "outdoor" (what
        goes out and comes back in it cancels, so the rest has gone another way), "outdoor.earth", or a wire
        at a fuse or coil, such as "air:fuse" or "out:contactor". With the wire wound through the jaws in
        `turns`, the clamp sees as many times the current, and the reading is divided again: the trade's way
        to read little (common practice). Below 0.05 A at the jaws it shows nothing.
        """
        known = [*self.bench.state.amps, *self.bench.job.runs]
        require(around in known, "around", around, f"one of {', '.join(known)}")
        whole = isinstance(turns, int) and not isinstance(turns, bool)
        require(whole and 1 <= turns <= 20, "turns", turns, "a whole number from 1 to 20")
        seen_a = turns * abs(self._current_a(around))
        return Reading(seen_a / turns if seen_a >= CLAMP_LEAST_A else 0.0, "A", (around,), "clamp")

    def _current_a(self, around: str) -> complex:
        solution, runs = self.bench.solution, self.bench.job.runs
        if around in runs:
            return sum((solution.a(f"{around}.{name}#0") for name in runs[around].conductors), 0j)
        if around == "outdoor.earth":
            return solution.a("earth outdoor")
        if ":" not in around:
            return solution.a(f"{around}#0")
        place, _, part = around.partition(":")
        return solution.a(f"fuse {place}" if part == "fuse" else f"coil {around}")

    def capacitance(self, red: str, black: str | None = None) -> Reading:
        """Return the capacitance between two nodes of a dead circuit, in farads.

        OL where more leaks than charges: a coil, a board or a poor insulation lies across. Lift the wires
        first. Raises `LiveCircuit` while the bench has power.
        """
        red, black = self._probes(red, black)
        self._dead("capacitance", red, black)
        if red == black:
            return Reading(math.inf, "F", (red, black), "capacitance")
        y = 1 / solve(self.bench.network_at_rest(), _CAPACITANCE_HZ).thevenin(red, black).z_ohm
        farad = y.imag / (2 * math.pi * _CAPACITANCE_HZ)
        return Reading(farad if y.imag > y.real else math.inf, "F", (red, black), "capacitance")

    def insulation(self, red: str, black: str | None = None, test_v: int = 250) -> Reading:
        """Return the insulation resistance between two nodes at 250 or 500 V direct, in ohms.

        Raises `LiveCircuit` while the bench has power, and `WouldDestroy` while electronics lie across the
        probes, with the names of those that would have been lost.
        """
        require(
            isinstance(test_v, int) and test_v in TEST_V,
            "test_v",
            test_v,
            f"one of {', '.join(map(str, TEST_V))} (volts direct)",
        )
        red, black = self._probes(red, black)
        self._dead("insulation", red, black)
        setting = f"{test_v} V"
        if red == black:
            return Reading(0.0, "ohm", (red, black), setting)
        network = self.bench.network_at_rest()
        own = branches_of_boards(self.bench.job, network.place_of)
        plugged = {board: own[board] for board in own.keys() - unplugged(self.bench.hands)}
        if lost := electronics_in(network, dict(sorted(plugged.items())), red, black):
            raise WouldDestroy(lost, test_v, red, black)
        ohm = _direct_ohm(network, red, black, float(test_v), test_v / TESTER_A)
        return Reading(ohm if ohm < TEST_V[test_v] else math.inf, "ohm", (red, black), setting)

    def is_dead(self, red: str, black: str | None = None) -> bool:
        """Return whether volts readings, alternating and direct, show nothing: prove it before touching."""
        return self.volts(red, black).value < DEAD_BELOW_V and abs(self.dc_volts(red, black)) < DEAD_BELOW_V

    def _dead(self, what: str, red: str, black: str) -> None:
        """Refuse what needs a dead circuit while the power is on."""
        if self.bench.powered:
            raise LiveCircuit(
                f"{what} from {red} to {black} refused: the power is still on, whatever the probes show "
                f"({self.volts(red, black).value:.1f} V between them); "
                "open the disconnect, prove it dead with a volts reading, then measure"
            )


def _direct_ohm(network: Network, red: str, black: str, volts: float, source_ohm: float) -> float:
    """Return the ohms that a direct source of some volts behind some ohms finds between two nodes."""
    probe = Source("meter", red, black, source_ohm, 0j, volts, note="ohmmeter")
    solution = solve(Network((*network.branches, probe), network.reference), 0.0)
    shown_v = solution.v(red, black).real
    current_a = (volts - shown_v) / source_ohm
    return shown_v / current_a if current_a > 0 else math.inf


def _by_place(node: str) -> tuple[int, str]:
    place = node.partition(":")[0]
    return PLACES.index(place), node
