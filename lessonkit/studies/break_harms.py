"""What a broken conductor does to a plan: what stops, what starts by itself, and what harm that can do.

A break is **safe** here if nothing starts that nobody asked for. It can harm all the same: a compressor
without air over the coil, or heat where cooling was asked for. That is the usual end of such a break wherever
each terminal has a conductor of its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from lessonkit.studies.cases import Rest

__all__ = ["AIRLESS", "STARTS", "WRONG_MODE", "Break", "Effect", "break_of"]

#: The kinds of effect: equipment that runs unasked, a compressor without its air, the wrong one of the modes.
STARTS, AIRLESS, WRONG_MODE = "starts", "airless", "wrong mode"


@dataclass(frozen=True)
class Effect:
    """One thing that is not as it was called: its `kind`, `what` does it, and under which `call`."""

    kind: str
    what: str
    call: str

    @property
    def words(self) -> str:
        """Return it in words."""
        does = {STARTS: f"{self.what} runs", AIRLESS: f"the {self.what} runs without air"}
        return f"{does.get(self.kind, self.what)} in {self.call}"

    @property
    def harm(self) -> str:
        """Return what harm it can do, and what to do about it."""
        if self.kind == AIRLESS:
            return "no air: ices up or trips on pressure, switch off"
        if self.kind == WRONG_MODE:
            return f"wrong mode ({self.what}): switch off"
        return "runs unasked: switch off"


@dataclass(frozen=True)
class Break:
    """What the break of one conductor does: what `stops`, and its `effects`, those that start first.

    One with a `twin`, a second conductor beside it, does nothing.
    """

    stops: tuple[str, ...] = ()
    effects: tuple[Effect, ...] = ()
    twin: bool = False

    @property
    def safe(self) -> bool:
        """Return whether nothing starts that nobody asked for."""
        return all(effect.kind != STARTS for effect in self.effects)

    @property
    def stops_words(self) -> str:
        """Return in words what stops."""
        return "nothing: its twin carries on" if self.twin else ", ".join(self.stops) or "nothing"

    @property
    def words(self) -> str:
        """Return in words what it does."""
        effects = ", ".join(effect.words for effect in self.effects)
        return self.stops_words + (f"; {effects}" if effects else "")

    @property
    def starts_words(self) -> str:
        """Return what starts by itself, by the calls in which it does; empty where nothing does."""
        starts = [one for one in self.effects if one.kind == STARTS]
        return _by_call((one.what.upper(), one.call) for one in starts)

    @property
    def harm_words(self) -> str:
        """Return what harm the break can do, by the calls in which it can; empty where none was seen."""
        return _by_call((one.harm, one.call) for one in self.effects)


def _by_call(found: Iterable[tuple[str, str]]) -> str:
    calls: dict[str, list[str]] = {}
    for what, call in found:
        calls.setdefault(what, []).append(call)
    return "; ".join(f"{', '.join(dict.fromkeys(at))}: {what}" for what, at in calls.items())


def break_of(ends: Sequence[Rest], sound: Sequence[Rest], heat_in_defrost_lost: bool = False) -> Break:
    """Return what a break does: `ends` with it, beside the same cases on sound copper.

    `heat_in_defrost_lost` says that a forced defrost brings no auxiliary heat any more.
    """
    stops: list[str] = []
    starts: list[Effect] = []
    wrong: list[Effect] = []
    for end, whole in zip(ends, sound, strict=True):
        want, call = whole.responding, end.case.call
        for equipment, word in want.items():
            now = end.responding[equipment]
            if now == "off" != word:
                stops.append(equipment)
            elif word == "off" != now:
                starts.append(Effect(STARTS, equipment, call))
        airless = end.responding["compressor stage 1"] != "off" and end.responding["blower"] == "off"
        if airless and want["blower"] != "off":
            wrong.append(Effect(AIRLESS, "compressor", call))
        modes = [one.delivering.partition(",")[0] for one in (end, whole)]
        if set(modes) == {"cooling", "heating"}:
            wrong.append(Effect(WRONG_MODE, modes[0], call))
    if heat_in_defrost_lost:
        stops.append("auxiliary heat during defrost")
    return Break(tuple(dict.fromkeys(stops)), tuple(dict.fromkeys(starts + wrong)))
