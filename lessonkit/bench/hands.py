"""Hands on a bench: lift a wire, move it, twist ends together, put in a jumper, pull a plug.

    hands = Hands(bench)
    hands.power(False)
    hands.lift("outdoor.SIG", "out")
    hands.lift("outdoor.SIG", "air")
    hands.minutes

Each act changes the circuit, and nothing else: what follows comes out of it. Each act takes minutes, with the
walk to where it is done, and can be undone. The bench's own clock stands still meanwhile; `bench.advance`
lets its time pass.

What is dangerous on a live circuit is refused with the reason. A wire that carries current, or whose end is
live, stays where it is until the disconnect is open: a loose live end finds metal, and a wire lifted under
load sparks. A dead wire or a signal conductor may be lifted at any time. A jumper may be put between live
terminals, which is how a technician calls for a blower without a thermostat, but never where it would carry
more than the fuse does.

Where the model stops: minutes are ours (a house with the outdoor unit beside it; no source), and hands here
never slip.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from lessonkit.bench.bench import Bench
from lessonkit.bench.layout import run_end
from lessonkit.bench.meter import METER_OHM, LiveCircuit
from lessonkit.bench.plugs import JUMPER_OHM, node_of_end, unplugged
from lessonkit.bench.settling import fuse_of
from lessonkit.errors import require, shown
from lessonkit.job.calls import PLACE_WORDS, PLACES
from lessonkit.job.handwork import BadHandWork, HandWork, end_of, parse_work

__all__ = ["ACT_MIN", "WALK_MIN", "Act", "Hands", "walk_min"]

#: Minutes for each act once one stands there.
ACT_MIN: Mapping[str, float] = MappingProxyType(
    {
        "power": 1.0,
        "probe": 0.5,
        "lift": 1.0,
        "move": 1.5,
        "twist": 1.5,
        "put back": 1.0,
        "jumper": 0.5,
        "relay": 10.0,
        "take out": 0.5,
        "unplug": 1.0,
        "plug": 1.0,
    }
)
#: Minutes for the walk between places.
WALK_MIN: Mapping[frozenset[str], float] = MappingProxyType(
    {
        frozenset({"stat", "air"}): 2.0,
        frozenset({"air", "out"}): 3.0,
        frozenset({"stat", "out"}): 4.0,
    }
)
#: An end is live from these volts on, as a meter of low impedance reads them: a ghost is no danger.
TOUCH_V = 2.0
#: A wire that carries this much or more sparks when it is lifted.
SPARK_A = 0.01


def walk_min(one: str, other: str) -> float:
    """Return the minutes for the walk from one place to another."""
    return 0.0 if one == other else WALK_MIN[frozenset({one, other})]


@dataclass(frozen=True)
class Act:
    """One act of hands: what was done, where, and the minutes that it took, the walk included."""

    words: str
    place: str
    minutes: float

    def __str__(self) -> str:
        """Return it as a line of a work sheet."""
        return f"{self.words} ({self.minutes:g} min)"


class Hands:
    """A pair of hands on a bench.

    Parameters: `bench`, and `at`, the place where they start. Fields: `place`, where they are; `acts`, what
    they have done, in its order.

    Every act returns its `Act`. Raises `BadHandWork` for what this job doesn't have and `LiveCircuit` for
    what is dangerous now; nothing is changed then.
    """

    def __init__(self, bench: Bench, at: str = "air") -> None:
        require(at in PLACES, "at", at, f"one of {', '.join(PLACES)}")
        self.bench = bench
        self.place = at
        self.acts: list[Act] = []
        self._before: list[tuple[HandWork, ...]] = []

    @property
    def minutes(self) -> float:
        """Return the minutes that all acts took."""
        return sum(act.minutes for act in self.acts)

    # ---- acts ----

    def power(self, on: bool, place: str | None = None) -> Act:
        """Close or open the disconnect at a place, "air" or "out"; both of them where none is named."""
        self.bench.set_power(on, place)
        where = "" if place is None else f" at the {PLACE_WORDS[place]}"
        return self._did("power", place or "air", f"disconnect{where} {'closed' if on else 'opened'}")

    def probe(self, *nodes: str) -> Act:
        """Put the probes of a meter on terminals or loose ends of one place; its leads reach no further."""
        places = {node.partition(":")[0] if isinstance(node, str) else "" for node in nodes}
        if len(places) != 1 or not places <= set(PLACES):
            listed = " and ".join(map(shown, nodes))
            raise BadHandWork(f"probes on {listed}: test leads reach within one place")
        return self._did("probe", places.pop(), f"probes on {' and '.join(nodes)}")

    def lift(self, conductor: str, place: str) -> Act:
        """Take one end of a conductor, such as "outdoor.SIG" at "out", off its terminal."""
        end = end_of(conductor, place, self.bench.job)
        self._refuse_live(f"lift {end}", end)
        return self._work(HandWork("lift", (end,)))

    def lift_all(self, run: str, place: str) -> None:
        """Take every conductor of a run off its terminal at one place, each an act of its own."""
        job = self.bench.job
        ends = tuple(end_of(f"{run}.{name}", place, job) for name in job.runs[run].conductors)
        for end in ends:
            self._refuse_live(f"lift {end}", end)
        changed = [self.bench.hands]
        for end in ends:
            changed.append((*_without(changed[-1], (end,)), HandWork("lift", (end,))))
        # The circuit is dead: nothing moves between the first wire and the last.
        self.bench.set_hands(changed.pop())
        self._before += changed
        for work in self.bench.hands[-len(ends) :]:
            self._did(work.act, work.place, str(work))

    def move(self, conductor: str, place: str, terminal: str) -> Act:
        """Put one end of a conductor on another terminal of the same place, such as "out:Y2"."""
        end = end_of(conductor, place, self.bench.job)
        work = parse_work(HandWork("move", (end, terminal)), self.bench.job)
        self._refuse_live(str(work), end)
        self._refuse_joining(str(work), end, terminal)
        return self._work(work)

    def twist(self, place: str, *conductors: str) -> Act:
        """Take ends of conductors off their terminals at one place and twist them together."""
        ends = [end_of(conductor, place, self.bench.job) for conductor in conductors]
        work = parse_work(" ".join(("twist", *ends)), self.bench.job)
        for end in ends:
            self._refuse_live(str(work), end)
        return self._work(work)

    def put_back(self, conductor: str, place: str) -> Act:
        """Put one end of a conductor back on its own terminal; a twist that it was in is taken apart."""
        end = end_of(conductor, place, self.bench.job)
        if not any(end in work.ends for work in self.bench.hands):
            raise BadHandWork(f"{end} is on its own terminal already")
        self._refuse_live(f"put back {end}", end)
        self._refuse_joining(f"put back {end}", end, self._terminal(end))
        self._change(_without(self.bench.hands, (end,)))
        return self._did("put back", place, f"put back {end}")

    def jumper(self, one: str, other: str) -> Act:
        """Put a jumper wire between two terminals of one place."""
        work = parse_work(HandWork("jumper", (one, other)), self.bench.job)
        between = self.bench.solution.thevenin(one, other)
        would_a = abs(between.open_v / (between.z_ohm + JUMPER_OHM))
        limit_a = min(fuse_of(self.bench.job, place).rated_a for place in self.bench.wiring.supplies)
        if would_a > limit_a:
            raise LiveCircuit(
                f"{work} refused: it would carry {would_a:.1f} A, more than the fuse of {limit_a:g} A, and "
                "short the supply; choose terminals with a load between them"
            )
        return self._work(work)

    def relay(self, coil: str, one: str, other: str) -> Act:
        """Put in a small relay: its coil from terminal `coil` to C, its contact from `one` to `other`.

        The contact closes while the coil has its volts. What is on one side of it can't flow back to the
        coil, which is what a relay is for where a jumper would join two calls.
        """
        work = parse_work(f"relay {coil} {one} {other}", self.bench.job)
        for terminal in work.what:
            volts = self._loaded_v(terminal, f"{work.place}:C")
            if volts >= TOUCH_V:
                raise LiveCircuit(
                    f"{work} refused: {terminal} is live at {volts:.1f} V; "
                    "open the disconnect, prove it dead, then put the relay in"
                )
        return self._work(work)

    def take_out(self, one: str, other: str) -> Act:
        """Take a jumper wire out again."""
        for work in self.bench.hands:
            if work.act == "jumper" and sorted(work.what) in ([one, other], [other, one]):
                self._change([w for w in self.bench.hands if w != work])
                return self._did("take out", work.place, f"take out {work}")
        raise BadHandWork(f"there is no jumper between {_bare(one)} and {_bare(other)} to take out")

    def unplug(self, board: str) -> Act:
        """Pull the plug of a board, such as "out:relay-board"."""
        work = parse_work(HandWork("unplug", (board,)), self.bench.job)
        self._refuse_fed(str(work), board)
        return self._work(work)

    def plug(self, board: str) -> Act:
        """Put the plug of a board in again."""
        if not isinstance(board, str) or board not in unplugged(self.bench.hands):
            raise BadHandWork(f"the plug of {_bare(board)} is not pulled")
        self._refuse_fed(f"plug {board}", board)
        self._change([work for work in self.bench.hands if work.what != (board,)])
        return self._did("plug", board.partition(":")[0], f"plug {board}")

    def do(self, text: str) -> Act:
        """Do a work of hands as it is written (`handwork`), such as "lift out:outdoor.SIG"."""
        work = parse_work(text, self.bench.job)
        place, conductors = work.place, [end.partition(":")[2] for end in work.ends]
        if work.act == "lift":
            return self.lift(conductors[0], place)
        if work.act == "move":
            return self.move(conductors[0], place, work.what[1])
        if work.act == "twist":
            return self.twist(place, *conductors)
        if work.act == "relay":
            return self.relay(*work.what)
        return self.jumper(*work.what) if work.act == "jumper" else self.unplug(work.what[0])

    def undo(self) -> Act:
        """Put the wiring back to what it was before the last change; it takes as long as a lift."""
        if not self._before:
            raise BadHandWork("there is nothing to undo")
        for end in {end for work in self.bench.hands for end in work.ends}:
            self._refuse_live("undo", end)
        self.bench.set_hands(self._before.pop())
        return self._did("lift", self.place, "undo the last change")

    def put_all_back(self) -> Act:
        """Put every wire, jumper and plug back, each with its own minutes."""
        works = self.bench.hands
        for end in [end for work in works for end in work.ends]:
            self._refuse_live("put all back", end)
        minutes = sum(ACT_MIN["put back"] * max(len(work.ends), 1) for work in works)
        self._change([])
        act = Act("all wires, jumpers and plugs put back", self.place, minutes)
        self.acts.append(act)
        return act

    def count(self, words: str, place: str, minutes: float) -> Act:
        """Count something else that is done at a place, such as a new call at the thermostat."""
        done = Act(words, place, walk_min(self.place, place) + minutes)
        self.place = place
        self.acts.append(done)
        return done

    # ---- what they share ----

    def _work(self, work: HandWork) -> Act:
        kept = _without(self.bench.hands, work.ends)
        self._change([*kept, work])
        return self._did(work.act, work.place, str(work))

    def _change(self, works: list[HandWork]) -> None:
        before = self.bench.hands
        self.bench.set_hands(works)
        self._before.append(before)

    def _did(self, act: str, place: str, words: str) -> Act:
        return self.count(words, place, ACT_MIN[act])

    def _terminal(self, end: str) -> str:
        place, _, conductor = end.partition(":")
        run, _, name = conductor.partition(".")
        return run_end(self.bench.job, run, name, place)

    def _node(self, end: str) -> str:
        return node_of_end(self.bench.hands, end, self._terminal(end))

    def _loaded_v(self, one: str, other: str) -> float:
        """Return the volts between two nodes with a few kilohms across: what can deliver current."""
        if one == other:
            return 0.0
        return abs(self.bench.solution.thevenin(one, other).loaded_v(METER_OHM["low"]))

    def _refuse_live(self, what: str, end: str) -> None:
        place, _, conductor = end.partition(":")
        node = self._node(end)
        volts = max(self._loaded_v(node, f"{place}:C"), self._loaded_v(node, "air:GND"))
        amps = abs(self.bench.solution.a(f"{conductor}#0"))
        if volts >= TOUCH_V or amps >= SPARK_A:
            found = f"is live at {volts:.1f} V" if volts >= TOUCH_V else f"carries {amps:.2f} A"
            raise LiveCircuit(
                f"{what} refused: {conductor} {found}; a wire lifted under power sparks, and its loose end "
                "finds metal; open the disconnect, prove it dead, then lift it"
            )

    def _refuse_joining(self, what: str, end: str, terminal: str) -> None:
        volts = self._loaded_v(self._node(end), terminal)
        if volts >= TOUCH_V:
            raise LiveCircuit(
                f"{what} refused: {terminal} is live, {volts:.1f} V away from the wire; "
                "open the disconnect, prove it dead, then put the wire on"
            )

    def _refuse_fed(self, what: str, board: str) -> None:
        at = self.bench.wiring.boards[board]
        volts = self._loaded_v(at.hot, at.common)
        if volts >= TOUCH_V:
            raise LiveCircuit(
                f"{what} refused: {volts:.1f} V feed it; a plug pulled or pushed under power burns its "
                "contacts and may cost the board; open the disconnect, prove it dead, then pull it"
            )


def _bare(name: object) -> str:
    """Return a name for a sentence, without its quotes."""
    return shown(name).strip("'")


def _without(works: tuple[HandWork, ...], ends: tuple[str, ...]) -> list[HandWork]:
    """Return the works without some ends; ends that a twist loses hang loose if they are left alone."""
    kept: list[HandWork] = []
    for work in works:
        left = tuple(end for end in work.ends if end not in ends)
        if left == work.ends:
            kept.append(work)
        elif len(left) > 1:
            kept.append(HandWork("twist", left))
        elif left:
            kept.append(HandWork("lift", left))
    return kept
