"""An unknown site: a cable that nobody has proved, a line of some volts, one fault, and a limited budget.

    site = unknown_site(draw_site(random.Random(4)))
    site.loop("1", "2")                 an ohmmeter, with these two joined at the far end
    site.insulation("3")                250 V direct from this one to metal, all boards off
    site.volts("cool-2", "air:Y2")      volts to C there, under a call
    site.taken, site.left               what was done so far, and what is left of the budget

Every reading comes from a bench and is counted; when readings or minutes are spent, the next one is refused.
Survey and search have a budget each, and each has one of readings and one of minutes. A **site** is plain
data, so that whoever has the data can judge what was done (`survey_shows`, `search_shows`).

Where the model stops: minutes are ours, as those of `hands`; the thermostat run is known to be sound, apart
from the one fault that is drawn.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any

from lessonkit.bench.hands import walk_min
from lessonkit.bench.reading import Reading
from lessonkit.bench.state import LIVE_V
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
    "complaint",
    "draw_site",
    "fault_text",
    "is_live",
    "is_there",
    "most_loop_ohm",
    "search_cost",
    "search_shows",
    "survey_cost",
    "survey_shows",
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
_LEAK_OHM = 2.0e5

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
    return {
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
    }


def _conductor_ohm(site: Mapping[str, Any], label: str) -> float:
    share = site["shares"][LABELS.index(label)]
    return float(round(site["length_m"] * resistance_per_m(_GAUGE) * share, 4))


def most_loop_ohm(site: Mapping[str, Any]) -> float:
    """Return the most ohms that a loop of two sound conductors of this cable may read."""
    return float(MOST_SHARE * 2 * site["length_m"] * resistance_per_m(_GAUGE))


def _cable(site: Mapping[str, Any]) -> tuple[Job, tuple[Fault, ...]]:
    """Return the cable as a job, its conductors still without use, with what is wrong with them."""
    names = ("R", "C", "SIG", *(f"spare-{k}" for k in range(1, 6)))
    ohms = tuple(_conductor_ohm(site, label) for label in LABELS)
    run = {"conductors": names, "ohms": ohms, "length_m": float(site["length_m"]), "gauge_awg": _GAUGE}
    job = demo_job("wire-return").with_run("outdoor", **run)
    words = {OPEN: "open", LEAKY: f"earth:{_LEAK_OHM:g}"}
    faults = [
        f"outdoor.{name}={words[state]}"
        for name, state in zip(names, site["states"], strict=True)
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
    """A site with its two budgets. Make one with `unknown_site`."""

    def __init__(self, site: Mapping[str, Any]) -> None:
        self._site = dict(site)
        self._job, self._faults = _cable(site)
        self._call, self._at = "off", "stat"
        self.taken: list[str] = []
        self.searched: list[str] = []
        self._minutes = 0.0
        self._search_minutes = 0.0

    def __repr__(self) -> str:
        """Return where it is, and what is left."""
        return f"{self._site['place']}: {self.left}"

    @property
    def left(self) -> str:
        """Return what is left of both budgets, in words."""
        return (
            f"survey: {SURVEY_READINGS - len(self.taken)} readings, {SURVEY_MIN - self._minutes:g} minutes "
            f"left; search: {SEARCH_READINGS - len(self.searched)} readings and "
            f"{SEARCH_MIN - self._search_minutes:g} minutes left"
        )

    def loop(self, one: str, other: str) -> Reading:
        """Join two conductors at the far end and read the loop."""
        one, other = _label(one), _label(other)
        require(one != other, "conductor", other, "another one than the first")
        self._survey(f"loop {one} {other}", LOOP_MIN)
        names = [self._name(label) for label in (one, other)]
        to = Technician(self._job, self._faults)
        to.hands(to.lifted([("out", "outdoor", name) for name in names]))
        read = to.meter.ohms(*(to.loose("outdoor", name, "air") for name in names))
        return Reading(float(read), "ohm", (one, other), "ohms")

    def insulation(self, one: str) -> Reading:
        """Test one conductor against metal at 250 V direct, with every board off the cable."""
        one = _label(one)
        self._survey(f"insulation {one}", INSULATION_MIN)
        to = Technician(self._job, self._faults)
        to.hands(to.lifted())
        read = to.meter.insulation(to.loose("outdoor", self._name(one), "air"), "air:GND")
        return Reading(float(read), "ohm", (one, "metal"), "250 V")

    def volts(self, call: str, point: str) -> Reading:
        """Make a call, walk there, and read volts to C of that place."""
        require(call in CALLS, "call", call, f"one of {', '.join(CALLS)}")
        act = f"{call} {point}"
        place = _place(point)
        minutes = self._search_minutes + _search_min([*self.searched, act]) - _search_min(self.searched)
        if len(self.searched) >= SEARCH_READINGS or minutes > SEARCH_MIN:
            raise BudgetSpent(f"no readings or minutes are left for the search; you took {self.searched}.")
        (end,) = rest(
            _search_job(self._site["valve"]), [Case(call, _fault_of(self._site, self._site["fault"]))]
        )
        value = _at(end, point, place)
        self.searched.append(act)
        self._search_minutes = minutes
        return Reading(value, "V", (point, f"{place}:C"), "high")

    def _survey(self, act: str, minutes: float) -> None:
        if len(self.taken) >= SURVEY_READINGS or self._minutes + minutes > SURVEY_MIN:
            raise BudgetSpent(f"no readings or minutes are left for the survey; you took {len(self.taken)}.")
        self._minutes += minutes
        self.taken.append(act)

    def _name(self, label: str) -> str:
        return self._job.outdoor_run.conductors[LABELS.index(label)]


def unknown_site(givens: Mapping[str, Any]) -> UnknownSite:
    """Return the unknown site of a student's numbers.

    `givens` are those of an exercise of the capstone, as `draw_site` draws them.
    """
    return UnknownSite(givens)


def _label(label: object) -> str:
    text = str(label)
    require(text in LABELS, "conductor", label, f"one of {', '.join(LABELS)}")
    return text


# ---- what the survey shows ----


def survey_shows(site: Mapping[str, Any], taken: Sequence[str]) -> dict[str, str]:
    """Return what readings prove: label -> state, without the conductors that they do not prove.

    A loop that is good proves both of its conductors continuous and without a splice. A bad one blames the
    one whose partner is proved good. Insulation has to be read of whatever is called sound.
    """
    state = dict(zip(LABELS, site["states"], strict=True))
    loops = [tuple(act.split()[1:]) for act in taken if act.startswith("loop ")]
    tested = {act.split()[1] for act in taken if act.startswith("insulation ")}
    bad = {OPEN, SPLICED}
    through = {label for pair in loops if not {state[k] for k in pair} & bad for label in pair}
    shown: dict[str, str] = {}
    for one, other in (*loops, *((b, a) for a, b in loops)):
        if other in through and state[one] in bad:
            shown[one] = state[one]
    for label in tested:
        if state[label] == LEAKY:
            shown[label] = LEAKY
        elif label in through:
            shown[label] = SOUND
    return shown


def survey_cost(taken: Sequence[str]) -> tuple[int, float]:
    """Return readings and minutes of a survey."""
    return len(taken), sum(LOOP_MIN if act.startswith("loop ") else INSULATION_MIN for act in taken)


# ---- what the search shows ----


def _fault_of(site: Mapping[str, Any], name: str) -> tuple[Fault, ...]:
    return as_faults(fault_text(site["valve"], name), _search_job(site["valve"]))


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
    site = {"valve": valve}
    cases = [Case(call, _fault_of(site, name) if name else ()) for name in names for call in CALLS]
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


def is_live(site: Mapping[str, Any], name: str, act: str) -> bool:
    """Return whether a reading such as "cool-2 air:Y2" finds half the rated volts or more with a suspect."""
    call, point = act.split()
    return _at(_ends(site["valve"])[call, name], point, _place(point)) >= LIVE_V


def search_shows(site: Mapping[str, Any], searched: Sequence[str]) -> tuple[str, ...]:
    """Return the suspects that fit the complaint and every reading of a search."""
    return tuple(
        name
        for name in suspects_of(site)
        if all(is_live(site, name, act) == is_live(site, site["fault"], act) for act in searched)
    )


def _search_min(searched: Sequence[str]) -> float:
    """Return the minutes of a search that begins at the thermostat, where calls are made by a helper."""
    here, call, minutes = "stat", "off", 0.0
    for act in searched:
        asked, point = act.split()
        place = _place(point)
        minutes += walk_min(here, place) + PROBE_MIN + (CALL_MIN if asked != call else 0.0)
        here, call = place, asked
    return minutes


def search_cost(searched: Sequence[str]) -> tuple[int, float]:
    """Return readings and minutes of a search."""
    return len(searched), _search_min(searched)
