"""`lessonkit season HOUSE.toml --weather FILE`: a heating season of a house, hour by hour.

Prints what runs how long, what auxiliary heat carries, what it costs and which lockout is set wrong; with
--json one object, with --html a page to print.
"""

from __future__ import annotations

import argparse
import json
from typing import TYPE_CHECKING

from lessonkit.commands.words import write_file

if TYPE_CHECKING:
    from lessonkit.studies.season import Season


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of `season`."""
    parser.add_argument("house", metavar="HOUSE", help="a house file (TOML) or the name of an example house")
    parser.add_argument(
        "--weather",
        required=True,
        metavar="FILE",
        help="an hourly weather file (EPW or TMY3), or one of the invented weathers: cold-valley, mild-coast",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--html", metavar="FILE", help="write a page to print (A4 or Letter)")


def run(args: argparse.Namespace) -> int:
    """Run `season`; raises a `LessonError` for anything that can't be."""
    from lessonkit.studies.season import season

    found = season(args.house, args.weather)
    if args.html is not None:
        _write_page(found, args.html)
    if args.json:
        print(json.dumps(found.to_dict(), ensure_ascii=False, indent=1, allow_nan=False))
    else:
        _print_season(found)
    return 0


def _write_page(found: Season, where: str) -> None:
    from lessonkit.draw.season import show_season
    from lessonkit.draw.season_page import season_page

    write_file(where, season_page(show_season(found.house, found.weather)), "page")


def _print_season(found: Season) -> None:
    from rich.console import Console
    from rich.table import Table

    from lessonkit.draw.season import backup_word, both, by_band, season_words

    console = Console()
    console.print(found.house.title or found.house.name, style="bold", markup=False)
    console.print(season_words(found), markup=False, highlight=False)
    table = Table(
        "outdoors", "hours", "low, kWh", "high, kWh", f"{backup_word(found.house)}, kWh", "missing, kWh"
    )
    for column in table.columns[1:]:
        column.justify = "right"
    for band in by_band(found):
        kwh = (band.low_kwh, band.high_kwh, band.backup_kwh, band.unmet_kwh)
        table.add_row(f"from {both(band.from_c)}", f"{band.hours}", *(f"{each:,.0f}" for each in kwh))
    console.print(table)
