"""Suspects at work on a filled sheet: how well each of them explains all that was read.

    sheet = Filled(proof, readings, out)
    weigh(sheet, [Candidate((fault,), prior, guess), ...], most=30)

A suspect works through the sheet on the bench, first some acts and then all, and each reading that it would
not give makes it less likely: no reading can make it more so.  So it is always the likeliest so far that
works on, and whoever has fallen far behind the best need not go to the end.  Where nobody explains all
that is out, those that a quick guess spoke against get their turn.  What a fault can't touch reads as on the
sound job: where every wire is lifted, only the conductors and their insulation count.

Some faults the sheet itself measures: a splice by the ohms of its loops, a poor bond by those of the ground,
a weak transformer by its open volts, noise by the scope.  Such a suspect takes the size that was read.
"""

from __future__ import annotations

import heapq
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from statistics import median

from lessonkit.bench.layout import conductor_node
from lessonkit.bench.plugs import loose_node
from lessonkit.job.faults import Fault
from lessonkit.job.model import Job
from lessonkit.studies.commissioning import GROUND_PART, PARTS, RING_OUT, TICKED, UNPLUGGED, Act, modes, walk
from lessonkit.studies.corners import LINE
from lessonkit.studies.dictionary import MISTAKEN, READING_SHARE, READING_V, signals_of
from lessonkit.studies.prove import Proof
from lessonkit.studies.sheet import Read, Step
from lessonkit.studies.technician import NOISE, Taken

__all__ = ["LEAST", "Candidate", "Filled", "Weighed", "sized", "weigh"]

#: Doubt of a reading: a share of it (of volts as in `dictionary`), and of ohms this much besides; a reading
#: is unexplained from so many of these on.
_OHM_SHARE, _OHM, _FAR = 0.05, 0.05, 4.0
#: Below this share of the best an explanation is not told; beside one that explains all, below the other.
LEAST, _UNLIKELY = 0.002, 0.02
#: So many work to the end in any case: pairs begin with them.
_KEPT = 3


@dataclass(frozen=True)
class Weighed:
    """A suspect that has worked through the sheet: the log of prior times likelihood, and what it left."""

    faults: tuple[Fault, ...]
    score: float
    unexplained: tuple[int, ...]


@dataclass(frozen=True)
class Filled:
    """A filled sheet: `readings` by step number, and by how much those that are `out` lie outside."""

    proof: Proof
    readings: Mapping[int, Read]
    out: Mapping[int, Read]
    _sound: Mapping[str, dict[int, Read]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        found: dict[str, dict[int, Read]] = {}
        expected = self.proof.readings(self.proof.taken)
        for number, taken in enumerate(self.proof.taken, 1):
            found.setdefault(taken.group, {})[number] = expected[number]
        object.__setattr__(self, "_sound", found)

    def acts_out(self) -> list[Act]:
        """Return the acts beside the modes with readings that are out, in the order of the sheet."""
        groups = {self.proof.taken[number - 1].group for number in self.out} - {modes.__name__}
        return [act for act in PARTS if act.__name__ in groups]

    def acts_read(self) -> list[Act]:
        """Return the acts with readings that a suspect can explain, in the order of the sheet."""
        groups = {self.proof.taken[number - 1].group for number in self.readings}
        return [act for act in PARTS if act.__name__ in groups and act not in TICKED]

    def likelihood(self, faults: tuple[Fault, ...], acts: Sequence[Act]) -> tuple[float, tuple[int, ...]]:
        """Return the logarithm of how well faults explain some acts, and the steps out that they don't."""
        total, left = 0.0, []
        for number, expected in self._expected(faults, acts).items():
            step = self.proof.steps[number - 1]
            if number not in self.readings or step.unit == "tick":
                continue
            z = _apart(step, self.readings[number], expected)
            total += math.log((1 - MISTAKEN) * math.exp(-0.5 * min(z, 30.0) ** 2) + MISTAKEN)
            if z > _FAR and number in self.out:
                left.append(number)
        return total, tuple(left)

    def _expected(self, faults: tuple[Fault, ...], acts: Sequence[Act]) -> dict[int, Read]:
        job = self.proof.job
        in_wire = any(fault.where in job.runs for fault in faults)
        done = tuple(act for act in acts if in_wire or act not in UNPLUGGED)
        found: dict[int, Read] = {}
        for act in acts:
            if act not in done:
                found |= self._sound[act.__name__]
        if done:
            found |= self.proof.readings(_worked(job, faults, done), done)
        return found


@lru_cache(maxsize=512)
def _worked(job: Job, faults: tuple[Fault, ...], acts: tuple[Act, ...]) -> tuple[Taken, ...]:
    """Return what faults make of some acts; a panel asks for the same again and again."""
    return walk(job, faults, parts=acts)


@dataclass(frozen=True)
class Candidate:
    """A suspect before its work: how likely it is beforehand, and a guess at what the modes will say.

    `guess` is the logarithm of a likelihood, 0 or less; the work itself takes its place.
    """

    faults: tuple[Fault, ...]
    prior: float
    guess: float = 0.0


def weigh(sheet: Filled, candidates: Sequence[Candidate], most: int, late: bool = False) -> list[Weighed]:
    """Return suspects weighed by the whole sheet, the best first; `most` is how many work to its end.

    With `late`, guesses count for nothing once nobody is left who could explain all.
    """
    screens, whole = _screens(sheet), sheet.acts_read()
    end = len(screens) + 1
    prior = [math.log(max(candidate.prior, 1e-300)) for candidate in candidates]
    guess = [candidate.guess for candidate in candidates]
    waiting: list[tuple[float, int, int, Weighed]] = []

    def waits(k: int, done: int, one: Weighed) -> None:
        guessed = 0.0 if any(modes in acts for acts in screens[:done]) or done == end else guess[k]
        heapq.heappush(waiting, (-one.score - guessed, k, done, one))

    for k, candidate in enumerate(candidates):
        waits(k, 0, Weighed(candidate.faults, prior[k], ()))
    found: list[Weighed] = []
    keep = _KEPT
    while waiting and len(found) < most:
        if -waiting[0][0] < _floor(found, keep):
            if not late or not all(one.unexplained for one in found):
                break
            late, keep, guess, before = False, 1, [0.0] * len(guess), waiting
            waiting = []
            for _, k, done, one in before:
                waits(k, done, one)
            continue
        _, k, done, one = heapq.heappop(waiting)
        if done == end:
            found.append(one)
        elif done < len(screens):
            likely, _ = sheet.likelihood(one.faults, screens[done])
            waits(k, done + 1, replace(one, score=one.score + likely))
        else:  # from the first act to the last: what an early one leaves behind, a late one meets
            likely, left = sheet.likelihood(one.faults, whole)
            waits(k, end, Weighed(one.faults, prior[k] + likely, left))
    return sorted(found, key=lambda one: -one.score)


def _screens(sheet: Filled) -> list[list[Act]]:
    """Return acts that part the suspects for little work: the calls, and others where readings are out.

    Where most is out comes first.
    """
    out = sheet.acts_out()
    slow = [act for act in out if act not in UNPLUGGED][:1]
    under_calls: list[Act] = [modes] if modes in sheet.acts_read() else []
    chosen = [*(act for act in out if act in UNPLUGGED), *slow, *under_calls]
    many = Counter(sheet.proof.taken[number - 1].group for number in sheet.out)
    return [[act] for act in sorted(chosen, key=lambda act: -many[act.__name__])]


def _floor(found: Sequence[Weighed], keep: int) -> float:
    """Return the score below which nobody has to work on."""
    if not found:
        return -math.inf
    best = max(found, key=lambda one: one.score)
    if not best.unexplained:
        return best.score + math.log(_UNLIKELY)
    kept = sorted((one.score for one in found), reverse=True)[:keep]
    return min(best.score + math.log(LEAST), kept[-1]) if len(kept) == keep else -math.inf


# ---- how far a reading is from what is expected ----


def _apart(step: Step, read: Read, expected: Read) -> float:
    """Return how far a reading is from what is expected, in doubts; a wrong word is as far as can be."""
    if not step.is_number:
        word, wanted = str(read), str(expected)
        return 0.0 if word == wanted or wanted.startswith(f"{word},") else math.inf
    one, other = float(read), float(expected)
    if math.isinf(one) or math.isinf(other):
        return 0.0 if one == other or (min(one, other) > 100 and step.unit == "Mohm") else math.inf
    if step.unit == "Mohm":  # an order of magnitude is as much as insulation says
        return abs(math.log10(max(one, 1e-6) / max(other, 1e-6)))
    by_ohm = step.unit == "ohm"
    doubt = math.hypot((_OHM_SHARE if by_ohm else READING_SHARE) * other, _OHM if by_ohm else READING_V)
    return abs(one - other) / doubt


# ---- what the sheet itself measures ----


def sized(fault: Fault, proof: Proof, readings: Mapping[int, Read]) -> Fault:
    """Return a fault with the size that the readings of a sheet give it; itself where they give none.

    A size that can't be told from the usual one stays the usual one, and what would be no fault is no size.
    """
    found = _size_read(fault, proof, readings)
    if found is None or not isinstance(fault.value, float):
        return fault
    if abs(found - fault.value) <= _OHM_SHARE * fault.value + _OHM:
        return fault
    return replace(fault, value=float(f"{found:.2g}"))


def _size_read(fault: Fault, proof: Proof, readings: Mapping[int, Read]) -> float | None:
    """Return the ohms, volts or share that a sheet has for a fault of one of four kinds, None for others."""
    read = [
        (step, float(taken.value), float(readings[step.number]))
        for step, taken in zip(proof.steps, proof.taken, strict=True)
        if step.is_number and math.isfinite(float(readings.get(step.number, math.inf)))
    ]
    if (fault.part, fault.kind) == ("earth", "resistance"):
        more = [ohm - sound for step, sound, ohm in read if step.part == GROUND_PART]
        return more[0] if more and more[0] > _OHM else None
    if fault.kind == "resistance":
        loose = loose_node(f"air:{fault.where}.{fault.part}", conductor_node(fault.where, fault.part, "air"))
        loops = [(s, o) for step, s, o in read if step.part == RING_OUT and loose in (step.red, step.black)]
        more = [ohm - sound for sound, ohm in loops]
        return median(more) if more and min(more) > _OHM else None
    if fault.kind == "noise":
        ends = {red for (red, _), (_, run) in signals_of(proof.job).items() if run == fault.where}
        seen = [(sound, v) for step, sound, v in read if step.act == NOISE and step.red in ends]
        return math.sqrt(seen[0][1] ** 2 - seen[0][0] ** 2) if seen and seen[0][1] > seen[0][0] else None
    if fault.kind == "weak":
        fed = f"{fault.where}:XFMR"
        shares = [v / sound for step, sound, v in read if (step.red, step.unit) == (fed, "V") and sound > 1.0]
        return shares[0] if shares and 0.01 < shares[0] < LINE[0] else None
    return None
