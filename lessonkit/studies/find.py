"""Finding a fault: what is told and read narrows the suspects; the next look is chosen by bits per minute.

    search = Search(demo_job("two-run"))
    search.told("cool-2: compressor stage 1 off")
    search.read("cool-2: out:R out:C 26.1 V")
    search.next.look, search.candidates[0]

A complaint or a look narrows by what each suspect would show (`dictionary`), a reading by how near it lies
to what each would give.  Time is counted as a technician spends it: a look takes half a minute, a new call
has to be made at the thermostat, and walking between the places costs minutes.  So half-split along a run
comes out by itself: the look that parts the suspects best, near by, comes first.

Where the model stops: see `dictionary` and `search`.  A reading that no single suspect explains is said as
such; two faults at once are searched on request.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lessonkit.bench.hands import walk_min
from lessonkit.errors import LessonError, require
from lessonkit.job.calls import CALLS, PLACES, check_call
from lessonkit.job.faults import Fault
from lessonkit.job.model import Job
from lessonkit.job.toml import load_job
from lessonkit.studies import search
from lessonkit.studies.dead_looks import change_min, is_dead
from lessonkit.studies.dictionary import (
    DIRECT,
    OHMS,
    Dictionary,
    Look,
    Page,
    Suspect,
    named_suspects,
    probes_of,
    suspects_of,
)

#: Minutes for a look or a reading once one stands there, and for a new call at the thermostat (ours: a house
#: with the outdoor unit beside it, as for the walks of `hands`).
LOOK_MIN, CALL_MIN = 0.5, 0.5
#: A suspect, or a group that no look tells apart, is named once it is this likely.
SURE = 0.95
#: A look that teaches fewer bits than this is not worth taking.
_LITTLE = 0.02
#: So many suspects are shown in a table.
_SHOWN = 8


class NotUnderstood(LessonError, ValueError):
    """What was told or read can't be matched to this job."""


@dataclass(frozen=True)
class Candidate:
    """A suspect and how likely it is by now."""

    faults: tuple[Fault, ...]
    comes_and_goes: bool
    probability: float

    @property
    def name(self) -> str:
        """Return the faults, and whether they come and go."""
        return str(Suspect(self.faults, self.comes_and_goes))

    def __str__(self) -> str:
        """Return the faults, their probability in percent, and whether they come and go."""
        return f"{self.probability:6.1%}  {self.name}"


@dataclass(frozen=True)
class NextLook:
    """The look to take now: its minutes, what it teaches in bits, and what each outcome would rule out.

    `rules_out` maps the words of an outcome to the suspects that it makes ten times less likely.
    """

    look: Look
    minutes: float
    bits: float
    rules_out: Mapping[str, tuple[str, ...]]

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain data, ready for JSON."""
        return {
            "call": self.look.call,
            "act": self.look.act,
            "place": self.look.place,
            "minutes": self.minutes,
            "bits": round(self.bits, 6),
            "rules_out": {words: list(out) for words, out in self.rules_out.items()},
        }


class Search:
    """A search for the fault of a job.

    Parameters: `job` is a `Job`, its name or path; `pairs` lets two faults at once be suspects;
    `comes_and_goes` lets faults be suspects that show only now and then; `weights` changes how likely kinds
    of fault are (see `dictionary.WEIGHTS`); `here` is where one stands, `call` what is asked for now, and
    `outdoor_c` what an outdoor thermostat feels; `suspects` takes the place of all that `suspects_of` gives:
    suspects, or their names, such as "outdoor.SIG=open" or "outdoor.SIG=open (comes and goes)"; `lifts` lets
    wires be lifted on the dead circuit and ohms be read, with the minutes that hands take. `beliefs` holds
    how likely each suspect was at the start and after each thing learnt. Shown last in a cell, a search is a
    table.
    """

    def __init__(
        self,
        job: Job | str,
        *,
        pairs: bool = False,
        comes_and_goes: bool = True,
        weights: Mapping[str, float] | None = None,
        calls: Iterable[str] = CALLS,
        here: str = "stat",
        call: str = "off",
        outdoor_c: float = 8.0,
        suspects: Sequence[Suspect | str] | None = None,
        lifts: bool = False,
    ) -> None:
        self.job = job if isinstance(job, Job) else load_job(job)
        require(here in PLACES, "here", here, f"one of {', '.join(PLACES)}")
        self.here, self.call = here, check_call(call)
        self.minutes = 0.0
        if suspects is None:
            chosen = suspects_of(self.job, pairs, comes_and_goes, weights)
        elif any(isinstance(one, str) for one in suspects):
            chosen = named_suspects(self.job, map(str, suspects), weights)
        else:
            chosen = tuple(one for one in suspects if isinstance(one, Suspect))
        self.dictionary = Dictionary(self.job, chosen, tuple(calls), outdoor_c, lifts)
        self.suspects = self.dictionary.suspects
        self.pages = self.dictionary.pages
        self.belief: NDArray[np.float64] = self.dictionary.prior.copy()
        self.looked: list[Look] = []
        self.beliefs = [self.belief]
        self._stack = _Stack(list(self.pages.values()))

    # ---- what is known ----

    def told(self, text: str) -> None:
        """Take in what somebody else says, such as "cool-2: compressor stage 1 off"; it costs no minutes."""
        call, rest = _split(text, "cool-2: compressor stage 1 off")
        for equipment in sorted({look.act for look in self.pages if look.is_seen}, key=len, reverse=True):
            if rest.lower().startswith(equipment):
                look = self._look(call, equipment, text)
                self._believe(self._seen(look, rest[len(equipment) :].strip(" :=")))
                return
        known = ", ".join(dict.fromkeys(look.act for look in self.pages if look.is_seen))
        raise NotUnderstood(f"told {text!r}: name what was seen, one of {known}, then its word, such as off.")

    def saw(self, look: Look, words: str) -> None:
        """Take in what was seen at a look, in one of the words of its page ("on" covers "on, ...")."""
        self._learn(look, self._seen(look, words))

    def _seen(self, look: Look, words: str) -> NDArray[np.float64]:
        page = self.pages[look]
        meant = [k for k, word in enumerate(page.words) if word == words] or [
            k for k, word in enumerate(page.words) if word.startswith(words)
        ]
        if not words or not meant:
            raise NotUnderstood(f"{look}: {words!r} is none of its words: {', '.join(page.words)}.")
        likely: NDArray[np.float64] = page.chance[:, meant].sum(axis=1)
        return likely

    def read(self, text: str) -> None:
        """Take in a reading, such as "cool-2: out:R out:C 26.1 V" or "off: out:SIG out:C 9.6 VDC".

        With `lifts` also "ring-out outdoor: air:outdoor.R air:outdoor.C 0.8 ohm", or OL for the number.
        """
        call, rest = _split(text, "cool-2: out:R out:C 26.1 V")
        ohms = re.fullmatch(r"(\S+:\S+)\s+(\S+:\S+)\s+(OL|\d+(?:[.,]\d+)?)\s*(?:ohms?)?", rest, re.IGNORECASE)
        if is_dead(call) and ohms is not None:
            look = self._look(call, f"{OHMS}{ohms[1]} {ohms[2]}", text)
            self.measured_ohm(look, math.inf if ohms[3].upper() == "OL" else float(ohms[3].replace(",", ".")))
            return
        match = re.fullmatch(
            r"(\S+:\S+)\s+(\S+:\S+)\s+([-+]?\d+(?:[.,]\d+)?)\s*V\s*(AC|DC)?", rest, re.IGNORECASE
        )
        if match is None:
            raise NotUnderstood(
                f"read {text!r}: write CALL: RED BLACK VOLTS, such as cool-2: out:R out:C 26.1 V."
            )
        kind = DIRECT if (match[4] or "").upper() == "DC" else ""
        look = self._look(call, f"{kind}{match[1]} {match[2]}", text)
        self.measured(look, float(match[3].replace(",", ".")))

    def measured(self, look: Look, volts: float) -> None:
        """Take in a reading in volts."""
        require(0 <= volts <= 60, "reading", volts, "from 0 to 60 V")
        self._learn(look, self.dictionary.likelihood(look, volts))

    def measured_ohm(self, look: Look, ohm: float) -> None:
        """Take in a reading in ohms of the dead circuit, `math.inf` for OL."""
        require(ohm >= 0, "reading", ohm, "0 ohm or more")
        self._learn(look, self.dictionary.likelihood_ohm(look, ohm))

    def _look(self, call: str, act: str, text: str) -> Look:
        matching = [look for look in self.pages if look.call == call and look.act == act]
        if matching:
            return matching[0]
        there = {*(look.act for look in self.pages), *(" ".join(pair) for pair in probes_of(self.job))}
        if act.removeprefix(DIRECT) in there or act in there:
            raise NotUnderstood(
                f"{text!r}: under {call} this shows the same whichever suspect it is, so it tells nothing."
            )
        known = ", ".join(dict.fromkeys(look.act for look in self.pages if look.call == call))
        raise NotUnderstood(f"{text!r}: there is no {act!r} in this job; under {call} there are {known}.")

    def _learn(self, look: Look, likely: NDArray[np.float64]) -> None:
        self._believe(likely)
        self.minutes += self.minutes_for(look)
        self.here, self.call = look.place, look.call
        self.looked = [*self.looked, look]

    def _believe(self, likely: NDArray[np.float64]) -> None:
        chance = np.stack([likely, 1.0 - np.minimum(likely, 1.0)], axis=1)
        self.belief = search.after(self.belief, chance, 0)
        self.beliefs = [*self.beliefs, self.belief]

    @property
    def candidates(self) -> tuple[Candidate, ...]:
        """Return the suspects, the likeliest first."""
        order = np.argsort(-self.belief, kind="stable")
        return tuple(
            Candidate(self.suspects[k].faults, self.suspects[k].comes_and_goes, float(self.belief[k]))
            for k in order
        )

    @cached_property
    def _alike(self) -> list[tuple[int, ...]]:
        """The groups of suspects that no look tells apart, by position."""
        tests = {str(look): page.chance for look, page in self.pages.items()}
        return search.groups(tests, len(self.suspects))

    @property
    def groups(self) -> tuple[tuple[str, ...], ...]:
        """Return the groups of suspects that no look tells apart (those of two or more)."""
        return tuple(tuple(str(self.suspects[k]) for k in group) for group in self._alike if len(group) > 1)

    @property
    def found(self) -> tuple[Candidate, ...] | None:
        """Return the suspect, or those that no look tells apart, once they are `SURE` together; else None."""
        for group in self._alike:
            if float(self.belief[list(group)].sum()) >= SURE:
                members = {self.suspects[k] for k in group}
                return tuple(
                    c
                    for c in self.candidates
                    if any((c.faults, c.comes_and_goes) == (s.faults, s.comes_and_goes) for s in members)
                )
        return None

    # ---- what to do next ----

    def minutes_for(self, look: Look) -> float:
        """Return what a look costs from here: the walk, a new call if it needs one, and the look itself.

        Between a call and the dead circuit hands switch off or on, and lift wires or put them back.
        """
        if look.call == self.call:
            return walk_min(self.here, look.place) + LOOK_MIN
        if is_dead(look.call) or is_dead(self.call):
            minutes, at = change_min(self.job, self.call, look.call, self.here)
            if not is_dead(look.call):
                minutes, at = minutes + walk_min(at, "stat") + CALL_MIN, "stat"
            return minutes + walk_min(at, look.place) + LOOK_MIN
        return walk_min(self.here, "stat") + CALL_MIN + walk_min("stat", look.place) + LOOK_MIN

    @property
    def next(self) -> NextLook | None:
        """Return the look that teaches most per minute, or None where no look tells anything more."""
        return self.best()

    def best(self, without: Collection[Look] = ()) -> NextLook | None:
        """Return the same among the looks that are not in `without`, such as those taken already."""
        looks = list(self.pages)
        bits = self._stack.gains(self.belief) * np.array([look not in without for look in looks])
        minutes = np.array([self.minutes_for(look) for look in looks])
        if bits.max(initial=0.0) < 1e-6:
            return None
        k = int(np.argmax(bits / minutes))
        page = self.pages[looks[k]]
        return NextLook(looks[k], float(minutes[k]), float(bits[k]), self._rules_out(page))

    def if_lifted(self) -> NextLook | None:
        """Return the look at the dead circuit that would be next if wires may be lifted; None for any other.

        Asked of a search without `lifts`: those who are still likely are searched once more with them.
        """
        likely = np.flatnonzero(self.belief > 0.002)
        more = Search(
            self.job,
            calls=self.dictionary.calls,
            here=self.here,
            call=self.call,
            outdoor_c=self.dictionary.outdoor_c,
            suspects=[self.suspects[k] for k in likely],
            lifts=True,
        )
        more.belief = self.belief[likely] / self.belief[likely].sum()
        step = more.next
        return step if step is not None and is_dead(step.look.call) and step.bits > _LITTLE else None

    def scores(self, most: int = 8) -> tuple[search.NextTest, ...]:
        """Return the looks that teach most a minute from here, no more than `most`, the best first."""
        bits = self._stack.gains(self.belief)
        scored = [
            search.NextTest(str(look), float(gain), self.minutes_for(look))
            for look, gain in zip(self.pages, bits, strict=True)
            if gain > 1e-6
        ]
        return tuple(sorted(scored, key=lambda score: -score.bits_a_minute)[:most])

    def _rules_out(self, page: Page) -> dict[str, tuple[str, ...]]:
        ruled: dict[str, tuple[str, ...]] = {}
        likely = np.flatnonzero(self.belief > 0.002)
        for n, words in enumerate(page.words):
            share = float(self.belief @ page.chance[:, n])
            if share < 1e-4:
                continue
            then = self.belief * page.chance[:, n] / share
            out = [k for k in likely if then[k] < 0.1 * self.belief[k]]
            ruled[words] = tuple(str(self.suspects[k]) for k in sorted(out, key=lambda k: -self.belief[k]))
        return ruled

    def to_dict(self, most: int = 20) -> dict[str, Any]:
        """Return what is known and what to do next as plain data, ready for JSON; `most` candidates of it."""
        step = self.next
        return {
            "candidates": [
                {
                    "faults": list(map(str, c.faults)),
                    "comes_and_goes": c.comes_and_goes,
                    "probability": round(c.probability, 6),
                }
                for c in self.candidates[:most]
                if c.probability > 1e-6
            ],
            "groups": [list(group) for group in self.groups],
            "next": None if step is None else step.to_dict(),
            "minutes_expected": round(self.minutes_expected(), 3),
        }

    def __str__(self) -> str:
        """Return the likeliest suspects and the next look."""
        lines = [str(one) for one in self.candidates[:_SHOWN] if one.probability > 0.001]
        return "\n".join([*lines, self._next_words()])

    __repr__ = __str__

    def _next_words(self) -> str:
        looks = "1 look" if len(self.looked) == 1 else f"{len(self.looked)} looks"
        spent = f"{looks}, {self.minutes:g} min so far; "
        step = self.next
        if step is None or step.bits < _LITTLE:
            return spent + "no look tells much more"
        return spent + f"next {step.look} ({step.bits:.2f} bits, {step.minutes:g} min)"

    def _repr_markdown_(self) -> str:
        rows = [
            f"| {one.name} | {100 * one.probability:.1f} % |"
            for one in self.candidates[:_SHOWN]
            if one.probability > 0.001
        ]
        return "| suspect | chance |\n| --- | --- |\n" + "\n".join(rows) + f"\n\n{self._next_words()}."

    def minutes_expected(self, most: int = 12) -> float:
        """Return the minutes that the rest of the search will take on average.

        Plays it out for each of the `most` likeliest suspects, each look showing what that suspect shows
        most often.
        """
        order = np.argsort(-self.belief, kind="stable")[:most]
        total = sum(float(self.belief[k]) * self._played(int(k)) for k in order)
        share = float(self.belief[order].sum())
        return total / share if share else 0.0

    def _played(self, culprit: int) -> float:
        kept = self.here, self.call, self.minutes, self.belief, self.looked, self.beliefs
        start = self.minutes
        try:
            for _ in range(20):
                step = self.next
                if self.belief[culprit] >= SURE or step is None or step.bits < _LITTLE:
                    break
                page = self.pages[step.look]
                shown = int(np.argmax(page.chance[culprit]))
                self._learn(step.look, page.chance[:, shown])
            return self.minutes - start
        finally:
            self.here, self.call, self.minutes, self.belief, self.looked, self.beliefs = kept


class _Stack:
    """All pages as one block of chances, so that what every look teaches is one product."""

    def __init__(self, pages: list[Page]) -> None:
        width = max((page.chance.shape[1] for page in pages), default=1)
        suspects = pages[0].chance.shape[0] if pages else 0
        self.chance = np.zeros((len(pages), suspects, width))
        for k, page in enumerate(pages):
            self.chance[k, :, : page.chance.shape[1]] = page.chance
        self.within = -_plogp(self.chance).sum(
            axis=2
        )  # what stays unsure of a look though the cause is known

    def gains(self, belief: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the bits that each look teaches, shape (looks,)."""
        shown = np.einsum("s,tsk->tk", belief, self.chance)
        gains: NDArray[np.float64] = -_plogp(shown).sum(axis=1) - self.within @ belief
        return np.maximum(gains, 0.0)


def _plogp(p: NDArray[np.float64]) -> NDArray[np.float64]:
    return p * np.log2(np.where(p > 0, p, 1.0))


def _split(text: str, example: str) -> tuple[str, str]:
    call, colon, rest = str(text).partition(":")
    call = call.strip()
    if not colon or not (call in CALLS or is_dead(call)) or not rest.strip():
        calls = ", ".join(CALLS)
        raise NotUnderstood(f"{text!r} can't be read; begin with a call ({calls}) and a colon: {example}.")
    return call, " ".join(rest.split())
