"""Seasons side by side: what each setting costs in a year, in money and in warmth.

    compare_seasons(before=season(house, weather), now=season(other, weather))

A row for each thing that a lockout changes, a column for each season, with a reading's unit in its name.
"""

from __future__ import annotations

from dataclasses import dataclass

from lessonkit.errors import require
from lessonkit.studies.season import Season

__all__ = ["ComparedSeasons", "compare_seasons"]


@dataclass(frozen=True)
class ComparedSeasons:
    """Seasons by their names, to show as a table; `rows` are a name and a text for each season."""

    seasons: tuple[tuple[str, Season], ...]

    @property
    def rows(self) -> tuple[tuple[str, ...], ...]:
        """Return what a year is by: money, COP, what helps, what is missing."""
        years = [one for _, one in self.seasons]
        warmest = [one.warmest_backup_c for one in years]
        return (
            ("bill of the year", *(f"{one.house.prices.currency}{one.cost:,.0f}" for one in years)),
            ("COP of the year", *("-" if one.cop is None else f"{one.cop:.2f}" for one in years)),
            ("heat from auxiliary heat, %", *(f"{100 * one.backup_share:.1f}" for one in years)),
            ("warmest air in which it ran, °C", *("-" if at is None else f"{at:.1f}" for at in warmest)),
            ("hours in which it may run without need", *(f"{one.needless_hours}" for one in years)),
            ("heat missing, kWh", *(f"{one.unmet_kwh:,.0f}" for one in years)),
            ("hours with heat missing", *(f"{one.unmet_hours}" for one in years)),
        )

    def __repr__(self) -> str:
        """Return the table in plain lines."""
        lines = [f"{name}: " + ", ".join(self._told(texts)) for name, *texts in self.rows]
        return "\n".join(lines)

    def _told(self, texts: list[str]) -> list[str]:
        return [f"{name} {text}" for (name, _), text in zip(self.seasons, texts, strict=True)]

    def _repr_markdown_(self) -> str:
        names = " | ".join(name for name, _ in self.seasons)
        head = f"| one year | {names} |\n|{' --- |' * (len(self.seasons) + 1)}\n"
        rows = "\n".join("| " + " | ".join(row) + " |" for row in self.rows)
        return head + rows.replace("$", "\\$")  # two signs of dollars in a row would be taken for a formula


def compare_seasons(**seasons: Season) -> ComparedSeasons:
    """Return seasons side by side, each under its own name.

    The names are the columns of the table: `compare_seasons(before=one, now=other)`.
    """
    require(bool(seasons), "seasons", len(seasons), "at least one, such as now=lk.season(house, weather)")
    return ComparedSeasons(tuple((name.replace("_", " "), one) for name, one in seasons.items()))
