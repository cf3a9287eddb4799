"""The layout of a job: what each of its parts puts into the circuit.

A job and its faults fix the layout: conductors with their resistance, their capacitance to the neighbours
in the sheath and their insulation; transformers behind fuses; coils, boards, contacts; the earth path;
faults.  Nodes are `place:terminal`.  A conductor that is no terminal (SIG, spare, bad) gets a terminal of
its own at each end; at the air handler, where two runs meet, its name says where the wire goes:
`air:SIG-stat`, `air:SIG-out`.

Where the model stops: capacitance sits at the two ends of a conductor, which is exact to a part in a million
at 60 Hz; neighbours are the two conductors beside it in the sheath; C is bonded to grounded metal at the air
handler, as makers often do, and nowhere else unless the return is the earth path.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from lessonkit.bench.plugs import branches_of_boards, hand_branches, node_of_end, unplugged
from lessonkit.copper.elements import (
    CONTACT_OHM,
    Branch,
    Capacitance,
    Resistance,
    Source,
    Winding,
)
from lessonkit.job.faults import Fault
from lessonkit.job.handwork import HandWork
from lessonkit.job.model import RUN_ENDS, Job, Run, is_idle
from lessonkit.job.parts import BOARD_RELAY_VA, INPUT_OHM, RATED_V, RELAY, Coil, Electronics
from lessonkit.job.supply import Supply

#: The node that everything is measured against: C at the air handler.
REFERENCE = "air:C"

BOND_OHM = 0.02  # a bonding jumper or a strap on one enclosure
LEAK_OHM = 1e9  # what any terminal leaks to its common across a board (typical of clean boards, from memory)
# What keeps a supply that is bonded to nothing from gathering charge: the bleed of its board to the
# cabinet, and the cabinet on its pad to the building (ours).
FLOATING_OHM = 1e5
SHORT_OHM = 0.1  # two bare conductors pressed together


def is_no_terminal(conductor: str) -> bool:
    """Return whether a conductor joins no terminal: SIG, a spare, a bad one."""
    return conductor == "SIG" or is_idle(conductor)


def run_end(job: Job, run_name: str, conductor: str, place: str) -> str:
    """Return the node at one end of a job's conductor, or of the terminal of that name.

    It is `conductor_node`, but for Y1 of the outdoor run at an air handler whose contacts lie between the
    terminal and that conductor: `air:Y1-out`.
    """
    behind = place == "air" and run_name == "outdoor" and conductor == "Y1" and job.breaks_y1_indoors
    return "air:Y1-out" if behind else conductor_node(run_name, conductor, place)


def conductor_node(run_name: str, conductor: str, place: str) -> str:
    """Return the node at one end of a conductor.

    `conductor_node("outdoor", "SIG", "air")` is `air:SIG-out`.
    """
    if place == "air" and is_no_terminal(conductor):
        other = "stat" if run_name == "thermostat" else "out"
        return f"air:{conductor}-{other}"
    return f"{place}:{conductor}"


def link_common(job: Job, run_name: str, place: str) -> str:
    """Return the node that a link's driver and receiver at a place stand on.

    That is C; but an isolated receiver outdoors hears through an optocoupler, whose lamp hangs between SIG
    and the far end of the conductor C, `out:C-air`, and touches nothing else there.
    """
    isolated = run_name == "outdoor" and place == "out" and job.outdoor_run.receiver == "isolated"
    return "out:C-air" if isolated else f"{place}:C"


@dataclass(frozen=True)
class CoilPlace:
    """A coil where it sits: `name` is "place:coil", `a` and `b` its nodes; a burnt-out one never pulls in."""

    name: str
    coil: Coil
    a: str
    b: str
    burnt_out: bool = False


@dataclass(frozen=True)
class BoardPlace:
    """Electronics where they sit: `hot` and `common` feed them; a dead one never wakes.

    One on a `battery` lives on that; a store carries one through `store_s` without volts.
    """

    name: str
    electronics: Electronics
    hot: str
    common: str
    dead: bool = False
    battery: bool = False
    store_s: float = 0.0


@dataclass(frozen=True)
class Toggle:
    """A two-way element: the branches that it is when it is off and when it is on."""

    off: Branch
    on: Branch


@dataclass
class Layout:
    """What has been laid out so far; the helpers below each add what one part of the job puts in.

    `fixed` never change; `toggles` are two-way elements by name; `coils` and `boards` are by "place:name".
    `follows` names the contacts that a coil moves, each with that coil and whether it is closed while the
    armature is in. `conductors` names the branches that are a whole conductor of a run, in one piece.
    """

    job: Job
    faults: tuple[Fault, ...]
    hands: tuple[HandWork, ...] = ()
    fixed: list[Branch] = field(default_factory=list)
    toggles: dict[str, Toggle] = field(default_factory=dict)
    coils: dict[str, CoilPlace] = field(default_factory=dict)
    boards: dict[str, BoardPlace] = field(default_factory=dict)
    follows: dict[str, tuple[str, bool]] = field(default_factory=dict)
    conductors: set[str] = field(default_factory=set)

    def found(self, where: str, part: str, kind: str) -> list[Fault]:
        """Return the faults of one kind on one part."""
        return [f for f in self.faults if (f.where, f.part, f.kind) == (where, part, kind)]

    def has(self, where: str, part: str, kind: str) -> bool:
        """Return whether a part has a fault of this kind."""
        return bool(self.found(where, part, kind))

    def r(self, name: str, a: str, b: str, ohm: float, note: str) -> None:
        """Add a resistance; between two wires that hands have put on one terminal there is none."""
        if a != b:
            self.fixed.append(Resistance(name, a, b, ohm, note))

    def stuck(self, where: str, part: str) -> str:
        """Return in which way a part's contacts are stuck: "stuck-open", "stuck-closed" or ""."""
        return next((kind for kind in ("stuck-open", "stuck-closed") if self.has(where, part, kind)), "")

    def contact(self, key: str, a: str, b: str, note: str, stuck: str = "", ohm: float = CONTACT_OHM) -> None:
        """Add a contact; a stuck one is the same on and off."""
        closed, opened = Resistance(key, a, b, ohm, note), Resistance(key, a, b, math.inf, note)
        if stuck == "stuck-closed":
            opened = closed
        elif stuck == "stuck-open":
            closed = opened
        self.toggles[key] = Toggle(opened, closed)

    def follower(self, key: str, coil: str, closes: bool, a: str, b: str, note: str) -> None:
        """Add a contact that a coil moves; one that `closes` is closed while the armature is in."""
        self.contact(key, a, b, note)
        self.follows[key] = (coil, closes)

    def safety(self, part: str, a: str, b: str) -> None:
        """Add a safety contact outdoors: closed, unless a fault says that it has opened."""
        ohm = math.inf if self.has("out", part, "open") else CONTACT_OHM
        self.r(f"safety out:{part}", a, b, ohm, f"{part.replace('-', ' ')} contact at out")

    def coil(self, place: str, name: str, coil: Coil, terminal: str, home: str = "") -> None:
        """Add a coil between a terminal and C, or `home`; a burnt-out one carries nothing."""
        a, b, key = f"{place}:{terminal}", home or f"{place}:C", f"coil {place}:{name}"
        note, burnt_out = f"{name} at {place}", self.has(place, name, "burnt-out")
        self.coils[f"{place}:{name}"] = CoilPlace(f"{place}:{name}", coil, a, b, burnt_out)
        if burnt_out:
            burnt = Resistance(key, a, b, math.inf, f"{note}, winding open")
            self.toggles[key] = Toggle(burnt, burnt)
            return
        # Coils are wound for the frequency of their job, so a 50 Hz job has 50 Hz coils.
        hz = self.job.frequency_hz
        self.toggles[key] = Toggle(
            Winding(key, a, b, coil.r_ohm, coil.l_henry(False, hz), f"{note}, armature open"),
            Winding(key, a, b, coil.r_ohm, coil.l_henry(True, hz), f"{note}, sealed"),
        )

    def board(
        self,
        place: str,
        name: str,
        electronics: Electronics,
        common: str = "",
        battery: bool = False,
        store_s: float = 0.0,
    ) -> None:
        """Add electronics between R and C, or another `common`; one on a battery draws nothing here."""
        hot, common, key = f"{place}:R", common or f"{place}:C", f"{place}:{name}"
        flat = battery and self.has(place, "battery", "flat")
        dead = self.has(place, name, "dead") or flat or key in unplugged(self.hands)
        self.boards[key] = BoardPlace(key, electronics, hot, common, dead, battery, 0.0 if dead else store_s)
        if battery:
            return
        self.r(f"board {place}:{name}", hot, common, electronics.r_ohm, f"{name} at {place}: what it draws")


def add_supply(to: Layout, place: str, supply: Supply, in_phase: bool = True) -> None:
    """Add a transformer and the fuse behind it."""
    share = 0.0 if to.has(place, "transformer", "dead") else 1.0
    for fault in to.found(place, "transformer", "weak"):
        share *= float(fault.value or 0.0)
    hot, common, key = f"{place}:XFMR", f"{place}:C", f"transformer {place}"
    ac_v = supply.open_v * share * (1 if in_phase else -1)
    r_ohm = supply.transformer.r_ohm
    off: Branch = Source(key, hot, common, r_ohm, 0j, note=f"{key}, power off")
    on: Branch = Source(key, hot, common, r_ohm, complex(ac_v), note=key)
    if to.has(place, "transformer", "burnt-out"):
        off = on = Resistance(key, hot, common, LEAK_OHM, f"{key}, winding open")
    to.toggles[f"power {place}"] = Toggle(off, on)
    whole = Resistance(f"fuse {place}", hot, f"{place}:R", supply.fuse.r_ohm, f"fuse at {place}")
    to.toggles[f"fuse {place}"] = Toggle(
        Resistance(whole.name, hot, whole.b, math.inf, f"{whole.note}, blown"), whole
    )


def add_earth(to: Layout) -> None:
    """Add grounded metal, what is bonded to it, and the earth path."""
    run = to.job.outdoor_run
    to.r("bond air", "air:C", "air:GND", BOND_OHM, "C bonded to grounded metal at the air handler")
    ohm = run.earth_ohm + sum(float(f.value or 0) for f in to.found("outdoor", "earth", "resistance"))
    if to.has("outdoor", "earth", "open"):
        ohm = math.inf
    to.r("earth outdoor", "air:GND", "out:GND", ohm, "equipment ground between air handler and outdoor unit")
    if run.arrangement == "link" and run.return_by == "earth":
        to.r(
            "bond out",
            "out:C",
            "out:GND",
            BOND_OHM,
            "common of the relay board bonded to grounded metal outdoors",
        )
    floats = link_common(to.job, "outdoor", "out") != "out:C"
    to.r("leak out:GND", "out:GND", "out:C", FLOATING_OHM if floats else LEAK_OHM, "leakage")
    # Whatever is cut off from everything else still leaks to the building through walls and soil.
    # With no C there, what volts at the thermostat are told against is grounded metal beside it.
    wired = "C" in to.job.thermostat_run.conductors
    ohm, what = (
        (LEAK_OHM, "leakage of the thermostat to the building") if wired else (1.0, "metal at the wall")
    )
    to.r("leak stat", "stat:C", "air:GND", ohm, what)
    to.r(
        "leak out",
        "out:GND",
        "air:GND",
        FLOATING_OHM if floats else LEAK_OHM,
        "leakage of the outdoor unit to the building",
    )


def add_run(to: Layout, name: str, run: Run) -> None:
    """Add the conductors of a run, what couples them, and the faults on them."""
    near, far = RUN_ENDS[name]
    near_node = {c: run_end(to.job, name, c, near) for c in run.conductors}
    far_node = {c: conductor_node(name, c, far) for c in run.conductors}
    if "C" in far_node:
        far_node["C"] = link_common(to.job, name, far)
    for fault in to.faults:
        if fault.where == name and fault.kind == "swapped":
            one, two = fault.part, str(fault.value)
            far_node[one], far_node[two] = far_node[two], far_node[one]
    for place, node in ((near, near_node), (far, far_node)):
        for conductor in run.conductors:
            end = f"{place}:{name}.{conductor}"
            node[conductor] = node_of_end(to.hands, end, node[conductor])
    broken_at: dict[str, float | None] = {}
    for conductor in run.conductors:
        ends = near_node[conductor], far_node[conductor]
        broken_at[conductor] = _add_conductor(to, name, run, conductor, *ends)
    for one, two in run.neighbours():
        pair = f"{name} {one}/{two}"
        for end, a, b, part in _side_by_side(broken_at[one], broken_at[two]):
            a_node = (near_node if a == "near" else far_node)[one]
            b_node = (near_node if b == "near" else far_node)[two]
            c_farad, ohm = run.pair_farad * part, run.insulation_ohm / part if part else math.inf
            if a_node != b_node:
                to.fixed.append(Capacitance(f"c {pair} {end}", a_node, b_node, c_farad, f"{pair}, {end}"))
            to.r(f"i {pair} {end}", a_node, b_node, ohm, f"insulation {pair}, {end}")
    for fault in to.faults:
        if fault.where != name or fault.kind not in ("short", "earth"):
            continue
        here = _on_conductor(name, fault.part, fault.at, near_node, far_node)
        if fault.kind == "short":
            there = _on_conductor(name, str(fault.value), fault.at, near_node, far_node)
            to.r(f"fault {fault}", here, there, SHORT_OHM, f"short {name}.{fault.part} to {fault.value}")
        else:
            # Metal outdoors is the outdoor unit's; a touch there sends its current home along the earth path.
            metal = "out:GND" if name == "outdoor" and fault.at >= 0.5 else "air:GND"
            to.r(
                f"fault {fault}",
                here,
                metal,
                float(fault.value or SHORT_OHM),
                f"{name}.{fault.part} to grounded metal",
            )


def _side_by_side(one: float | None, two: float | None) -> list[tuple[str, str, str, float]]:
    """Return which pieces of two neighbours lie side by side, and over what part of the run.

    `one` and `two` say where each is broken (None: nowhere).  A whole conductor's capacitance is divided
    where its neighbour is broken.
    """
    if one is None:
        one = 0.5 if two is None else two
    if two is None:
        two = one
    found = [("near end", "near", "near", min(one, two)), ("far end", "far", "far", 1 - max(one, two))]
    if one < two:
        found.append(("between the breaks", "far", "near", two - one))
    elif two < one:
        found.append(("between the breaks", "near", "far", one - two))
    return found


def _cuts(to: Layout, name: str, conductor: str) -> list[float]:
    """Return the positions at which a fault touches a conductor, from the near end."""
    touched = {
        f.at
        for f in to.faults
        if f.where == name
        and f.kind in ("short", "earth")
        and conductor in (f.part, f.value if f.kind == "short" else None)
    }
    return sorted(touched)


def _on_conductor(
    name: str, conductor: str, at: float, near_node: dict[str, str], far_node: dict[str, str]
) -> str:
    if at <= 0:
        return near_node[conductor]
    return far_node[conductor] if at >= 1 else f"{name}:{conductor}@{at:g}"


def _add_conductor(to: Layout, name: str, run: Run, conductor: str, near: str, far: str) -> float | None:
    """Add one conductor in as many pieces as faults cut it into; return where it is broken, if it is."""
    opened = [f.at for f in to.found(name, conductor, "open")] + (
        [0.5] if conductor.startswith("bad") else []
    )
    extra = sum(float(f.value or 0) for f in to.found(name, conductor, "resistance"))
    cuts = [at for at in _cuts(to, name, conductor) if 0 < at < 1]
    points = [0.0, *cuts, 1.0]
    nodes = [near, *(f"{name}:{conductor}@{at:g}" for at in cuts), far]
    for k in range(len(points) - 1):
        low, high = points[k], points[k + 1]
        last = k == len(points) - 2
        broken = any(low <= at < high or (last and at == high) for at in opened)
        # A bad splice is thought of as near the middle: in the piece that holds it.
        spliced = extra if low <= 0.5 < high else 0.0
        ohm = math.inf if broken else max(run.ohm_of(conductor) * (high - low), 1e-6) + spliced
        to.r(f"{name}.{conductor}#{k}", nodes[k], nodes[k + 1], ohm, f"conductor {name}.{conductor}")
        if not (cuts or broken):
            to.conductors.add(f"{name}.{conductor}#{k}")
        if k:
            to.r(f"leak {nodes[k]}", nodes[k], REFERENCE, LEAK_OHM, "leakage")
    return opened[0] if opened else None


def add_link(to: Layout, name: str, run: Run) -> None:
    """Add both ends of a link: boards, inputs, relays, drivers and receivers."""
    job, (near, far) = to.job, RUN_ENDS[name]
    to.board(near, "encoder", job.encoder)
    to.board(far, "relay-board", job.relay_board)
    terminals = job.call_terminals if name == "thermostat" else job.outdoor_terminals
    for terminal in terminals:
        to.r(
            f"input {near}:{terminal}",
            run_end(job, name, terminal, near),
            f"{near}:C",
            INPUT_OHM,
            f"encoder input {terminal} at {near}",
        )
        _add_relay(to, far, terminal, f"{far}:R", f"{far}:{terminal}")
    if name == "outdoor" and job.has_defrost:
        to.r(f"input {far}:D", f"{far}:D", f"{far}:C", INPUT_OHM, f"relay board input D at {far}")
        _add_relay(to, near, "D", f"{near}:R", f"{near}:D")
    for end, place in (("near", near), ("far", far)):
        node, common = conductor_node(name, "SIG", place), link_common(job, name, place)
        key, note = f"driver {name}.{end}", f"signal driver of {name} at {place}"
        to.r(
            f"receiver {name}.{end}", node, common, run.link.load_ohm, f"signal receiver of {name} at {place}"
        )
        to.toggles[key] = Toggle(
            Resistance(key, node, common, math.inf, f"{note}, released"),
            Source(key, node, common, run.link.drive_ohm, 0j, run.link.drive_v, note=note),
        )


def _add_relay(to: Layout, place: str, terminal: str, a: str, b: str) -> None:
    stuck = next((f.kind for f in to.faults if f.where == place and f.part == f"relay-{terminal}"), "")
    key = f"{place}:{terminal}"
    to.contact(f"relay {key}", a, b, f"relay {terminal} at {place}", stuck)
    pull, hot, common = f"pull {key}", f"{place}:R", f"{place}:C"
    ohm, note = RATED_V**2 / BOARD_RELAY_VA, f"coil of relay {terminal} on the board at {place}"
    to.toggles[pull] = Toggle(
        Resistance(pull, hot, common, math.inf, note), Resistance(pull, hot, common, ohm, note)
    )


def lay_hands(to: Layout) -> None:
    """Add what hands put in, relays included, and open the branches of boards whose plugs they pulled."""
    usual = {
        f"{place}:{name}.{conductor}": run_end(to.job, name, conductor, place)
        for name, run in to.job.runs.items()
        for conductor in run.conductors
        for place in RUN_ENDS[name]
    }
    to.fixed += hand_branches(to.hands, usual)
    for number, work in enumerate((w for w in to.hands if w.act == "relay"), 1):
        coil, one, other = work.what
        name = f"added-relay-{number}"
        to.coil(work.place, name, RELAY, coil.partition(":")[2])
        words = f"{name}: {one} to {other}"
        to.follower(f"added {number} {work.place}", f"{work.place}:{name}", True, one, other, words)
    own = branches_of_boards(to.job, [branch.name for branch in to.fixed] + list(to.toggles))
    gone = {name for board in unplugged(to.hands) for name in own.get(board, ())}

    def opened(branch: Branch) -> Branch:
        return Resistance(branch.name, branch.a, branch.b, math.inf, "plug pulled")

    to.fixed = [opened(branch) if branch.name in gone else branch for branch in to.fixed]
    for name in gone & set(to.toggles):
        to.toggles[name] = Toggle(opened(to.toggles[name].off), opened(to.toggles[name].off))
