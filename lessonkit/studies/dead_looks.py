"""Looks at the dead circuit: ohms of coils, fuses and conductors, with wires lifted as hands do.

Three states of the wiring are worth the work, and a look names its state where others name a call:

    dead                the disconnects are open, nothing is lifted: coils and fuses, each at its own place
    ring-out outdoor    that run lifted at both ends, all joined at the far end: ohms of every loop
    apart outdoor       that run lifted at both ends, nothing joined: what touches what, and metal

Coils and fuses are read with all that lies beside them, so a look may say less than one hopes.  Minutes are
those of `bench.hands`: the walk, the disconnect, each end that is lifted and put back, the twist.

A reading lies within 5 % and 0.05 ohm of what is expected (leads, a hot attic; ours), and from 50 megohms on
the meter shows OL.  Both are counted by a scale on which that doubt is 1 everywhere:

    on_scale(x) = asinh(0.05 x / 0.05 ohm) / 0.05      small x in doubts, and the logarithm of large x

Where the model stops: as an ohmmeter does, it tells no break that closes again when the wire is touched.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lessonkit.bench.hands import ACT_MIN, walk_min
from lessonkit.bench.layout import conductor_node
from lessonkit.bench.plugs import loose_node
from lessonkit.bench.settling import Latches, elements_on
from lessonkit.bench.wiring import Wiring
from lessonkit.job.faults import Fault
from lessonkit.job.handwork import HandWork
from lessonkit.job.model import RUN_ENDS, Job

__all__ = ["DEAD", "DeadLook", "change_min", "dead_readings", "is_dead", "lifted", "on_scale", "states_of"]

DEAD, RING_OUT, APART = "dead", "ring-out", "apart"
#: Doubt of a reading in ohms (ours), and from where on a meter gives up.
OHM_SHARE, OHM, OVERLOAD_OHM = 0.05, 0.05, 50e6

DeadLook = tuple[str, str, str, str]
"""A state of the wiring, the place where one stands, and the two probes."""


def on_scale(ohm: ArrayLike) -> NDArray[np.float64]:
    """Return readings in ohms on the scale on which their doubt is 1; OL stands at its beginning."""
    capped = np.minimum(np.asarray(ohm, dtype=np.float64), OVERLOAD_OHM)
    scaled: NDArray[np.float64] = np.arcsinh(OHM_SHARE * np.maximum(capped, 0.0) / OHM) / OHM_SHARE
    return scaled


def states_of(job: Job) -> tuple[str, ...]:
    """Return the states of the dead wiring in which something can be read."""
    return (DEAD, *(f"{how} {run}" for run in job.runs for how in (RING_OUT, APART)))


def is_dead(call: str) -> bool:
    """Return whether a look's call is a state of the dead wiring."""
    return call.partition(" ")[0] in (DEAD, RING_OUT, APART)


def lifted(job: Job, runs: Iterable[str], joined: Iterable[tuple[str, str, str]] = ()) -> list[HandWork]:
    """Return the works of hands that leave every conductor of some runs lifted at both ends.

    `joined` names ends (place, run, conductor) that are twisted together instead.
    """
    together = [f"{place}:{run}.{name}" for place, run, name in joined]
    ends = [
        f"{place}:{run}.{name}"
        for run in runs
        for place in RUN_ENDS[run]
        for name in job.runs[run].conductors
    ]
    works = [HandWork("lift", (end,)) for end in ends if end not in together]
    if len(together) > 1:
        works.append(HandWork("twist", tuple(together)))
    elif together:
        works.append(HandWork("lift", tuple(together)))
    return works


def _far(run: str) -> str:
    return next(place for place in RUN_ENDS[run] if place != "air")


def _hands(job: Job, state: str) -> tuple[HandWork, ...]:
    how, _, run = state.partition(" ")
    if how == DEAD:
        return ()
    names = job.runs[run].conductors
    return tuple(lifted(job, [run], [(_far(run), run, n) for n in names] if how == RING_OUT else ()))


def _pairs(job: Job, state: str, wiring: Wiring) -> dict[tuple[str, str], str]:
    """Return the pairs of points to read in a state, each with the place where one stands for it."""
    how, _, run = state.partition(" ")
    if how == DEAD:
        coils = {(at.a, at.b): name.partition(":")[0] for name, at in wiring.coils.items()}
        return coils | {(f"{place}:XFMR", f"{place}:R"): place for place in wiring.supplies}
    names = job.runs[run].conductors
    loose = {n: loose_node(f"air:{run}.{n}", conductor_node(run, n, "air")) for n in names}
    if how == RING_OUT:
        first, *others = names
        wanted = [(first, other) for other in others] + ([(others[0], others[1])] if len(others) > 1 else [])
        return {(loose[one], loose[other]): "air" for one, other in wanted}
    touching = {(loose[one], loose[other]): "air" for one, other in combinations(names, 2)}
    return touching | {(loose[one], "air:GND"): "air" for one in names}


def _ohms(
    wiring: Wiring, pairs: Sequence[tuple[str, str]], blown: frozenset[str] = frozenset()
) -> NDArray[np.float64]:
    """Return the ohms between pairs of points of a wiring that has been dead for long."""
    at_rest = elements_on(wiring, Latches(blown=blown), {"board out:valve": ""})
    ohm: NDArray[np.float64] = wiring.solve([at_rest], 0.0)[0].between(pairs).real
    return ohm


def dead_readings(
    job: Job, causes: Sequence[tuple[Fault, ...]], left: Sequence[tuple[Wiring, frozenset[str]]]
) -> dict[DeadLook, NDArray[np.float64]]:
    """Return what every look at the dead circuit reads for each cause, in ohms, shape (causes,).

    `left` is how each cause leaves its job: the wiring with nothing lifted, and the fuses that are blown. A
    run that is lifted at both ends knows only of its own faults, so causes that share those share a reading.
    """
    found: dict[DeadLook, NDArray[np.float64]] = {}
    for state in states_of(job):
        run, hands = state.partition(" ")[2], _hands(job, state)
        pairs = _pairs(job, state, Wiring(job, (), hands))
        read: dict[tuple[Fault, ...], NDArray[np.float64]] = {}
        rows = []
        for faults, (wiring, blown) in zip(causes, left, strict=True):
            here = tuple(fault for fault in faults if not run or fault.where == run)
            if here not in read:
                read[here] = (
                    _ohms(Wiring(job, here, hands), list(pairs)) if run else _ohms(wiring, list(pairs), blown)
                )
            rows.append(read[here])
        for (pair, place), ohm in zip(pairs.items(), np.array(rows).T, strict=True):
            found[state, place, *pair] = ohm
    return found


def change_min(job: Job, before: str, after: str, here: str) -> tuple[float, str]:
    """Return the minutes of hands from one state of the wiring to another, and where one stands then.

    Either may be a call, for which nothing is lifted and the disconnects are closed. The wires of one run
    stay lifted between its two states.
    """
    (_, _, was_run), (will, _, run) = before.partition(" "), after.partition(" ")
    minutes, at = 0.0, here
    if run and run == was_run:
        return walk_min(at, _far(run)) + ACT_MIN["twist"] + walk_min(_far(run), "air"), "air"
    if was_run:
        minutes += walk_min(at, "air") + _both_ends(job, was_run, "put back")
        at = "air"
    if is_dead(before) != is_dead(after):
        minutes += walk_min(at, "air") + ACT_MIN["power"]
        at = "air"
    if run:
        minutes += walk_min(at, "air") + _both_ends(job, run, "lift")
        minutes += ACT_MIN["twist"] if will == RING_OUT else 0.0
        at = "air"
    return minutes, at


def _both_ends(job: Job, run: str, act: str) -> float:
    """Return the minutes to do something to both ends of every conductor, from the air handler and back."""
    return 2 * ACT_MIN[act] * len(job.runs[run].conductors) + 2 * walk_min("air", _far(run))
