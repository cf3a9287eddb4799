"""A technician on a bench: does what a commissioning sheet says, and writes down what is read.

    technician = Technician(job, faults)
    technician.part("Nothing called").call("off", 60.0).volts(("air:R", "air:C"))
    technician.taken[0].value, technician.taken[0].low

The job stands there unwired: power off, every conductor off its terminals at both ends.  Whatever is wrong
with it has not met power yet.  Each reading is that of a meter with its digits and its band (`reading`), each
look is what an eye or an ear makes of the equipment.  Noise on SIG is read with a scope between two
frames: its RMS is what the supply shifts the conductor by and what it picks up besides, summed in power.

Where the model stops: the volts of all points under a call are those of one moment, long after the call.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from lessonkit.bench.hands import TOUCH_V
from lessonkit.bench.layout import conductor_node, link_common
from lessonkit.bench.meter import Meter
from lessonkit.bench.patient import PatientBench
from lessonkit.bench.plugs import loose_node
from lessonkit.bench.reading import Reading
from lessonkit.bench.signal_path import noise_on
from lessonkit.bench.wiring import Wiring
from lessonkit.job.faults import Fault, as_faults, thermostat_terminals
from lessonkit.job.handwork import HandWork
from lessonkit.job.model import RUN_ENDS, Job
from lessonkit.studies.dead_looks import lifted
from lessonkit.studies.dictionary import SEEN_AT, link_word, loaded_volts, signals_of
from lessonkit.studies.sheet import Read

__all__ = ["NOISE", "Taken", "Technician", "read_again"]

#: How a reading with a scope on SIG is called.
NOISE = "scope between frames: noise, RMS"

#: Boards have let go of everything this long after a cut, and links and boards have started after power came.
_DEAD_S, _START_S = 10.0, 30.0
#: A sound site's SIG may pick up so many times the noise that its job expects (ours).
NOISE_MORE = 2.0


@dataclass(frozen=True)
class Taken:
    """One reading with the words of its step; `low` and `high` are the ends of this meter's own band.

    `is_limit` says that they are limits that hold at every site; `group` is the act of the sheet that it
    belongs to. `on` is what was on in the circuit and `hands` how it was wired: the moment to read again
    elsewhere. `warning` is a caution at this act, and `first` what is ticked before it.
    """

    part: str
    call: str
    do: str
    act: str
    red: str
    black: str
    unit: str
    value: Read
    low: Read
    high: Read
    is_limit: bool = False
    group: str = ""
    on: frozenset[str] = frozenset()
    hands: tuple[HandWork, ...] = ()
    warning: str = ""
    first: tuple[str, ...] = ()


def read_again(taken: Sequence[Taken], job: Job, faults: Iterable[Fault] = ()) -> list[Reading | None]:
    """Return what volts and amperes would read on a job that differs a little; None for everything else.

    Contacts and coils stay as they were when it was taken, which makes it a matter of milliseconds.
    """
    broken = as_faults(faults, job)
    moments: dict[tuple[HandWork, ...], dict[frozenset[str], list[int]]] = {}
    for k, one in enumerate(taken):
        if one.unit in ("V", "A"):
            moments.setdefault(one.hands, {}).setdefault(one.on, []).append(k)
    found: list[Reading | None] = [None] * len(taken)
    for hands, states in moments.items():
        wiring = Wiring(job, broken, hands)
        solutions = wiring.solve(list(states), job.frequency_hz)
        for solution, members in zip(solutions, states.values(), strict=True):
            volts = [k for k in members if taken[k].unit == "V"]
            pairs = [(taken[k].red, taken[k].black) for k in volts]
            for k, value in zip(volts, loaded_volts(solution, pairs) if pairs else (), strict=True):
                shown = (
                    _noise_v(wiring, taken[k].red, float(value)) if taken[k].act == NOISE else float(value)
                )
                found[k] = Reading(shown, "V", pairs[volts.index(k)], "high")
            for k in members:
                if taken[k].unit == "A":
                    found[k] = Reading(abs(solution.a(_CLAMPED[taken[k].red])), "A", (), "clamp")
    return found


def _noise_v(wiring: Wiring, red: str, shift_v: float) -> float:
    """Return the RMS volts that a scope shows on SIG at an end of its run."""
    run = next(run for (node, _), (_, run) in signals_of(wiring.job).items() if node == red)
    return math.hypot(shift_v, noise_on(wiring, run).rms_v)


#: What a clamp goes around, and the element of the circuit that it is.
_CLAMPED = {"air:fuse": "fuse air", "out:fuse": "fuse out", "outdoor.earth": "earth outdoor"}


class Technician:
    """Somebody who works through a sheet.

    Parameters: `job` and what is wrong with it; `seed` fixes noise. Fields: `bench`, and `taken`, what was
    read so far. Methods that do something return the technician, so that acts can stand in a row.
    """

    def __init__(self, job: Job, faults: Iterable[Fault] = (), seed: int = 0) -> None:
        self.job = job
        self.taken: list[Taken] = []
        self._part, self._do, self.group = "", "", ""
        self._warning, self._first = "", list[str]()
        self._stopped = False  # whether the compressor's delay has begun, run out or not, since it last ran
        bench = self.bench = PatientBench(job, seed)
        bench.set_power(False)
        bench.set_hands(self.lifted())
        bench.set_faults(faults)
        bench.pass_time(_DEAD_S)
        self.meter = Meter(bench)

    # ---- what is done ----

    def part(self, title: str) -> Technician:
        """Begin a part of the sheet."""
        self._part = title
        return self

    def does(self, words: str, seconds: float = 0.0) -> Technician:
        """Say what is done before the next reading, and let time pass."""
        self._do = f"{self._do}, {words}" if self._do else words
        if seconds:
            self.bench.pass_time(seconds)
        return self

    def warns(self, words: str) -> Technician:
        """Say a caution that belongs to the next reading and to what is done for it."""
        self._warning = words
        return self

    def first(self, *acts: str) -> Technician:
        """Say what has to be true before the next reading: each gets a box of its own, and no number.

        Four underscores in the words are a line to write on.
        """
        self._first += acts
        return self

    def call(self, call: str, seconds: float) -> Technician:
        """Set a call, skip the delay of the compressor, and let time pass.

        Where a delay still ran, the sheet says that one waits for its end: without it "off" proves nothing.
        A fuse that the call before has blown is replaced first.
        """
        state = self.bench.state
        runs = "Y1" in thermostat_terminals(self.job, call)
        stops = not runs and state.responding["compressor stage 1"] != "off"
        self._stopped = self._stopped or stops or state.waiting_s > 0
        if runs and self._stopped:
            self._stopped = False
            longest_s = max(self.job.equipment.short_cycle_s, self.job.thermostat.min_off_s)
            self.first(f"{call} called; after a stop the compressor waits up to {longest_s / 60:g} minutes")
        if state.fuse == "blown":
            self.bench.set_call("off")
            self.bench.replace_fuse()
        self.bench.set_call(call)
        self.bench.skip_delay()
        self.bench.pass_time(seconds)
        return self

    def hands(self, works: Iterable[HandWork]) -> Technician:
        """Leave the wiring changed by exactly these works of hands."""
        self.bench.set_hands(works)
        return self

    def power(self, on: bool) -> Technician:
        """Close or open all disconnects, and wait until boards have started or let go."""
        self.bench.set_power(on)
        self.bench.pass_time(_START_S if on else _DEAD_S)
        return self

    def lifted(self, joined: Iterable[tuple[str, str, str]] = ()) -> list[HandWork]:
        """Return the works of hands that leave every conductor of both runs lifted at both ends.

        `joined` names ends (place, run, conductor) that are twisted together instead.
        """
        return lifted(self.job, self.job.runs, joined)

    def loose(self, run: str, name: str, place: str) -> str:
        """Return the node of an end that hangs loose."""
        return loose_node(f"{place}:{run}.{name}", conductor_node(run, name, place))

    # ---- what is read ----

    def volts(self, *pairs: tuple[str, str], act: str = "volts", at_most: float | None = None) -> Technician:
        """Read alternating volts (RMS, 10 megohm) between pairs of points.

        `at_most` is the band of a circuit that must be dead. What reads next to nothing may read as much as
        is no danger to hands: neighbours lend it some.
        """
        for (red, black), value in zip(pairs, loaded_volts(self.bench.solution, pairs), strict=True):
            reading = Reading(float(value), "V", (red, black), "high")
            most = TOUCH_V if at_most is None and reading < 0.5 * TOUCH_V else at_most
            band = None if most is None else (0.0, most)
            self._number(reading, "V", act, red, black, band)
        return self

    def direct_volts(self, *pairs: tuple[str, str]) -> Technician:
        """Read direct volts between pairs of points."""
        for red, black in pairs:
            reading = self.meter.dc_volts(red, black)
            self._number(Reading(abs(reading), "V", (red, black), "dc"), "V DC", "direct volts", red, black)
        return self

    def noise(self, *runs: str) -> Technician:
        """Read with a scope what is on SIG between two frames, at the far ends of links (RMS volts).

        What is good is bounded from above: by the meter's error and twice the noise that the job expects.
        """
        job, bench = self.job, self.bench
        for run in runs:
            place = RUN_ENDS[run][1]
            red, black = conductor_node(run, "SIG", place), link_common(job, run, place)
            shift_v = float(loaded_volts(bench.solution, [(red, black)])[0])
            reading = Reading(_noise_v(bench.wiring, red, shift_v), "V", (red, black), "high")
            most_v = math.hypot(shift_v, NOISE_MORE * job.runs[run].link.noise_v)
            band = 0.0, Reading(most_v, "V", (red, black), "high").high
            self._number(reading, "V", NOISE, red, black, band, is_limit=False)
        return self

    def ohms(
        self, red: str, black: str, act: str = "ohms", band: tuple[float, float] | None = None
    ) -> Technician:
        """Read ohms between two points of the dead circuit."""
        return self._number(self.meter.ohms(red, black), "ohm", act, red, black, band)

    def insulation(self, red: str, black: str, least_mohm: float, act: str) -> Technician:
        """Read insulation at 250 V direct; what counts is that it is not below its limit."""
        reading = self.meter.insulation(red, black)
        return self._number(reading, "Mohm", act, red, black, (least_mohm, math.inf))

    def amps(self, around: str) -> Technician:
        """Read amperes with a clamp."""
        return self._number(self.meter.amps(around), "A", "clamp around", around, "")

    def look(self, *equipment: str) -> Technician:
        """Look and listen to what each piece of equipment does."""
        chatter, responding = self.bench.chatter, self.bench.responding
        for name in equipment:
            wavers = any(_moves(part, name) for part in chatter)
            self._word(f"look: {name}", "comes and goes" if wavers else responding[name])
        return self

    def lamp(self, run: str) -> Technician:
        """Look at the lamp of a link, which says whether the far end answers."""
        link = self.bench.state.links[run]
        share = link.odds * link.reply_odds if link.state in ("working", "poor") else 0.0
        restless = any(name.endswith("relay-board") for name in self.bench.state.chatter)
        return self._word(f"look: {run} link", link_word(share, restless))

    def sees(self, act: str, word: str) -> Technician:
        """Write down what an eye sees that is no equipment."""
        return self._word(act, word)

    def ticks(self, *acts: str) -> Technician:
        """Tick what a person does and no meter shows."""
        for act in acts:
            self._word(act, "yes", "tick")
        return self

    # ---- how it is written down ----

    def _number(
        self,
        reading: Reading,
        unit: str,
        act: str,
        red: str,
        black: str,
        band: tuple[float, float] | None = None,
        is_limit: bool = True,
    ) -> Technician:
        size = 1e6 if unit == "Mohm" else 1.0
        value = reading.value
        if not math.isinf(value) and reading.digit:
            value = round(value / reading.digit) * reading.digit
        low, high = band or (max(reading.low / size, 0.0), reading.high / size)
        return self._take(act, red, black, unit, value / size, low, high, is_limit and band is not None)

    def _word(self, act: str, word: str, unit: str = "word") -> Technician:
        return self._take(act, "", "", unit, word, word, word)

    def _take(
        self,
        act: str,
        red: str,
        black: str,
        unit: str,
        value: Read,
        low: Read,
        high: Read,
        is_limit: bool = False,
    ) -> Technician:
        call = self.bench.call if self.bench.powered else ""
        words = self._part, call, self._do, act, red, black, unit
        self.taken.append(
            Taken(
                *words, value, low, high, is_limit, self.group, self.bench.on, self.bench.hands,
                self._warning, tuple(self._first),
            )
        )  # fmt: skip
        self._do, self._warning, self._first = "", "", []
        return self


def _moves(part: str, equipment: str) -> bool:
    """Return whether a part that comes and goes makes a piece of equipment do so."""
    named = {"compressor stage 1": "contactor", "compressor stage 2": "unloader"}.get(equipment, equipment)
    return named.replace(" ", "-") in part or (
        part.endswith("relay-board") and SEEN_AT.get(equipment, "") == "out"
    )
