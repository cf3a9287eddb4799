"""Pictures of cold days: where a house and its heat pump meet, what electricity brings, what frost leaves.

    balance_picture    watts that the house needs, and watts that the heat pump gives, by outdoor air
    cop_picture        heat for each unit of electricity: steady, and with the starts and stops of mild days
    frost_picture      the share of its heat that frost leaves, with each kind of defrost board, by the water

Outdoor air runs along the bottom in degrees Celsius and along the top in Fahrenheit. Each returns a `Still`:
pixels, and the same in words.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from lessonkit.draw.palette import FAINT, INK, OKABE_ITO, SOFT
from lessonkit.draw.season import both, both_scales
from lessonkit.draw.still import TEXT_PT, Still, axes
from lessonkit.studies.balance import balance_points, thermal_balance_c
from lessonkit.studies.frost import defrost_derating
from lessonkit.studies.house import Backup, House, OutdoorThermostat, load_house
from lessonkit.studies.ratings import FROST_TO_C, H3_C
from lessonkit.studies.season import running_cop

__all__ = ["balance_picture", "cop_picture", "frost_picture"]

#: From where to where pictures are drawn, in degrees Celsius; closely, so that the jump at 45 F is upright.
_AIR_C = np.linspace(-20.0, 18.0, 1521)
_NEED, _GIVES, _DRY = OKABE_ITO["vermilion"], OKABE_ITO["blue"], OKABE_ITO["sky"]


def balance_picture(house: House | str | Path) -> Still:
    """Draw what a house needs against what its heat pump gives."""
    house = load_house(house)
    rating, load = house.heat_pump.high, house.load
    need = load.needed_w(_AIR_C) / 1000.0
    gives, dry = rating.capacity_w(_AIR_C) / 1000.0, rating.capacity_w(_AIR_C, frost=False) / 1000.0
    meets_c, dry_c = balance_points(house).thermal_c, thermal_balance_c(load, rating, frost=False)
    figure, (plot,) = axes(8.0, 4.6)
    plot.axvspan(H3_C, FROST_TO_C, facecolor=FAINT, zorder=0)
    plot.text((H3_C + FROST_TO_C) / 2, 0.3, "frost forms here", fontsize=TEXT_PT - 1, color=INK, ha="center")
    plot.fill_between(
        _AIR_C, gives, need, where=list(need > gives), facecolor="none", edgecolor=_NEED, hatch="xx", lw=0
    )
    plot.plot(_AIR_C, need, color=_NEED, lw=3, label="the house needs")
    plot.plot(_AIR_C, gives, color=_GIVES, lw=3, ls="--", label="the heat pump gives")
    plot.plot(_AIR_C, dry, color=_DRY, lw=2, ls=":", label="without frost")
    drawn = meets_c is not None and _AIR_C[0] <= meets_c <= _AIR_C[-1]
    if drawn and meets_c is not None:
        plot.plot([meets_c], [load.needed_w(meets_c) / 1000.0], "o", ms=10, color=INK, label="balance point")
    plot.set(ylim=(0, 1.08 * float(max(need.max(), dry.max()))), ylabel="heat in kW")
    plot.margins(x=0)
    both_scales(plot)
    plot.legend(fontsize=TEXT_PT - 1, frameon=False, loc="upper center", ncols=2)
    if not drawn or meets_c is None:
        coldest = both(float(_AIR_C[0]))
        enough = "is large enough" if float(gives[0]) >= float(need[0]) else "is too small"
        return Still(figure, f"{house.title or house.name}: the heat pump alone {enough} down to {coldest}.")
    cold_c = min(-15.0, meets_c - 5.0)
    words = (
        f"{house.title or house.name}: the house needs what the heat pump gives at {both(meets_c)}, the "
        f"balance point; without frost it would be {both(dry_c)}. Below it auxiliary heat adds what is "
        f"missing: at {cold_c:.0f} °C the house needs {float(load.needed_w(cold_c)) / 1000:.1f} kW and the "
        f"heat pump gives {float(rating.capacity_w(cold_c)) / 1000:.1f} kW."
    )
    return Still(figure, words)


def cop_picture(house: House | str | Path) -> Still:
    """Draw heat for each unit of electricity, steady and as it runs.

    A level line is what else heats: electric heat, or the COP at which a furnace costs the same.
    """
    house = load_house(house)
    # What helps it would take cold hours over, and hide the machine's own line.
    alone = replace(house, backup=Backup(), outdoor_thermostat=OutdoorThermostat())
    steady, runs = house.heat_pump.high.cop(_AIR_C), running_cop(alone, _AIR_C)
    figure, (plot,) = axes(8.0, 4.2)
    plot.plot(_AIR_C, steady, color=_DRY, lw=2.5, ls="--", label="runs through")
    plot.plot(_AIR_C, runs, color=_GIVES, lw=3, label="as it runs, with starts and stops")
    found = balance_points(house)
    even = found.break_even_cop or 1.0
    what = "furnace heat costs the same" if found.break_even_cop else "electric heat"
    plot.axhline(even, color=_NEED, lw=2.5, ls="-.", label=f"{what}: {even:.2f}")
    if found.economic_c is not None:
        words = f"costs the same at {found.economic_c:.1f} °C"
        plot.axvline(found.economic_c, color=SOFT, lw=1.5, ls=":", label=words)
    plot.set(ylim=(0, 1.45 * float(steady.max())), ylabel="heat for 1 of electricity")
    plot.margins(x=0)
    both_scales(plot)
    plot.legend(fontsize=TEXT_PT - 1, frameon=False, loc="upper left")
    at = [
        f"{float(np.interp(c, _AIR_C, steady)):.1f} at {c:g} °C ({float(np.interp(c, _AIR_C, runs)):.1f})"
        for c in (-15.0, 0.0, 10.0)
    ]
    words = (
        f"{house.title or house.name}: heat for 1 of electricity where the heat pump runs through, and in "
        f"brackets as it runs, with its starts and stops: {', '.join(at)}."
    )
    if found.economic_c is not None:
        words += (
            f" Furnace heat costs as much as a COP of {even:.2f}: steady, that is {both(found.economic_c)}."
        )
    return Still(figure, words)


def frost_picture() -> Still:
    """Draw what frost leaves of the heat, by the water in the air."""
    dw = np.linspace(0.0, 0.002, 201)
    demand, clock = (100.0 * defrost_derating(kind, 0.0, dw).capacity for kind in ("demand", "timed"))
    figure, (plot,) = axes(8.0, 3.8)
    plot.plot(1000.0 * dw, demand, color=_GIVES, lw=3, label="on demand")
    plot.plot(1000.0 * dw, clock, color=_NEED, lw=3, ls="--", label="by the clock")
    plot.set(ylim=(60, 100), xlabel="dw: grams of water from each kilogram of air", ylabel="heat left (%)")
    plot.margins(x=0)
    plot.legend(fontsize=TEXT_PT - 1, frameon=False, loc="upper right")
    cross = float(1000.0 * dw[int(np.argmax(demand > clock))])
    words = (
        f"Of the heat of a dry coil, a board on demand leaves {demand[20]:.0f} % in dry cold (0.2 g of water "
        f"for each kilogram of air) and {demand[150]:.0f} % in damp air (1.5 g); one by the clock "
        f"{clock[20]:.0f} % and {clock[150]:.0f} %. From {cross:.1f} g on, demand leaves more."
    )
    return Still(figure, words)
