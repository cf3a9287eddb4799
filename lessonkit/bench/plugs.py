"""What each board has in the circuit, and what hands change there.

Every branch of the layout has a name, and the names of a board's own branches follow from the job: what it
draws, its inputs, its contacts and their relays, its receiver and driver. A board whose plug is pulled has
none of them. The wires that stay behind keep their ends, for the next one to probe.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from lessonkit.copper.elements import Branch, Resistance
from lessonkit.job.handwork import HandWork, is_spare_end
from lessonkit.job.model import RUN_ENDS, Job

__all__ = ["branches_of_boards", "hand_branches", "loose_node", "node_of_end", "unplugged"]

#: Bare copper twisted together, or under a clip: some milliohms (common practice).
TWIST_OHM, JUMPER_OHM = 0.005, 0.02

#: A loose end touches nothing: what holds its node in the equations is a thousand times a board's leakage.
LOOSE_OHM = 1e12


def branches_of_boards(job: Job, names: Iterable[str]) -> dict[str, tuple[str, ...]]:
    """Return for each board "place:name" which of the branches in `names` are its own."""
    found: dict[str, list[str]] = {"stat:thermostat": [], "out:defrost-board": []}
    owner: dict[str, str] = {}
    for run in job.links:
        near, far = RUN_ENDS[run]
        encoder, relays = f"{near}:encoder", f"{far}:relay-board"
        found |= {encoder: [], relays: []}
        owner |= {f"{what} {run}.near": encoder for what in ("driver", "receiver")}
        owner |= {f"{what} {run}.far": relays for what in ("driver", "receiver")}
        for terminal in job.call_terminals:
            owner[f"input {near}:{terminal}"] = encoder
            owner |= {f"{what} {far}:{terminal}": relays for what in ("relay", "pull")}
        if run == "outdoor":
            owner |= {f"{what} {near}:D": encoder for what in ("relay", "pull")}
            owner[f"input {far}:D"] = relays
    for name in names:
        what, _, rest = name.partition(" ")
        if what == "board":
            board = rest if rest in found else "out:defrost-board"
        else:
            board = "stat:thermostat" if what in ("call", "tap") else owner.get(name, "")
        if board:
            found[board].append(name)
    return {board: tuple(listed) for board, listed in found.items()}


def unplugged(hands: Sequence[HandWork]) -> frozenset[str]:
    """Return the boards "place:name" whose plugs are pulled."""
    return frozenset(work.what[0] for work in hands if work.act == "unplug")


def loose_node(end: str, terminal: str) -> str:
    """Return the node of an end that hangs loose: its own name, or a spare's usual one (`terminal`)."""
    return terminal if is_spare_end(end) else end


def node_of_end(hands: Sequence[HandWork], end: str, terminal: str) -> str:
    """Return where an end of a conductor is: on its usual `terminal`, or where hands have put it."""
    for work in hands:
        if end in work.ends:
            return work.what[1] if work.act == "move" else loose_node(end, terminal)
    return terminal


def hand_branches(hands: Sequence[HandWork], nodes: dict[str, str]) -> list[Branch]:
    """Return what hands add to the circuit: twists, jumpers, and what keeps loose ends in the equations.

    `nodes` gives the usual terminal of every end.
    """
    added: list[Branch] = []
    for work in hands:
        if work.act == "jumper":
            one, other = work.what
            added.append(Resistance(str(work), one, other, JUMPER_OHM, "jumper wire"))
        loose = [] if work.act == "move" else [loose_node(end, nodes[end]) for end in work.ends]
        for node in loose:
            common = f"{work.place}:C"
            added.append(Resistance(f"loose {node}", node, common, LOOSE_OHM, "a loose end touches nothing"))
        for k, node in enumerate(loose[1:]):
            added.append(Resistance(f"{work} {k}", loose[0], node, TWIST_OHM, "ends twisted together"))
    return added
