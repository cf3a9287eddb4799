"""A house in winter: what it loses, what its heat pump gives, and where the two meet.

    Load                 watts that the house needs at an outdoor temperature
    HeatPump             one or two stages, from their rating points
    Backup               electric auxiliary heat, or a furnace that burns fuel (dual fuel)
    OutdoorThermostat    lockouts: auxiliary heat above, compressor below
    Prices               of a kilowatt-hour of electricity, and of fuel

A house loses UA times the difference between indoors and outdoors; people, lamps and the sun give some of it
back.  So it needs no heat from the machine above `no_load_c`, which is where the usual "65 F" comes from. Two
conventions for a balance point differ in just that: loads that end at the indoor temperature (gains of 0),
and loads that end at 65 F.  Say the gains, and there is one.

Where the model stops: one temperature for the whole house, steady; no wind, sun or setback; the load of a
real house is for a load calculation by the rules of the place.

Houses are read from TOML by `load_house`; where balance points lie is in `balance`.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lessonkit.errors import BadParameter, LessonError, require, require_finite, require_positive
from lessonkit.job.fields import parse_toml, read_fields, read_text
from lessonkit.studies.frost import DEFROSTS
from lessonkit.studies.ratings import CYCLING_LOSS, Rating

__all__ = [
    "BACKUPS",
    "BadHouse",
    "Backup",
    "HeatPump",
    "House",
    "Load",
    "OutdoorThermostat",
    "Prices",
    "house_from_toml",
    "house_names",
    "load_house",
]

#: What helps the heat pump: electric heat beside it, or a fuel furnace in its place.
BACKUPS = ("electric", "fossil")
#: How frost is reckoned: by the rating point H2, or by the weather's humidity and a kind of defrost board.
FROSTS = ("rated", *DEFROSTS)


class BadHouse(LessonError, ValueError):
    """A house that doesn't hold together; `mistakes` lists every one found, each with the key it is under."""

    def __init__(self, mistakes: tuple[str, ...], where: str = "house") -> None:
        self.mistakes = mistakes
        self.where = where
        super().__init__(f"{where}: " + "; ".join(mistake.rstrip(".") for mistake in mistakes) + ".")


def _printable(text: str, allowed: str = "") -> bool:
    """Return whether a text would steer nobody's terminal."""
    return not any(unicodedata.category(sign) == "Cc" and sign not in allowed for sign in text)


@dataclass(frozen=True)
class Load:
    """What a house needs.

    Say `ua_w_per_k`, watts for each kelvin between indoors and outdoors, or the design point: `design_w` lost
    at `design_outdoor_c`, internal gains not taken off.  `gains_w` is what people, lamps and sun give on
    average. `heat_capacity_wh_per_k` is what warms and cools with the air within hours (ours: some
    kilowatt-hours for each kelvin); it matters to a day, not to a season.
    """

    ua_w_per_k: float | None = None
    design_w: float | None = None
    design_outdoor_c: float | None = None
    indoor_c: float = 21.0
    gains_w: float = 0.0
    heat_capacity_wh_per_k: float = 3000.0

    def __post_init__(self) -> None:
        """Refuse a load that can't be, or that is said twice or not at all."""
        indoor_c = require_finite("indoor_c", self.indoor_c)
        require(5 <= indoor_c <= 35, "indoor_c", self.indoor_c, "from 5 to 35 C")
        require_positive("gains_w", self.gains_w, zero_ok=True, unit="watts")
        require_positive("heat_capacity_wh_per_k", self.heat_capacity_wh_per_k)
        given = (self.design_w is not None, self.design_outdoor_c is not None)
        if self.ua_w_per_k is not None:
            require_positive("ua_w_per_k", self.ua_w_per_k)
            require(not any(given), "ua_w_per_k", self.ua_w_per_k, "left out where design_w is given")
            return
        require(
            all(given), "ua_w_per_k", None, "given, or else design_w (watts) together with design_outdoor_c"
        )
        require_positive("design_w", self.design_w, unit="watts")
        outdoor_c = require_finite("design_outdoor_c", self.design_outdoor_c)
        require(
            -60 <= outdoor_c < indoor_c,
            "design_outdoor_c",
            self.design_outdoor_c,
            f"from -60 C to below indoor_c, {indoor_c:g} C",
        )

    @property
    def ua(self) -> float:
        """Return the watts that the house loses for each kelvin."""
        if self.ua_w_per_k is not None:
            return self.ua_w_per_k
        assert self.design_w is not None  # one of the two is given: see above
        assert self.design_outdoor_c is not None
        return self.design_w / (self.indoor_c - self.design_outdoor_c)

    @property
    def no_load_c(self) -> float:
        """Return the outdoor temperature at which the gains alone keep the house warm."""
        return self.indoor_c - self.gains_w / self.ua

    def needed_w(self, outdoor_c: ArrayLike) -> NDArray[np.float64]:
        """Return the watts of heat that the house needs, the shape of `outdoor_c`; none above `no_load_c`."""
        return np.maximum(self.ua * (self.no_load_c - np.asarray(outdoor_c, dtype=float)), 0.0)


@dataclass(frozen=True)
class HeatPump:
    """A heat pump: its high stage, its low one if it has two, and how frost is reckoned.

    `frost` is "rated" (by H2 and the standard's lines), or "timed" or "demand": the frost-free line, derated
    by the weather's humidity and that kind of defrost board.  `cycling_loss` is the standard's Cd.
    """

    high: Rating
    low: Rating | None = None
    frost: str = "rated"
    cycling_loss: float = CYCLING_LOSS

    def __post_init__(self) -> None:
        """Refuse a low stage above the high one, and a frost that nobody reckons."""
        require(self.frost in FROSTS, "frost", self.frost, f"one of {', '.join(FROSTS)}")
        loss = require_finite("cycling_loss", self.cycling_loss)
        require(0 <= loss <= 0.5, "cycling_loss", self.cycling_loss, "from 0 to 0.5")
        if self.low is not None:
            for name in ("capacity_h1_w", "capacity_h3_w"):
                low, high = getattr(self.low, name), getattr(self.high, name)
                require(low < high, f"low.{name}", low, f"below high.{name}, {high:g} W")

    @property
    def stages(self) -> int:
        """Return 1 or 2."""
        return 1 if self.low is None else 2


@dataclass(frozen=True)
class Backup:
    """What helps: `kind` electric or fossil, `capacity_w` of heat, and for a furnace its `efficiency`.

    Electric heat runs beside the heat pump.  A fossil furnace sits in the same air stream, upstream of the
    coil or below it, and never runs together with the compressor (common practice; makers' instructions).
    """

    kind: str = "electric"
    capacity_w: float = 10000.0
    efficiency: float = 1.0

    def __post_init__(self) -> None:
        """Refuse a backup that can't be."""
        require(self.kind in BACKUPS, "kind", self.kind, f"one of {', '.join(BACKUPS)}")
        require_positive("capacity_w", self.capacity_w, zero_ok=True, unit="watts")
        share = require_finite("efficiency", self.efficiency)
        require(0.3 <= share <= 1.0, "efficiency", self.efficiency, "from 0.3 to 1 (AFUE as a fraction)")
        require(
            self.kind == "fossil" or share == 1.0,
            "efficiency",
            self.efficiency,
            "1 for electric heat, all of which stays in the house",
        )


@dataclass(frozen=True)
class OutdoorThermostat:
    """Lockouts by outdoor temperature; None is a lockout that is not there.

    Auxiliary heat rests at `auxiliary_above_c` and above; the compressor rests at `compressor_below_c` and
    below, which with a fossil furnace is the changeover.
    """

    auxiliary_above_c: float | None = None
    compressor_below_c: float | None = None

    def __post_init__(self) -> None:
        """Refuse settings that no outdoor thermostat has."""
        for name in ("auxiliary_above_c", "compressor_below_c"):
            value = getattr(self, name)
            if value is not None:
                require(-60 <= require_finite(name, value) <= 40, name, value, "from -60 to 40 C")


@dataclass(frozen=True)
class Prices:
    """Prices of a kilowatt-hour: of electricity, and of fuel by its heating value."""

    electricity_per_kwh: float = 0.15
    fuel_per_kwh: float | None = None
    currency: str = ""

    def __post_init__(self) -> None:
        """Refuse prices that are none."""
        require_positive("electricity_per_kwh", self.electricity_per_kwh)
        if self.fuel_per_kwh is not None:
            require_positive("fuel_per_kwh", self.fuel_per_kwh)
        require(_printable(self.currency), "currency", self.currency, "letters and signs that can be seen")


@dataclass(frozen=True)
class House:
    """A house with its heat pump, what helps it, the lockouts, and the prices."""

    name: str
    load: Load
    heat_pump: HeatPump
    title: str = ""
    story: str = ""
    backup: Backup = Backup()
    outdoor_thermostat: OutdoorThermostat = OutdoorThermostat()
    prices: Prices = Prices()

    def __post_init__(self) -> None:
        """Check what the parts mean together, and name every mistake at once."""
        mistakes = tuple(self._mistakes())
        if mistakes:
            raise BadHouse(mistakes, f"house {self.name!r}")

    def with_lockouts(self, **settings: float | None) -> House:
        """Return the house with other lockouts: `house.with_lockouts(compressor_below_c=-9.0)`."""
        return replace(self, outdoor_thermostat=replace(self.outdoor_thermostat, **settings))

    def with_frost(self, frost: str) -> House:
        """Return the house with frost reckoned in another way: `house.with_frost("demand")`."""
        return replace(self, heat_pump=replace(self.heat_pump, frost=frost))

    def with_furnace(self, capacity_w: float, efficiency: float, fuel_per_kwh: float) -> House:
        """Return the house with a fossil furnace in place of what helps it now, and the price of its fuel."""
        return replace(
            self,
            backup=Backup("fossil", capacity_w, efficiency),
            prices=replace(self.prices, fuel_per_kwh=fuel_per_kwh),
        )

    def _mistakes(self) -> Iterator[str]:
        if not self.name.strip():
            yield "name is empty: give the house a short name"
        for key in ("name", "title", "story"):
            if not _printable(getattr(self, key), "\n" if key == "story" else ""):
                yield f"{key} has a control character in it; keep to letters and signs that can be seen"
        if self.backup.kind == "fossil" and self.prices.fuel_per_kwh is None:
            yield "prices.fuel_per_kwh is missing: a fossil furnace burns fuel that has a price"


def house_names() -> tuple[str, ...]:
    """Return the names of the example houses."""
    folder = resources.files("lessonkit").joinpath("studies", "houses")
    return tuple(sorted(Path(file.name).stem for file in folder.iterdir() if file.name.endswith(".toml")))


def load_house(source: str | Path | House) -> House:
    """Return the house in a TOML file, or an example.

    `source` is a path or the name of one of the example houses. Raises `BadHouse`, which names the file and
    every mistake in it.
    """
    if isinstance(source, House):
        return source
    names = house_names()
    if str(source) in names:
        folder = resources.files("lessonkit").joinpath("studies", "houses")
        return house_from_toml(
            folder.joinpath(f"{source}.toml").read_text(encoding="utf-8"), f"{source}.toml"
        )
    path, mistakes = Path(source), list[str]()
    text = read_text(path, f"give the path of a house file or an example ({', '.join(names)})", mistakes)
    if text is None:
        raise BadHouse(tuple(mistakes), str(source))
    return house_from_toml(text, path.name)


def house_from_toml(text: str, where: str = "house") -> House:
    """Return the house that a TOML text describes; `where` names it in errors."""
    mistakes: list[str] = []
    table: dict[str, Any] | None = parse_toml(text, "a house", mistakes)
    if table is None:
        raise BadHouse(tuple(mistakes), where)
    for key, hint in (
        ("name", "give the house a short name"),
        ("load", "say what the house needs, with ua_w_per_k or a design point"),
        ("heat_pump", "give the rating points of the machine in [heat_pump.high]"),
    ):
        if key not in table:
            mistakes.append(f"{key} is missing: {hint}")
    values = read_fields(House, table, "", mistakes, "a house")
    if mistakes:
        raise BadHouse(tuple(mistakes), where)
    try:
        return House(**values)
    except (BadHouse, BadParameter) as error:
        raise BadHouse(getattr(error, "mistakes", (str(error),)), where) from None
