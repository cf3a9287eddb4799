"""Coverage: which looks of a sheet notice which broken conductors, tried one by one.

Every mode proved is a long list. Which of its looks could be left out, and still every single broken
conductor shows? Nothing is believed: each conductor is broken alone, every look is taken, and a look
**notices** the break if it shows another word than on the sound job.

    found = notices("second-transformer")
    found.missed(["cool-2: compressor stage 2"])       conductors whose break nobody would notice
    found.fewest                                        how many looks are needed at the least

A look is written "CALL: EQUIPMENT"; "defrost" stands for a forced defrost under `heat-1`.

Where the model stops: breaks only. A bad splice, a touch or a wrong letter needs other looks and readings.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import combinations

from lessonkit.bench.bench import Bench
from lessonkit.errors import LessonError, require
from lessonkit.job.faults import Fault, as_faults
from lessonkit.job.model import Job, is_idle
from lessonkit.job.toml import load_job
from lessonkit.studies.cases import Case, rest
from lessonkit.studies.commissioning import calls_of, outdoor_c_of
from lessonkit.studies.dictionary import SEEN_AT, seen_word

__all__ = ["DEFROST", "Notices", "notices"]

#: How a look in a forced defrost is written in the place of its call.
DEFROST = "defrost"
#: Air in which a defrost is tried (C), and seconds before and after the test pins are joined.
_COLD_C, _BEFORE_S, _AFTER_S = 0.0, 10.0, 10.0


@dataclass(frozen=True)
class Notices:
    """What every look notices: look -> conductors whose break it shows. Shown last, it is a table."""

    job: str
    conductors: tuple[str, ...]
    by_look: Mapping[str, frozenset[str]]

    def missed(self, looks: Iterable[str]) -> tuple[str, ...]:
        """Return the conductors whose break none of these looks notices.

        A call alone, such as "cool-2", stands for every look under it.
        """
        found: set[str] = set()
        for name in looks:
            meant = [look for look in self.by_look if name in (look, look.partition(":")[0])]
            require(bool(meant), "look", name, f"one of {', '.join(self.by_look)}, or a call alone")
            found |= set().union(*(self.by_look[look] for look in meant))
        return tuple(name for name in self.conductors if name not in found)

    @cached_property
    def fewest(self) -> int:
        """Return how many looks are needed at the least, so that no single break is missed."""
        useful = [seen for seen in set(self.by_look.values()) if seen]
        for count in range(1, len(self.conductors) + 1):
            if any(
                len(frozenset().union(*some)) == len(self.conductors) for some in combinations(useful, count)
            ):
                return count
        raise LessonError(f"{self.job}: some conductor can break and no look notices it.")

    def __str__(self) -> str:
        lines = [f"{look:32} {', '.join(sorted(seen)) or 'nothing'}" for look, seen in self.by_look.items()]
        return "\n".join([f"{self.job}: which broken conductor each look notices", *lines])

    __repr__ = __str__

    def _repr_markdown_(self) -> str:
        rows = [
            f"| `{look}` | {', '.join(sorted(seen)) or 'nothing'} |" for look, seen in self.by_look.items()
        ]
        return "\n".join(["| look | notices a break of |", "| --- | --- |", *rows])


def notices(job: Job | str) -> Notices:
    """Return which broken conductors each look notices.

    Looks are at all equipment under each call that is worth proving, and at the auxiliary heat in a forced
    defrost where there is one.
    """
    return _notices(job if isinstance(job, Job) else load_job(job))


@lru_cache(maxsize=32)
def _notices(job: Job) -> Notices:
    names = [
        f"{run}.{name}" for run, cable in job.runs.items() for name in cable.conductors if not is_idle(name)
    ]
    breaks: list[tuple[Fault, ...]] = [(), *(as_faults(f"{name}=open", job) for name in names)]
    calls = calls_of(job)
    ends = rest(job, [Case(call, what) for what in breaks for call in calls], outdoor_c=outdoor_c_of(job))
    by_look: dict[str, frozenset[str]] = {}
    for k, call in enumerate(calls):
        for equipment in SEEN_AT:
            words = [seen_word(ends[n * len(calls) + k], equipment) for n in range(len(breaks))]
            if len(set(words)) > 1:
                seen = [name for name, word in zip(names, words[1:], strict=True) if word != words[0]]
                by_look[f"{call}: {equipment}"] = frozenset(seen)
    if job.has_defrost and job.equipment.heat != "none":
        heats = [_heats_in_defrost(job, what) for what in breaks]
        seen = [name for name, word in zip(names, heats[1:], strict=True) if word != heats[0]]
        by_look[f"{DEFROST}: auxiliary heat"] = frozenset(seen)
    return Notices(job.name, tuple(names), by_look)


def _heats_in_defrost(job: Job, faults: tuple[Fault, ...]) -> str:
    """Return whether a forced defrost brings heat on indoors; the delay of the compressor is left out."""
    stat = job.outdoor_thermostat
    below_c = -40.0 if stat is None or stat.compressor_below_c is None else stat.compressor_below_c
    bench = Bench(
        job.with_equipment(short_cycle_s=0.0),
        faults=faults,
        outdoor_c=max(_COLD_C, below_c + 1.0),
        call="heat-1",
    )
    bench.advance(_BEFORE_S)
    bench.force_defrost()
    return bench.advance(_AFTER_S).responding["auxiliary heat"]
