"""A job: a described site, as plain data.

A site has a supply at the air handler, two runs of cable (`thermostat`: thermostat to air handler;
`outdoor`: air handler to outdoor unit), and equipment.  Each run is used `direct`, a conductor per
terminal, or as a `link`, serial frames over the conductor SIG.  A link needs a way back for its current: a
`wire` (the conductor C), the bonded equipment ground (`earth`), or a `second-transformer` at the far end,
which leaves only the signal's current to return.

Jobs are read from and written to TOML by `toml`; this room holds what they mean and what they allow.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from types import MappingProxyType
from typing import Any

from lessonkit.copper.wire import DEFAULT_CAPACITANCE_F_PER_M, resistance_per_m
from lessonkit.errors import LessonError, require, require_positive, shown
from lessonkit.job import parts
from lessonkit.job.calls import ALL_CALL_TERMINALS, INDOOR_TERMINALS, PLACE_WORDS
from lessonkit.job.kinds import check_kinds, wrong_kinds
from lessonkit.job.kit import COILS, EQUIPMENT
from lessonkit.job.kit import Equipment as Equipment  # its place for readers of jobs
from lessonkit.job.parts import Coil, Electronics
from lessonkit.job.second_heat import OutdoorThermostat, heat_mistakes
from lessonkit.job.supply import Supply as Supply  # part of this room's words
from lessonkit.job.thermostat import THERMOSTAT, Thermostat

#: The runs and the places that each joins, near end first.
RUN_ENDS = MappingProxyType({"thermostat": ("stat", "air"), "outdoor": ("air", "out")})
ARRANGEMENTS = ("direct", "link")
RETURNS = ("wire", "earth", "second-transformer")
RECEIVERS = ("common", "isolated")
#: The electronics of a job, as places name them: "out:defrost-board".
ELECTRONICS = ("thermostat", "encoder", "relay-board", "defrost-board")


class BadJob(LessonError, ValueError):
    """A job that doesn't hold together; `mistakes` lists every one found, each with the key it is under."""

    def __init__(self, mistakes: tuple[str, ...], where: str = "job") -> None:
        self.mistakes = mistakes
        self.where = where
        super().__init__(f"{where}: " + "; ".join(mistake.rstrip(".") for mistake in mistakes) + ".")


@dataclass(frozen=True)
class LinkSettings:
    """How a link speaks and listens; volts here are direct-current levels.

    `drive_v` behind `drive_ohm` sends a mark, 0 V a space; `load_ohm` is the receiver's input; below
    `low_v` it hears a space, above `high_v` a mark, in between it keeps what it heard. `noise_v` is RMS.
    `clock_error` is the far end's clock against the near end's, as a fraction.
    """

    baud: float = 1200.0
    interval_s: float = 1.0
    watchdog_s: float = 10.0
    acceptance: int = 2
    drive_v: float = 12.0
    drive_ohm: float = 1000.0
    load_ohm: float = 10000.0
    low_v: float = 3.5
    high_v: float = 7.5
    noise_v: float = 0.05
    clock_error: float = 0.0

    def __post_init__(self) -> None:
        """Refuse settings that no link can work with."""
        check_kinds(self)
        require_positive("baud", self.baud)
        for name in ("interval_s", "watchdog_s", "drive_v", "drive_ohm", "load_ohm"):
            require_positive(name, getattr(self, name))
        require(0 <= self.noise_v <= 100, "noise_v", self.noise_v, "from 0 to 100 V RMS")
        require(
            1 <= self.acceptance <= 5,
            "acceptance",
            self.acceptance,
            "a whole number of equal frames, 1 to 5",
        )
        require(
            0 < self.low_v < self.high_v < self.drive_v,
            "low_v and high_v",
            (self.low_v, self.high_v),
            f"in the order 0 < low_v < high_v < drive_v, {self.drive_v:g} V",
        )
        require(
            abs(self.clock_error) < 0.2, "clock_error", self.clock_error, "a fraction between -0.2 and 0.2"
        )
        require(
            self.interval_s > self.exchange_s,
            "interval_s",
            self.interval_s,
            f"longer than a frame and its reply at this speed, {self.exchange_s:.3f} s",
        )
        require(
            self.watchdog_s > self.acceptance * self.interval_s,
            "watchdog_s",
            self.watchdog_s,
            f"longer than {self.acceptance} intervals of {self.interval_s:g} s",
        )

    @property
    def frame_s(self) -> float:
        """Return how long a frame of five start-stop characters (10 bits each) takes."""
        return 50.0 / self.baud

    @property
    def exchange_s(self) -> float:
        """Return how long a frame and the reply to it take."""
        return 2.0 * self.frame_s


@dataclass(frozen=True)
class Run:
    """A cable between two places and how it is used.

    `conductors` are named after the terminal they join at both ends, in their order around the sheath (the
    last one lies beside the first), or `SIG`, `spare`, `spare-2`, ..., `bad`, `bad-2`, ... (a bad one is
    broken somewhere inside).  `ohms` are what was measured of each, end to end at 20 C and in the same
    order; left out, they follow from gauge and length.  `receiver` says how the far end of a link hears
    beside a second transformer: on the common of its own supply, which C then joins to C at the near end
    ("common"), or through an optocoupler, with the two commons apart ("isolated").
    """

    arrangement: str = "direct"
    return_by: str = field(default="wire", metadata={"key": "return"})
    length_m: float = 20.0
    gauge_awg: int = 18
    temp_c: float = 20.0
    conductors: tuple[str, ...] = ("R", "C")
    capacitance_pf_per_m: float = round(DEFAULT_CAPACITANCE_F_PER_M * 1e12, 3)
    insulation_mohm_km: float = 100.0
    earth_ohm: float = 0.2
    far_in_phase: bool = True
    link: LinkSettings = LinkSettings()
    far_supply: Supply | None = None
    ohms: tuple[float, ...] = ()
    receiver: str = "common"

    def __post_init__(self) -> None:
        """Check each number and word by itself; `Job` checks what they mean together."""
        check_kinds(self)
        require(
            self.arrangement in ARRANGEMENTS,
            "arrangement",
            self.arrangement,
            f"one of {', '.join(ARRANGEMENTS)}",
        )
        require(self.return_by in RETURNS, "return", self.return_by, f"one of {', '.join(RETURNS)}")
        require(self.receiver in RECEIVERS, "receiver", self.receiver, f"one of {', '.join(RECEIVERS)}")
        require(
            0 < self.length_m <= 500,
            "length_m",
            self.length_m,
            "above 0 and at most 500 m",
        )
        require(self.gauge_awg in range(12, 27), "gauge_awg", self.gauge_awg, "a whole number from 12 to 26")
        require(-60 <= self.temp_c <= 90, "temp_c", self.temp_c, "between -60 and 90 C")
        require_positive("capacitance_pf_per_m", self.capacitance_pf_per_m, zero_ok=True)
        require_positive("insulation_mohm_km", self.insulation_mohm_km)
        require_positive("earth_ohm", self.earth_ohm)
        require(len(self.conductors) >= 2, "conductors", list(self.conductors), "at least two names")
        for name in self.conductors:
            known = name in ("R", "C", "SIG", "D", *ALL_CALL_TERMINALS) or is_idle(name)
            require(known, "conductors", name, "terminals (R, C, Y1, ...), SIG, spare, spare-2, bad, bad-2")
        twice = {name for name in self.conductors if self.conductors.count(name) > 1}
        require(not twice, "conductors", sorted(twice), "named once each (number the spares: spare, spare-2)")

        if self.ohms:
            fits = len(self.ohms) == len(self.conductors)
            require(
                fits, "ohms", list(self.ohms), f"one number for each of {len(self.conductors)} conductors"
            )
            for ohm in self.ohms:
                require_positive("ohms", ohm)

    @property
    def conductor_ohm(self) -> float:
        """Return the resistance of one conductor from end to end, by gauge and length."""
        return resistance_per_m(self.gauge_awg, self.temp_c) * self.length_m

    def ohm_of(self, conductor: str) -> float:
        """Return one conductor's resistance: as measured, brought to `temp_c`, or by gauge and length."""
        if not self.ohms:
            return self.conductor_ohm
        warmer = resistance_per_m(self.gauge_awg, self.temp_c) / resistance_per_m(self.gauge_awg, 20.0)
        return self.ohms[self.conductors.index(conductor)] * warmer

    @property
    def pair_farad(self) -> float:
        """Return the capacitance between two neighbours, end to end."""
        return self.capacitance_pf_per_m * 1e-12 * self.length_m

    @property
    def insulation_ohm(self) -> float:
        """Return the insulation resistance between two neighbours, end to end; shorter runs leak less."""
        return self.insulation_mohm_km * 1e6 / (self.length_m / 1000.0)

    def neighbours(self) -> Iterator[tuple[str, str]]:
        """Yield the pairs that lie side by side in the sheath."""
        n = len(self.conductors)
        for k in range(n if n > 2 else n - 1):
            yield self.conductors[k], self.conductors[(k + 1) % n]


def is_idle(conductor: str) -> bool:
    """Return whether a conductor's name says that it is not in use: spare or bad."""
    word, _, number = conductor.partition("-")
    return word in ("spare", "bad") and ((number == "" and "-" not in conductor) or number.isdecimal())


@dataclass(frozen=True)
class Job:
    """A site: supply, two runs, equipment, electronics."""

    name: str
    title: str = ""
    story: str = ""
    frequency_hz: float = 60.0
    supply: Supply = Supply()  # noqa: RUF009  (a frozen value)
    equipment: Equipment = EQUIPMENT
    thermostat_run: Run = Run(conductors=("R", "C", "Y1", "Y2", "G", "O", "W1", "E"))
    outdoor_run: Run = Run(conductors=("R", "C", "Y1", "Y2", "O", "D"))
    thermostat: Thermostat = THERMOSTAT
    encoder: Electronics = parts.ENCODER
    relay_board: Electronics = parts.RELAY_BOARD
    defrost_board: Electronics = parts.DEFROST_BOARD
    outdoor_thermostat: OutdoorThermostat | None = None

    def __post_init__(self) -> None:
        """Check what the parts mean together, and name every mistake at once."""
        mistakes = tuple(map(str, wrong_kinds(self))) or tuple(self._mistakes())
        if mistakes:
            raise BadJob(mistakes, f"job {shown(self.name)}")

    @property
    def runs(self) -> dict[str, Run]:
        """Return the runs by name."""
        return {"thermostat": self.thermostat_run, "outdoor": self.outdoor_run}

    def at_site(self, title: str) -> Job:
        """Return the same wiring at another site: `job.at_site("Osierholt Nursery, seedling house")`."""
        return replace(self, title=title, story="")

    def with_run(self, name: str, **changes: Any) -> Job:
        """Return the job with some fields of one run changed: `job.with_run("outdoor", length_m=60.0)`."""
        require(isinstance(name, str) and name in RUN_ENDS, "run", name, f"one of {', '.join(RUN_ENDS)}")
        run = _changed(self.runs[name], changes)
        return replace(self, thermostat_run=run) if name == "thermostat" else replace(self, outdoor_run=run)

    def with_supply(self, **changes: Any) -> Job:
        """Return the job with some fields of its supply changed: `job.with_supply(rated_va=75.0)`."""
        return replace(self, supply=_changed(self.supply, changes))

    def with_equipment(self, **changes: Any) -> Job:
        """Return the job with some fields of its equipment changed: `job.with_equipment(stages=1)`.

        Another `valve` letter renames the conductors that carry it, because a job's cable is named after its
        terminals.
        """
        kit = _changed(self.equipment, changes)
        letters = {self.equipment.valve: kit.valve} if kit.valve != "none" else {}
        runs = [
            replace(run, conductors=tuple(letters.get(name, name) for name in run.conductors))
            for run in self.runs.values()
        ]
        return replace(self, equipment=kit, thermostat_run=runs[0], outdoor_run=runs[1])

    def with_outdoor_thermostat(self, **settings: Any) -> Job:
        """Return the job with these lockouts: `job.with_outdoor_thermostat(auxiliary_above_c=4.0)`."""
        return replace(self, outdoor_thermostat=OutdoorThermostat(**settings))

    def with_coil(self, name: str, **changes: Any) -> Job:
        """Return the job with some fields of one coil changed: `job.with_coil("contactor", r_ohm=12.0)`."""
        coil = _changed(self.coil(name), changes)
        return self.with_equipment(**{name.replace("-", "_"): coil})

    def with_electronics(self, name: str, **changes: Any) -> Job:
        """Return the job with some fields of one of its boards changed.

        `name` is "thermostat", "encoder", "relay-board" or "defrost-board".
        """
        require(
            isinstance(name, str) and name in ELECTRONICS,
            "electronics",
            name,
            f"one of {', '.join(ELECTRONICS)}",
        )
        field = name.replace("-", "_")
        return replace(self, **{field: _changed(getattr(self, field), changes)})

    def coil(self, name: str) -> Coil:
        """Return one of the equipment's coils by its name, such as "contactor" or "blower-relay"."""
        require(isinstance(name, str) and name in COILS, "coil", name, f"one of {', '.join(COILS)}")
        coil: Coil = getattr(self.equipment, name.replace("-", "_"))
        return coil

    def supply_at(self, place: str) -> Supply:
        """Return the supply that feeds a place: the far one outdoors, where there is one."""
        far = self.outdoor_run.far_supply
        return far if place == "out" and far is not None else self.supply

    @cached_property
    def links(self) -> tuple[str, ...]:
        """Return the names of the runs that carry a link, thermostat's first."""
        return tuple(name for name, run in self.runs.items() if run.arrangement == "link")

    @cached_property
    def call_terminals(self) -> tuple[str, ...]:
        """Return the call terminals that this equipment has."""
        return self.equipment.call_terminals

    @property
    def has_defrost(self) -> bool:
        """Return whether the outdoor unit has a defrost board: a heat pump has, conventional cooling not."""
        return self.equipment.valve != "none"

    @property
    def has_interlock(self) -> bool:
        """Return whether an interlock keeps furnace and compressor apart: a furnace beside a heat pump."""
        return self.equipment.heat == "fossil" and self.equipment.valve != "none"

    @property
    def y1_at_board(self) -> str:
        """Return the node outdoors on which the outdoor unit gets Y1: behind an outdoor thermostat there."""
        stat = self.outdoor_thermostat
        there = stat is not None and stat.compressor_below_c is not None and stat.at == "out"
        return "YT" if there else "Y1"

    @property
    def breaks_y1_indoors(self) -> bool:
        """Return whether contacts at the air handler lie between the two runs' conductors Y1."""
        stat = self.outdoor_thermostat
        return self.has_interlock or (
            stat is not None and stat.compressor_below_c is not None and stat.at == "air"
        )

    @cached_property
    def outdoor_terminals(self) -> tuple[str, ...]:
        """Return the call terminals of the outdoor unit."""
        return tuple(terminal for terminal in self.call_terminals if terminal not in INDOOR_TERMINALS)

    def _mistakes(self) -> Iterator[str]:
        if not self.name.strip():
            yield "name is empty: give the job a short name"
        for key in ("name", "title", "story"):
            # A control character would steer the terminal of whoever prints the job.
            allowed = "\n" if key == "story" else ""
            if any(unicodedata.category(sign) == "Cc" and sign not in allowed for sign in getattr(self, key)):
                yield f"{key} has a control character in it; keep to letters and signs that can be seen"
        if self.frequency_hz not in (50.0, 60.0):
            yield f"frequency_hz is {self.frequency_hz:g}, but must be 50 or 60"
        kit = self.equipment
        yield from heat_mistakes(kit.valve, kit.heat, kit.emergency_by, self.outdoor_thermostat)
        for name, run in self.runs.items():
            key, names = f"runs.{name}", set(run.conductors)
            for other in sorted(names & ({"O", "B"} - {kit.valve})):
                yield f"{key}.conductors has {other}, but equipment.valve is {kit.valve}"
            if "W2" in names - set(self.call_terminals):
                yield f"{key}.conductors has W2, but equipment.heat_stages is 1 or there is no second heat"
            if name == "outdoor" and "D" in names and not self.has_defrost:
                yield f"{key}.conductors has D, but equipment.valve is none, so there is no defrost board"
            indoors = ", ".join(sorted(names & set(INDOOR_TERMINALS)))
            if name == "outdoor" and indoors:
                yield f"{key}.conductors has {indoors}, which the outdoor unit doesn't have"
            if name == "thermostat" and "D" in names:
                yield f"{key}.conductors has D, which ends at the air handler"
            if run.arrangement == "direct":
                needed = ("R", "C") if name == "outdoor" or self.thermostat.needs_c else ("R",)
                yield from _direct_mistakes(key, run, needed)
            else:
                yield from _link_mistakes(key, name, run)
        far = self.outdoor_run.far_supply
        if far is not None and self.outdoor_run.receiver == "common":
            unlisted = [
                key
                for key, supply in (("supply", self.supply), ("runs.outdoor.far_supply", far))
                if not supply.interconnection_listed
            ]
            if unlisted:
                yield (
                    "runs.outdoor joins the commons of two sources, and only sources that their makers have "
                    "listed for that may be joined (NEC 725.121(B)): say interconnection_listed = true for "
                    f"{' and '.join(unlisted)} if they are, or keep them apart by runs.outdoor.receiver = "
                    '"isolated"'
                )


def _changed(value: Any, changes: dict[str, Any]) -> Any:
    """Return a part of a job with some of its fields changed; a name that is none is refused."""
    known = [field.name for field in fields(value)]
    for name in changes:
        require(name in known, f"{type(value).__name__} field", name, f"one of {', '.join(known)}")
    return replace(value, **changes)


def _direct_mistakes(key: str, run: Run, needed: tuple[str, ...]) -> Iterator[str]:
    missing = [terminal for terminal in needed if terminal not in run.conductors]
    if missing:
        lost = "without which nothing at the far end has power"
        yield f"{key}.conductors lacks {' and '.join(missing)}, {lost}"
    if "SIG" in run.conductors:
        yield f"{key}.conductors has SIG, but {key}.arrangement is direct"
    if run.return_by != "wire":
        yield f"{key}.return is {run.return_by}, but a direct run returns by wire (its conductor C)"


def _link_mistakes(key: str, name: str, run: Run) -> Iterator[str]:
    names = set(run.conductors)
    carried = names - {"R", "C", "SIG"} - {n for n in names if is_idle(n)}
    if carried:
        listed = ", ".join(sorted(carried))
        yield f"{key}.conductors has {listed}, which the link already carries; call them spare"
    if "SIG" not in names:
        yield f"{key}.conductors lacks SIG, the conductor that a link speaks on"
    if run.return_by == "wire" and "C" not in names:
        yield f"{key}.return is wire, but there is no conductor C to return by"
    if run.return_by == "earth" and "C" in names:
        yield f"{key}.return is earth, but there is a conductor C; say wire, or call it spare"
    if run.receiver == "isolated" and run.return_by != "second-transformer":
        yield f"{key}.receiver is isolated, which only a far end with a second transformer can be"
    if name == "thermostat" and run.return_by != "wire":
        why = f"a {PLACE_WORDS['stat']} has no bonded metal and no transformer"
        yield f"{key}.return is {run.return_by}, but {why}; say wire"
    if run.return_by == "second-transformer":
        if "R" in names:
            yield f"{key}.conductors has R, but the two transformers must never be joined; call it spare"
        if "C" not in names:
            yield f"{key}.conductors lacks C, the way back for the signal beside a second transformer"
        if run.far_supply is None:
            yield f"{key}.far_supply is missing: describe the second transformer"
    else:
        if "R" not in names:
            yield f"{key}.conductors lacks R, without which the far end has no power"
        if run.far_supply is not None:
            yield f"{key}.far_supply is given, but {key}.return is {run.return_by}; say second-transformer"
