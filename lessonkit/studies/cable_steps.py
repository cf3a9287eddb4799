"""The first part of a commissioning sheet: the cable alone, dead, then volts before wiring, then the wiring.

Every conductor hangs loose at both ends.  Ohms of every loop, insulation, and equipment ground are read; the
transformers' volts with nothing connected; then each wire goes where the schedule has it.

The ohms of equipment ground are held to what the survey read, with the meter's error.  A control works on
far more ohms than that, which says nothing of safety: the local code's limit comes first.

Insulation of 0.5 megohm at 250 V direct is the least for a circuit of 24 V (BS 7671, table of minimum values
for SELV and PELV).  Leads whose own ohms are taken off, and parallel metal that is opened for the reading of
a ground: common practice.
"""

from __future__ import annotations

from lessonkit.bench.insulation import LIMIT_OHM
from lessonkit.bench.meter import DEAD_BELOW_V
from lessonkit.bench.reading import Reading
from lessonkit.job.calls import PLACE_WORDS, PLACES
from lessonkit.job.model import RUN_ENDS, is_idle
from lessonkit.studies.corners import GROUND
from lessonkit.studies.technician import Technician

__all__ = [
    "GROUND_PART",
    "LIVE",
    "RING_OUT",
    "before_wiring",
    "ground",
    "insulation",
    "prove_dead",
    "ring_out",
    "wiring",
]

#: The headings under which the loops of conductors are read, and the ground.
RING_OUT, GROUND_PART = "Ring out: ohms of the conductors", "Ground"
#: What stands above an act with the power on and the covers off.
LIVE = "LIVE, covers off: licensed person only"


def prove_dead(to: Technician) -> None:
    """Prove every place dead, between two looks at a live source, and read the fuses."""
    supplies = to.bench.wiring.supplies
    to.part("Prove dead").ticks(
        "the tester shows volts on a source known to be live",
        "every disconnect is open, locked and tagged, the outdoor unit's too",
    )
    pairs = [(f"{place}:R", f"{place}:C") for place in PLACES]
    to.volts(*pairs, act="volts, must be dead", at_most=DEAD_BELOW_V)
    to.volts(
        *((f"{place}:XFMR", f"{place}:C") for place in supplies),
        act="volts, must be dead",
        at_most=DEAD_BELOW_V,
    )
    to.ticks("the tester again shows volts on the live source")
    to.does("the test leads' own ohms taken off, here and at every reading of ohms")
    for place in supplies:
        to.ohms(f"{place}:XFMR", f"{place}:R", f"ohms of the fuse at the {PLACE_WORDS[place]}")


def ring_out(to: Technician) -> None:
    """Read the loop of every conductor, the far ends joined."""
    to.part(RING_OUT)
    for run, cable in to.job.runs.items():
        names = [name for name in cable.conductors if not name.startswith("bad")]
        far = next(place for place in RUN_ENDS[run] if place != "air")
        to.hands(to.lifted([(far, run, name) for name in names]))
        to.does(
            f"{run} run: every conductor off at both ends, all joined at the {PLACE_WORDS[far]}; read at the "
            "air handler, the leads' own ohms taken off"
        )
        first, *others = (to.loose(run, name, "air") for name in names)
        for other in others:
            to.ohms(first, other, "ohms of the loop")
        if len(others) > 1:
            to.ohms(others[0], others[1], "ohms of the loop")
    to.hands(to.lifted())


def insulation(to: Technician) -> None:
    """Read the insulation of every conductor to metal and to all others."""
    to.part("Insulation at 250 V direct")
    least = LIMIT_OHM / 1e6
    for run, cable in to.job.runs.items():
        names = list(cable.conductors)
        to.hands(to.lifted())
        to.does(f"{run} run: all ends apart, every board off them")
        for name in names:
            to.insulation(to.loose(run, name, "air"), "air:GND", least, "insulation to metal")
        for name in names:
            rest = [("air", run, other) for other in names if other != name]
            to.hands(to.lifted(rest))
            to.insulation(
                to.loose(run, name, "air"),
                to.loose(run, rest[0][2], "air"),
                least,
                "insulation to all others, joined",
            )
    to.hands(to.lifted())


def ground(to: Technician) -> None:
    """Read equipment ground, held to what the survey read; more than that, whatever the control tolerates."""
    run = to.job.outdoor_run
    to.part(GROUND_PART).warns(
        "The local code's limit comes first. More than at the survey: stop, find out why"
    )
    to.first("parallel metal, such as refrigerant pipes, taken off, or written down: ____")
    to.does(f"{run.earth_ohm:.2f} ohm at the survey; a long test lead, its own ohms taken off")
    if run.return_by == "earth" and run.arrangement == "link":
        tolerated = f"the control alone goes on up to {GROUND[1] * run.earth_ohm:.2f} ohm"
        to.does(f"{tolerated}, which says nothing of safety")
    most = Reading(run.earth_ohm, "ohm", (), "ohms").high
    to.ohms("air:GND", "out:GND", "ohms of equipment ground, air handler to outdoor unit", (0.0, most))
    if to.job.outdoor_run.receiver == "isolated":
        to.ohms("air:C", "out:C", "ohms between the two commons, which must not meet")


def before_wiring(to: Technician) -> None:
    """Read the transformers' volts with no conductor connected."""
    to.part("Volts before wiring").warns("LINE VOLTAGE: licensed person only")
    to.first("line, at the disconnect: ____ V = ____ % of nominal").ticks(
        "the transformer's primary is on the tap of the line volts measured"
    )
    to.warns(LIVE).power(True).does("disconnects closed, no conductor connected")
    for place in to.bench.wiring.supplies:
        to.volts((f"{place}:XFMR", f"{place}:C"), (f"{place}:R", f"{place}:C"))
    to.power(False)


def wiring(to: Technician) -> None:
    """Look where every conductor sits, against the schedule."""
    to.part("Wiring, against the schedule")
    by_earth = to.job.outdoor_run.return_by == "earth"
    if by_earth:
        to.warns("Return by equipment ground: not signed, stop here")
        to.first("return by equipment ground allowed by ____, licence ____, date ____")
    to.does("disconnects open, proved dead again")
    to.hands(())
    network = to.bench.network_at_rest()
    ends = {branch.name: (branch.a, branch.b) for branch in network.branches}
    for run, cable in to.job.runs.items():
        near, far = RUN_ENDS[run]
        for name in cable.conductors:
            if is_idle(name):
                to.sees(f"{run} run: {name} is free at both ends", "free")
                continue
            pieces = [at for key, at in ends.items() if key.startswith(f"{run}.{name}#")]
            # Where the first piece begins and the last ends is where an eye finds the wire.
            for place, node in ((near, pieces[0][0]), (far, pieces[-1][1])):
                to.sees(f"{run} run: {name} at the {PLACE_WORDS[place]} is on", node.partition(":")[2])
    if by_earth:
        to.first(
            *(f"C joined to equipment ground at the {PLACE_WORDS[place]}, tight" for place in ("air", "out"))
        )
    to.ticks(*(f"fuse or breaker at the {PLACE_WORDS[p]} as on its label" for p in to.bench.wiring.supplies))
