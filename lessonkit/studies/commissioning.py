"""Commissioning: what is done and read on a job, from the dead cable to the hand-over, in its order.

    for taken in walk(job): ...             the sound job
    walk(job, (fault,), parts=STORIES)      the same job broken, and only some parts of the sheet

First the cable alone, dead: ohms of every loop, insulation, ground.  Then volts with nothing connected.  Then
every wire goes where the schedule has it, and volts are read at each point in each mode, with what must
respond and what must not.  Then what only time shows: defrost and its heat request, lockouts, changeover, a
link that falls silent, a loss of power.  A step is there only where the job has the thing.

The order is common practice: prove dead, prove the conductors, then line, control, component; R to C first,
then each terminal at the board, then at the coil.  Insulation of 0.5 megohm at 250 V direct is the least for
a circuit of 24 V (BS 7671, table of minimum values for SELV and PELV).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from types import MappingProxyType

from lessonkit.bench.hands import TOUCH_V
from lessonkit.job.calls import CALLS, PLACE_WORDS, PLACES
from lessonkit.job.faults import Fault, thermostat_terminals
from lessonkit.job.handwork import HandWork
from lessonkit.job.model import RUN_ENDS, Job
from lessonkit.studies.cable_steps import (
    GROUND_PART,
    LIVE,
    RING_OUT,
    before_wiring,
    ground,
    insulation,
    prove_dead,
    ring_out,
    wiring,
)
from lessonkit.studies.dictionary import signals_of
from lessonkit.studies.technician import Taken, Technician

__all__ = [
    "CABLE",
    "GROUND_PART",
    "MODES",
    "PARTS",
    "RING_OUT",
    "STORIES",
    "TICKED",
    "UNPLUGGED",
    "calls_of",
    "modes",
    "outdoor_c_of",
    "ring_out",
    "wait_s",
    "walk",
]

#: What each call is called on a sheet.
CALL_WORDS = MappingProxyType(
    {
        "off": "Nothing called",
        "fan": "Fan",
        "cool-1": "Cooling",
        "cool-2": "Cooling, stage two",
        "heat-1": "Heating",
        "heat-2": "Heating, stage two",
        "heat-aux": "Auxiliary heat",
        "emergency": "Emergency heat",
    }
)
#: Seconds of a loss of power, and that a link has to find back.
_LOST_S, _BACK_S = 60.0, 20.0


def calls_of(job: Job) -> tuple[str, ...]:
    """Return the calls worth proving: those that mean other terminals than the ones before."""
    found: dict[frozenset[str], str] = {}
    for call in CALLS:
        found.setdefault(thermostat_terminals(job, call), call)
    return tuple(found.values())


def outdoor_c_of(job: Job) -> float:
    """Return an outdoor temperature at which no outdoor thermostat locks anything out, if there is one."""
    stat = job.outdoor_thermostat
    above_c = None if stat is None else stat.auxiliary_above_c
    below_c = None if stat is None else stat.compressor_below_c
    if above_c is not None and below_c is not None:
        return round((above_c + below_c) / 2, 1)
    if above_c is not None:
        return min(above_c - 3.0, 8.0)
    return 8.0 if below_c is None else max(below_c + 3.0, 8.0)


def wait_s(job: Job) -> float:
    """Return the seconds after which a new call has done all that it does.

    A thermostat that lives on what trickles through an idle load shows only after its store is empty whether
    that is enough.
    """
    kit, stat = job.equipment, job.thermostat
    furnace_s = kit.furnace_blower_on_s + kit.furnace_blower_off_s if kit.heat == "fossil" else 0.0
    store_s = stat.store_s if stat.power == "stealing" else 0.0
    return 40.0 + furnace_s + stat.min_off_s + stat.min_on_s + store_s


def _equipment(job: Job) -> tuple[str, ...]:
    """Return the equipment that there is to look at."""
    kit = job.equipment
    there = {
        "blower": True,
        "compressor stage 1": True,
        "compressor stage 2": kit.stages == 2,
        "reversing valve": job.has_defrost,
        "outdoor fan": True,
        "auxiliary heat": kit.heat != "none",
        "emergency heat": "E" in job.call_terminals,
    }
    return tuple(name for name, has in there.items() if has)


def _heating(job: Job) -> str:
    """Return the words for second heat: where it is a furnace, it is looked at by its own name."""
    return "furnace" if job.equipment.heat == "fossil" else "auxiliary heat"


# ---- every mode ----


def modes(to: Technician) -> None:
    """Read and look under every call in turn."""
    for call in calls_of(to.job):
        _mode(to, call)
    to.call("off", wait_s(to.job))


def points_of(job: Job, call: str) -> list[tuple[str, str]]:
    """Return the pairs of points to read volts at under a call: R and what is called, at each place."""
    called = thermostat_terminals(job, call)
    order = [terminal for terminal in job.call_terminals if terminal in called]
    found = []
    for place in PLACES:
        here = [t for t in order if place != "out" or t in job.outdoor_terminals]
        found += [(f"{place}:{terminal}", f"{place}:C") for terminal in ("R", *here)]
    if job.has_defrost and "Y1" in called:  # behind the board and what makes it safe
        found.append(("out:CC", "out:C"))
    if job.has_defrost and {"O", "B"} & called:
        found.append(("out:RV", "out:C"))
    return found


def _mode(to: Technician, call: str) -> None:
    job = to.job
    to.part(CALL_WORDS[call])
    if call == "off":
        to.warns(f"From here power is on. {LIVE}").first(
            "every board and the thermostat back on, tools out, covers on where nothing is read",
            "nobody at a fan or belt",
            "every disconnect closed",
        )
    to.call(call, wait_s(job))
    if call == "off" and job.outdoor_thermostat is not None:
        to.does(f"outdoor thermostat felt or set at {_both(outdoor_c_of(job))}: nothing locked out")
    to.volts(*points_of(job, call))
    if call == "off":
        to.does(
            "a clamp that resolves 0.01 A; where the wire allows, ten turns through its jaw, and a tenth of "
            "what it reads"
        )
    for place in to.bench.wiring.supplies:
        to.amps(f"{place}:fuse")
    if job.outdoor_run.return_by == "earth":
        to.amps("outdoor.earth")
    if call == "off":
        to.direct_volts(*signals_of(job))
    to.look(*_equipment(job))
    for run in job.links:
        to.lamp(run)


def _both(celsius: float) -> str:
    return f"{celsius:g} °C ({round(celsius * 1.8 + 32)} °F)"  # never -0


# ---- what only time shows ----


def _phase(to: Technician) -> None:
    if to.job.outdoor_run.far_supply is None:
        return
    to.part("Second transformer: phase").warns(LIVE).does("a long test lead from one hot side to the other")
    to.volts(("air:R", "out:R"))


def _signal(to: Technician) -> None:
    """Look at SIG while most is called: the copper shifts it most then."""
    if to.job.links:
        call = max(calls_of(to.job), key=lambda call: len(thermostat_terminals(to.job, call)))
        to.part("Signal").warns(LIVE).call(call, wait_s(to.job)).does(f"{call} runs, a scope on SIG")
        to.noise(*to.job.links)


def _defrost(to: Technician) -> None:
    job = to.job
    if not job.has_defrost:
        return
    stat, before_c = job.outdoor_thermostat, to.bench.outdoor_c
    below_c = None if stat is None else stat.compressor_below_c
    air_c = 0.0 if below_c is None else max(below_c + 1.0, 0.0)
    to.bench.set_outdoor_c(air_c)
    to.part("Forced defrost and its heat request").call("heat-1", 300.0)
    to.bench.force_defrost()
    to.warns(f"{LIVE}, as the maker has it")
    to.does("heat-1 for 5 minutes, the test pins of the defrost board joined, 30 s", 30.0)
    to.look("reversing valve", "outdoor fan", "compressor stage 1")
    if job.equipment.heat != "none":
        to.look(_heating(job))
    to.volts(("out:D", "out:C"), ("air:D", "air:C"))
    limit_s = job.equipment.defrost_limit_s + 60.0
    to.does(f"{limit_s / 60:g} minutes later", limit_s).look("outdoor fan", "reversing valve")
    if job.equipment.heat != "none":
        to.look(_heating(job))
    to.bench.set_outdoor_c(before_c)
    to.call("off", wait_s(job))


def _lockouts(to: Technician) -> None:
    job, stat = to.job, to.job.outdoor_thermostat
    if stat is None:
        return
    to.part("Outdoor lockouts")
    kept_c = to.bench.outdoor_c
    if stat.auxiliary_above_c is not None:
        for air_c in (stat.auxiliary_above_c + 3.0, stat.auxiliary_above_c - 1.0):
            to.bench.set_outdoor_c(air_c)
            to.call("heat-aux", wait_s(job)).does(f"outdoor thermostat at {_both(air_c)}, heat-aux")
            to.look("auxiliary heat")
        to.bench.set_outdoor_c(stat.auxiliary_above_c + 3.0)
        to.call("emergency", wait_s(job)).does("warm again, emergency heat goes past the lockout")
        to.look("auxiliary heat", *(["emergency heat"] if "E" in job.call_terminals else []))
    if stat.compressor_below_c is not None:
        for air_c in (stat.compressor_below_c - 3.0, stat.compressor_below_c + 1.0):
            to.bench.set_outdoor_c(air_c)
            to.call("heat-1", wait_s(job)).does(f"outdoor thermostat at {_both(air_c)}, heat-1")
            to.look("compressor stage 1")
    to.bench.set_outdoor_c(kept_c)
    to.call("off", wait_s(job))


def _changeover(to: Technician) -> None:
    job, calls = to.job, calls_of(to.job)
    valve = job.equipment.valve
    if job.has_defrost:
        to.part("Changeover")
        for before, call in (("off", "cool-1"), ("cool-1", "heat-1"), ("heat-1", "cool-1")):
            to.call(call, wait_s(job)).does(f"{call} straight after {before}")
            live = valve in thermostat_terminals(job, call)
            to.volts((f"out:{valve}", "out:C"), at_most=None if live else TOUCH_V)
            to.look("reversing valve", "compressor stage 1")
    if job.has_interlock and "heat-aux" in calls:
        to.part("Changeover")
        for before, call in (("off", "heat-1"), ("heat-1", "heat-aux"), ("heat-aux", "heat-1")):
            to.call(call, wait_s(job)).does(f"{call} straight after {before}: never both")
            to.look("compressor stage 1", "furnace")
    to.call("off", wait_s(job))


def _watchdog(to: Technician) -> None:
    job = to.job
    for run in job.links:
        place, silent_s = RUN_ENDS[run][1], job.runs[run].link.watchdog_s + 5.0
        to.part("Watchdog").call("cool-1", wait_s(job))
        to.warns(f"{LIVE}; or first, every disconnect open, fit a switch into SIG, and open that")
        to.hands([HandWork("lift", (f"{place}:{run}.SIG",))])
        to.does(
            f"cool-1 runs; SIG of the {run} run lifted at the {PLACE_WORDS[place]}, {silent_s:g} s", silent_s
        )
        to.lamp(run).look("compressor stage 1", *(["blower"] if place == "air" else []))
        to.hands(()).does(f"SIG back, {_BACK_S:g} s", _BACK_S).lamp(run)
    if job.links:
        to.call("off", wait_s(job))


def _safety(to: Technician) -> None:
    """Open each safety contact by hand while the compressor runs: it stops, and a lockout holds it."""
    job, present = to.job, to.bench.faults
    for part in ("high-pressure", "low-pressure"):
        if not getattr(job.equipment, part.replace("-", "_")):
            continue
        locks = ["lockout"] if job.equipment.lockout == "relay" else []
        to.part("Safety contacts").call("cool-1", wait_s(job))
        to.warns(LIVE)
        # A contact that a hand has opened is to the circuit what one is that has opened by itself.
        to.bench.set_faults([*present, Fault("out", part, "open")])
        to.does(f"cool-1 runs; a wire off the {part.replace('-', ' ')} contact, 30 s", 30.0)
        to.look("compressor stage 1", *locks)
        to.bench.set_faults(present)
        to.does("wire back, 30 s", 30.0).look("compressor stage 1", *locks)
        to.call("off", wait_s(job))


def _power_loss(to: Technician) -> None:
    job = to.job
    delay_s = job.equipment.short_cycle_s + 60.0 + job.thermostat.min_off_s
    to.part("Power lost and back").call("cool-1", wait_s(job))
    to.bench.set_power(False)
    to.does(f"cool-1 runs; every disconnect open for {_LOST_S:g} s", _LOST_S).look("compressor stage 1")
    to.bench.set_power(True)
    to.warns("The unit starts by itself: nobody at a fan or belt")
    to.does(f"closed again, {_BACK_S:g} s", _BACK_S).look("compressor stage 1")
    for run in job.links:
        to.lamp(run)
    to.does(f"{delay_s / 60:g} minutes later", delay_s).look("compressor stage 1", "blower")
    to.call("off", wait_s(job))


def _labels(to: Technician) -> None:
    job = to.job
    to.part("Labels inside the door").first("every disconnect open, locked, proved dead").ticks(
        "wiring schedule", "fuse rating and VA of each supply"
    )
    if job.links:
        to.ticks("which conductor is SIG, and that a bell or a tester on it harms the boards")
    if job.outdoor_run.far_supply is not None:
        to.ticks("two supplies: open both disconnects")
    if job.outdoor_run.return_by == "earth":
        to.ticks("equipment ground carries control current, and who decided that it may")


def _handover(to: Technician) -> None:
    to.part("Hand-over to the owner").ticks("every cover closed, tools and cuttings gone")
    to.first("nobody at a fan or belt, every disconnect closed").ticks(
        "thermostat explained, with the minutes that it waits",
        "emergency heat: what it is for, and what it costs",
        "this sheet and the makers' papers left with the owner",
    )


Act = Callable[[Technician], None]
#: The dead cable, every mode, what only time shows, what is only ticked; in the order of the sheet.
CABLE: tuple[Act, ...] = (prove_dead, ring_out, insulation, ground, before_wiring, wiring)
MODES: tuple[Act, ...] = (modes,)
STORIES: tuple[Act, ...] = (
    _phase,
    _signal,
    _defrost,
    _lockouts,
    _changeover,
    _watchdog,
    _safety,
    _power_loss,
)
TICKED: tuple[Act, ...] = (_labels, _handover)
PARTS: tuple[Act, ...] = (*CABLE, *MODES, *STORIES, *TICKED)
#: Acts in which every conductor is off everything: only what is wrong with a run shows in them.
UNPLUGGED: tuple[Act, ...] = (ring_out, insulation, wiring)


def walk(
    job: Job, faults: Iterable[Fault] = (), seed: int = 0, parts: Iterable[Act] = PARTS
) -> tuple[Taken, ...]:
    """Work through the sheet of a job, or some of its parts, and return what was read, in its order.

    Those of the cable come first, dead; before the others everything is connected and fed.
    """
    wanted, to = tuple(parts), Technician(job, faults, seed)
    to.bench.set_outdoor_c(outdoor_c_of(job))
    for act in wanted:
        if act not in CABLE and not to.bench.powered:
            to.hands(()).power(True).call("off", wait_s(job))
        to.group = act.__name__
        act(to)
    return tuple(to.taken)
