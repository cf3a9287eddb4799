"""Judging a filled sheet: what is out of its band, what explains that best, and what to measure next.

    judged = judge(prove("two-run"), readings)
    judged.out, judged.explained_by[0], judged.next

Who may be to blame is every single fault of the job (`find`).  What the sheet has of volts, equipment and
links under the calls narrows them as any look does; the likeliest then work through the whole sheet on the
bench, each broken in its own way (ohms, insulation, defrost, watchdog, loss of power), and are weighed by how
well they explain all of it (`weighing`).  Where no single fault explains what is out, pairs are
tried: each of the best with everybody else.

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
from lessonkit.studies.commissioning import calls_of, modes, outdoor_c_of
from lessonkit.studies.corners import LINE
from lessonkit.studies.dictionary import DIRECT, Look, Suspect
from lessonkit.studies.find import SURE, NextLook, NotUnderstood, Search
from lessonkit.studies.fitting import Fit, fit
from lessonkit.studies.prove import Proof, prove
from lessonkit.studies.sheet import Read, Step, plain, read_sheet
from lessonkit.studies.weighing import LEAST, Candidate, Filled, Weighed, sized, weigh

__all__ = ["Explanation", "Judged", "judge", "judge_sheet"]

#: So many suspects work through the whole sheet.
_MOST_WALKS = 16
#: Pairs: from so many of the best single faults, under so many calls, and how many work through the sheet.
_PAIR_HEADS, _PAIR_CALLS, _PAIR_WALKS = 3, 3, 8


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


@lru_cache(maxsize=4)
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
    search, sheet = copy.copy(_search(proof.job)), Filled(proof, told, blamed)
    looks = _tell(search, proof, told)
    weighed = weigh(sheet, _candidates(search, proof, readings), _MOST_WALKS, late=True)
    if all(one.unexplained for one in weighed):
        pairs, more = _pairs(sheet, readings, weighed)
        if more and len(more[0].unexplained) < min(len(one.unexplained) for one in weighed):
            search, weighed = pairs, sorted([*weighed, *more], key=lambda one: -one.score)
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


def _candidates(
    search: Search, proof: Proof, readings: Mapping[int, Read], share: float = 1.0
) -> list[Candidate]:
    """Return the suspects of a search with their sizes as read, and what the search thinks of the modes.

    `share` is how likely the suspects of this search are all together.
    """
    prior = search.dictionary.prior
    heard = np.log(np.maximum(search.belief, 1e-300)) - np.log(prior)
    heard -= heard.max()
    found = []
    for k, suspect in enumerate(search.suspects):
        faults = tuple(sized(fault, proof, readings) for fault in suspect.faults)
        # What the search knows is what a fault of the usual size does.
        guess = float(heard[k]) if faults == suspect.faults else 0.0
        found.append(Candidate(faults, share * float(prior[k]), guess))
    return found


def _pairs(
    sheet: Filled, readings: Mapping[int, Read], singles: Sequence[Weighed]
) -> tuple[Search, list[Weighed]]:
    """Return a search among pairs, each of the best single faults with everybody else, and those weighed."""
    proof, out = sheet.proof, sheet.out
    every = _search(proof.job)
    weight = {sized(s.faults[0], proof, readings): s.weight for s in every.suspects}
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
    _tell(search, proof, sheet.readings)
    return search, weigh(sheet, _candidates(search, proof, readings, total), _PAIR_WALKS)


def _shared(weighed: Sequence[Weighed]) -> tuple[Explanation, ...]:
    """Return explanations with their probabilities, which sum to 1 but for those too small to tell."""
    top = weighed[0].score
    shares = [math.exp(one.score - top) for one in weighed]
    total = sum(shares)
    return tuple(
        Explanation(one.faults, share / total, one.unexplained)
        for one, share in zip(weighed, shares, strict=True)
        if share / total >= LEAST
    )


def _believe(search: Search, best: Sequence[Explanation]) -> None:
    """Let a search believe what the whole sheet says."""
    told = {_unsized(one.faults): one.probability for one in best}
    belief = np.array([told.get(_unsized(suspect.faults), 0.0) for suspect in search.suspects])
    if belief.sum() > 0:
        search.belief = belief / belief.sum()


def _unsized(faults: tuple[Fault, ...]) -> tuple[tuple[str, ...], ...]:
    """Return faults without their sizes: a search knows those of the usual size."""
    return tuple(
        (one.where, one.part, one.kind, one.value if isinstance(one.value, str) else "") for one in faults
    )
