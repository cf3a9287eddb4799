"""An unknown site: a cable that nobody has proved, a line of some volts, one fault, and a limited budget.

    site = unknown_site(draw_site(random.Random(4)))
    site.loop("1", "2")                 an ohmmeter, with these two joined at the far end
    site.insulation("3")                250 V direct from this one to metal, all boards off
    site.volts("cool-2", "air:Y2")      volts to C there, under a call
    site.taken, site.left               what was read so far, such as "loop 1 2 = 3.73 ohm", and what is left

Every reading comes from a bench and is counted; when readings or minutes are spent, the next one is refused.
Survey and search have a budget each, and each has one of readings and one of minutes. A **site** is plain
data, so that whoever has the data can judge what was read (`site_shows`).

Where the model stops: minutes are ours, as those of `hands`; the thermostat run is known to be sound, apart
from the one fault that is drawn. Budgets are kept as long as Python runs, and no longer.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any

from lessonkit.bench.hands import walk_min
from lessonkit.bench.reading import Reading
from lessonkit.copper.wire import resistance_per_m
from lessonkit.errors import LessonError, require
from lessonkit.job.calls import CALLS, PLACES
from lessonkit.job.faults import Fault, as_faults
from lessonkit.job.model import Job
from lessonkit.job.toml import demo_job
from lessonkit.studies.cases import Case, Rest, rest
from lessonkit.studies.dictionary import SEEN_AT, loaded_volts, seen_word
from lessonkit.studies.technician import Technician

__all__ = [
    "LABELS",
    "LEAKY",
    "OPEN",
    "SOUND",
    "SPLICED",
    "SEARCH_MIN",
    "SEARCH_READINGS",
    "STATES",
    "SURVEY_MIN",
    "SURVEY_READINGS",
    "SUSPECTS",
    "BudgetSpent",
    "UnknownSite",
    "best_survey",
    "complaint",
    "draw_site",
    "fault_text",
    "is_there",
    "most_loop_ohm",
    "nominal_volts",
    "search_cost",
    "search_reading",
    "survey_cost",
    "survey_reading",
    "suspects_of",
    "unknown_site",
    "wired",
]

LABELS = tuple("12345678")
SOUND, OPEN, SPLICED, LEAKY = STATES = ("sound", "open", "bad splice", "leaks to metal")
#: The budget of the survey and that of the search: readings, and minutes.
SURVEY_READINGS, SURVEY_MIN = 18, 45.0
SEARCH_READINGS, SEARCH_MIN = 3, 12.0
#: Minutes for a loop, its far ends joined; for insulation, the boards off; for a new call; for a probe.
LOOP_MIN, INSULATION_MIN, CALL_MIN, PROBE_MIN = 2.0, 3.0, 0.5, 0.5
#: A loop above this share of what length and gauge give is a reject; insulation below this leaks (megohm).
MOST_SHARE, LEAST_MOHM = 1.2, 0.5
_GAUGE = 18

#: What may be wrong on the day after, in words and as a fault; V is the letter of the valve.
SUSPECTS: Mapping[str, str] = {
    "conductor Y2 of the thermostat run": "thermostat.Y2=open",
    "relay Y2 outdoors": "out.relay-Y2=stuck-open",
    "coil of the second stage": "out.unloader=burnt-out",
    "conductor W1 of the thermostat run": "thermostat.W1=open",
    "coil of the auxiliary heat": "air.sequencer=burnt-out",
    "conductor G of the thermostat run": "thermostat.G=open",
    "coil of the blower relay": "air.blower-relay=burnt-out",
    "conductor of the valve": "thermostat.V=open",
    "relay of the valve outdoors": "out.relay-V=stuck-open",
    "coil of the valve": "out.reversing-valve=burnt-out",
}
_PLACES = (
    ("Mossgate Tollhouse", "Nils Ferrow"),
    ("Harl Tarn Boathouse", "Sefa Lindqvarn"),
    ("Old Weir Cider Press", "Brona Tasker"),
    ("Culver End Chapel Hall", "Matt Oskey"),
    ("Sandrick Mill Store", "Ilse Perrin"),
    ("Thornby Kennels", "Gwil Ander"),
)


class BudgetSpent(LessonError, RuntimeError):
    """One more reading was wanted than the budget has."""


def draw_site(rng: random.Random) -> dict[str, Any]:
    """Return a site as plain data: place, owner, cable, valve, line, and the fault of the day after."""
    place, owner = rng.choice(_PLACES)
    states = [OPEN, SPLICED, LEAKY, *[SOUND] * 5]
    rng.shuffle(states)
    shares = [round(rng.uniform(1.6, 2.2) if s == SPLICED else rng.uniform(0.96, 1.12), 3) for s in states]
    site: dict[str, Any] = {
        "place": place,
        "owner": owner,
        "length_m": rng.randrange(76, 89),
        "states": tuple(states),
        "shares": tuple(shares),
        "valve": rng.choice("OB"),
        "line": round(1.0 + rng.choice((-1, 1)) * rng.uniform(0.01, 0.035), 3),
        "fault": rng.choice(tuple(SUSPECTS)),
        "slip_v": round(rng.choice((-1, 1)) * rng.uniform(3.0, 4.5), 2),
        "slip_at": rng.choice((4, 5)),
        "leak_ohm": 1e4 * rng.randrange(6, 40),
    }
    if site["slip_at"] == 5:
        # Too few volts outdoors are what a bad splice gives; more than at the transformer nothing gives.
        site["slip_v"] = abs(site["slip_v"])
    return site


def _conductor_ohm(site: Mapping[str, Any], label: str) -> float:
    share = site["shares"][LABELS.index(label)]
    return float(round(site["length_m"] * resistance_per_m(_GAUGE) * share, 4))


def most_loop_ohm(site: Mapping[str, Any]) -> float:
    """Return the most ohms that a loop of two sound conductors of this cable may read."""
    return float(MOST_SHARE * 2 * site["length_m"] * resistance_per_m(_GAUGE))


#: The cable's conductors in the order of their labels, as a job calls them; none is in use yet.
_NAMES = ("R", "C", "SIG", *(f"spare-{k}" for k in range(1, 6)))


def _cable(site: Mapping[str, Any]) -> tuple[Job, tuple[Fault, ...]]:
    """Return the cable as a job, its conductors still without use, with what is wrong with them."""
    ohms = tuple(_conductor_ohm(site, label) for label in LABELS)
    run = {"conductors": _NAMES, "ohms": ohms, "length_m": float(site["length_m"]), "gauge_awg": _GAUGE}
    job = demo_job("wire-return").with_run("outdoor", **run)
    words = {OPEN: "open", LEAKY: f"earth:{site['leak_ohm']:g}"}
    faults = [
        f"outdoor.{name}={words[state]}"
        for name, state in zip(_NAMES, site["states"], strict=True)
        if state in words
    ]
    return job, as_faults(faults, job)


def wired(site: Mapping[str, Any], uses: Mapping[str, str]) -> Job:
    """Return the job that a schedule makes: label -> R, C or SIG; two on one terminal lie side by side."""
    ohms = []
    for terminal in ("R", "C", "SIG"):
        alone = [_conductor_ohm(site, label) for label, use in uses.items() if use == terminal]
        require(bool(alone), "schedule", terminal, "served by at least one conductor")
        ohms.append(round(1 / sum(1 / ohm for ohm in alone), 4))
    run = {"conductors": ("R", "C", "SIG"), "ohms": tuple(ohms), "length_m": float(site["length_m"])}
    return demo_job("wire-return").with_equipment(valve=site["valve"]).with_run("outdoor", **run)


class UnknownSite:
    """A site with its two budgets, both full. `unknown_site` makes one that is kept."""

    def __init__(self, site: Mapping[str, Any]) -> None:
        self._site = dict(site)
        self.taken: list[str] = []
        self.searched: list[str] = []

    def __repr__(self) -> str:
        """Return where it is, and what is left."""
        return f"{self._site['place']}: {self.left}"

    @property
    def left(self) -> str:
        """Return what is left of both budgets, in words."""
        surveyed, searched = survey_cost(self.taken), search_cost(self.searched)
        return (
            f"survey: {SURVEY_READINGS - surveyed[0]} readings, {SURVEY_MIN - surveyed[1]:g} minutes "
            f"left; search: {SEARCH_READINGS - searched[0]} readings and "
            f"{SEARCH_MIN - searched[1]:g} minutes left"
        )

    @property
    def fewest_readings(self) -> int:
        """Return how many readings prove this cable where all of its conductors are sound."""
        return len(best_survey([SOUND] * len(LABELS)))

    def loop(self, one: str, other: str) -> Reading:
        """Join two conductors at the far end and read the loop."""
        one, other = _label(one), _label(other)
        require(one != other, "conductor", other, "another one than the first")
        return self._survey(f"loop {one} {other}")

    def insulation(self, one: str) -> Reading:
        """Test one conductor against metal at 250 V direct, with every board off the cable."""
        return self._survey(f"insulation {_label(one)}")

    def volts(self, call: str, point: str) -> Reading:
        """Make a call, walk there, and read volts to C of that place."""
        require(call in CALLS, "call", call, f"one of {', '.join(CALLS)}")
        act = f"{call} {point}"
        _place(point)
        readings, minutes = search_cost([*self.searched, act])
        if readings > SEARCH_READINGS or minutes > SEARCH_MIN:
            raise BudgetSpent(f"no readings or minutes are left for the search; you took {self.searched}.")
        read = search_reading(self._site, act)
        self.searched.append(f"{act} = {read}")
        return read

    def _survey(self, act: str) -> Reading:
        readings, minutes = survey_cost([*self.taken, act])
        if readings > SURVEY_READINGS or minutes > SURVEY_MIN:
            raise BudgetSpent(f"no readings or minutes are left for the survey; you took {len(self.taken)}.")
        read = survey_reading(self._site, act)
        self.taken.append(f"{act} = {read}")
        return read


#: The sites that were opened since Python began to run, each with what was read there.
_OPENED: dict[str, UnknownSite] = {}


def unknown_site(givens: Mapping[str, Any]) -> UnknownSite:
    """Return the unknown site of a student's numbers, as it was left.

    What was read there is kept as long as Python runs. `givens` are those of an exercise of the capstone, as
    `draw_site` draws them.
    """
    return _OPENED.setdefault(repr(sorted(givens.items())), UnknownSite(givens))


def _label(label: object) -> str:
    text = str(label)
    require(text in LABELS, "conductor", label, f"one of {', '.join(LABELS)}")
    return text


# ---- the survey ----

#: What makes a cable: its length, and the states, shares and leak of a site.
_CableKey = tuple[int, tuple[str, ...], tuple[float, ...], float]


def survey_reading(site: Mapping[str, Any], act: str) -> Reading:
    """Return what an act of a survey, such as "loop 1 2" or "insulation 3", reads at a site."""
    cable = site["length_m"], tuple(site["states"]), tuple(site["shares"]), site["leak_ohm"]
    value = _survey_ohm(cable, act)
    kind, *labels = act.split()
    return Reading(value, "ohm", tuple(labels) if kind == "loop" else (*labels, "metal"), _SETTINGS[kind])


_SETTINGS = {"loop": "ohms", "insulation": "250 V"}


@lru_cache(maxsize=1024)
def _survey_ohm(cable: _CableKey, act: str) -> float:
    to = _at_the_cable(cable)
    kind, *labels = act.split()
    names = [_NAMES[LABELS.index(label)] for label in labels]
    ends = [to.loose("outdoor", name, "air") for name in names]
    if kind == "insulation":
        to.hands(to.lifted())
        return float(to.meter.insulation(ends[0], "air:GND"))
    to.hands(to.lifted([("out", "outdoor", name) for name in names]))
    return float(to.meter.ohms(ends[0], ends[1]))


@lru_cache(maxsize=2)
def _at_the_cable(cable: _CableKey) -> Technician:
    return Technician(*_cable(dict(zip(("length_m", "states", "shares", "leak_ohm"), cable, strict=True))))


def survey_cost(taken: Sequence[str]) -> tuple[int, float]:
    """Return readings and minutes of a survey."""
    return len(taken), sum(LOOP_MIN if act.startswith("loop ") else INSULATION_MIN for act in taken)


def best_survey(states: Sequence[str]) -> list[str]:
    """Return the acts of the best survey: pairs first, then whoever is left with a good one."""
    was, bad = dict(zip(LABELS, states, strict=True)), {OPEN, SPLICED}
    taken: list[str] = []
    good: list[str] = []
    left: list[str] = []
    for one, other in zip(LABELS[0::2], LABELS[1::2], strict=True):
        taken.append(f"loop {one} {other}")
        (left if {was[one], was[other]} & bad else good).extend((one, other))
    for label in left:
        taken.append(f"loop {good[0]} {label}")
        if was[label] not in bad:
            good.append(label)
    return [*taken, *(f"insulation {label}" for label in LABELS if label in good)]


# ---- the search ----


def _fault_of(valve: str, name: str) -> tuple[Fault, ...]:
    return as_faults(fault_text(valve, name), _search_job(valve))


def fault_text(valve: str, name: str) -> str:
    """Return a suspect as the fault of a job with this valve."""
    return SUSPECTS[name].replace(".V=", f".{valve}=").replace("relay-V", f"relay-{valve}")


@lru_cache(maxsize=4)
def _search_job(valve: str) -> Job:
    return demo_job("wire-return").with_equipment(valve=valve)


@lru_cache(maxsize=4)
def _ends(valve: str) -> dict[tuple[str, str], Rest]:
    """Return how every call ends with every suspect, and with none (""), by call and suspect."""
    names = ("", *SUSPECTS)
    cases = [Case(call, _fault_of(valve, name) if name else ()) for name in names for call in CALLS]
    ends = rest(_search_job(valve), cases)
    keys = [(call, name) for name in names for call in CALLS]
    return dict(zip(keys, ends, strict=True))


@lru_cache(maxsize=32)
def complaint(valve: str, name: str) -> tuple[str, ...]:
    """Return every look that differs from the sound job, such as "cool-2: compressor stage 2 off"."""
    ends = _ends(valve)
    return tuple(
        f"{call}: {equipment} {seen_word(ends[call, name], equipment)}"
        for call in CALLS
        for equipment in SEEN_AT
        if seen_word(ends[call, name], equipment) != seen_word(ends[call, ""], equipment)
    )


def suspects_of(site: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the suspects that would give just the complaint of this site."""
    heard = complaint(site["valve"], site["fault"])
    return tuple(name for name in SUSPECTS if complaint(site["valve"], name) == heard)


def _place(point: str) -> str:
    place, _, terminal = str(point).partition(":")
    require(place in PLACES and bool(terminal), "point", point, "a place and a terminal, such as air:Y2")
    return place


def _at(end: Rest, point: str, place: str) -> float:
    known = end.settled.solution.network.index
    require(point in known, "point", point, "a terminal of this site, such as stat:Y2, air:Y2 or out:Y2")
    return float(loaded_volts(end.settled.solution, [(point, f"{place}:C")])[0])


def is_there(site: Mapping[str, Any], act: str) -> bool:
    """Return whether a reading such as "cool-2 air:Y2" is between terminals that the site has."""
    call, point = act.split()
    return point in _ends(site["valve"])[call, ""].settled.solution.network.index


def nominal_volts(site: Mapping[str, Any], name: str, act: str) -> float:
    """Return what a reading such as "cool-2 air:Y2" finds with a suspect, on a nominal line (volts RMS)."""
    call, point = act.split()
    return _at(_ends(site["valve"])[call, name], point, _place(point))


def search_reading(site: Mapping[str, Any], act: str) -> Reading:
    """Return what a reading such as "cool-2 air:Y2" finds at a site, on its own line and with its fault."""
    call, point = act.split()
    place = _place(point)
    end = _end_at(site["valve"], site["fault"], site["line"], call)
    return Reading(_at(end, point, place), "V", (point, f"{place}:C"), "high")


@lru_cache(maxsize=128)
def _end_at(valve: str, name: str, line: float, call: str) -> Rest:
    job = _search_job(valve)
    broken = as_faults((fault_text(valve, name), f"air.transformer=weak:{line:g}"), job)
    (end,) = rest(job, [Case(call, broken)])
    return end


def _search_min(searched: Sequence[str]) -> float:
    """Return the minutes of a search that begins at the thermostat, where calls are made by a helper."""
    here, call, minutes = "stat", "off", 0.0
    for act in searched:
        asked, point = act.partition("=")[0].split()
        place = _place(point)
        minutes += walk_min(here, place) + PROBE_MIN + (CALL_MIN if asked != call else 0.0)
        here, call = place, asked
    return minutes


def search_cost(searched: Sequence[str]) -> tuple[int, float]:
    """Return readings and minutes of a search."""
    return len(searched), _search_min(searched)
