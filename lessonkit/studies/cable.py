"""A cable tested with hands and a meter: ring it out, find the short, find the break, halve what is left.

    bench = Bench("two-run", faults=["outdoor.SIG=open@0.3"])
    ring_out(bench, "outdoor").opens
    locate_open(bench, "outdoor", "SIG").distance_m
    prove_insulation(bench, "outdoor").weak

Nothing here looks at the faults: wires are lifted at both ends, twisted at the far end, and read at the near
one, in the minutes that this takes (`hands`). Afterwards every wire is back where it was, and the power stays
off.

Formulas (L the length, r the ohms of one conductor for each metre, A the near end, B the far end):

    short, far ends loose    d = L / 2 + (R_A - R_B) / (4 r)      the touch's own ohms fall out
    open, all others joined  d = L C_A / (C_A + C_B)              each piece is as long as it is capacious

From one end alone the touch's own resistance counts as cable: half an ohm is 12 m of 18 AWG and back.

Shown last in a cell, each result is the table that belongs on the work sheet.

Where the model stops: ends are told apart by their jackets, so a conductor that sits on a wrong terminal is
not found here; two faults on one conductor are located as one.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from lessonkit.bench.bench import Bench
from lessonkit.bench.hands import Hands
from lessonkit.bench.insulation import LIMIT_OHM
from lessonkit.bench.layout import conductor_node
from lessonkit.bench.meter import Meter
from lessonkit.bench.plugs import loose_node
from lessonkit.bench.reading import Reading
from lessonkit.errors import require, require_positive
from lessonkit.job.model import RUN_ENDS
from lessonkit.job.parts import RATED_V

__all__ = [
    "HalfSplit",
    "InsulationTest",
    "Located",
    "RingOut",
    "half_split",
    "locate_open",
    "locate_short",
    "open_distance",
    "prove_insulation",
    "ring_out",
    "short_distance",
]

#: A loop that reads more than this share of what its length and gauge give is poor (a guide specification's
#: sentence, as quoted by others).
POOR_ABOVE = 1.2
#: Two conductors with less between them touch: good insulation is a thousand times more.
TOUCHES_BELOW_OHM = 100e3


def short_distance(near_ohm: float, far_ohm: float, length: float, ohm_per_length: float) -> float:
    """Return how far a short is from the near end, from ohms at both.

    Both ends are read with the other end loose. `length` is in any unit, `ohm_per_length` those of one
    conductor for each such unit.
    """
    require_positive("ohm_per_length", ohm_per_length)
    return require_positive("length", length) / 2 + (near_ohm - far_ohm) / (4 * ohm_per_length)


def open_distance(near_farad: float, far_farad: float, length: float) -> float:
    """Return how far a break is from the near end.

    The capacitances of both pieces may be in any unit, or in the feet or metres that a meter makes of them.
    """
    both = require_positive("near_farad", near_farad, zero_ok=True) + require_positive(
        "far_farad", far_farad, zero_ok=True
    )
    return require_positive("length", length) * near_farad / require_positive("both together", both)


def _table(head: str, rows: Sequence[Sequence[str]]) -> str:
    """Return a table in Markdown; `head` is its first line, without the outer bars."""
    lines = [head, " | ".join("---" for _ in head.split("|")), *(" | ".join(row) for row in rows)]
    return "\n".join(f"| {line} |" for line in lines)


@dataclass(frozen=True)
class RingOut:
    """What ringing out a run has shown.

    `loops` are the readings at the near end with all ends twisted together at the far one, by pair; `ohms`
    what each conductor alone must then have; `opens`, `poor` and `shorts` name what is bad; `minutes` is
    what it took.
    """

    run: str
    loops: Mapping[tuple[str, str], Reading]
    ohms: Mapping[str, float]
    opens: tuple[str, ...]
    poor: tuple[str, ...]
    shorts: tuple[tuple[str, str], ...]
    minutes: float

    @property
    def sound(self) -> tuple[str, ...]:
        """Return the conductors with nothing against them."""
        bad = {*self.opens, *self.poor, *(name for pair in self.shorts for name in pair)}
        return tuple(name for name in self.ohms if name not in bad)

    def found(self, name: str) -> str:
        """Return what was found of a conductor, in words."""
        words = [f"touches {two if name == one else one}" for one, two in self.shorts if name in (one, two)]
        words += ["open"] if name in self.opens else []
        words += ["poor"] if name in self.poor else []
        return ", ".join(words) or "sound"

    def _rows(self) -> list[tuple[str, str, str, str, str]]:
        rows = []
        for name, ohm in self.ohms.items():
            pair = next((pair for pair in self.loops if pair[1] == name), next(iter(self.loops)))
            partner = pair[0] if pair[1] == name else pair[1]
            alone = f"{ohm:.2f} ohm" if math.isfinite(ohm) else "none"
            rows.append((name, partner, str(self.loops[pair]), alone, self.found(name)))
        return rows

    def __str__(self) -> str:
        lines = [
            f"{name:8} with {partner:8} {loop:>10}, alone {alone:>9}: {found}"
            for name, partner, loop, alone, found in self._rows()
        ]
        return "\n".join([*lines, f"{self.minutes:g} minutes"])

    def _repr_markdown_(self) -> str:
        head = "conductor | read with | loop | it alone | found"
        return f"{_table(head, self._rows())}\n\nThis took {self.minutes:g} minutes."


@dataclass(frozen=True)
class Located:
    """A fault found from both ends: the readings there, its distance from the near end, the minutes."""

    near: Reading
    far: Reading
    distance_m: float
    minutes: float

    def __str__(self) -> str:
        return (
            f"{self.near!r}\n{self.far!r}\n{self.distance_m:.1f} m from the near end "
            f"({self.minutes:g} minutes)"
        )

    def _repr_markdown_(self) -> str:
        rows = [(what, *read.probes, str(read)) for what, read in (("near", self.near), ("far", self.far))]
        found = f"**{self.distance_m:.1f} m** from the near end. This took {self.minutes:g} minutes."
        return f"{_table('end | red probe | black probe | reading', rows)}\n\n{found}"


def _loosen(bench: Bench, run: str) -> tuple[Hands, Meter, dict[str, tuple[str, str]]]:
    """Open the disconnect, lift every conductor at both ends; return the loose nodes, near and far."""
    require(run in bench.job.runs, "run", run, f"one of {', '.join(bench.job.runs)}")
    hands = Hands(bench)
    if bench.powered:
        hands.power(False)
    nodes: dict[str, list[str]] = {name: [] for name in bench.job.runs[run].conductors}
    for place in RUN_ENDS[run]:
        hands.lift_all(run, place)
        for name in nodes:
            nodes[name].append(loose_node(f"{place}:{run}.{name}", conductor_node(run, name, place)))
    return hands, Meter(bench), {name: (ends[0], ends[1]) for name, ends in nodes.items()}


def _read(hands: Hands, reads: Callable[[str, str], Reading], red: str, black: str) -> Reading:
    hands.probe(red, black)
    return reads(red, black)


def ring_out(bench: Bench, run: str) -> RingOut:
    """Ring out a run: shorts first, then every conductor's loop.

    With all ends loose each pair is read for a touch. Then all far ends are twisted together, and each
    conductor is read at the near end against one that is whole; one loop more tells what that one has itself.
    """
    kept = bench.hands
    hands, meter, nodes = _loosen(bench, run)
    far, names = RUN_ENDS[run][1], list(nodes)

    def ohms(one: str, other: str) -> Reading:
        return _read(hands, meter.ohms, nodes[one][0], nodes[other][0])

    shorts = tuple(pair for pair in combinations(names, 2) if ohms(*pair) < TOUCHES_BELOW_OHM)
    hands.twist(far, *(f"{run}.{name}" for name in names))
    loops: dict[tuple[str, str], Reading] = {}
    closed: list[str] = []
    for k, first in enumerate(names):
        loops |= {(first, other): ohms(first, other) for other in names[k + 1 :]}
        closed = [other for other in names[k + 1 :] if math.isfinite(loops[first, other])]
        if closed:
            break  # `first` is whole, and so is each that closed with it; all the rest are broken
    if len(closed) > 1:
        loops[closed[0], closed[1]] = ohms(closed[0], closed[1])
    bench.set_hands(kept)
    each = _each_ohm(first, closed, loops)
    limit = POOR_ABOVE * bench.job.runs[run].conductor_ohm + 0.05
    opens = tuple(name for name in names if name not in each)
    poor = tuple(name for name, ohm in each.items() if ohm > limit)
    return RingOut(run, loops, {n: each.get(n, math.inf) for n in names}, opens, poor, shorts, hands.minutes)


def _each_ohm(
    first: str, closed: Sequence[str], loops: Mapping[tuple[str, str], Reading]
) -> dict[str, float]:
    """Return the ohms of each whole conductor, from three loops of two each; of two alone, half the loop."""
    if not closed:
        return {}
    loop = {other: loops[first, other].value for other in closed}
    first_ohm = loop[closed[0]] / 2
    if len(closed) > 1:
        first_ohm = (loop[closed[0]] + loop[closed[1]] - loops[closed[0], closed[1]].value) / 2
    return {first: first_ohm} | {other: ohm - first_ohm for other, ohm in loop.items()}


def locate_short(bench: Bench, run: str, one: str, other: str) -> Located:
    """Find how far along a run two conductors touch.

    It reads ohms at both ends, the other end loose.

    Raises `BadParameter` where they don't touch.
    """
    kept = bench.hands
    hands, meter, nodes = _loosen(bench, run)
    for name in (one, other):
        require(name in nodes, "conductor", name, f"one of {', '.join(nodes)}")
    near, far = (_read(hands, meter.ohms, nodes[one][k], nodes[other][k]) for k in (0, 1))
    bench.set_hands(kept)
    cable = bench.job.runs[run]
    require(near < TOUCHES_BELOW_OHM, f"{one} to {other}", str(near), "a touch to look for")
    metre_ohm = cable.conductor_ohm / cable.length_m
    return Located(near, far, short_distance(near, far, cable.length_m, metre_ohm), hands.minutes)


def locate_open(bench: Bench, run: str, conductor: str) -> Located:
    """Find how far along a run a conductor is broken.

    It reads the capacitance of both pieces.

    All other conductors are twisted together, so that each piece has its neighbours' whole capacitance.
    """
    kept = bench.hands
    hands, meter, nodes = _loosen(bench, run)
    require(conductor in nodes, "conductor", conductor, f"one of {', '.join(nodes)}")
    others = [name for name in nodes if name != conductor]
    if len(others) > 1:
        hands.twist(RUN_ENDS[run][0], *(f"{run}.{name}" for name in others))
    near, far = (_read(hands, meter.capacitance, nodes[conductor][k], nodes[others[0]][k]) for k in (0, 1))
    bench.set_hands(kept)
    length_m = bench.job.runs[run].length_m
    return Located(near, far, open_distance(near, far, length_m), hands.minutes)


@dataclass(frozen=True)
class InsulationTest:
    """The insulation of a run: ohms of each conductor to all others together, and to grounded metal.

    `weak` names the conductors with less than half a megohm either way; `minutes` is what it took.
    """

    run: str
    to_others: Mapping[str, Reading]
    to_ground: Mapping[str, Reading]
    weak: tuple[str, ...]
    minutes: float

    def _rows(self) -> list[tuple[str, str, str, str]]:
        return [
            (name, str(others), str(self.to_ground[name]), "weak" if name in self.weak else "sound")
            for name, others in self.to_others.items()
        ]

    def __str__(self) -> str:
        return "\n".join(
            f"{name:8} to the others {others:>11}, to ground {ground:>11}: {found}"
            for name, others, ground, found in self._rows()
        )

    def _repr_markdown_(self) -> str:
        head = "conductor | to all others | to grounded metal | found"
        return f"{_table(head, self._rows())}\n\nThis took {self.minutes:g} minutes."


def prove_insulation(bench: Bench, run: str, test_v: int = 250) -> InsulationTest:
    """Test the insulation of a run, all its ends lifted.

    At the air handler each conductor is read against all others twisted together, then against grounded
    metal. It passes with half a megohm or more both ways (BS 7671, minimum for circuits of extra-low voltage
    at 250 V direct).
    """
    kept = bench.hands
    hands, meter, nodes = _loosen(bench, run)
    loose, end = bench.hands, RUN_ENDS[run].index("air")

    def ohms(red: str, black: str) -> Reading:
        return _read(hands, lambda one, other: meter.insulation(one, other, test_v), red, black)

    to_others, to_ground = {}, {}
    for name, ends in nodes.items():
        others = [other for other in nodes if other != name]
        if len(others) > 1:
            hands.twist("air", *(f"{run}.{other}" for other in others))
        to_others[name] = ohms(ends[end], nodes[others[0]][end])
        bench.set_hands(loose)
        to_ground[name] = ohms(ends[end], "air:GND")
    bench.set_hands(kept)
    weak = tuple(name for name in nodes if min(to_others[name], to_ground[name]) < LIMIT_OHM)
    return InsulationTest(run, to_others, to_ground, weak, hands.minutes)


@dataclass(frozen=True)
class HalfSplit:
    """Between which two points something is lost, and the points that were read on the way.

    `readings` are the volts there, where a meter read them.
    """

    between: tuple[str, str]
    read: tuple[str, ...]
    readings: tuple[Reading, ...] = ()

    def __str__(self) -> str:
        shown = self.readings or self.read
        return "\n".join([*map(repr, shown), f"lost between {self.between[0]} and {self.between[1]}"])

    def _repr_markdown_(self) -> str:
        found = f"Lost between **{self.between[0]}** and **{self.between[1]}**."
        if not self.readings:
            return f"Read at {', '.join(self.read) or 'no point'}. {found}"
        rows = [(str(k), *read.probes, str(read)) for k, read in enumerate(self.readings, 1)]
        return f"{_table('no. | red probe | black probe | reading', rows)}\n\n{found}"


def half_split(points: Sequence[str], is_there: Callable[[str], bool] | Meter) -> HalfSplit:
    """Find where along a chain something is lost, by halving.

    `points` go from where it is known to be there to where it is known to be missing. `is_there` reads one,
    such as `lambda point: meter.volts(point) > 20`; a `Meter` reads its volts against C of the same place,
    with a low impedance so that no ghost counts, and takes half the rated volts or more for there. A chain
    of n pieces takes about log2 n readings.
    """
    require(len(points) >= 2, "points", list(points), "at least two: one good, one bad")
    good, bad, read = 0, len(points) - 1, []
    readings: list[Reading] = []
    while bad - good > 1:
        middle = (good + bad) // 2
        read.append(points[middle])
        if isinstance(is_there, Meter):
            readings.append(is_there.volts(points[middle], setting="low"))
            there = readings[-1] >= RATED_V / 2
        else:
            there = is_there(points[middle])
        good, bad = (middle, bad) if there else (good, middle)
    return HalfSplit((points[good], points[bad]), tuple(read), tuple(readings))
