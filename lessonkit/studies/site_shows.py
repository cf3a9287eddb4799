"""What readings at an unknown site show, and whether they were read there.

    first_untrue(site, ["loop 1 2 = 3.73 ohm", "insulation 3 = 0.20 Mohm"])      None, or the first wrong one
    survey_shows(site, ["loop 1 2 = 3.41 ohm", "insulation 1 = 0.93 Gohm"])      {"1": "sound"}
    search_shows(site, ["cool-2 air:Y2 = 0.09 V"])                               the suspects that are left

A reading is written as `site.taken` prints it: the act, the sign =, and what the meter showed. It is true
when the meter of that site shows the same, give or take one of its last digit.

Where the model stops: volts of a dead point are 0.00 V at nearly every site, so they could be guessed. A
search therefore counts from its first true live reading on, as on site: a meter that shows nothing may be
dead itself.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import Any

from lessonkit.bench.reading import Reading
from lessonkit.bench.state import LIVE_V
from lessonkit.studies.unknown_site import (
    LABELS,
    LEAKY,
    OPEN,
    SOUND,
    SPLICED,
    is_there,
    nominal_volts,
    search_reading,
    survey_reading,
    suspects_of,
)

__all__ = [
    "SHOWN",
    "act_of",
    "first_untrue",
    "has_live",
    "search_shows",
    "survey_shows",
]

#: What a meter shows, as a pattern: OL or a number, and the unit.
SHOWN = r"(?:OL|\d+(?:\.\d+)?) ?[kMG]?(?:ohm|V)"
_SIZES = {"": 1.0, "k": 1e3, "M": 1e6, "G": 1e9}


def act_of(entry: str) -> str:
    """Return the act of an entry such as "loop 1 2 = 3.73 ohm"."""
    return entry.partition("=")[0].strip()


def _is_true(read: Reading, entry: str) -> bool:
    """Return whether an entry says what was read, give or take one of the last digit."""
    shown = re.fullmatch(r"(OL|[\d.]+) ?([kMG]?)(ohm|V)", entry.partition("=")[2].strip())
    if shown is None or shown[3] != read.unit:
        return False
    if shown[1] == "OL" or math.isinf(read):
        return shown[1] == "OL" and math.isinf(read)
    return abs(float(shown[1]) * _SIZES[shown[2]] - read.value) <= 1.001 * read.digit


def _reading(site: Mapping[str, Any], act: str) -> Reading:
    return (survey_reading if act.startswith(("loop ", "insulation ")) else search_reading)(site, act)


def first_untrue(site: Mapping[str, Any], entries: Sequence[str]) -> str | None:
    """Return the first entry that the site's meter does not show, or None where it shows them all."""
    for entry in entries:
        if not _is_true(_reading(site, act_of(entry)), entry):
            return entry
    return None


# ---- the survey ----


def survey_shows(site: Mapping[str, Any], taken: Sequence[str]) -> dict[str, str]:
    """Return what readings prove: label -> state, without the conductors that they do not prove.

    A loop that is good proves both of its conductors continuous and without a splice. A bad one blames the
    one whose partner is proved good. Insulation has to be read of whatever is called sound.
    """
    state = dict(zip(LABELS, site["states"], strict=True))
    acts = [act_of(entry) for entry in taken]
    loops = [tuple(act.split()[1:]) for act in acts if act.startswith("loop ")]
    tested = {act.split()[1] for act in acts if act.startswith("insulation ")}
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


# ---- the search ----


def has_live(site: Mapping[str, Any], searched: Sequence[str]) -> bool:
    """Return whether one entry of a search at least is live there, and truly so."""
    return any(
        read >= LIVE_V and _is_true(read, entry)
        for entry in searched
        if is_there(site, act_of(entry))
        for read in (_reading(site, act_of(entry)),)
    )


def search_shows(site: Mapping[str, Any], searched: Sequence[str]) -> tuple[str, ...]:
    """Return the suspects that fit the complaint and every reading of a search."""

    def live(name: str, entry: str) -> bool:
        return nominal_volts(site, name, act_of(entry)) >= LIVE_V

    return tuple(
        name
        for name in suspects_of(site)
        if all(live(name, entry) == live(site["fault"], entry) for entry in searched)
    )
