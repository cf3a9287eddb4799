"""Judging a filled sheet: what is out of its band, what explains that best, and what to measure next.

    judged = judge(prove("two-run"), readings)
    judged.out, judged.explained_by[0], judged.next

Who may be to blame is every single fault of the job (`find`).  What the sheet has of volts, equipment and
links under the calls narrows them as any look does; the likeliest then work through the whole sheet on the
bench, each broken in its own way (ohms, insulation, defrost, watchdog, loss of power), and are weighed by how
well they explain all of it.  Where no single fault explains what is out, pairs are tried: each of the best
with everybody else.

A line of other volts than nominal is no fault, so readings of volts are first brought to nominal by the share
that the first volts of the sheet have of what was expected, within what a line may have.

Where the model stops: a fault that comes and goes shows itself or does not at each step by chance, and is
called so only by `find`; a fault of a kind that the bench does not know is explained by its nearest relative.
"""

from __future__ import annotations

import copy
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from lessonkit.job.faults import Fault
from lessonkit.job.model import Job
from lessonkit.studies.commissioning import PARTS, calls_of, modes, outdoor_c_of, walk
from lessonkit.studies.corners import LINE
from lessonkit.studies.dictionary import DIRECT, MISTAKEN, READING_SHARE, READING_V, Look, Suspect
from lessonkit.studies.find import SURE, NextLook, NotUnderstood, Search
from lessonkit.studies.fitting import Fit, fit
from lessonkit.studies.prove import Proof, prove
from lessonkit.studies.sheet import Read, Step, plain, read_sheet

__all__ = ["Explanation", "Judged", "judge", "judge_sheet"]

#: Suspects work through the sheet if the modes leave them so much of the likeliest one's chance, up to a
#: limit; of many, each first through the first two acts that are out; the others are left alone once they are
#: so much less likely than one that explains all.
_FAR_BEHIND, _MOST_WALKS, _FEW, _FIRST_ACTS, _UNLIKELY = 1e-6, 30, 2, 2, 0.02
#: So many of those that the modes spoke against are tried where nobody else explains all.
_LATE = 5
#: Pairs: from so many of the best single faults, under so many calls, and how many work through the sheet.
_PAIR_HEADS, _PAIR_CALLS, _PAIR_WALKS = 3, 3, 8
#: Doubt of a reading: a share of it (of volts as in `dictionary`), and of ohms this much besides; a reading
#: is unexplained from so many of these on.
_OHM_SHARE, _OHM, _FAR = 0.05, 0.05, 4.0
#: Explanations below this are not told.
_LEAST = 0.002


@dataclass(frozen=True)
class Explanation:
    """What may be wrong: faults, how likely that is, and the steps out of band that they don't explain."""

    faults: tuple[Fault, ...]
    probability: float
    unexplained: tuple[int, ...]

    def __str__(self) -> str:
        """Return it as a line of a report."""
        left = f", leaves {len(self.unexplained)} steps unexplained" if self.unexplained else ""
        return f"{self.probability:6.1%}  {' + '.join(map(str, self.faults))}{left}"


@dataclass(frozen=True)
class Judged:
    """A judged sheet.

    `out` maps the steps outside their band to by how much; `empty` counts steps without a reading;
    `explained_by` lists explanations, the best first; `next` is the look to take next, None where all is in
    its band or nothing more tells; `fit` is the site by its readings.
    """

    proof: Proof
    readings: Mapping[int, Read]
    out: Mapping[int, Read]
    empty: int
    explained_by: tuple[Explanation, ...]
    next: NextLook | None
    fit: Fit | None

    def __repr__(self) -> str:
        """Return what is out, and what explains it best."""
        out = f"{len(self.out)} of {len(self.readings)} readings are outside their band"
        best = [
            f"{' + '.join(map(str, one.faults))} ({one.probability:.0%})" for one in self.explained_by[:3]
        ]
        after = f"; then measure {self.next.look}" if self.next is not None else ""
        return f"{out}{'; best explained by ' + ', '.join(best) if best else ''}{after}"

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain data, ready for JSON."""
        out = []
        for number, by in self.out.items():
            step = self.proof.steps[number - 1]
            read = {"reading": plain(self.readings[number], step.unit), "by": plain(by, step.unit)}
            out.append(step.to_dict() | read)
        return {
            "out": out,
            "empty": self.empty,
            "explained_by": [
                {
                    "faults": list(map(str, one.faults)),
                    "probability": round(one.probability, 6),
                    "unexplained": list(one.unexplained),
                }
                for one in self.explained_by
            ],
            "next": None if self.next is None else self.next.to_dict(),
            "fit": None if self.fit is None else self.fit.to_dict(),
        }


@lru_cache(maxsize=2)
def _search(job: Job) -> Search:
    """Return a fresh search of a job for single faults that stay; callers take a copy."""
    return Search(job, comes_and_goes=False, calls=calls_of(job), outdoor_c=outdoor_c_of(job))


def judge(proof: Proof, readings: Mapping[int, Read]) -> Judged:
    """Return what the readings of a filled sheet say; `readings` are by step number (`sheet.read_sheet`)."""
    out = proof.out(readings)
    empty = len(proof.steps) - len(readings)
    fitted = fit(proof, readings)
    blamed = {n: by for n, by in out.items() if proof.steps[n - 1].unit != "tick"}
    if not blamed:
        return Judged(proof, readings, out, empty, (), None, fitted)
    told = _at_nominal_line(proof, readings)
    search = copy.copy(_search(proof.job))
    looks = _tell(search, proof, told)
    weighed = _weigh(search, proof, told, blamed, _MOST_WALKS, late=_LATE)
    if all(one.unexplained for one in weighed):
        pairs, more = _pairs(proof, told, blamed, weighed)
        if more and len(more[0].unexplained) < min(len(one.unexplained) for one in weighed):
            search, weighed = pairs, _best_first([*weighed, *more])
    best = _shared(weighed)
    _believe(search, best)
    following = None if best[0].probability >= SURE else search.best(looks)
    return Judged(proof, readings, out, empty, best, following, fitted)


def _at_nominal_line(proof: Proof, readings: Mapping[int, Read]) -> dict[int, Read]:
    """Return the readings with volts as they would be on a nominal line."""
    share = 1.0
    for step, taken in zip(proof.steps, proof.taken, strict=True):
        if (step.unit, step.red) == ("V", "air:XFMR") and step.call and step.number in readings:
            share = float(readings[step.number]) / float(taken.value)
            break
    share = min(max(share, LINE[0]), LINE[1])

    def one(step: Step) -> Read:
        read = readings[step.number]
        return float(read) / share if step.unit in ("V", "A") else read

    return {step.number: one(step) for step in proof.steps if step.number in readings}


def _tell(search: Search, proof: Proof, readings: Mapping[int, Read]) -> list[Look]:
    """Let a search take in what the sheet has of each mode; return the looks that it knew."""
    known = {(look.call, look.act): look for look in search.pages}
    looks = []
    for step, taken in zip(proof.steps, proof.taken, strict=True):
        if taken.group != modes.__name__ or step.number not in readings:
            continue
        read = readings[step.number]
        if step.unit == "word":
            look = known.get((step.call, step.act.removeprefix("look: ")))
        else:
            direct = DIRECT if step.unit == "V DC" else ""
            look = known.get((step.call, f"{direct}{step.red} {step.black}"))
        if look is None:
            continue
        try:
            search.saw(look, str(read)) if step.unit == "word" else search.measured(look, float(read))
            looks.append(look)
        except (NotUnderstood, ValueError):  # a word or a number that no suspect could show
            continue
    return looks


def judge_sheet(job: Job | str, readings: str | Path | Mapping[int, Read]) -> Judged:
    """Return what a filled sheet of a job says.

    `readings` is the sheet's file (CSV or TOML), or readings by step number.
    """
    proof = prove(job)
    given = readings if isinstance(readings, Mapping) else read_sheet(readings, proof.steps)
    return judge(proof, given)


# ---- suspects at work on the sheet ----


@dataclass(frozen=True)
class _Weighed:
    """A suspect that has worked through the sheet: the log of prior times likelihood, and what it left."""

    faults: tuple[Fault, ...]
    score: float
    unexplained: tuple[int, ...]


def _weigh(
    search: Search,
    proof: Proof,
    readings: Mapping[int, Read],
    out: Mapping[int, Read],
    most: int,
    share: float = 1.0,
    late: int = 0,
) -> list[_Weighed]:
    """Return suspects of a search weighed by the whole sheet, the best first.

    The likeliest by the search come first, until one explains all that is out and the rest are far behind.
    `share` is how likely the suspects of this search are all together; `late` is how many of those that the
    modes spoke against are tried where nobody else explains all.
    """
    top = float(search.belief.max())
    near = [k for k in range(len(search.suspects)) if search.belief[k] >= _FAR_BEHIND * top]
    order = sorted(near, key=lambda k: -search.belief[k])[:most]
    score = {k: math.log(max(float(search.belief[k]), 1e-300)) for k in order}
    # What is out beside the modes tells suspects apart that look alike in them, and costs a part of a walk.
    groups = {proof.taken[n - 1].group for n in out} - {modes.__name__}
    acts = [act for act in PARTS if act.__name__ in groups][:_FIRST_ACTS]

    def parts_of_it(k: int) -> float:
        taken = walk(proof.job, search.suspects[k].faults, parts=acts)
        return _likelihood(proof, readings, out, proof.readings(taken, acts))[0]

    def whole(k: int) -> _Weighed:
        faults = search.suspects[k].faults
        likely, left = _likelihood(proof, readings, out, proof.filled(faults))
        return _Weighed(faults, math.log(share * search.dictionary.prior[k]) + likely, left)

    if acts and len(order) > _FEW:
        score = {k: score[k] + parts_of_it(k) for k in order}
    found: list[_Weighed] = []
    enough = -math.inf
    for k in sorted(order, key=lambda k: -score[k]):
        if score[k] < enough:
            break
        found.append(whole(k))
        if not found[-1].unexplained and enough == -math.inf:
            enough = score[k] + math.log(_UNLIKELY)
    if acts and late and all(one.unexplained for one in found):
        # What wavers under a call can come to rest elsewhere in a search; the rest of the sheet knows better.
        others = [k for k in range(len(search.suspects)) if k not in order]
        score = {k: math.log(search.dictionary.prior[k]) + parts_of_it(k) for k in others}
        found += [whole(k) for k in sorted(others, key=lambda k: -score[k])[:late]]
    return _best_first(found)


def _best_first(found: Sequence[_Weighed]) -> list[_Weighed]:
    return sorted(found, key=lambda one: -one.score)


def _likelihood(
    proof: Proof, readings: Mapping[int, Read], out: Mapping[int, Read], expected: Mapping[int, Read]
) -> tuple[float, tuple[int, ...]]:
    """Return the logarithm of how well a sheet is explained, and the steps out of band that are not.

    `expected` is what the suspect reads at all steps, or at some.
    """
    total, left = 0.0, []
    for step in proof.steps:
        if step.number not in readings or step.number not in expected or step.unit == "tick":
            continue
        z = _apart(step, readings[step.number], expected[step.number])
        total += math.log((1 - MISTAKEN) * math.exp(-0.5 * min(z, 30.0) ** 2) + MISTAKEN)
        if z > _FAR and step.number in out:
            left.append(step.number)
    return total, tuple(left)


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


def _pairs(
    proof: Proof, readings: Mapping[int, Read], out: Mapping[int, Read], singles: Sequence[_Weighed]
) -> tuple[Search, list[_Weighed]]:
    """Return a search among pairs, each of the best single faults with everybody else, and those weighed."""
    every = _search(proof.job)
    weight = {s.faults[0]: s.weight for s in every.suspects}
    heads = [one.faults[0] for one in sorted(singles, key=lambda one: (len(one.unexplained), -one.score))]
    found: dict[frozenset[Fault], Suspect] = {}
    for head in heads[:_PAIR_HEADS]:
        for other in weight:
            if (other.where, other.part) != (head.where, head.part):
                pair = Suspect((head, other), False, weight[head] * weight[other])
                found.setdefault(frozenset(pair.faults), pair)
    total = sum(pair.weight for pair in found.values())
    pairs = [replace(pair, weight=pair.weight / total) for pair in found.values()]
    calls = Counter(proof.steps[n - 1].call for n in out if proof.taken[n - 1].group == modes.__name__)
    chosen = [call for call, _ in calls.most_common(_PAIR_CALLS)] or ["off"]
    search = Search(
        proof.job, calls=chosen, outdoor_c=outdoor_c_of(proof.job), suspects=pairs, comes_and_goes=False
    )
    _tell(search, proof, readings)
    return search, _weigh(search, proof, readings, out, _PAIR_WALKS, total)


def _shared(weighed: Sequence[_Weighed]) -> tuple[Explanation, ...]:
    """Return explanations with their probabilities, which sum to 1 but for those too small to tell."""
    top = weighed[0].score
    shares = [math.exp(one.score - top) for one in weighed]
    total = sum(shares)
    return tuple(
        Explanation(one.faults, share / total, one.unexplained)
        for one, share in zip(weighed, shares, strict=True)
        if share / total >= _LEAST
    )


def _believe(search: Search, best: Sequence[Explanation]) -> None:
    """Let a search believe what the whole sheet says."""
    told = {one.faults: one.probability for one in best}
    belief = np.array([told.get(suspect.faults, 0.0) for suspect in search.suspects])
    if belief.sum() > 0:
        search.belief = belief / belief.sum()
