"""The insulation tester, and the electronics that it would destroy.

An insulation tester puts 250 or 500 V direct on the copper and reads how little comes back. It can deliver
about a milliampere, which is harmless to a cable, a coil or a transformer, and death to a board: parts made
for 24 V stand some tens of volts. So everything with electronics in it comes off first, at both ends, and
this room says what still hangs on: it walks from each probe along whatever conducts (copper, contacts, coils,
transformers; not insulation, not leakage, and not through the boards themselves) and names each board that it
meets on both walks, because the whole test voltage would lie across it.

Values: a circuit of 24 V has at least 0.5 megohm at 250 V direct (BS 7671, table of minimum values for SELV
and PELV; the same in IEC 60364-6, from memory). A cable of 300 V is tested at 500 V (NETA acceptance
specifications, as quoted by others).

Where the model stops: a short that nobody knows of is not walked through, because nobody would; insulation
here is the same at any voltage, and does not charge up through a minute.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType

from lessonkit.copper.elements import Branch, Resistance, Source, Winding
from lessonkit.copper.network import Network
from lessonkit.errors import LessonError
from lessonkit.job.calls import PLACE_WORDS

__all__ = ["LIMIT_OHM", "TEST_V", "WouldDestroy", "attached", "electronics_in"]

#: The least that a circuit of 24 V may have, at 250 V.
LIMIT_OHM = 0.5e6

#: Test volts (direct) and the most ohms that the tester can read at each (typical, from memory).
TEST_V: Mapping[int, float] = MappingProxyType({250: 1e9, 500: 2e9})

#: Behind its test volts a tester has a resistance that lets through about 1 mA into a short.
TESTER_A = 1e-3

#: What conducts better than this is a way for the test current, and not insulation.
_CONDUCTS_OHM = 1e6


class WouldDestroy(LessonError, RuntimeError):
    """An insulation test was asked for while electronics hang on; `parts` are those that would be lost."""

    def __init__(self, parts: Sequence[str], test_v: int, red: str, black: str) -> None:
        self.parts = tuple(parts)
        self.test_v = test_v
        listed = " and the ".join(map(_in_words, parts))
        super().__init__(
            f"insulation test from {red} to {black} refused: {test_v} V would have destroyed the {listed}; "
            "take the conductor off its terminals at both ends, or pull the plugs of the boards, and test"
        )


def _in_words(part: str) -> str:
    """Return a part with the place where it is, such as `relay-board at the outdoor unit`."""
    place, _, name = part.partition(":")
    return name if name == PLACE_WORDS[place] else f"{name} at the {PLACE_WORDS[place]}"


def attached(network: Network, probe: str, ignore: Iterable[str]) -> frozenset[str]:
    """Return the nodes that a probe reaches along whatever conducts; branches in `ignore` are no way."""
    skipped = set(ignore)
    links: dict[str, list[str]] = {}
    for branch in network.branches:
        if branch.name not in skipped and _conducts(branch):
            links.setdefault(branch.a, []).append(branch.b)
            links.setdefault(branch.b, []).append(branch.a)
    reached, edge = {probe}, [probe]
    while edge:
        for node in links.get(edge.pop(), ()):
            if node not in reached:
                reached.add(node)
                edge.append(node)
    return frozenset(reached)


def _conducts(branch: Branch) -> bool:
    if branch.name.startswith("fault ") or not isinstance(branch, Resistance | Winding | Source):
        return False
    return branch.r_ohm < _CONDUCTS_OHM


def electronics_in(
    network: Network, parts: Mapping[str, Sequence[str]], red: str, black: str
) -> tuple[str, ...]:
    """Return the boards that would lie across the test volts.

    `parts` maps each board that is plugged in to the names of its branches.
    """
    own = {name for branches in parts.values() for name in branches}
    one, other = (attached(network, probe, own) for probe in (red, black))
    found = []
    ends = {branch.name: (branch.a, branch.b) for branch in network.branches}
    for part, branches in parts.items():
        touched = {node for name in branches if name in ends for node in ends[name]}
        if touched & one and touched & other:
            found.append(part)
    return tuple(found)
