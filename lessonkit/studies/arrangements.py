"""Arrangements: every way in which the conductors in a wall could serve, as jobs for the bench.

Each run is used direct, a conductor for each terminal, with fewer functions where too few are left, or as a
link, which needs R and the signal conductor and a way back: a wire, the bonded equipment ground, or none
beside a second transformer.  A run that has too few conductors for each terminal to have its own can be used
half-wave, with two terminals on one conductor by diodes.  A new cable in the place of a run is always a way,
at its price.

Which conductor serves which terminal is chosen: the lowest ohms where the most amperes flow.  How many flow,
the bench says, with equal conductors and every call in turn.  Conductors that are left over lie beside the
two that carry most, since two side by side have half the ohms.  A bad conductor is never used, an unproven
one only in an arrangement that says so.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import product
from types import MappingProxyType
from typing import TypeAlias

from lessonkit.errors import LessonError
from lessonkit.job.calls import CALLS
from lessonkit.job.model import Equipment, Job, Run, Supply
from lessonkit.job.second_heat import OutdoorThermostat
from lessonkit.job.thermostat import THERMOSTAT
from lessonkit.studies.cases import Case, rest
from lessonkit.studies.half_wave import Shared
from lessonkit.studies.survey import Survey, WallConductor, WallRun

#: What can be given up on a run that has too few conductors, and what is lost with it.
GIVEN_UP = {
    "thermostat": {"E": "emergency heat by its own terminal", "Y2": "the second stage"},
    "outdoor": {"D": "heat indoors during defrost", "Y2": "the second stage"},
}
#: Where an outdoor thermostat locks out second heat (above) and the compressor (below), in Celsius: electric,
#: and the changeover to a furnace (usual settings; see `second_heat`).
ELECTRIC_C, FOSSIL_C = (4.4, -15.0), (2.0, 2.0)
#: Which terminals share a conductor, the first pair first: those whose loss together does least harm (a stage
#: with its second, second heat with emergency heat, the compressor with its valve or its air).
SHARED = (("Y1", "Y2"), ("W1", "E"), ("Y1", "O"), ("Y1", "B"), ("O", "G"), ("B", "G"), ("Y1", "G"))
#: Ground that nobody measured is taken as this (ohms; ours).
GROUND_OHM = 0.5
#: A conductor of a new cable, and how it is called in a schedule.
NEW = "new"


@dataclass(frozen=True)
class Served:
    """One conductor with the terminal that it serves at both ends; `terminal` "" is left free."""

    run: str
    label: str
    terminal: str


@dataclass(frozen=True)
class Arrangement:
    """One way to use what is there.

    `thermostat` and `outdoor` are "direct", "half-wave", "link" or "new cable"; `return_by` is how the
    outdoor link's current comes home. `given_up` names terminals left out, by run; `unproven` labels used
    without proof. `job` has a conductor for each terminal, also for those that are `shared` in pairs: no
    bench knows diodes (see `half_wave`), so `job_of` hands such a job to nobody.
    """

    thermostat: str
    outdoor: str
    return_by: str
    given_up: tuple[tuple[str, str], ...]
    schedule: tuple[Served, ...]
    unproven: tuple[str, ...]
    job: Job
    shared: tuple[Shared, ...] = ()

    @property
    def name(self) -> str:
        """Return it in a few words."""
        words = [self.thermostat, self.outdoor]
        if self.outdoor == "link":
            words[1] += f" by {self.return_by.replace('-', ' ')}"
        for pair in self.shared:
            words[pair.run == "outdoor"] += f" {pair.name}"
        words = [f"{way} on the {run} run" for way, run in zip(words, ("thermostat", "outdoor"), strict=True)]
        if self.given_up:
            words.append("without " + ", ".join(dict.fromkeys(terminal for _, terminal in self.given_up)))
        return ", ".join(words)


class NoBenchJob(LessonError, ValueError):
    """An arrangement was wanted as a job for the bench, and can't be one."""


def job_of(how: Arrangement) -> Job:
    """Return the job of an arrangement for the bench; raises `NoBenchJob` where a conductor is shared."""
    if how.shared:
        raise NoBenchJob(
            f"{how.name}: two calls share a conductor by diodes, and a job has no diodes; take a way that "
            "gives each terminal a conductor of its own, or a link."
        )
    return how.job


def terminals_of(survey: Survey, run: str) -> tuple[str, ...]:
    """Return the terminals that a direct run has to join."""
    stages = ("Y1", "Y2") if survey.stages == 2 else ("Y1",)
    pump = survey.valve != "none"
    valve = (survey.valve,) if pump else ()
    if run == "outdoor":
        return ("R", "C", *stages, *valve, *(("D",) if pump and survey.defrost_request else ()))
    common = ("C",) if survey.needs_common else ()
    return ("R", *common, *stages, *valve, "G", "W1", *(("E",) if pump else ()))


@dataclass(frozen=True)
class _Use:
    """One run used in one way: the terminals it serves, and its fields in the job."""

    how: str
    return_by: str
    terminals: tuple[str, ...]
    given_up: tuple[str, ...] = ()
    shared: tuple[Shared, ...] = ()

    @property
    def served(self) -> tuple[str, ...]:
        """Return what each conductor serves: one terminal, or two that share it ("Y1+Y2")."""
        paired = {terminal for pair in self.shared for terminal in pair.terminals}
        return (*(t for t in self.terminals if t not in paired), *(pair.name for pair in self.shared))


def _pairs(run: WallRun, terminals: tuple[str, ...]) -> tuple[Shared, ...]:
    """Return the pairs that bring the terminals down to the conductors of a run; none where they can't."""
    usable = sum(run.verdict(c)[0] != "bad" for c in run.conductors)
    pairs: list[Shared] = []
    free = set(terminals)
    for one, two in SHARED:
        if len(terminals) - len(pairs) > usable and {one, two} <= free:
            pairs.append(Shared(run.name, one, two))
            free -= {one, two}
    return tuple(pairs) if len(terminals) - len(pairs) <= usable else ()


def _uses(survey: Survey, run: str) -> Iterator[_Use]:
    """Yield the ways to use a run, whether or not it has conductors enough."""
    whole = terminals_of(survey, run)
    may_go = tuple(terminal for terminal in GIVEN_UP[run] if terminal in whole)
    for kept in product((True, False), repeat=len(may_go)):
        gone = tuple(t for t, keep in zip(may_go, kept, strict=True) if not keep)
        yield _Use("direct", "wire", tuple(t for t in whole if t not in gone), gone)
    pairs = _pairs(survey.run(run), whole)
    if pairs:
        yield _Use("half-wave", "wire", whole, shared=pairs)
    yield _Use("link", "wire", ("R", "C", "SIG"))
    if run == "outdoor":
        if survey.bonded is not False:
            yield _Use("link", "earth", ("R", "SIG"))
        if survey.second_possible:
            yield _Use("link", "second-transformer", ("C", "SIG"))
    yield _Use("new cable", "wire", whole)


def hand_out(
    run: WallRun, terminals: tuple[str, ...], use_unproven: bool
) -> tuple[dict[str, tuple[WallConductor, ...]], list[WallConductor]] | None:
    """Return the conductors that serve each terminal, and those left idle; None if there are too few.

    `terminals` stand in the order of their amperes, most first. Sound conductors come before unproven ones,
    then the lowest ohms; what is left over lies beside the first two, but never beside the signal.
    """
    verdicts = {c.label: run.verdict(c)[0] for c in run.conductors}
    expected = run.expected_ohm() or 1.0
    usable = [c for c in run.conductors if verdicts[c.label] in ("sound", *(["unproven"] * use_unproven))]
    if len(usable) < len(terminals):
        return None
    rank = sorted(usable, key=lambda c: (verdicts[c.label] != "sound", expected if c.ohm is None else c.ohm))
    chosen: dict[str, tuple[WallConductor, ...]] = {
        terminal: (conductor,) for terminal, conductor in zip(terminals, rank, strict=False)
    }
    left = [c for c in rank[len(terminals) :] if verdicts[c.label] == "sound"]
    carrying = [terminal for terminal in terminals[:2] if terminal != "SIG"]  # nothing flows on SIG
    for terminal in reversed(carrying):  # the second has the more ohms
        if left:
            chosen[terminal] += (left.pop(0),)
    used = {c.label for pair in chosen.values() for c in pair}
    return chosen, [c for c in run.conductors if c.label not in used]


def _side_by_side(conductors: tuple[WallConductor, ...], expected: float) -> float:
    """Return the ohms of conductors side by side; one that was not measured counts as expected."""
    if not conductors:
        return 0.0
    return 1.0 / sum(1.0 / (expected if c.ohm is None else c.ohm) for c in conductors)


def arrangements(survey: Survey) -> list[Arrangement]:
    """Return every arrangement that has conductors enough; whether it works is for the bench to say."""
    found = []
    for inside, outside in product(_uses(survey, "thermostat"), _uses(survey, "outdoor")):
        if "Y2" in inside.given_up and "Y2" not in outside.given_up and outside.how == "direct":
            continue  # a second stage that is never called needs no conductor outdoors
        if (inside.shared or outside.shared) and (inside.given_up or outside.given_up):
            continue  # whoever shares a conductor does it to give nothing up
        uses = {"thermostat": inside, "outdoor": outside}
        if (made := _arranged(survey, uses)) is not None:
            found.append(made)
    return found


_Handed: TypeAlias = dict[str, tuple[dict[str, tuple[WallConductor, ...]], list[WallConductor]]]
"""What `hand_out` gives for each run that keeps its cable."""


def _enough(survey: Survey, uses: dict[str, _Use]) -> bool:
    """Return whether every run that keeps its cable has conductors for its terminals, unproven ones too."""
    return all(
        sum(run.verdict(c)[0] != "bad" for c in run.conductors) >= len(use.served)
        for run, use in ((survey.run(name), use) for name, use in uses.items())
        if use.how != "new cable"
    )


def _handed(survey: Survey, order: Mapping[str, tuple[str, ...]]) -> _Handed | None:
    """Return the conductors that serve the terminals of each run, `order` as `hand_out` wants them.

    Unproven conductors serve in both runs where sound ones alone are too few; None if there are too few even
    so.
    """
    for use_unproven in (False, True):
        handed = {run: hand_out(survey.run(run), order[run], use_unproven) for run in order}
        enough = {run: one for run, one in handed.items() if one is not None}
        if len(enough) == len(handed):
            return enough
    return None


def _by_amperes(survey: Survey, uses: dict[str, _Use]) -> dict[str, tuple[str, ...]] | None:
    """Return each run's terminals, the one that carries most amperes first; None if no job is made of it."""
    runs = {}
    for name, use in uses.items():
        length, gauge, _ = survey.run(name).inferred()
        runs[name] = Run(
            arrangement="link" if use.how == "link" else "direct",
            return_by=use.return_by,
            conductors=use.terminals,
            length_m=length,
            gauge_awg=gauge,
            far_supply=_second(survey) if use.return_by == "second-transformer" else None,
            receiver="isolated" if use.return_by == "second-transformer" else "common",
        )
    job = _job(survey, runs)
    if job is None:
        return None
    most_a = _most_amperes(job)
    # Half of a relay's current is less than any coil's: shared conductors come last.
    return {
        name: tuple(
            sorted(use.served, key=lambda t, n=name: 0.0 if "+" in t else -most_a[n, t])  # type: ignore[misc]
        )
        for name, use in uses.items()
    }


@lru_cache(maxsize=64)
def _most_amperes(job: Job) -> MappingProxyType[tuple[str, str], float]:
    """Return the most amperes of each conductor, by run and name, over all calls.

    A new cable and the one in the wall make the same job here, so many jobs come again.
    """
    ends = rest(job, [Case(call) for call in CALLS], replies=False)
    return MappingProxyType(
        {
            (name, conductor): max(abs(end.settled.solution.a(f"{name}.{conductor}#0")) for end in ends)
            for name, run in job.runs.items()
            for conductor in run.conductors
        }
    )


def _second(survey: Survey) -> Supply:
    """Return the second transformer that would be bought: the usual small one."""
    return Supply(rated_va=40.0, open_v=survey.open_v, fuse_a=3.0)


def _lockouts(survey: Survey) -> OutdoorThermostat | None:
    """Return the outdoor thermostat that is to be connected, at the usual settings."""
    if not survey.outdoor_thermostat:
        return None
    above_c, below_c = FOSSIL_C if survey.heat == "fossil" and survey.valve != "none" else ELECTRIC_C
    return OutdoorThermostat(above_c, below_c if survey.valve != "none" else None)


def _job(survey: Survey, runs: dict[str, Run]) -> Job | None:
    """Return the job that a survey and its runs make, or None if they don't hold together."""
    try:
        return Job(
            name="plan",
            title=survey.title,
            supply=Supply(rated_va=survey.rated_va, open_v=survey.open_v, fuse_a=survey.fuse_a),
            equipment=Equipment(valve=survey.valve, stages=survey.stages, heat=survey.heat),
            thermostat_run=runs["thermostat"],
            outdoor_run=runs["outdoor"],
            thermostat=THERMOSTAT if survey.needs_common else replace(THERMOSTAT, power="battery"),
            outdoor_thermostat=_lockouts(survey),
        )
    except LessonError:
        return None


def _arranged(survey: Survey, uses: dict[str, _Use]) -> Arrangement | None:
    """Return the arrangement of two uses; None if conductors are too few, or no job is made of it."""
    # Who serves what needs the amperes, which cost a bench; whether there are enough does not.
    kept = [name for name, use in uses.items() if use.how != "new cable"]
    order = (_by_amperes(survey, uses) if kept else {}) if _enough(survey, uses) else None
    handed = None if order is None else _handed(survey, {name: order[name] for name in kept})
    if handed is None:
        return None
    schedule: list[Served] = []
    unproven: list[str] = []
    runs: dict[str, Run] = {}
    for name, use in uses.items():
        wall = survey.run(name)
        length, gauge, _ = wall.inferred()
        fields = {"length_m": length, "gauge_awg": gauge, "return_by": use.return_by}
        if name == "outdoor":
            fields["earth_ohm"] = GROUND_OHM if survey.ground_ohm is None else survey.ground_ohm
        if use.how == "new cable":
            schedule += [Served(name, f"{NEW} {k}", t) for k, t in enumerate(use.terminals, 1)]
            fields |= {"gauge_awg": min(gauge, 18)}
            runs[name] = Run(conductors=use.terminals, **fields)  # type: ignore[arg-type]
            continue
        chosen, idle = handed[name]
        expected = wall.expected_ohm() or Run(length_m=length, gauge_awg=gauge).conductor_ohm
        unproven += [
            f"{name} {c.label}: {wall.verdict(c)[1]}"
            for pair in chosen.values()
            for c in pair
            if wall.verdict(c)[0] == "unproven"
        ]
        schedule += [Served(name, c.label, terminal) for terminal, pair in chosen.items() for c in pair]
        schedule += [Served(name, c.label, "") for c in idle]
        names, ohms = [], []
        for terminal, pair in chosen.items():
            for name_in_job in terminal.split("+"):
                names.append(name_in_job)
                ohms.append(max(_side_by_side(pair, expected), 1e-3))
        for number, conductor in enumerate(idle, 2):
            word = "bad" if wall.verdict(conductor)[0] == "bad" else "spare"
            names.append(f"{word}-{number}")
            ohms.append(expected if conductor.ohm is None else conductor.ohm)
        if use.return_by == "second-transformer":
            fields["far_supply"], fields["receiver"] = _second(survey), "isolated"
        runs[name] = Run(
            arrangement="link" if use.how == "link" else "direct",
            conductors=tuple(names),
            ohms=tuple(ohms),
            **fields,  # type: ignore[arg-type]
        )
    given_up = tuple((name, terminal) for name, use in uses.items() for terminal in use.given_up)
    outside = uses["outdoor"]
    if outside.return_by == "earth" and survey.bonded is None:
        unproven.append("equipment ground: nobody has proved its bond")
    job = _job(survey, runs)
    if job is None:
        return None
    return Arrangement(
        uses["thermostat"].how,
        outside.how,
        outside.return_by,
        given_up,
        tuple(schedule),
        tuple(unproven),
        job,
        tuple(pair for use in uses.values() for pair in use.shared),
    )
