"""A season as a page to print: for the file of the job, and for the talk with the owner.

Plain HTML with its style and its pictures inside: it opens without a network and prints on A4 or Letter,
black and white.  Metric and US units stand side by side.  It has boxes to tick for what the person on site
sets and looks at, and a place for the licence number; everything that came from a file is escaped by jinja2.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, NamedTuple

from lessonkit.draw.season import SeasonView, by_band
from lessonkit.errors import LessonError
from lessonkit.studies.balance import thermal_balance_c
from lessonkit.studies.customary import BTU_H_W, BTU_J, THERM_KWH, c_to_f
from lessonkit.studies.ratings import H1_C, H2_C, H3_C, Rating
from lessonkit.studies.season import Season

__all__ = ["hour_rows", "season_page"]

_KWH_MMBTU = 3.6e6 / BTU_J / 1e6


class Row(NamedTuple):
    """A line of a table: what it is, in metric units, in US units."""

    what: str
    metric: str
    us: str


def _degrees(what: str, celsius: float | None, none: str = "none") -> Row:
    if celsius is None:
        return Row(what, none, none)
    return Row(what, f"{celsius:.1f} °C", f"{c_to_f(celsius):.1f} °F")


def _watts(what: str, watts: float) -> Row:
    return Row(what, f"{watts / 1000:.2f} kW", f"{watts / BTU_H_W:,.0f} Btu/h")


def _energy(what: str, kwh: float) -> Row:
    return Row(what, f"{kwh:,.0f} kWh", f"{kwh * _KWH_MMBTU:.2f} million Btu")


def _house_rows(found: Season) -> list[Row]:
    load, backup = found.house.load, found.house.backup
    rows = [
        Row("Loss for each degree", f"{load.ua:.0f} W/K", f"{load.ua / BTU_H_W / 1.8:.0f} Btu/h per °F"),
        _degrees("Indoors", load.indoor_c),
        _watts("Gains: people, lamps, sun", load.gains_w),
        _degrees("No heat needed above", found.balance.no_load_c),
    ]
    for word, rating in (
        ("high stage", found.house.heat_pump.high),
        ("low stage", found.house.heat_pump.low),
    ):
        rows += _rating_rows(word, rating) if rating is not None else []
    kind = "Electric auxiliary heat" if backup.kind == "electric" else "Fuel furnace"
    return [*rows, _watts(kind, backup.capacity_w)]


def _rating_rows(word: str, rating: Rating) -> list[Row]:
    points = ((H1_C, rating.capacity_h1_w), (H2_C, rating.frosted[0]), (H3_C, rating.capacity_h3_w))
    return [
        _watts(f"Heat pump, {word}, at {celsius:.1f} °C ({c_to_f(celsius):.0f} °F)", watts)
        for celsius, watts in points
    ]


def _setting_rows(found: Season) -> list[Row]:
    balance, pump = found.balance, found.house.heat_pump
    rows = [_degrees("Thermal balance point, frost included", balance.thermal_c, "below any weather")]
    dry_c = thermal_balance_c(found.house.load, pump.high, frost=False)
    rows.append(
        _degrees("The same with a coil free of frost", dry_c if dry_c > -40 else None, "below any weather")
    )
    if pump.low is not None:
        rows.append(_degrees("The low stage alone is large enough down to", balance.low_stage_c))
    if balance.break_even_cop is not None:
        rows.append(Row("Furnace heat costs the same at a COP of", *[f"{balance.break_even_cop:.2f}"] * 2))
        rows.append(_degrees("Economic balance point", balance.economic_c))
        rows.append(_degrees("Changeover belongs at, or above", balance.changeover_c))
    return rows


def _result_rows(found: Season) -> list[Row]:
    helps = "auxiliary heat" if found.house.backup.kind == "electric" else "furnace"
    rows = [
        _energy("Heat needed", found.load_kwh),
        _energy("Heat from the heat pump", found.heat_pump_kwh),
        _energy(f"Heat from the {helps}" if helps == "furnace" else f"Heat from {helps}", found.backup_kwh),
        _energy("Heat missing", found.unmet_kwh),
    ]
    electric = found.drawn_kwh + found.auxiliary_kwh
    rows.append(Row("Electricity", *[f"{electric:,.0f} kWh"] * 2))
    if found.fuel_kwh:
        rows.append(Row("Fuel", f"{found.fuel_kwh:,.0f} kWh", f"{found.fuel_kwh / THERM_KWH:,.0f} therms"))
    if found.cop is not None:
        factor = f"{found.cop / BTU_H_W:.2f} Btu per Wh"
        rows.append(Row("Heat for each unit of electricity", f"{found.cop:.2f}", factor))
    return rows


def hour_rows(found: Season) -> list[tuple[str, float]]:
    """Return the hours of a year by what runs in them."""
    fossil = found.house.backup.kind == "fossil"
    rows: list[tuple[str, float]] = []
    if found.house.heat_pump.low is not None:
        rows.append(("low stage runs", found.low_hours))
    rows += [
        ("high stage runs", found.high_hours),
        ("with the furnace" if fossil else "with auxiliary heat", found.backup_hours),
        ("compressor locked out", found.locked_out_hours),
        ("heat missing", found.unmet_hours),
    ]
    return rows if fossil else [*rows, ("auxiliary heat allowed though not needed", found.needless_hours)]


def season_page(view: SeasonView) -> str:
    """Return the page of a season as HTML text.

    Raises `LessonError` where jinja2 is missing, as in a browser page.
    """
    try:
        import jinja2
        from markupsafe import Markup
    except ModuleNotFoundError:
        raise LessonError(
            "The page to print is made with jinja2, which Python in a browser page does not have. Show the "
            "season here with lk.show_season, and print it on a computer: "
            "`lessonkit season HOUSE --html season.html`."
        ) from None

    rooms = jinja2.FileSystemLoader(Path(__file__).parent, encoding="utf-8")
    env = jinja2.Environment(
        loader=rooms, autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    found = view.season
    set_to = found.house.outdoor_thermostat
    values: dict[str, Any] = {
        "house": found.house,
        "season": found,
        "house_rows": _house_rows(found),
        "setting_rows": _setting_rows(found),
        "result_rows": _result_rows(found),
        "hour_rows": hour_rows(found),
        "bands": [
            (f"{b.from_c:.0f} to {b.to_c:.0f}", f"{round(c_to_f(b.from_c))} to {round(c_to_f(b.to_c))}", b)
            for b in by_band(found)
        ],
        "settings": (
            _degrees("auxiliary heat locked out at this and above", set_to.auxiliary_above_c, "not set"),
            _degrees("compressor locked out at this and below", set_to.compressor_below_c, "not set"),
        ),
        "pictures": [(Markup(p._repr_html_()), p.words) for p in (view.picture, view.lockout)],
        "helps": "auxiliary" if found.house.backup.kind == "electric" else "furnace",
    }
    page: str = env.get_template("season.html").render(**values)
    return page + "\n"
