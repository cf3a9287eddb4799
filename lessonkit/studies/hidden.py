"""A hidden fault: something is wrong with a job, somebody complains, and the clock runs in minutes.

    hidden = hidden_fault("earth-return", seed=4)
    hidden.complaint                    "cool-1: compressor stage 1 off"
    hidden.call("heat-1")
    hidden.volts("out:R", "out:C")
    hidden.replace("outdoor.R")
    hidden.score

Somebody stands at the thermostat and makes the calls, and somebody at each unit calls out what runs; so calls
cost half a minute, and what responds is known at once.  Whoever measures walks: readings, wires and parts
cost the minutes of `hands`.  A fuse that a call blows is replaced before the next one.  The fault is found
when the part that has it has been replaced; each wrong part costs its minutes and is counted.

The score stands beside the **best plan** (`best_plan`), which has the same helpers, the same walks and the
same minutes.  Afterwards the story of both can be read, and `moments` shows the bench uncovered at each step.

Where the model stops: minutes are ours; a part that is replaced is whole, and nobody breaks another.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from lessonkit.bench.hands import Hands
from lessonkit.bench.meter import Meter
from lessonkit.bench.patient import PatientBench
from lessonkit.bench.reading import Reading
from lessonkit.bench.state import State
from lessonkit.errors import LessonError, require
from lessonkit.job.calls import check_call
from lessonkit.job.faults import Fault, as_faults, fault_parts, single_faults
from lessonkit.job.model import Job, is_idle
from lessonkit.job.toml import load_job
from lessonkit.studies.best_plan import NOTHING, Entry, best_plan, part_min, part_of, place_of
from lessonkit.studies.cases import Case, rest
from lessonkit.studies.commissioning import calls_of, outdoor_c_of, wait_s
from lessonkit.studies.dictionary import SEEN_AT, WEIGHTS, seen_word
from lessonkit.studies.find import CALL_MIN

__all__ = ["HiddenFault", "Score", "hidden_fault", "wrong_words"]

#: What a bench needs after power came back: boards and links have started.
_START_S = 30.0


class AlreadyOver(LessonError, RuntimeError):
    """Something was wanted of a hidden fault that is found or given up."""


@dataclass(frozen=True)
class Score:
    """Minutes and wrong parts, beside those of the best plan."""

    minutes: float
    wrong_parts: int
    best_minutes: float
    best_wrong_parts: int
    found: bool

    def __str__(self) -> str:
        """Return it in a sentence."""
        end = "found" if self.found else "given up"
        return (
            f"{end} after {self.minutes:g} min with {wrong_words(self.wrong_parts)}; the best plan takes "
            f"{self.best_minutes:g} min with {wrong_words(self.best_wrong_parts)}"
        )


def wrong_words(count: int) -> str:
    """Return a number of wrong parts in words."""
    return {0: "no wrong part", 1: "one wrong part"}.get(count, f"{count} wrong parts")


class HiddenFault:
    """A job with a fault that is not told.

    Make one with `hidden_fault`. Fields: `job`, `complaint` (as `find` takes it, "" where nobody notices
    anything), `entries`, the story so far, and `wrong_parts`.
    """

    def __init__(self, job: Job, fault: Fault, complaint: str) -> None:
        self.job, self.complaint = job, complaint
        self._fault, self._over, self.found = fault, False, False
        self.bench = PatientBench(job, faults=[fault], outdoor_c=outdoor_c_of(job))
        self.hands, self.meter = Hands(self.bench, at="stat"), Meter(self.bench)
        self.entries: list[Entry] = []
        self.moments: list[State] = []
        self.wrong_parts = 0
        self._set_call(complaint.partition(":")[0] or "off")
        self._note("the complaint", complaint or NOTHING)

    def __repr__(self) -> str:
        """Return where it stands, without the fault while it is hidden."""
        told = f"it was {self._fault}" if self.over else f"complaint {self.complaint or 'none'}"
        so_far = f"{self.minutes:g} min, {wrong_words(self.wrong_parts)}"
        return f"A hidden fault of {self.job.name}: {told}, {so_far}"

    @property
    def minutes(self) -> float:
        """Return the minutes so far."""
        return self.hands.minutes

    @property
    def over(self) -> bool:
        """Return whether it is found or given up."""
        return self._over

    @property
    def fault(self) -> Fault:
        """Return the fault; it is told only when all is over."""
        if not self.over:
            raise AlreadyOver("the fault is still hidden; replace a part, or give up with give_up().")
        return self._fault

    def anew(self) -> HiddenFault:
        """Return the same hidden fault from its beginning, for somebody else to look for."""
        return HiddenFault(self.job, self._fault, self.complaint)

    # ---- what one does ----

    def call(self, call: str) -> str:
        """Let the helper at the thermostat make a call; return what the helpers call out."""
        self._still_hidden()
        self._set_call(check_call(call))
        self.hands.count(f"call {call}", self.hands.place, CALL_MIN)
        return self._note(f"call {call}", self._heard())

    def volts(self, red: str, black: str | None = None) -> Reading:
        """Walk there and read volts (RMS, 10 megohm)."""
        return self._read(self.meter.volts(red, black), "volts")

    def dc_volts(self, red: str, black: str | None = None) -> Reading:
        """Walk there and read direct volts."""
        return self._read(self.meter.dc_volts(red, black), "direct volts")

    def ohms(self, red: str, black: str | None = None) -> Reading:
        """Walk there and read ohms; the disconnects have to be open."""
        return self._read(self.meter.ohms(red, black), "ohms")

    def power(self, on: bool) -> str:
        """Close or open the disconnects."""
        self._still_hidden()
        self.hands.power(on)
        self.bench.pass_time(_START_S)
        return self._note(f"disconnects {'closed' if on else 'opened'}", self._heard())

    def lift(self, conductor: str, place: str) -> str:
        """Take one end of a conductor off its terminal."""
        self._still_hidden()
        act = self.hands.lift(conductor, place)
        self.bench.pass_time(_START_S)
        return self._note(act.words, self._heard())

    def put_back(self, conductor: str, place: str) -> str:
        """Put an end back on its own terminal."""
        self._still_hidden()
        act = self.hands.put_back(conductor, place)
        self.bench.pass_time(_START_S)
        return self._note(act.words, self._heard())

    def replace(self, part: str) -> bool:
        """Replace a part such as "outdoor.R" or "out.contactor"; return whether that was it."""
        self._still_hidden()
        known = tuple(fault_parts(self.job))
        require(part in known, "part", part, f"one of {', '.join(known)}")
        self.hands.count(f"replace {part}", place_of(part), part_min(part))
        if part in part_of(self._fault):
            self._over = self.found = True
            self.moments.append(self.bench.state)
            self.entries.append(Entry(self.minutes, f"replace {part}", "all works again"))
            return True
        self.wrong_parts += 1
        if part.endswith(".fuse"):
            self.bench.replace_fuse()
            self.bench.pass_time(_START_S)
        self._note(f"replace {part}", "the fault is still there")
        return False

    def give_up(self) -> Fault:
        """Stop, and be told the fault."""
        self._still_hidden()
        self._over = True
        self._note("give up", str(self._fault))
        return self._fault

    # ---- afterwards ----

    @property
    def score(self) -> Score:
        """Return the score, once all is over."""
        best = self.best_plan if self.over else ()
        if not best:
            raise AlreadyOver("there is no score yet; replace a part, or give up with give_up().")
        wrong = sum(entry.act.startswith("replace") for entry in best) - 1
        return Score(self.minutes, self.wrong_parts, best[-1].minutes, wrong, self.found)

    @cached_property
    def best_plan(self) -> tuple[Entry, ...]:
        """Return the story of the best plan for this fault, told only when all is over."""
        if not self.over:
            raise AlreadyOver(
                "the best plan tells the fault; replace a part, or give up with give_up(), and it is shown."
            )
        return tuple(best_plan(self.job, self._fault, self.complaint))

    def replay(self) -> str:
        """Return both stories, one below the other."""
        lines = ["What was done:", *map(str, self.entries), "The best plan:", *map(str, self.best_plan)]
        return "\n".join(lines)

    def choices(self, count: int = 5) -> tuple[str, ...]:
        """Return parts to vote on: the right one among others that would give the same complaint."""
        rng = random.Random(f"choices {self._fault}")
        right = sorted(part_of(self._fault))[0]
        alike = _parts_alike(self.job, self.complaint, self._fault)
        return tuple(sorted([right, *rng.sample(alike, min(count - 1, len(alike)))]))

    # ---- what they share ----

    def _still_hidden(self) -> None:
        if self.over:
            raise AlreadyOver("the fault is found or given up; hide another with hidden_fault().")

    def _set_call(self, call: str) -> None:
        if self.bench.state.fuse == "blown":
            self.bench.set_call("off")
            self.bench.replace_fuse()
        self.bench.set_call(call)
        self.bench.skip_delay()
        self.bench.pass_time(wait_s(self.job))

    def _read(self, reading: Reading, what: str) -> Reading:
        self._still_hidden()
        self.hands.probe(*reading.probes)
        self._note(f"{what} {' '.join(reading.probes)}", str(reading))
        return reading

    def _heard(self) -> str:
        state = self.bench.state
        on = [name for name, words in state.responding.items() if words != "off"]
        chatter = f"; chatter: {', '.join(state.chatter)}" if state.chatter else ""
        return f"{', '.join(on) or 'nothing'} on{chatter}"

    def _note(self, act: str, shown: str) -> str:
        self.entries.append(Entry(self.minutes, act, shown))
        self.moments.append(self.bench.state)
        return shown


# ---- hiding ----


def _complaint(job: Job, fault: Fault) -> str:
    """Return what the owner notices first of a fault, or "" where that is nothing."""
    calls, air_c = calls_of(job), outdoor_c_of(job)
    ends = rest(job, [Case(call, what) for what in ((), (fault,)) for call in calls], outdoor_c=air_c)
    for call, sound, broken in zip(calls, ends, ends[len(calls) :], strict=False):
        for equipment in SEEN_AT:
            word = seen_word(broken, equipment)
            if word != seen_word(sound, equipment):
                return f"{call}: {equipment} {word}"
    return ""


def _drawn(job: Job, seed: int) -> Iterator[Fault]:
    """Yield single faults in an order that a seed draws, the frequent kinds first more often."""
    rng = random.Random(f"hidden {seed}")
    left = [fault for fault in single_faults(job) if not is_idle(fault.part)]
    while left:
        fault = rng.choices(left, [WEIGHTS.get(one.kind, 1.0) for one in left])[0]
        left.remove(fault)
        yield fault


def hidden_fault(
    job: Job | str = "earth-return", seed: int = 0, fault: Fault | str | None = None
) -> HiddenFault:
    """Return a job with a fault that is not told.

    Parameters: `job` is a job, its name or its file; `seed` draws a single fault that its owner notices;
    `fault` is hidden instead, where it is given.
    """
    site = job if isinstance(job, Job) else load_job(job)
    whole = isinstance(seed, int) and not isinstance(seed, bool) and seed >= 0
    require(whole, "seed", seed, "a whole number, 0 or more")
    if fault is not None:
        (chosen,) = as_faults(fault, site)
        return HiddenFault(site, chosen, _complaint(site, chosen))
    for one in _drawn(site, seed):
        if complaint := _complaint(site, one):
            return HiddenFault(site, one, complaint)
    raise LessonError(f"{site.name}: no single fault of this job is ever noticed; choose one with fault=.")


def _parts_alike(job: Job, complaint: str, fault: Fault) -> list[str]:
    """Return other parts of which a fault gives the same complaint, or any others where there is none."""
    call, _, rest_of = complaint.partition(": ")
    others = [
        one for one in single_faults(job) if not is_idle(one.part) and not part_of(one) & part_of(fault)
    ]
    if not complaint:
        return sorted({min(part_of(one)) for one in others})
    ends = rest(job, [Case(call, (one,)) for one in others], outdoor_c=outdoor_c_of(job))
    equipment = next(name for name in sorted(SEEN_AT, key=len, reverse=True) if rest_of.startswith(name))
    word = rest_of.removeprefix(equipment).strip()
    found = {
        min(part_of(one)) for one, end in zip(others, ends, strict=True) if seen_word(end, equipment) == word
    }
    return sorted(found)
