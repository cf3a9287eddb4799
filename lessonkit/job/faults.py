"""Every way in which a job breaks, as small values.

A fault names where it sits, what happens, and how much of it:

    outdoor.SIG=open              the conductor SIG of the outdoor run is broken half way along
    outdoor.SIG=open@0.2          ... a fifth of the way from the near end
    thermostat.R=resistance:8     a bad splice of 8 ohm
    thermostat.R=short:C          two conductors touch
    outdoor.R=earth               a conductor touches grounded metal
    outdoor.earth=open            the earth bond is lost
    thermostat.Y1=swapped:G       two conductors change places at the far end
    stat.valve=reversed           the thermostat is set for the other valve type
    air.transformer=weak:0.8      the supply gives only four fifths of its volts
    out.relay-board=dead          no output, no reply
    out.relay-Y1=stuck-closed     a welded contact

What a fault does is never written here: it changes the circuit (`wiring`), and the circuit decides.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import combinations
from types import MappingProxyType

from lessonkit.errors import LessonError, shown
from lessonkit.job.model import RUN_ENDS, Job, is_idle
from lessonkit.job.ohms import ohm_words
from lessonkit.job.thermostat import energised, mode_after


class BadFault(LessonError, ValueError):
    """A fault that this job can't have."""


@dataclass(frozen=True)
class Kind:
    """One way to break: what it is in words, what value it takes, and whether a position makes sense.

    `value` is "none", "number" (with `default`, `unit` and the limits `low` to `high`) or "conductor".
    """

    name: str
    words: str
    value: str = "none"
    default: float | None = None
    unit: str = ""
    low: float = 0.0
    high: float = math.inf
    placed: bool = False


def _kinds(*kinds: Kind) -> dict[str, Kind]:
    return {kind.name: kind for kind in kinds}


OPEN = Kind("open", "broken", placed=True)
RESISTANCE = Kind("resistance", "bad splice", "number", 20.0, "ohm", 0.01, 1e9)
SHORT = Kind("short", "touches another conductor", "conductor", placed=True)
EARTH = Kind("earth", "touches grounded metal", "number", 0.5, "ohm", 0.001, 1e9, placed=True)
SWAPPED = Kind("swapped", "changes places with another conductor at the far end", "conductor")
NOISE = Kind("noise", "picks up noise", "number", 2.0, "V RMS", 0.0, 100.0)

CONDUCTOR_KINDS = MappingProxyType(_kinds(OPEN, RESISTANCE, SHORT, EARTH, SWAPPED))
SIGNAL_KINDS = MappingProxyType(_kinds(OPEN, RESISTANCE, SHORT, EARTH, SWAPPED, NOISE))
EARTH_KINDS = MappingProxyType(
    _kinds(Kind("open", "bond lost"), Kind("resistance", "poor bond", "number", 10.0, "ohm", 0.001, 1e9))
)
DEAD = _kinds(Kind("dead", "does nothing"))
TRANSFORMER_KINDS = _kinds(
    Kind("weak", "gives too few volts", "number", 0.7, "of its volts", 0.01, 1.2),
    *DEAD.values(),
    Kind("burnt-out", "winding open"),
)
STUCK = _kinds(Kind("stuck-open", "never closes"), Kind("stuck-closed", "never opens"))
COIL_KINDS = _kinds(Kind("burnt-out", "winding open"))
CONTACTOR_KINDS = _kinds(*COIL_KINDS.values(), Kind("stuck-closed", "contacts welded"))
VALVE_SETTING = _kinds(Kind("reversed", "set for the other valve type"))
#: What can't be true of one part at the same time.
CONTRADICTIONS = (
    frozenset({"stuck-open", "stuck-closed"}),
    frozenset({"weak", "dead", "burnt-out"}),
    frozenset({"open", "resistance"}),  # of the earth bond; a conductor is long enough for both
)
BATTERY_KINDS = _kinds(Kind("flat", "battery empty"))
SAFETY_KINDS = _kinds(Kind("open", "has opened"))
FUSE_KINDS = _kinds(Kind("blown", "already blown"))


@dataclass(frozen=True)
class Fault:
    """One fault: `where` is a run or a place, `part` a conductor or a part, `kind` what happened to it.

    `value` is a number (ohms, volts, a fraction) or the name of the other conductor; `at` is the position
    along the run, 0 at the near end and 1 at the far end.
    """

    where: str
    part: str
    kind: str
    value: float | str | None = None
    at: float = 0.5

    def __str__(self) -> str:
        """Return the fault as the command line spells it."""
        text = f"{self.where}.{self.part}={self.kind}"
        if self.value is not None:
            text += f":{_spelled(self.value)}"
        return text if self.at == 0.5 else f"{text}@{_spelled(self.at)}"


def _spelled(value: float | str) -> str:
    """Return a number so that reading it gives the same number, without a bare .0 at its end."""
    return float.__repr__(value).removesuffix(".0") if isinstance(value, float) else str(value)


def fault_parts(job: Job) -> dict[str, dict[str, Kind]]:
    """Return everything in a job that can break: "run.conductor" or "place.part" -> its kinds of fault."""
    found: dict[str, dict[str, Kind]] = {}
    for name, run in job.runs.items():
        for conductor in run.conductors:
            found[f"{name}.{conductor}"] = dict(SIGNAL_KINDS if conductor == "SIG" else CONDUCTOR_KINDS)
        if name == "outdoor":
            found["outdoor.earth"] = dict(EARTH_KINDS)
    found["stat.thermostat"] = DEAD
    if job.thermostat.power == "battery":
        found["stat.battery"] = BATTERY_KINDS
    if job.has_defrost:
        found["stat.valve"] = VALVE_SETTING
    found["air.transformer"] = TRANSFORMER_KINDS
    found["air.fuse"] = FUSE_KINDS
    for name in job.links:
        near, far = RUN_ENDS[name]
        found[f"{near}.encoder"] = DEAD
        found[f"{far}.relay-board"] = DEAD
        for terminal in job.call_terminals if name == "thermostat" else job.outdoor_terminals:
            found[f"{far}.relay-{terminal}"] = STUCK
        if name == "outdoor" and job.has_defrost:
            found[f"{near}.relay-D"] = STUCK
    if job.outdoor_run.far_supply is not None:
        found["out.transformer"] = TRANSFORMER_KINDS
        found["out.fuse"] = FUSE_KINDS
    for coil in coils_of(job):
        found[coil.replace(":", ".")] = CONTACTOR_KINDS if coil == "out:contactor" else COIL_KINDS
    if job.outdoor_thermostat is not None:
        found["air.outdoor-thermostat"] = STUCK
    for part in ("high-pressure", "low-pressure"):
        if getattr(job.equipment, part.replace("-", "_")):
            found[f"out.{part}"] = SAFETY_KINDS
    if job.has_defrost:
        found["out.defrost-board"] = DEAD
    return found


def coils_of(job: Job) -> tuple[str, ...]:
    """Return the coils that this job's equipment has, as "place:name"."""
    kit, terminals = job.equipment, job.call_terminals
    first, second = ("furnace", "furnace-2") if kit.heat == "fossil" else ("sequencer", "sequencer-2")
    there = {
        "air:blower-relay": True,
        f"air:{first}": "W1" in terminals,
        f"air:{second}": "W2" in terminals,
        "air:emergency-relay": "E" in terminals,
        "air:interlock": job.has_interlock,
        "out:contactor": True,
        "out:reversing-valve": job.has_defrost,
        "out:unloader": kit.stages == 2,
        "out:lockout-relay": kit.lockout == "relay",
    }
    return tuple(coil for coil, has in there.items() if has)


def parse_fault(text: str, job: Job) -> Fault:
    """Return the fault that a text means in this job.

    Such as "outdoor.SIG=open".

    Raises `BadFault` with one sentence that names what is wrong and what this job allows.
    """
    if not isinstance(text, str):
        raise BadFault(f"{shown(text)} is no fault; write one as text, such as outdoor.SIG=open")
    text = re.sub(r"\s*([.=:@])\s*", r"\1", " ".join(text.split()))
    target, equals, rest = text.partition("=")
    if not equals or "." not in target or not rest:
        raise BadFault(
            f"fault {text!r} can't be read; write RUN.CONDUCTOR=KIND or PLACE.PART=KIND, "
            "such as outdoor.SIG=open"
        )
    known = fault_parts(job)
    if target not in known:
        folded = {name.lower(): name for name in known}
        near = [folded[name] for name in difflib.get_close_matches(target.lower(), folded, 3, 0.5)]
        meant = f"it has {', '.join(near)}" if near else f"it has {', '.join(list(known)[:3])} and others"
        raise BadFault(f"fault {text!r}: this job has no {target}; {meant} (--list shows all)")
    rest, sign, position = rest.partition("@")
    kind_name, colon, value_text = rest.partition(":")
    kinds = known[target]
    if kind_name not in kinds:
        raise BadFault(f"fault {text!r}: {target} can't be {kind_name!r}; it can be {', '.join(kinds)}")
    kind = kinds[kind_name]
    where, part = target.split(".", 1)
    at = 0.5
    if sign:
        if not kind.placed:
            raise BadFault(f"fault {text!r}: {kind_name} has no position, so leave out @{position}")
        at = _number(text, position, "the position", 0.0, 1.0)
    return check_fault(Fault(where, part, kind_name, _value(text, kind, colon, value_text), at), job)


def check_fault(fault: Fault, job: Job) -> Fault:
    """Return the fault if this job can have it, with its usual value if it has none; else say why not."""
    if not isinstance(fault, Fault):
        raise BadFault(f"{shown(fault)} is no fault; write one as text, such as outdoor.SIG=open")
    kinds = fault_parts(job).get(f"{fault.where}.{fault.part}", {})
    if not isinstance(fault.kind, str) or fault.kind not in kinds:
        raise BadFault(
            f"fault {_cut(fault)}: this job has no such part or no such kind of fault (--list shows all)"
        )
    kind = kinds[fault.kind]
    if kind.value == "number" and fault.value is None:
        fault = replace(fault, value=kind.default)
    if kind.value == "number":
        fault = replace(fault, value=_number(_cut(fault), fault.value, _valued(kind), kind.low, kind.high))
    elif kind.value == "none" and fault.value is not None:
        raise BadFault(f"fault {_cut(fault)}: {kind.name} takes no value")
    fault = replace(fault, at=_number(_cut(fault), fault.at, "the position", 0.0, 1.0))
    if fault.at != 0.5 and not kind.placed:
        raise BadFault(f"fault {_cut(fault)}: {kind.name} has no position")
    if kind.value == "conductor":
        others = [name for name in job.runs[fault.where].conductors if name != fault.part]
        if fault.value not in others:
            raise BadFault(f"fault {_cut(fault)}: the other conductor must be one of {', '.join(others)}")
    return fault


def _cut(fault: Fault) -> str:
    """Return a fault as text for a sentence, whatever its fields hold."""
    return shown(fault) if not all(map(_short, vars(fault).values())) else str(fault)


def _short(value: object) -> bool:
    return value is None or isinstance(value, float) or (isinstance(value, str) and len(value) < 40)


def _value(text: str, kind: Kind, colon: str, value_text: str) -> float | str | None:
    if kind.value == "none":
        if colon:
            raise BadFault(f"fault {text!r}: {kind.name} takes no value, so leave out :{value_text}")
        return None
    if kind.value == "conductor":
        if not value_text:
            raise BadFault(f"fault {text!r}: say which conductor, such as {kind.name}:C")
        return value_text
    if not colon:
        return kind.default
    return _number(text, value_text, _valued(kind), kind.low, kind.high)


def _valued(kind: Kind) -> str:
    return f"the value ({kind.unit})"


def _number(text: str, given: object, what: str, low: float, high: float) -> float:
    try:
        number = math.nan if isinstance(given, bool) else float(given)  # type: ignore[arg-type]
    except (TypeError, ValueError, OverflowError):
        number = math.nan
    if not low <= number <= high:
        # Such limits are typed as numbers too; a billion of ohms is said with its unit as well.
        least, most = (f"{int(end)} ({ohm_words(end)})" if end >= 1e5 else f"{end:g}" for end in (low, high))
        raise BadFault(
            f"fault {shown(text)}: {what} is {shown(given)}, but must be a number from {least} to {most}"
        )
    return number


def as_faults(faults: Iterable[Fault | str] | Fault | str, job: Job) -> tuple[Fault, ...]:
    """Return faults, given as values or as text, each once, checked against the job and each other.

    Raises `BadFault` for a fault that the job can't have, and for two that can't be true together.
    """
    if isinstance(faults, Fault | str):
        faults = [faults]
    if not isinstance(faults, Iterable):
        raise BadFault(f"faults are {shown(faults)}, but must be a list of faults, such as outdoor.SIG=open")
    listed = (fault if isinstance(fault, Fault) else parse_fault(fault, job) for fault in faults)
    checked = [check_fault(fault, job) for fault in listed]
    unique = tuple(dict.fromkeys(checked))
    for one, two in combinations(unique, 2):
        if why := clash(one, two):
            raise BadFault(f"faults {one} and {two} {why}; give one of them")
    return unique


def clash(one: Fault, two: Fault) -> str:
    """Return why two faults of a job can't both be there, in words; empty where they can."""
    if one.where != two.where:
        return ""
    kinds = {one.kind, two.kind}
    if kinds == {"swapped"} and {one.part, one.value} == {two.part, two.value}:
        return "undo each other"
    if one.part != two.part:
        return ""
    if one.kind == two.kind:
        return "" if one.kind in ("short", "swapped") else "are the same fault twice"
    exclusive = any(kinds <= pair for pair in CONTRADICTIONS)
    return (
        "contradict each other"
        if exclusive and (kinds != {"open", "resistance"} or one.part == "earth")
        else ""
    )


def single_faults(job: Job) -> Iterator[Fault]:
    """Yield every single fault of a job, each kind once with its usual value.

    Shorts and swaps are taken between neighbours in the sheath and with R and C, which is where they happen.
    """
    for target, kinds in fault_parts(job).items():
        where, part = target.split(".", 1)
        for kind in kinds.values():
            if kind.value != "conductor":
                yield Fault(where, part, kind.name, kind.default)
                continue
            run = job.runs[where]
            order = {name: k for k, name in enumerate(run.conductors)}
            beside = {two for one, two in run.neighbours() if one == part} | {
                one for one, two in run.neighbours() if two == part
            }
            for other in sorted(beside | ({"R", "C"} & set(order)) - {part}, key=order.__getitem__):
                if order[other] > order[part] and not (is_idle(part) and is_idle(other)):
                    yield Fault(where, part, kind.name, other)


def thermostat_terminals(
    job: Job, call: str, faults: Iterable[Fault] = (), mode: str | None = None
) -> frozenset[str]:
    """Return the terminals that the thermostat of a job energises for a call, its waits left aside.

    Set for the other valve type, it uses the same screw the other way round. `mode` is "cool", "heat" or "",
    the mode that it is in (None: what this call begins).
    """
    kit = job.equipment
    mode = mode_after("", call) if mode is None else mode
    rest = (kit.stages, kit.heat, kit.heat_stages, kit.emergency_by)
    valve = kit.valve
    if not any((fault.where, fault.part) == ("stat", "valve") for fault in faults):
        return energised(job.thermostat, call, mode, valve, *rest)
    other = "B" if valve == "O" else "O"
    meant = energised(job.thermostat, call, mode, other, *rest)
    return frozenset(valve if terminal == other else terminal for terminal in meant)


def contactor_welded(faults: Iterable[Fault]) -> bool:
    """Return whether the contactor's contacts are stuck closed: the compressor then runs, called or not."""
    return any((fault.part, fault.kind) == ("contactor", "stuck-closed") for fault in faults)
