"""A heating season on a panel: lockouts and changeover turned, hours by stage and cost follow.

    panel = lk.season_panel("harrowmere", "cold-valley")
    display(panel)
    panel.found.cost

Beside what is turned stands the season with the house's own settings.  What is shown comes from
`studies.season`; the picture is that of the printed page.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from pathlib import Path

import ipywidgets as widgets

from lessonkit.draw.season import season_picture
from lessonkit.draw.season_page import hour_rows
from lessonkit.draw.tables import table_html
from lessonkit.panels.keys import key, named, press, row, shown
from lessonkit.panels.panel import Panel
from lessonkit.studies.customary import c_to_f
from lessonkit.studies.house import House, house_names, load_house
from lessonkit.studies.season import Season, season
from lessonkit.studies.weather import Weather, load_weather, weather_names

__all__ = ["SeasonPanel", "season_html", "season_panel"]

#: Settings that an outdoor thermostat is turned to (Celsius), and where one begins that was not there.
_LEAST_C, _MOST_C, _STEP_C = -30.0, 20.0, 0.5
_BEGIN = {"auxiliary_above_c": 4.5, "compressor_below_c": -15.0}


def season_html(found: Season, own: Season) -> str:
    """Return hours, heat and cost of a season, beside those with the house's own settings."""
    money = found.house.prices.currency
    before = dict(hour_rows(own))
    rows = [
        (f"hours: {words}", f"{hours:,.0f}", f"{before[words]:,.0f}", f"{hours - before[words]:+,.0f}")
        for words, hours in hour_rows(found)
    ]
    helps = "auxiliary heat" if found.house.backup.kind == "electric" else "the furnace"
    for words, now, then in (
        (f"kWh of heat by {helps}", found.backup_kwh, own.backup_kwh),
        ("kWh of heat missing", found.unmet_kwh, own.unmet_kwh),
        (f"cost of the season{', ' + money if money else ''}", found.cost, own.cost),
    ):
        rows.append((words, f"{now:,.0f}", f"{then:,.0f}", f"{now - then:+,.0f}"))
    heads = ("in a year", "as turned", "house's own setting", "difference")
    return f'<div class="lk-wide">{table_html("The season", heads, rows, bold=False)}</div>'


class SeasonPanel(Panel):
    """A house and its weather, with two settings to turn.

    `own` is the season with the house's own settings, `found` the one as turned. The controls are there for
    tests: `houses`, `weathers`, `used` and `turned` (by setting), `back`, `changeover`.
    """

    def __init__(self, house: House, weather: Weather) -> None:
        self.house, self.weather = house, weather
        self.houses = named(_offered(house_names()), "an example house:")
        self.weathers = named(_offered(weather_names()), "an example weather:")
        self.used: dict[str, widgets.Button] = {}
        self.turned: dict[str, widgets.BoundedFloatText] = {}
        self._both: dict[str, widgets.HTML] = {}
        self._settings: dict[str, float | None] = {}
        rows = [
            self._setting("auxiliary_above_c", "auxiliary lockout", "auxiliary heat rests from (°C) up:"),
            self._setting("compressor_below_c", "compressor lockout", "compressor rests from (°C) down:"),
        ]
        self.back = key("the house's own settings", self._own)
        self.changeover = key("changeover at equal cost", self._change_over)
        self.news = shown("", "lk-news")
        self.table, self.picture = shown("", "lk-paper"), shown("", "lk-paper")
        self.houses.observe(lambda change: self._choose(house=change["new"]), "value")
        self.weathers.observe(lambda change: self._choose(weather=change["new"]), "value")
        self._begin()
        super().__init__(
            "Season",
            [
                row(self.houses, self.weathers),
                *rows,
                row(self.back, self.changeover),
                self.news,
                self.table,
                self.picture,
            ],
        )

    def _setting(self, which: str, words: str, turn: str) -> widgets.Box:
        self.used[which] = key(words, lambda: self._use(which), tip=f"{words} is used", toggle=True)
        self.turned[which] = widgets.BoundedFloatText(
            value=_BEGIN[which], min=_LEAST_C, max=_MOST_C, step=_STEP_C, description=turn, tooltip=""
        )
        self.turned[which].observe(lambda change: self._turn(which, change["new"]), "value")
        self._both[which] = shown("")
        return row(self.used[which], self.turned[which], self._both[which], classes=["lk-typed"])

    # ---- what is turned ----

    def _choose(self, house: str = "", weather: str = "") -> None:
        if house or weather:
            self.house = load_house(house) if house else self.house
            self.weather = load_weather(weather) if weather else self.weather
            self._begin()

    def _begin(self) -> None:
        self.own = season(self.house, self.weather)
        self._own()

    def _own(self) -> None:
        set_to = self.house.outdoor_thermostat
        self._set(auxiliary_above_c=set_to.auxiliary_above_c, compressor_below_c=set_to.compressor_below_c)

    def _change_over(self) -> None:
        at_c = self.own.balance.changeover_c
        if at_c is not None:
            at_c = round(at_c / _STEP_C) * _STEP_C
            self._set(auxiliary_above_c=at_c, compressor_below_c=at_c)

    def _use(self, which: str) -> None:
        self._set(**{which: self.turned[which].value if self._settings[which] is None else None})

    def _turn(self, which: str, at_c: float) -> None:
        if self._settings[which] is not None and self._settings[which] != at_c:
            self._set(**{which: at_c})

    def _set(self, **settings: float | None) -> None:
        """Set lockouts, and show the season with them; None takes one out."""
        self._settings |= settings
        for which, at_c in self._settings.items():
            if at_c is not None:
                self.turned[which].value = at_c
        self.found = season(self.house.with_lockouts(**self._settings), self.weather)
        self._show()

    # ---- what is shown ----

    def _show(self) -> None:
        for which, at_c in self._settings.items():
            press(self.used[which], at_c is not None)
            self.turned[which].disabled = at_c is None
            self._both[which].value = "not there" if at_c is None else f"{c_to_f(at_c):.0f} °F"
        at_c = self.own.balance.changeover_c
        self.changeover.layout.display = "none" if at_c is None else None
        self.news.value = escape(self._news())
        self.table.value = season_html(self.found, self.own)
        self.picture.value = season_picture(self.found)._repr_html_()

    def _news(self) -> str:
        found, own = self.found, self.own
        money, more = found.house.prices.currency, found.cost - own.cost
        beside = (
            "as with the house's own settings"
            if abs(more) < 0.5
            else (
                f"{money}{abs(more):,.0f} {'more' if more > 0 else 'less'} than with the house's own settings"
            )
        )
        words = f"{found.house.title or found.house.name}, {found.weather.name}: the season costs "
        words += f"{money}{found.cost:,.0f}, {beside}."
        if found.unmet_hours:
            words += f" In {found.unmet_hours} hours heat is missing: the house cools."
        return " ".join([words, *found.mistakes])

    def still(self) -> tuple[str, str]:
        """Return the table and the picture, and the season in a sentence."""
        return self.table.value + self.picture.value, self._news()


def _offered(names: Iterable[str]) -> list[tuple[str, str]]:
    return [("choose", ""), *((name, name) for name in names)]


def season_panel(
    house: House | str | Path = "harrowmere", weather: Weather | str | Path = "cold-valley"
) -> SeasonPanel:
    """Return a season to turn the lockouts of, in a notebook.

    Parameters as for `lk.season`. Show it with `display(panel)`.
    """
    return SeasonPanel(load_house(house), load_weather(weather))
