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
nothing; no new cable; nothing in use is unproven (its proof comes first); nothing is given up; fewer minutes.

Where the model stops: see the bench.  A plan is for a licensed person to judge: codes, makers' instructions
and what stands on site come first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from lessonkit.bench.bench import Bench
from lessonkit.bench.wiring import Wiring
from lessonkit.job.calls import CALLS
from lessonkit.job.faults import Fault
from lessonkit.job.model import Job, Run
from lessonkit.studies.arrangements import GIVEN_UP, NEW, Arrangement, arrangements
from lessonkit.studies.cases import Case, Held, Rest, if_held, rest
from lessonkit.studies.corners import GROUND, LINE, MUST_PULL_V, unfriendly
from lessonkit.studies.customary import FOOT_M
from lessonkit.studies.survey import Survey, load_survey

#: Minutes of work (ours): to land one end of a conductor, to prove one, for a link's two boards, for a second
#: transformer, and for a new cable and each metre of it.
LAND_MIN, PROVE_MIN, LINK_MIN, SECOND_MIN, CABLE_MIN, CABLE_MIN_A_M = 3.0, 6.0, 40.0, 60.0, 60.0, 4.0

#: What the air outdoors is at where nothing goes by it (Celsius), and how far from a setting of an outdoor
#: thermostat its two sides are tried.
MILD_C, ASIDE_C = 8.0, 5.0


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
    lost_if_broken: MappingProxyType[str, tuple[str, bool]]
    needs: tuple[str, ...]
    minutes: float

    @property
    def rank(self) -> tuple[object, ...]:
        """Return what plans are sorted by, the best first; the criteria stand in the room's docstring."""
        return (
            not self.works,
            self.earth_a > 0.001,
            sum(not safe for _, safe in self.lost_if_broken.values()),
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
                label: {"stops": words, "safe": safe} for label, (words, safe) in self.lost_if_broken.items()
            },
            "needs": list(self.needs),
            "minutes": round(self.minutes),
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


def outdoors_of(job: Job) -> tuple[float, ...]:
    """Return the outdoor temperatures to try: one, or one between every two settings and beyond them.

    An outdoor thermostat has a few states, and the bench has nothing else that goes by the air here.
    """
    stat = job.outdoor_thermostat
    if stat is None:
        return (MILD_C,)
    settings = {c for c in (stat.auxiliary_above_c, stat.compressor_below_c) if c is not None}
    tried = sorted({c + side for c in settings for side in (-ASIDE_C, ASIDE_C)}, reverse=True)
    return tuple(sorted({stat.closed(c): c for c in tried}.values()))


def _ends(job: Job) -> list[Rest]:
    """Return how every call ends, at each outdoor temperature that matters."""
    return _ends_broken(job, [()])[0]


def _ends_broken(job: Job, broken: Sequence[tuple[Fault, ...]]) -> list[list[Rest]]:
    """Return the same for each of several breaks; all are settled side by side."""
    cases = [Case(call, faults) for faults in broken for call in CALLS]
    by_air = [rest(job, cases, outdoor_c=outdoor_c) for outdoor_c in outdoors_of(job)]
    size = len(CALLS)
    return [[end for ends in by_air for end in ends[k : k + size]] for k in range(0, len(cases), size)]


def _judged(site: Survey, how: Arrangement) -> Plan:
    """Return what the bench says of an arrangement."""
    job = how.job
    perfect = _ends(_perfect(job))
    meant = [end.responding for end in perfect]
    why: list[str] = []
    coils: dict[str, CoilMargin] = {}
    links: dict[str, tuple[float, float]] = {}
    # What equipment asks for when nothing starves it is what the nameplate has to cover.
    va, earth_a = max(_va(end) for end in perfect), 0.0
    # Without a link the ground carries nothing that a corner could change.
    grounds = GROUND if how.return_by == "earth" else GROUND[:1]
    for line in LINE:
        for ground in grounds:
            corner = unfriendly(job, line, ground)
            words = f"line at {line:.0%}" + (f", ground at {ground:g} times" if ground != 1 else "")
            ends = _ends(corner)
            why += [w for end, want in zip(ends, meant, strict=True) for w in _against(end, want, words)]
            va = max(va, *(_va(end) for end in ends))
            earth_a = max(earth_a, *(abs(end.settled.solution.a("earth outdoor")) for end in ends))
            _margins(corner, ends, perfect, coils)
            if job.links:
                loaded = if_held(corner, [Case(call) for call in CALLS]) * len(outdoors_of(job))
                for end, held in zip(ends, loaded, strict=True):
                    _link_margins(corner, end, held, links)
    asked_back = site.defrost_request and job.has_defrost and ("outdoor", "D") not in how.given_up
    heats = asked_back and _heat_in_defrost(job)
    if asked_back and not heats:
        why.append("forced defrost: no auxiliary heat comes on indoors")
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
        MappingProxyType(_if_broken(how, perfect, heats)),
        tuple(_needs(site, how)),
        _minutes(site, how),
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


def _margins(corner: Job, ends: list[Rest], perfect: list[Rest], coils: dict[str, CoilMargin]) -> None:
    """Keep for each coil its lowest volts over the calls in which it is in on perfect copper."""
    places = Wiring(corner).coils
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


def _if_broken(how: Arrangement, perfect: list[Rest], heats: bool) -> dict[str, tuple[str, bool]]:
    """Return, for each conductor in use, what stops when it breaks, and whether that is safe.

    `heats` says whether the sound job brings auxiliary heat on in a forced defrost.
    Safe is a break after which nothing runs that was not asked for. What runs in a wrong way (no air over the
    coil, heat where cooling was asked for) is named too: it can harm the unit, and is the usual end of such a
    break wherever each terminal has a conductor of its own.
    """
    serving: dict[tuple[str, str], list[str]] = {}
    for served in how.schedule:
        if served.terminal:
            serving.setdefault((served.run, served.terminal), []).append(f"{served.run} {served.label}")
    alone = [at for at, labels in serving.items() if len(labels) == 1]
    broken = _ends_broken(how.job, [(Fault(*at, "open"),) for at in alone])
    found = {
        label: ("nothing: its twin carries on", True)
        for labels in serving.values()
        for label in labels
        if len(labels) > 1
    }
    for at, ends in zip(alone, broken, strict=True):
        stops, starts, wrong = _changed(ends, perfect)
        if at[1] == "D" and heats and not _heat_in_defrost(how.job, "D"):
            stops.append("auxiliary heat during defrost")
        words = ", ".join(dict.fromkeys(stops)) or "nothing"
        if starts or wrong:
            words += "; " + ", ".join(dict.fromkeys(starts + wrong))
        found[serving[at][0]] = words, not starts
    return found


def _changed(ends: list[Rest], perfect: list[Rest]) -> tuple[list[str], list[str], list[str]]:
    """Return in words what stops, what runs unasked, and what runs in a wrong way, beside perfect copper."""
    stops, starts, wrong = [], [], []
    for end, sound in zip(ends, perfect, strict=True):
        want = sound.responding
        for equipment, word in want.items():
            now = end.responding[equipment]
            if now == "off" != word:
                stops.append(equipment)
            elif word == "off" != now:
                starts.append(f"{equipment} runs in {end.case.call}")
        airless = end.responding["compressor stage 1"] != "off" and end.responding["blower"] == "off"
        if airless and want["blower"] != "off":
            wrong.append(f"the compressor runs without air in {end.case.call}")
        kinds = [end.delivering.partition(",")[0], sound.delivering.partition(",")[0]]
        if set(kinds) == {"cooling", "heating"}:
            wrong.append(f"{kinds[0]} in {end.case.call}")
    return stops, starts, wrong


def _heat_in_defrost(job: Job, broken: str = "") -> bool:
    """Return whether a forced defrost brings auxiliary heat on indoors, with one outdoor conductor broken."""
    stat = job.outdoor_thermostat
    locked_c = -40.0 if stat is None or stat.compressor_below_c is None else stat.compressor_below_c
    outdoor_c = max(0.0, locked_c + 1.0)  # cold enough for frost, and not too cold for the compressor
    faults = (Fault("outdoor", broken, "open"),) if broken else ()
    bench = Bench(job.with_equipment(short_cycle_s=0.0), faults=faults, outdoor_c=outdoor_c)
    bench.set_call("heat-1")
    bench.advance(10.0)  # a link has carried the call, there and back
    bench.force_defrost()
    return bench.advance(10.0).responding["auxiliary heat"] != "off"


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
        if used == "new cable":
            minutes += CABLE_MIN + CABLE_MIN_A_M * site.run(name).inferred()[0]
    if how.return_by == "second-transformer":
        minutes += SECOND_MIN
    return minutes + PROVE_MIN * len(how.unproven)
