"""What the equipment of a job puts into the circuit: thermostat, indoor unit, outdoor unit.

    thermostat     a contact from R to each call terminal; a stealing one hangs on an idle terminal
    air:W1         [outdoor thermostat], then sequencer and D; or interlock, and behind it furnace and D
    air:Y1         [outdoor thermostat], [interlock at rest], then `air:Y1-out`, the conductor outdoors
    out:Y1         [outdoor thermostat], defrost board, [lockout at rest], [high], [low pressure], contactor

What stands in brackets is there only where the job has it.  A contact that a coil moves follows that coil
(`Layout.follows`); nothing here decides anything.

**A lockout relay in the trade's way.**  Its coil has a high impedance and lies across the safety contacts.
While they are closed they short it out, and it gets nothing.  Once one opens, the coil is in series with the
contactor; it takes nearly all the volts, so the contactor drops and the relay pulls in, and its own contact
keeps the way open although the pressure comes back.  Only taking the call away lets it go.  From indoors
that is: Y1 live, the blower runs, and a clamp on Y1 reads tens of milliamperes where some hundred should be;
switched off and on again at the thermostat it starts, until the next time (common practice).

    out:CC ──┬── lockout, at rest ── high pressure ── low pressure ──┬── out:CO ── contactor ── C
             └────────────────── coil of the lockout relay ──────────┘

Where the model stops: the safety contacts are told to open (a fault), no pressure is reckoned.
"""

from __future__ import annotations

from lessonkit.bench.layout import (
    BOND_OHM,
    LEAK_OHM,
    Layout,
    add_earth,
    add_link,
    add_run,
    add_supply,
    conductor_node,
    is_no_terminal,
    lay_hands,
    link_common,
)
from lessonkit.job.calls import INDOOR_TERMINALS, PLACES
from lessonkit.job.faults import Fault
from lessonkit.job.handwork import HandWork
from lessonkit.job.model import RUN_ENDS, Job
from lessonkit.job.thermostat import STEALS_FROM

__all__ = ["lay_out"]

#: What the taps of a stealing thermostat meet, behind what it draws.
_TAP_OHM = 1.0


def lay_out(job: Job, faults: tuple[Fault, ...], hands: tuple[HandWork, ...] = ()) -> Layout:
    """Return the layout of a job with some faults and works of hands, each checked against it beforehand."""
    to = Layout(job, faults, hands)
    add_supply(to, "air", job.supply)
    if job.outdoor_run.far_supply is not None:
        add_supply(to, "out", job.outdoor_run.far_supply, job.outdoor_run.far_in_phase)
    add_earth(to)
    _add_thermostat(to)
    inner = {"stat": (), "air": _add_indoors(to), "out": _add_outdoors(to)}
    for place in PLACES:
        for terminal in ("R", *job.call_terminals, *inner[place]):
            if place == "out" and terminal in INDOOR_TERMINALS:
                continue
            to.r(f"leak {place}:{terminal}", f"{place}:{terminal}", f"{place}:C", LEAK_OHM, "leakage")
    apart = link_common(job, "outdoor", "out")
    if apart != "out:C":
        to.r(f"leak {apart}", apart, "out:C", LEAK_OHM, "leakage across the optocoupler")
    for name, run in job.runs.items():
        for conductor in run.conductors:
            if is_no_terminal(conductor):
                for place in RUN_ENDS[name]:
                    node = conductor_node(name, conductor, place)
                    to.r(f"leak {node}", node, f"{place}:C", LEAK_OHM, "leakage")
    for name, run in job.runs.items():
        add_run(to, name, run)
        if run.arrangement == "link":
            add_link(to, name, run)
    if hands:
        lay_hands(to)
    return to


def _add_thermostat(to: Layout) -> None:
    stat, terminals = to.job.thermostat, to.job.call_terminals
    if stat.power == "battery":
        to.board("stat", "thermostat", stat, battery=True)
    elif stat.power == "common":
        to.board("stat", "thermostat", stat)
    else:
        to.board("stat", "thermostat", stat, common="stat:TS", store_s=stat.store_s)
        to.r("leak stat:TS", "stat:TS", "stat:C", LEAK_OHM, "leakage")
        for terminal in (t for t in STEALS_FROM if t in terminals):
            key, note = f"tap stat:{terminal}", f"thermostat's trickle into {terminal}"
            to.contact(key, "stat:TS", f"stat:{terminal}", note, ohm=_TAP_OHM)
    for terminal in terminals:
        to.contact(f"call stat:{terminal}", "stat:R", f"stat:{terminal}", f"thermostat contact {terminal}")


def _outdoor_thermostat(to: Layout, place: str, which: str, a: str, b: str, key: str = "") -> None:
    """Add a contact of the outdoor thermostat; a stuck one is stuck with all of its contacts."""
    key = key or f"outdoor-thermostat {which}"
    to.contact(key, a, b, f"outdoor thermostat at {place}: {which}", to.stuck("air", "outdoor-thermostat"))


def _add_indoors(to: Layout) -> tuple[str, ...]:
    """Add the indoor unit; return the names of its inner nodes."""
    job, kit, terminals = to.job, to.job.equipment, to.job.call_terminals
    inner: list[str] = []
    to.coil("air", "blower-relay", kit.blower_relay, "G")
    heats: dict[str, str] = {t: t for t in ("W1", "W2") if t in terminals}
    stat = job.outdoor_thermostat
    if heats and stat is not None and stat.auxiliary_above_c is not None:
        for k, terminal in enumerate(heats):
            node = heats[terminal] = f"WT{k + 1}"
            inner.append(node)
            key = "outdoor-thermostat auxiliary" + ("" if k == 0 else f" {k + 1}")
            _outdoor_thermostat(to, "air", "auxiliary", f"air:{terminal}", f"air:{node}", key)
    if kit.heat == "electric":
        for name, coil, node in zip(
            ("sequencer", "sequencer-2"), (kit.sequencer, kit.sequencer_2), heats.values(), strict=False
        ):
            to.coil("air", name, coil, node)
    if "E" in terminals:
        to.coil("air", "emergency-relay", kit.emergency_relay, "E")
        for terminal, node in heats.items():
            start = "R" if kit.emergency_by == "E" else terminal
            if start != node:
                words = f"emergency relay: {start} to second heat"
                to.follower(
                    f"emergency air:{node}", "air:emergency-relay", True, f"air:{start}", f"air:{node}", words
                )
    if job.has_interlock:
        to.coil("air", "interlock", kit.interlock, heats["W1"])
        heats["W1"] = "FU"
        inner.append("FU")
        to.follower(
            "interlock air:FU", "air:interlock", True, "air:R", "air:FU", "interlock: R to the furnace"
        )
    if kit.heat == "fossil":
        for name, coil, node in zip(
            ("furnace", "furnace-2"), (kit.furnace, kit.furnace_2), heats.values(), strict=False
        ):
            to.coil("air", name, coil, node)
    if job.has_defrost:
        inner.append("D")
        if kit.defrost_heat and heats:
            node = heats["W1"]
            words = "W1" if node == "W1" else "the furnace" if node == "FU" else "second heat"
            to.r("jumper air:D", "air:D", f"air:{node}", BOND_OHM, f"jumper D to {words} in the air handler")
    return (*inner, *_break_y1(to))


def _break_y1(to: Layout) -> tuple[str, ...]:
    """Add the contacts at the air handler that lie in Y1's way outdoors."""
    job, stat = to.job, to.job.outdoor_thermostat
    if not job.breaks_y1_indoors:
        return ()
    here, inner = "Y1", ["Y1-out"]
    if stat is not None and stat.compressor_below_c is not None and stat.at == "air":
        there = "YT" if job.has_interlock else "Y1-out"
        _outdoor_thermostat(to, "air", "compressor", f"air:{here}", f"air:{there}")
        here, inner = there, list(dict.fromkeys((there, *inner)))
    if job.has_interlock:
        words = "interlock: Y1 to the outdoor unit"
        to.follower("interlock air:Y1-out", "air:interlock", False, f"air:{here}", "air:Y1-out", words)
    return tuple(inner)


def _add_outdoors(to: Layout) -> tuple[str, ...]:
    """Add the outdoor unit; return the names of its inner nodes."""
    job, kit = to.job, to.job.equipment
    inner, valve, here = [], kit.valve, job.y1_at_board
    if job.has_defrost:
        to.board("out", "defrost-board", job.defrost_board)
        inner += ["D"]
    if here != "Y1":
        _outdoor_thermostat(to, "out", "compressor", "out:Y1", f"out:{here}")
        inner += [here]
    if job.has_defrost:
        to.contact("board out:compressor", f"out:{here}", "out:CC", "defrost board: Y1 to the contactor")
        to.contact(
            "board out:valve", f"out:{valve}", "out:RV", f"defrost board: {valve} to the reversing valve"
        )
        if valve == "O":
            to.contact(
                "board out:defrost-valve", "out:R", "out:RV", "defrost board: R to the reversing valve"
            )
        to.contact("board out:D", "out:R", "out:D", "defrost board: R to D")
        here = "CC"
        inner += ["CC", "RV"]
    start = here
    if kit.lockout == "relay":
        words = "lockout relay, at rest: to the safety contacts"
        to.follower("lockout out:CL", "out:lockout-relay", False, f"out:{here}", "out:CL", words)
        here = "CL"
        inner += ["CL"]
    for part, node in (("high-pressure", "CH"), ("low-pressure", "CO")):
        if getattr(kit, part.replace("-", "_")):
            to.safety(part, f"out:{here}", f"out:{node}")
            here = node
            inner += [node]
    to.coil("out", "contactor", kit.contactor, here)
    if kit.lockout == "relay":
        to.coil("out", "lockout-relay", kit.lockout_relay, start, home=f"out:{here}")
    if job.has_defrost:
        to.coil("out", "reversing-valve", kit.reversing_valve, "RV")
    if kit.stages == 2:
        to.coil("out", "unloader", kit.unloader, "Y2")
    return tuple(inner)
