"""Plans, their sheets and hidden faults: whether each fault is named, and in how few measurements.

    python tests/speed/plans_with_faults.py [FAULTS A PLAN] [SURVEY ...]

For every example survey that can be served, single faults of the best plan's job are drawn by seed.  Each is
judged twice:

* **by the sheet**: the bench fills the plan's commissioning sheet in with the fault hidden, and `judge` has
  to name it, alone or among those that it can't tell apart;
* **by measuring**: what runs under every call is known (helpers call it out); then `find` says which volts
  to measure next until it is sure.  The optimum is the tree of fewest measurements, exact by dynamic
  programming, over the suspects that are left; volts that are a volt apart count as different there.

The aim is nine of ten named by the sheet, and nine of ten found within the optimum plus one measurement.
"""

from __future__ import annotations

import copy
import random
import sys
from dataclasses import dataclass

import numpy as np

from lessonkit.job.faults import Fault, single_faults
from lessonkit.job.model import Job, is_idle
from lessonkit.studies.commissioning import calls_of, outdoor_c_of
from lessonkit.studies.find import Search
from lessonkit.studies.judging import judge
from lessonkit.studies.plan import first_plan
from lessonkit.studies.prove import prove
from lessonkit.studies.search import MOST_SUSPECTS, cheapest_tree
from lessonkit.studies.survey import survey_names

SEED, MOST = 7, 12


@dataclass(frozen=True)
class Hunted:
    """A fault that was looked for: measurements taken, the optimum (None: too many suspects), and named."""

    fault: str
    named: bool
    taken: int
    optimum: int | None

    @property
    def within(self) -> bool:
        """Return whether it was named within the optimum plus one measurement."""
        return self.named and self.optimum is not None and self.taken <= self.optimum + 1


def faults_of(job: Job, count: int, seed: int = SEED) -> list[Fault]:
    """Return single faults of a job, drawn by seed, none of them on a spare."""
    every = [fault for fault in single_faults(job) if not is_idle(fault.part)]
    return random.Random(seed).sample(every, count)


def fresh_search(job: Job) -> Search:
    """Return a search of a job; its copies share what was computed."""
    return Search(job, comes_and_goes=False, calls=calls_of(job), outdoor_c=outdoor_c_of(job))


def hunted(start: Search, fault: Fault) -> Hunted:
    """Return how a fault is found by measuring, once all that runs is known."""
    search = copy.copy(start)
    culprit = next(k for k, one in enumerate(search.suspects) if one.faults == (fault,))
    for look, page in search.pages.items():
        if not look.is_volts:
            search.saw(look, page.words[int(np.argmax(page.chance[culprit]))])
    optimum, taken = optimum_of(search, culprit), 0
    while search.found is None and taken < MOST:
        step = search.best(search.looked)
        if step is None or step.bits < 0.02:
            break
        volts = search.pages[step.look].volts
        assert volts is not None
        search.measured(step.look, min(float(volts[culprit]), 60.0))
        taken += 1
    told = search.found or [one for one in search.candidates if one.probability > 0.4 * search.belief.max()]
    return Hunted(str(fault), any(one.faults == (fault,) for one in told), taken, optimum)


def optimum_of(search: Search, culprit: int) -> int | None:
    """Return how many measurements the tree of fewest takes to a suspect, from what is believed now."""
    left = [k for k in np.flatnonzero(search.belief > 1e-3) if k != culprit]
    left = [culprit, *left]
    volts = {str(look): page.volts for look, page in search.pages.items() if page.volts is not None}
    seen = {name: tuple(round(float(v[k])) for k in left) for name, v in volts.items()}
    tests = dict.fromkeys(outcomes for outcomes in seen.values() if len(set(outcomes)) > 1)
    kinds = list(dict.fromkeys(zip(*tests, strict=True))) if tests else [()]
    if len(kinds) > MOST_SUSPECTS:
        return None
    names = {f"{k}": tuple(kind[k] for kind in kinds) for k in range(len(tests))}
    tree = cheapest_tree([1.0] * len(kinds), names)
    return tree.steps_to({name: outcomes[0] for name, outcomes in names.items()})


def named_by_sheet(job: Job, faults: list[Fault]) -> list[str]:
    """Return the faults that the sheet of a job, filled in by the bench, does not name."""
    proof, missed = prove(job), []
    for fault in faults:
        told = judge(proof, proof.filled([fault])).explained_by
        top = max((one.probability for one in told), default=0.0)
        if not any(one.faults == (fault,) and one.probability > 0.4 * top for one in told):
            missed.append(str(fault))
    return missed


def main(count: int, names: list[str]) -> None:
    """Print a line for each plan, and the two shares."""
    all_found, all_named, total = 0, 0, 0
    for name in names:
        best = first_plan(name)
        if best is None or not best.works or "new cable" in best.arrangement.name:
            continue
        job = best.arrangement.job
        faults = faults_of(job, count)
        start = fresh_search(job)
        found = [hunted(start, fault) for fault in faults]
        missed = named_by_sheet(job, faults)
        late = [f"{one.fault} ({one.taken} for {one.optimum})" for one in found if not one.within]
        all_found, all_named = all_found + count - len(late), all_named + count - len(missed)
        total += count
        print(
            f"{name}: named by the sheet {count - len(missed)} of {count} {missed or ''}; "
            f"within the optimum plus one {count - len(late)} of {count} {late or ''}",
            flush=True,
        )
    print(
        f"all: named by the sheet {all_named} of {total}, within the optimum plus one {all_found} of {total}"
    )


if __name__ == "__main__":
    given = sys.argv[1:]
    main(int(given[0]) if given else 5, given[1:] or list(survey_names()))
