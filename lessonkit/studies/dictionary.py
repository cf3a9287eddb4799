"""A fault dictionary: what each suspect would let one see, hear and measure, on one job.

Every suspect is lived through on the bench (`cases`), under every call, to the end of the story.  From there
each thing that a technician can look at is read off:

    look at equipment     "compressor stage 1" -> "on", "off", ...        one minute's walk and a glance
    look at a link        "outdoor link" -> "answers", "silent", "comes and goes"
    volts                 two probes and a meter of 10 Mohm, loaded as the circuit loads it
    direct volts          on SIG, at both ends of a link: is the mark there, and does it arrive?
    ohms                  of the dead circuit, where wires may be lifted (`dead_looks`)

Volts of many suspects lie in clusters; two clusters that a meter's error can't part are one outcome.  The
error counts the meter (1 % and two digits, a usual handheld meter; common practice) and the job's own
doubt: the line, the splices and the coils of a real site are never quite those of its file.

A suspect that comes and goes shows its fault in half of the looks, and a sound job in the others.

Where the model stops: every look is taken long after the call, when all delays are over and nothing
defrosts; how often each kind of fault happens (`WEIGHTS`) is our own estimate, to be edited for a trade, a
climate or a building.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from lessonkit.bench.layout import conductor_node
from lessonkit.bench.meter import METER_OHM
from lessonkit.bench.reading import Reading
from lessonkit.bench.side_by_side import solve_side_by_side
from lessonkit.bench.wiring import Wiring
from lessonkit.copper.network import Solution
from lessonkit.errors import require
from lessonkit.job.calls import CALLS, PLACES
from lessonkit.job.faults import Fault, parse_fault, single_faults
from lessonkit.job.model import RUN_ENDS, Job, is_idle
from lessonkit.studies.cases import Case, Rest, rest
from lessonkit.studies.dead_looks import OHM, OHM_SHARE, dead_readings, on_scale

#: How often a kind of fault is met, against the others (ours; no source). Keys are kinds, or "part=kind".
WEIGHTS: Mapping[str, float] = MappingProxyType(
    {
        "open": 6.0,
        "resistance": 3.0,
        "short": 2.0,
        "earth": 1.0,
        "swapped": 1.0,
        "noise": 0.5,
        "blown": 3.0,
        "weak": 1.0,
        "dead": 1.0,
        "reversed": 1.0,
        "burnt-out": 1.0,
        "stuck-open": 0.5,
        "stuck-closed": 0.5,
    }
)
#: A fault that comes and goes is this much rarer than one that stays (ours).
COMES_AND_GOES = 0.15
#: One look in so many misleads: a thing misheard, a glance too early (ours).
MISTAKEN = 0.02
#: How the name of a suspect ends that comes and goes.
FICKLE = "(comes and goes)"
#: Doubt of a reading in volts: this share of it, and this much besides.
READING_SHARE, READING_V = 0.03, 0.1


@dataclass(frozen=True)
class Suspect:
    """What may be wrong: its faults, whether they come and go, and how likely that is beforehand."""

    faults: tuple[Fault, ...]
    comes_and_goes: bool = False
    weight: float = 1.0

    def __str__(self) -> str:
        """Return the faults as the command line spells them."""
        words = " + ".join(map(str, self.faults)) or "nothing"
        return f"{words} {FICKLE}" if self.comes_and_goes else words


@dataclass(frozen=True)
class Look:
    """One thing to look at: under a call, at a place, an act.

    `act` is the name of a piece of equipment or of a link, or the two probes of a volts reading, with
    "direct " before them where direct volts are read, "ohms " where ohms are; then `call` is a state of the
    dead wiring (`dead_looks`).
    """

    call: str
    place: str
    act: str

    @property
    def is_volts(self) -> bool:
        """Return whether the act is a volts reading."""
        return ":" in self.act and not self.is_ohms

    @property
    def is_ohms(self) -> bool:
        """Return whether the act is a reading in ohms of the dead circuit."""
        return self.act.startswith(OHMS)

    @property
    def is_seen(self) -> bool:
        """Return whether the act is a look at something, without a meter."""
        return ":" not in self.act

    @property
    def is_direct(self) -> bool:
        """Return whether the volts to read are direct ones."""
        return self.act.startswith(DIRECT)

    def __str__(self) -> str:
        """Return it as a person would say it."""
        what = "direct volts " if self.is_direct else "volts " if self.is_volts else ""
        return f"{self.call}: {what}{self.act.removeprefix(DIRECT)}"


@dataclass(frozen=True)
class Page:
    """One look with what it would show for every suspect.

    `words` names its outcomes and `chance` is how likely each is, shape (suspects, outcomes). For a reading
    `volts` is what every suspect would give, shape (suspects,), and `sound_v` what the sound job gives; for
    one in ohms `ohms` and `sound_ohm` do.
    """

    look: Look
    words: tuple[str, ...]
    chance: NDArray[np.float64]
    volts: NDArray[np.float64] | None = None
    sound_v: float = math.nan
    ohms: NDArray[np.float64] | None = None
    sound_ohm: float = math.nan


#: How the act of a reading in direct volts begins.
DIRECT = "direct "
#: How the act of a reading in ohms begins.
OHMS = "ohms "

#: Where a piece of equipment is seen or heard.
SEEN_AT: Mapping[str, str] = MappingProxyType(
    {
        "blower": "air",
        "auxiliary heat": "air",
        "emergency heat": "air",
        "compressor stage 1": "out",
        "compressor stage 2": "out",
        "reversing valve": "out",
        "outdoor fan": "out",
    }
)


def suspects_of(
    job: Job, pairs: bool = False, comes_and_goes: bool = True, weights: Mapping[str, float] | None = None
) -> tuple[Suspect, ...]:
    """Return who may be to blame in a job: every single fault, those that come and go, pairs if wanted.

    Faults of conductors that nothing uses are left out alone, since they change nothing. Probabilities sum
    to 1.
    """
    table = {**WEIGHTS, **(weights or {})}
    for key, weight in table.items():
        require(weight >= 0 and math.isfinite(weight), f"weight of {key}", weight, "0 or more")

    def weight_of(fault: Fault) -> float:
        return table.get(f"{fault.part}={fault.kind}", table.get(fault.kind, 1.0))

    singles = [fault for fault in single_faults(job) if not _idles(fault)]
    found = [Suspect((fault,), False, weight_of(fault)) for fault in singles]
    if comes_and_goes:
        found += [Suspect((fault,), True, COMES_AND_GOES * weight_of(fault)) for fault in singles]
    if pairs:
        both = sum(weight_of(fault) for fault in singles)
        for one, two in combinations(singles, 2):
            if (one.where, one.part) != (two.where, two.part):
                found.append(Suspect((one, two), False, weight_of(one) * weight_of(two) / both))
    total = sum(suspect.weight for suspect in found)
    require(total > 0, "weights", "all 0", "at least one weight above 0")
    return tuple(Suspect(s.faults, s.comes_and_goes, s.weight / total) for s in found if s.weight)


def named_suspects(
    job: Job, names: Iterable[str], weights: Mapping[str, float] | None = None
) -> tuple[Suspect, ...]:
    """Return suspects by their names alone.

    Such as "outdoor.SIG=open" or "outdoor.SIG=open (comes and goes)". Each is as likely against the others as
    `suspects_of` would have it. Probabilities sum to 1.
    """
    table = {**WEIGHTS, **(weights or {})}
    found = []
    for name in names:
        fault, fickle = parse_fault(name.removesuffix(FICKLE).strip(), job), name.endswith(FICKLE)
        weight = table.get(f"{fault.part}={fault.kind}", table.get(fault.kind, 1.0))
        found.append(Suspect((fault,), fickle, weight * (COMES_AND_GOES if fickle else 1.0)))
    total = sum(suspect.weight for suspect in found)
    require(total > 0, "suspects", [str(one) for one in found], "at least one with a weight above 0")
    return tuple(Suspect(one.faults, one.comes_and_goes, one.weight / total) for one in found)


def _idles(fault: Fault) -> bool:
    return is_idle(fault.part) and (fault.kind != "short" or is_idle(str(fault.value)))


def probes_of(job: Job) -> dict[tuple[str, str], str]:
    """Return the pairs of probes worth a reading, each with the place where one stands for it."""
    found: dict[tuple[str, str], str] = {}
    listed = {
        "stat": ("R", *job.call_terminals),
        "air": ("R", *job.call_terminals, "D"),
        "out": ("R", *job.outdoor_terminals, "D", "CC", "RV"),
    }
    for place in PLACES:
        for terminal in listed[place]:
            found[f"{place}:{terminal}", f"{place}:C"] = place
    found["air:XFMR", "air:C"] = "air"
    found["out:C", "out:GND"] = "out"
    if job.outdoor_run.far_supply is not None:
        found["out:XFMR", "out:C"] = "out"
    # Conventional cooling has no defrost board, and so none of its terminals.
    there = set(Wiring(job).template.nodes)
    return {pair: place for pair, place in found.items() if there.issuperset(pair)}


def signals_of(job: Job) -> dict[tuple[str, str], tuple[str, str]]:
    """Return the probes for direct volts at both ends of every link, each with its place and run."""
    return {
        (conductor_node(run, "SIG", place), f"{place}:C"): (place, run)
        for run in job.links
        for place in RUN_ENDS[run]
    }


def link_word(share: float, restless: bool) -> str:
    """Return what the lamp of a link says, by the share of its frames that get through both ways."""
    if restless or 0.05 < share < 0.9:
        return "comes and goes"
    return "answers" if share >= 0.9 else "silent"


class Dictionary:
    """All looks at a job, for all suspects.

    Parameters: `job`; `suspects` as `suspects_of` gives them; `calls` that may be asked for; `outdoor_c` is
    what an outdoor thermostat feels; `lifts` adds looks at the dead circuit. Fields: `pages` by look, and
    `prior`, shape (suspects,).
    """

    def __init__(
        self,
        job: Job,
        suspects: Sequence[Suspect],
        calls: Iterable[str] = CALLS,
        outdoor_c: float = 8.0,
        lifts: bool = False,
    ) -> None:
        self.job, self.suspects, self.calls = job, tuple(suspects), tuple(calls)
        self.outdoor_c = outdoor_c
        self.prior = np.array([suspect.weight for suspect in suspects])
        causes = [(), *dict.fromkeys(suspect.faults for suspect in suspects)]
        row = {faults: k for k, faults in enumerate(causes)}
        cases = [Case(call, faults) for call in self.calls for faults in causes]
        ends = rest(job, cases, outdoor_c=outdoor_c)
        #: For each suspect the row of its faults; row 0 is the sound job.
        self._row = np.array([row[suspect.faults] for suspect in suspects], dtype=np.intp)
        self._fickle = np.array([suspect.comes_and_goes for suspect in suspects])
        self.pages: dict[Look, Page] = {}
        for n, call in enumerate(self.calls):
            self._add(call, ends[n * len(causes) : (n + 1) * len(causes)])
        if lifts:
            left = [(end.wiring, end.settled.latches.blown) for end in ends[: len(causes)]]
            for (state, place, red, black), ohm in dead_readings(job, causes, left).items():
                self._read_ohms(Look(state, place, f"{OHMS}{red} {black}"), ohm)

    def _add(self, call: str, ends: Sequence[Rest]) -> None:
        for equipment, place in SEEN_AT.items():
            self._seen(Look(call, place, equipment), [seen_word(end, equipment) for end in ends])
        for run in self.job.links:
            words = [link_word(end.links[run], bool(end.restless)) for end in ends]
            self._seen(Look(call, RUN_ENDS[run][1], f"{run} link"), words)
        probes = probes_of(self.job)
        volts = np.array([loaded_volts(end.settled.solution, list(probes)) for end in ends])
        for k, ((red, black), place) in enumerate(probes.items()):
            self._read(Look(call, place, f"{red} {black}"), volts[:, k])

        # The levels at rest are the same under every call, so one call tells all.
        if call == self.calls[0]:
            signals = signals_of(self.job)
            direct = _direct_volts(self.job, ends, signals)
            for k, ((red, black), (place, _)) in enumerate(signals.items()):
                self._read(Look(call, place, f"{DIRECT}{red} {black}"), direct[:, k])

    def _seen(self, look: Look, shown: Sequence[str]) -> None:
        words = tuple(dict.fromkeys(shown))
        if len(words) < 2:
            return
        of_cause = np.full((len(shown), len(words)), MISTAKEN / (len(words) - 1))
        of_cause[np.arange(len(shown)), [words.index(word) for word in shown]] = 1 - MISTAKEN
        self.pages[look] = Page(look, words, self._of_suspects(of_cause))

    def _read(self, look: Look, volts: NDArray[np.float64]) -> None:
        edges = cluster_edges(volts)
        if not edges:
            return
        ends = np.array([-math.inf, *edges, math.inf])
        spread = sigma_v(volts)[:, None]
        below = _normal_cdf((ends[None, :] - volts[:, None]) / spread)
        of_cause = (1 - MISTAKEN) * np.diff(below, axis=1) + MISTAKEN / (len(ends) - 1)
        words = tuple(_band_words(low, high) for low, high in pairwise(ends))
        self.pages[look] = Page(look, words, self._of_suspects(of_cause), volts[self._row], float(volts[0]))

    def _read_ohms(self, look: Look, ohm: NDArray[np.float64]) -> None:
        scaled = on_scale(ohm)
        order = np.unique(scaled)
        wide = np.flatnonzero(np.diff(order) > 4)
        if not wide.size:
            return
        edges = (order[wide] + order[wide + 1]) / 2
        ends = np.array([-math.inf, *edges, math.inf])
        below = _normal_cdf(ends[None, :] - scaled[:, None])
        of_cause = (1 - MISTAKEN) * np.diff(below, axis=1) + MISTAKEN / (len(ends) - 1)
        marks = [math.sinh(OHM_SHARE * at) * OHM / OHM_SHARE for at in edges]
        words = tuple(_band_words(low, high, "ohm") for low, high in pairwise([-math.inf, *marks, math.inf]))
        self.pages[look] = Page(
            look, words, self._of_suspects(of_cause), ohms=ohm[self._row], sound_ohm=float(ohm[0])
        )

    def _of_suspects(self, of_cause: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return chances for suspects from those for causes: half sound for those that come and go."""
        chance = of_cause[self._row]
        chance[self._fickle] = 0.5 * (chance[self._fickle] + of_cause[0])
        return chance

    def likelihood(self, look: Look, volts: float) -> NDArray[np.float64]:
        """Return how well each suspect explains a reading in volts, shape (suspects,)."""
        page = self.pages[look]
        assert page.volts is not None

        def density(expected: NDArray[np.float64]) -> NDArray[np.float64]:
            spread = sigma_v(expected)
            return np.exp(-0.5 * ((volts - expected) / spread) ** 2) / spread

        # A misread meter shows anything from 0 to 30 V.
        return self._believed(density(page.volts), density(np.array([page.sound_v]))[0], 1 / 30.0)

    def likelihood_ohm(self, look: Look, ohm: float) -> NDArray[np.float64]:
        """Return how well each suspect explains a reading in ohms (inf for OL), shape (suspects,)."""
        page = self.pages[look]
        assert page.ohms is not None
        read = on_scale(ohm)

        def density(expected: NDArray[np.float64]) -> NDArray[np.float64]:
            return np.exp(-0.5 * (read - on_scale(expected)) ** 2)

        # A misread meter shows anything from 0 to OL.
        anything = 1 / float(on_scale(math.inf))
        return self._believed(density(page.ohms), density(np.array([page.sound_ohm]))[0], anything)

    def _believed(self, fits: NDArray[np.float64], sound: float, anything: float) -> NDArray[np.float64]:
        """Return densities with what comes and goes half sound, and with a meter that is misread at times."""
        fits[self._fickle] = 0.5 * (fits[self._fickle] + sound)
        return (1 - MISTAKEN) * fits + MISTAKEN * anything


def seen_word(end: Rest, equipment: str) -> str:
    """Return what a look at a piece of equipment shows: what it does, or that it comes and goes."""
    return "comes and goes" if end.chatter and _chatters(end, equipment) else end.responding[equipment]


def _chatters(end: Rest, equipment: str) -> bool:
    part = {"compressor stage 1": "contactor", "compressor stage 2": "unloader"}.get(equipment, equipment)
    return any(part.replace(" ", "-") in name for name in end.chatter) or (
        bool(end.restless) and SEEN_AT[equipment] == "out"
    )


def loaded_volts(solution: Solution, probes: Sequence[tuple[str, str]]) -> NDArray[np.float64]:
    """Return what a meter of high impedance shows for many pairs of probes at once (RMS volts)."""
    at = solution.network.index
    red, black = (np.array([at[pair[k]] for pair in probes]) for k in (0, 1))
    z = solution.impedances
    behind = z[red, red] + z[black, black] - z[red, black] - z[black, red]
    load = METER_OHM["high"]
    shown: NDArray[np.float64] = np.abs(
        (solution.node_v[red] - solution.node_v[black]) * load / (load + behind)
    )
    return shown


def _direct_volts(
    job: Job, ends: Sequence[Rest], signals: Mapping[tuple[str, str], tuple[str, str]]
) -> NDArray[np.float64]:
    """Return the direct volts at both ends of every link: the mark, less half of what frames take of it."""
    solved = solve_side_by_side([(end.wiring, end.settled.on) for end in ends], 0.0)
    shown = np.zeros((len(ends), len(signals)))
    for k, ((red, black), (_, run)) in enumerate(signals.items()):
        link = job.runs[run].link
        rest_share = 1 - 0.5 * link.exchange_s / link.interval_s
        shown[:, k] = [abs(one.v(red, black).real) * rest_share for one in solved]
    return shown


def sigma_v(volts: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the doubt of readings in volts: one standard deviation."""
    return np.hypot(READING_SHARE * volts, READING_V)


def cluster_edges(volts: NDArray[np.float64]) -> list[float]:
    """Return where readings part into clusters: the middles of gaps wider than four times the doubt."""
    order = np.unique(volts)
    gap = np.diff(order)
    wide = gap > 4 * sigma_v(order[1:])
    return [float(order[k] + gap[k] / 2) for k in np.flatnonzero(wide)]


def _normal_cdf(x: NDArray[np.float64]) -> NDArray[np.float64]:
    erf: NDArray[np.float64] = np.vectorize(math.erf, otypes=[float])(x / math.sqrt(2))
    return 0.5 * (1.0 + erf)


def _band_words(low: float, high: float, unit: str = "V") -> str:
    least, most = (_edge_words(end, unit) for end in (low, high))
    if math.isinf(low):
        return f"below {most}"
    if math.isinf(high):
        return f"above {least}"
    same = least.partition(" ")[2] == most.partition(" ")[2]
    return f"{least.partition(' ')[0] if same else least} to {most}"


def _edge_words(end: float, unit: str) -> str:
    """Return an edge with no more digits than it is worth: 7 kohm, not 7e+03 ohm."""
    many = unit == "ohm" and 1e3 <= end < math.inf
    return str(Reading(float(f"{end:.2g}"), unit)) if many else f"{end:.1f} {unit}"
