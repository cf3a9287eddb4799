"""Planning: from a survey to what to connect, every arrangement run on the bench in every call.

    found = plan("survey.toml")
    found.refused, found.plans[0].arrangement.name, found.plans[0].coils

What is uncertain is taken at its worst, not at its mean.  The corners: line volts at both ends of ANSI C84.1
range A (5 % either way, from memory), and equipment ground as measured and at five times that (ours: what a
few loose screws and years do).  Conductors are hot (60 C, an attic), their readings 5 % too low, and coils
pull in at 85 % and let go at 75 % of 24 V, the unfriendly ends of their bands (IEC 60947-4-1, from memory):
these three make every volt lower, so their friendly ends need no corner.

An arrangement works if, at every corner and in every call, the same equipment responds as on the same
arrangement with perfect copper, no coil chatters, every fuse stays whole and every link answers.

Plans are ranked by, in this order: it works; no current on equipment ground; a single broken conductor starts
nothing; no conductor is shared by diodes (one that fails runs what nobody called); no new cable; nothing in
use is unproven (its proof comes first); nothing is given up; fewer minutes.

Where the model stops: see the bench.  A plan is for a licensed person to judge: codes, makers' instructions
and what stands on site come first.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from lessonkit.job.calls import CALLS
from lessonkit.job.model import Job, Run
from lessonkit.studies.arrangements import GIVEN_UP, NEW, Arrangement, arrangements
from lessonkit.studies.break_harms import Break
from lessonkit.studies.cases import Case, Held, Rest, if_held_of
from lessonkit.studies.corners import GROUND, LINE, MUST_PULL_V, unfriendly
from lessonkit.studies.customary import FOOT_M
from lessonkit.studies.half_wave import PairReading, is_shared_relay, read_pair, words_of_needs, worst
from lessonkit.studies.plan_ends import ends_of, heats_in_defrost, if_broken, outdoors_of, wire_of
from lessonkit.studies.survey import Survey, load_survey

#: Minutes of work (ours): to land one end of a conductor, to prove one, for a link's two boards, for a second
#: transformer, for a pair's diodes and relays, and for a new cable and each metre of it.
PAIR_MIN = 30.0
LAND_MIN, PROVE_MIN, LINK_MIN, SECOND_MIN, CABLE_MIN, CABLE_MIN_A_M = 3.0, 6.0, 40.0, 60.0, 60.0, 4.0


@dataclass(frozen=True)
class CoilMargin:
    """A coil at its worst corner: RMS volts, and how far above the 85 % at which it has to pull in."""

    volts: float
    margin_v: float


@dataclass(frozen=True)
class Plan:
    """One arrangement with what the bench says of it; `why` are reasons against it, in words."""

    arrangement: Arrangement
    works: bool
    why: tuple[str, ...]
    coils: MappingProxyType[str, CoilMargin]
    va: float
    rated_va: float
    links: MappingProxyType[str, tuple[float, float]]
    earth_a: float
    lost: tuple[str, ...]
    lost_if_broken: MappingProxyType[str, Break]
    needs: tuple[str, ...]
    minutes: float
    shared: tuple[PairReading, ...] = ()

    @property
    def rank(self) -> tuple[object, ...]:
        """Return what plans are sorted by, the best first; the criteria stand in the room's docstring."""
        return (
            not self.works,
            self.earth_a > 0.001,
            sum(not lost.safe for lost in self.lost_if_broken.values()),
            bool(self.arrangement.shared),
            any(served.label.startswith(NEW) for served in self.arrangement.schedule),
            bool(self.arrangement.unproven),
            len(self.lost),
            self.minutes,
        )

    def to_dict(self) -> dict[str, Any]:
        """Return the plan as plain data, ready for JSON."""
        how = self.arrangement
        return {
            "arrangement": {"thermostat": how.thermostat, "outdoor": how.outdoor, "return": how.return_by},
            "works": self.works,
            "why": list(self.why),
            "unproven": list(how.unproven),
            "schedule": [
                {"run": s.run, "label": s.label, "near": s.terminal or "free", "far": s.terminal or "free"}
                for s in how.schedule
            ],
            "coils": {
                name: {"volts": round(c.volts, 3), "margin_v": round(c.margin_v, 3)}
                for name, c in self.coils.items()
            },
            "va": round(self.va, 2),
            "rated_va": self.rated_va,
            "links": {
                run: {"margin_v": round(margin, 3), "frames": round(share, 4)}
                for run, (margin, share) in self.links.items()
            },
            "earth_a": round(self.earth_a, 4),
            "lost": list(self.lost),
            "lost_if_broken": {
                label: {"stops": lost.words, "safe": lost.safe} for label, lost in self.lost_if_broken.items()
            },
            "needs": list(self.needs),
            "minutes": round(self.minutes),
            **({"shared": [one.to_dict() for one in self.shared]} if self.shared else {}),
        }


@dataclass(frozen=True)
class Planned:
    """All plans of a survey, best first; `refused` if none works with what is in the wall, and `why`."""

    survey: Survey
    refused: bool
    why: str
    plans: tuple[Plan, ...]
    inferred: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain data, ready for JSON."""
        return {
            "title": self.survey.title,
            "refused": self.refused,
            "why": self.why,
            "inferred": list(self.inferred),
            "plans": [one.to_dict() for one in self.plans],
        }


def plan(survey: Survey | str | Path) -> Planned:
    """Return all plans for a survey, run on the bench, the best first."""
    site = survey if isinstance(survey, Survey) else load_survey(survey)
    plans = sorted((_judged(site, one) for one in arrangements(site)), key=lambda one: one.rank)
    in_the_wall = [one for one in plans if not _new_cable(one.arrangement)]
    refused = not any(one.works for one in in_the_wall)
    inferred = tuple(words for run in site.runs for words in run.inferred()[2])
    return Planned(site, refused, _why_not(site, in_the_wall) if refused else "", tuple(plans), inferred)


def first_plan(survey: Survey | str | Path) -> Plan | None:
    """Return the best plan alone, or None where there is no way.

    It is the first of `plan(survey).plans`; what can't be better than one that was found is not run.
    """
    site = survey if isinstance(survey, Survey) else load_survey(survey)
    return first_of(site, arrangements(site))


def first_of(site: Survey, ways: Sequence[Arrangement]) -> Plan | None:
    """Return the best plan among some ways to use a site."""
    ranked = [(_rank_at_best(site, how), how) for how in ways]
    best: Plan | None = None
    for at_best, how in sorted(ranked, key=lambda one: one[0]):
        if best is not None and best.rank <= at_best:
            break
        one = _judged(site, how)
        if best is None or one.rank < best.rank:
            best = one
    return best


def _rank_at_best(site: Survey, how: Arrangement) -> tuple[Any, ...]:
    """Return the rank that an arrangement has if all turns out well that only the bench can say."""
    return (
        False,
        how.outdoor == "link" and how.return_by == "earth",
        0,
        bool(how.shared),
        _new_cable(how),
        bool(how.unproven),
        len(_lost(how)),
        _minutes(site, how),
    )


def _new_cable(how: Arrangement) -> bool:
    return "new cable" in (how.thermostat, how.outdoor)


def _why_not(site: Survey, plans: list[Plan]) -> str:
    """Return in one sentence why nothing in the wall will do."""
    if plans:
        nearest = plans[0]
        return f"the nearest, {nearest.arrangement.name}, fails: {nearest.why[0]}"
    short = []
    for run in site.runs:
        good = sum(run.verdict(c)[0] != "bad" for c in run.conductors)
        if good < 2 or (run.name == "thermostat" and good < 3):
            short.append(f"the {run.name} run has {good} conductors that are not bad")
    return f"{' and '.join(short) or 'too few conductors are left'}, and no way of using them is left"


def _perfect(job: Job) -> Job:
    """Return the same arrangement with copper that drops nothing and a ground that is one."""

    def short(run: Run) -> Run:
        return replace(run, length_m=1.0, gauge_awg=12, ohms=(), earth_ohm=0.001)

    return replace(
        job, thermostat_run=short(job.thermostat_run), outdoor_run=short(job.outdoor_run)
    ).with_supply(rated_va=100.0, fuse_a=20.0)


def _judged(site: Survey, how: Arrangement) -> Plan:
    """Return what the bench says of an arrangement."""
    job, wire = how.job, wire_of(how)
    # Without a link the ground carries nothing that a corner could change.
    grounds = GROUND if how.return_by == "earth" else GROUND[:1]
    corners = [(line, ground) for line in LINE for ground in grounds]
    there = [unfriendly(job, line, ground) for line, ground in corners]
    perfect, whole, *at_corners = ends_of([_perfect(job), job, *there], wire, replies=True)
    meant = [end.responding for end in perfect]
    why: list[str] = []
    coils: dict[str, CoilMargin] = {}
    links: dict[str, tuple[float, float]] = {}
    shared: dict[str, PairReading] = {}
    # What equipment asks for when nothing starves it is what the nameplate has to cover.
    va, earth_a = max(_va(end) for end in perfect), 0.0
    for (line, ground), ends in zip(corners, at_corners, strict=True):
        words = f"line at {line:.0%}" + (f", ground at {ground:g} times" if ground != 1 else "")
        why += [w for end, want in zip(ends, meant, strict=True) for w in _against(end, want, words)]
        va = max(va, *(_va(end) for end in ends))
        earth_a = max(earth_a, *(abs(end.settled.solution.a("earth outdoor")) for end in ends))
        _margins(ends, perfect, coils)
        for pair in how.shared:
            key = f"{pair.run} {pair.name}"
            shared[key] = worst(shared.get(key), read_pair(pair, ends, perfect, words, line > 1))
    if job.links:
        asked = [(corner, Case(call)) for corner in there for call in CALLS]
        loaded, size, weathers = if_held_of(asked, wire=wire, frames=False), len(CALLS), len(outdoors_of(job))
        for k, (corner, ends) in enumerate(zip(there, at_corners, strict=True)):
            held = loaded[k * size : k * size + size] * weathers
            for end, one in zip(ends, held, strict=True):
                _link_margins(corner, end, one, links)
    asked_back = site.defrost_request and job.has_defrost and ("outdoor", "D") not in how.given_up
    d_counts = False
    if asked_back:
        by_wire = "D" in job.outdoor_run.conductors
        heats, *without = heats_in_defrost(job, wire, ("", "D") if by_wire else ("",))
        d_counts = heats and not all(without)
        if not heats:
            why.append("forced defrost: no auxiliary heat comes on indoors")
    why += [words for reading in shared.values() for words in reading.why]
    va = math.hypot(va, job.supply.open_v * sum(reading.waves_a for reading in shared.values()))
    if va > job.supply.rated_va:
        why.insert(0, f"{va:.0f} VA is asked of a transformer of {job.supply.rated_va:g} VA")
    lost = _lost(how)
    return Plan(
        how,
        not why,
        tuple(dict.fromkeys(why)),
        MappingProxyType(coils),
        va,
        job.supply.rated_va,
        MappingProxyType(links),
        earth_a,
        lost,
        MappingProxyType(if_broken(how, whole, perfect, d_counts)),
        tuple(_needs(site, how)),
        _minutes(site, how),
        tuple(shared.values()),
    )


def _against(end: Rest, want: MappingProxyType[str, str], corner: str) -> list[str]:
    call, said = end.case.call, []
    if end.fuse == "blown":
        return [f"{call}, {corner}: a fuse blows"]
    if end.chatter:
        said.append(f"{call}, {corner}: {', '.join(end.chatter)} never come to rest")
    wrong = [name for name, word in want.items() if end.responding[name] != word]
    if wrong and not end.chatter:
        said.append(f"{call}, {corner}: {wrong[0]} is {end.responding[wrong[0]]}, not {want[wrong[0]]}")
    return said


def _va(end: Rest) -> float:
    solution = end.settled.solution
    return abs(solution.v("air:XFMR")) * abs(solution.a("fuse air"))


def _margins(ends: list[Rest], perfect: list[Rest], coils: dict[str, CoilMargin]) -> None:
    """Keep for each coil its lowest volts over the calls in which it is in on perfect copper.

    Relays of a shared conductor are read by `read_pair`: half a sine makes other volts of them.
    """
    places = {name: at for name, at in ends[0].wiring.coils.items() if not is_shared_relay(name)}
    for end, sound in zip(ends, perfect, strict=True):
        for name in sorted(sound.settled.latches.sealed & places.keys()):
            at = places[name]
            volts = abs(end.settled.solution.v(at.a, at.b))
            if name not in coils or volts < coils[name].volts:
                coils[name] = CoilMargin(volts, volts - MUST_PULL_V)


def _link_margins(corner: Job, end: Rest, held: Held, links: dict[str, tuple[float, float]]) -> None:
    """Keep for each link its least clearance from a threshold in volts, and its least share of frames."""
    for (run, _way), path in held.ways.items():
        settings, peak = corner.runs[run].link, 2**0.5 * path.hum_v
        clear = min(path.high_v - settings.high_v, settings.low_v - path.low_v) - peak
        before = links.get(run, (float("inf"), 1.0))
        links[run] = min(before[0], clear), min(before[1], end.links[run])


def _lost(how: Arrangement) -> tuple[str, ...]:
    return tuple(dict.fromkeys(GIVEN_UP[run][terminal] for run, terminal in how.given_up))


def _needs(site: Survey, how: Arrangement) -> list[str]:
    needs = []
    for name, used in (("thermostat", how.thermostat), ("outdoor", how.outdoor)):
        if used == "link":
            needs.append(f"an encoder and a relay board for the {name} run")
        if used == "new cable":
            count = sum(s.run == name for s in how.schedule)
            length_m = site.run(name).inferred()[0]
            length = f"{length_m:.0f} m ({length_m / FOOT_M:.0f} ft)"
            needs.append(f"a new cable of {count} conductors for the {name} run, about {length}")
    if how.outdoor == "link" and how.return_by == "second-transformer":
        needs.append(
            "a second transformer outdoors, with its own fuse and disconnect, and an isolated receiver"
        )
    if how.outdoor == "link" and how.return_by == "earth":
        needs.append(
            "the licensed person's decision, under the local code and the makers' instructions, whether "
            "equipment ground may carry this current at all"
        )
    needs += words_of_needs(how.shared)
    if how.unproven:
        needs.append("proof of what is marked unproven, before anything is connected")
    return needs


def _minutes(site: Survey, how: Arrangement) -> float:
    minutes = 0.0
    for name, used in (("thermostat", how.thermostat), ("outdoor", how.outdoor)):
        landed = [s for s in how.schedule if s.run == name and s.terminal]
        minutes += 2 * LAND_MIN * len(landed)
        if used == "link":
            minutes += LINK_MIN
        if used == "half-wave":
            minutes += PAIR_MIN * sum(pair.run == name for pair in how.shared)
        if used == "new cable":
            minutes += CABLE_MIN + CABLE_MIN_A_M * site.run(name).inferred()[0]
    if how.return_by == "second-transformer":
        minutes += SECOND_MIN
    return minutes + PROVE_MIN * len(how.unproven)
