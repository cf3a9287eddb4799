"""Pictures of a heating season: what heats the house by outdoor temperature, and what a wrong lockout costs.

Each kind of heat has a shade and a hatching, so that the picture prints in black and white.  Outdoor
temperature runs along the bottom in degrees Celsius and along the top in Fahrenheit.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes

from lessonkit.draw.palette import INK, OKABE_ITO
from lessonkit.draw.still import TEXT_PT, Still, axes
from lessonkit.studies.customary import c_to_f
from lessonkit.studies.house import House
from lessonkit.studies.season import LockoutSweep, Season, season, sweep_lockouts
from lessonkit.studies.weather import Weather

__all__ = [
    "BIN_K",
    "Band",
    "SeasonView",
    "both_scales",
    "by_band",
    "lockout_picture",
    "season_picture",
    "season_words",
    "show_season",
]

#: Outdoor temperatures are gathered in bands this wide.
BIN_K = 3.0

_LOOKS = (
    ("low_kwh", "low stage", OKABE_ITO["sky"], ""),
    ("high_kwh", "high stage", OKABE_ITO["blue"], "//"),
    ("backup_kwh", "", OKABE_ITO["vermilion"], "xx"),
    ("unmet_kwh", "missing", "#ffffff", ".."),
)


@dataclass(frozen=True)
class Band:
    """What a band of outdoor temperatures adds to a season: hours of it, and kilowatt-hours of heat."""

    from_c: float
    to_c: float
    hours: int
    low_kwh: float
    high_kwh: float
    backup_kwh: float
    unmet_kwh: float


def by_band(found: Season, width_k: float = BIN_K) -> tuple[Band, ...]:
    """Return a season by bands of outdoor temperature, coldest first; only hours that need heat."""
    hours = found.hours
    ran = np.maximum(hours.low + hours.high, 1e-12)
    # Heat of an hour is shared out by the time that each stage ran in it.
    low_w, high_w = hours.heat_pump_w * hours.low / ran, hours.heat_pump_w * hours.high / ran
    index = np.floor(hours.outdoor_c / width_k).astype(int)
    bands = []
    for k in sorted(set(index[hours.heating].tolist())):
        here = hours.heating & (index == k)
        sums = (float(w[here].sum()) / 1000.0 for w in (low_w, high_w, hours.backup_w, hours.unmet_w))
        bands.append(Band(k * width_k, (k + 1) * width_k, int(here.sum()), *sums))
    return tuple(bands)


def backup_word(house: House) -> str:
    """Return what helps the heat pump, in a word or two."""
    return "auxiliary heat" if house.backup.kind == "electric" else "the furnace"


def _label(house: House, word: str) -> str:
    """Return what a kind of heat is called: a machine of one stage has no high one."""
    if word == "high stage" and house.heat_pump.low is None:
        return "heat pump"
    return word or backup_word(house)


def both(celsius: float) -> str:
    """Return an outdoor temperature in both units."""
    return f"{celsius:.1f} °C ({round(c_to_f(celsius))} °F)"


def season_words(found: Season) -> str:
    """Return a season in plain sentences."""
    house, helps = found.house, backup_word(found.house)
    stages = "heat pump" if house.heat_pump.low is None else "low stage"
    hours = found.high_hours if house.heat_pump.low is None else found.low_hours
    ran = f"The {stages} runs {hours:.0f} hours"
    if house.heat_pump.low is not None:
        ran += f", the high stage {found.high_hours:.0f}"
    thermal = found.balance.thermal_c
    lines = [
        f"{house.title or house.name} in the weather of {found.weather.name}: "
        f"{found.load_kwh:,.0f} kWh of heat are needed.",
        f"{ran}; {helps} carries {100 * found.backup_share:.1f} % of the heat, "
        f"in {found.backup_hours} hours.",
        "The heat pump carries the house alone at any temperature down to -40 °C."
        if thermal is None
        else f"The heat pump is large enough down to {both(thermal)}.",
        f"The season costs {house.prices.currency}{found.cost:,.0f}"
        + ("." if found.cop is None else f", at {found.cop:.2f} kWh of heat for each kWh of electricity."),
    ]
    if found.balance.changeover_c is not None:
        cop = found.balance.break_even_cop
        lines.append(
            f"Furnace heat costs as much as heat at a COP of {cop:.2f}; "
            f"for a machine that runs through, the changeover belongs at {both(found.balance.changeover_c)}. "
            "Starts and stops make the heat pump dearer, so the cheapest setting lies there or above."
        )
    if found.unmet_hours:
        lines.append(f"In {found.unmet_hours} hours {found.unmet_kwh:,.0f} kWh are missing: the house cools.")
    if found.needless_hours:
        lines.append(
            f"In {found.needless_hours} hours auxiliary heat is allowed though the heat pump is large enough."
        )
    return " ".join([*lines, *found.mistakes])


def season_picture(found: Season) -> Still:
    """Return what heats the house, by outdoor temperature, with balance point and lockouts."""
    figure, (plot,) = axes(8.0, 5.2)
    bands = by_band(found)
    middle = [(band.from_c + band.to_c) / 2 for band in bands]
    under = np.zeros(len(bands))
    for name, word, colour, hatch in _LOOKS:
        kwh = np.array([getattr(band, name) for band in bands])
        if kwh.sum() < 0.5:
            continue
        plot.bar(
            middle,
            kwh,
            width=0.9 * BIN_K,
            bottom=under,
            color=colour,
            hatch=hatch,
            edgecolor=INK,
            linewidth=0.8,
            label=_label(found.house, word),
        )
        under = under + kwh
    set_to = found.house.outdoor_thermostat
    marks = (
        (found.balance.thermal_c, "-", "balance point"),
        (set_to.compressor_below_c, "--", "compressor locked out below"),
        (set_to.auxiliary_above_c, ":", "auxiliary locked out above"),
    )
    for at, dash, word in marks:
        if at is not None:
            plot.axvline(at, color=INK, linestyle=dash, linewidth=2, label=word)
    plot.set_ylabel("heat in kWh")
    both_scales(plot)
    # Below the plot: inside it, it would lie over bars and lockouts.
    figure.legend(fontsize=TEXT_PT - 1, frameon=False, loc="outside lower center", ncols=2)
    return Still(figure, season_words(found))


def both_scales(plot: Axes) -> None:
    """Write outdoor air below a plot in degrees Celsius, and above it in Fahrenheit."""
    plot.set_xlabel("outdoor air in °C")
    top = plot.secondary_xaxis(
        "top", functions=(lambda c: np.asarray(c) * 1.8 + 32.0, lambda f: (np.asarray(f) - 32.0) / 1.8)
    )
    top.set_xlabel("in °F", fontsize=TEXT_PT)
    top.tick_params(labelsize=TEXT_PT - 1, colors=INK)


def lockout_picture(sweep: LockoutSweep, currency: str = "") -> Still:
    """Return what a lockout setting costs beyond the best one, and what heat it leaves missing."""
    figure, (money, cold) = axes(8.0, 5.0, rows=2)
    what = (
        "compressor locked out below" if sweep.which == "compressor_below_c" else "auxiliary locked out above"
    )
    money.plot(sweep.setting_c, sweep.extra, color=OKABE_ITO["blue"], linewidth=2.5)
    money.axhline(0.0, color=INK, linewidth=0.8)
    money.set_ylabel(f"extra cost a year{', ' + currency if currency else ''}")
    best = float(sweep.setting_c[sweep.best])
    cold.plot(sweep.setting_c, sweep.unmet_kwh, color=OKABE_ITO["vermilion"], linewidth=2.5, linestyle="--")
    cold.set_ylabel("heat missing, kWh")
    cold.set_ylim(0.0, max(1.0, 1.05 * float(sweep.unmet_kwh.max())))
    for plot in (money, cold):
        plot.axvline(best, color=INK, linestyle=":", linewidth=2)
    both_scales(money)
    money.set_xlabel("")
    cold.set_xlabel(f"{what}, °C outdoors (dotted: best)")
    dearest = int(sweep.extra.argmax())
    worst = int(sweep.unmet_kwh.argmax())
    cold_words = "None leaves heat missing."
    if sweep.unmet_kwh[worst] > 0.5:
        where = both(float(sweep.setting_c[worst]))
        cold_words = f"At {where}, {sweep.unmet_kwh[worst]:,.0f} kWh of heat are missing."
    dear_words = "No other setting costs more."
    if sweep.extra[dearest] >= 0.5:
        where = both(float(sweep.setting_c[dearest]))
        dear_words = f"The dearest, {where}, costs {currency}{sweep.extra[dearest]:,.0f} more."
    return Still(figure, f"A year by one setting, {what}: best at {both(best)}. {dear_words} {cold_words}")


@dataclass(frozen=True)
class SeasonView:
    """What a notebook shows of a season: pictures, and the same in words; `season` has the numbers."""

    season: Season
    picture: Still
    lockout: Still

    @property
    def words(self) -> str:
        """Return it all in words."""
        return f"{self.picture.words} {self.lockout.words}"

    def __repr__(self) -> str:
        """Return the words, a sentence a line."""
        return self.words.replace(". ", ".\n")

    def _repr_html_(self) -> str:
        return self.picture._repr_html_() + self.lockout._repr_html_()


def show_season(
    house: House | str | Path = "harrowmere",
    weather: Weather | str | Path = "cold-valley",
    lockout: str = "compressor_below_c",
    **lockouts_c: float | None,
) -> SeasonView:
    """Return a season in pictures and words, for a notebook.

    Parameters as for `season`; `lockout` is the setting whose cost is shown. Further settings, such as
    `auxiliary_above_c=2.0`, are put in place of the house's own.
    """
    found = season(house, weather)
    if lockouts_c:
        found = season(found.house.with_lockouts(**lockouts_c), found.weather)
    sweep = sweep_lockouts(found.house, found.weather, lockout)
    return SeasonView(found, season_picture(found), lockout_picture(sweep, found.house.prices.currency))
