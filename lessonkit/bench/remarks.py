"""What a technician would remark on: supplies, what protects them, and current on equipment ground, in words.

Each line is true of one state of one job, with the numbers that make it so.  The command prints them, and
panels and sheets may.
"""

from __future__ import annotations

import math

from lessonkit.bench.power import BURNS_AT
from lessonkit.bench.state import State
from lessonkit.job.calls import PLACE_WORDS
from lessonkit.job.model import Job

__all__ = ["earth_words", "second_transformer_words", "supply_words"]

#: Less than this on equipment ground is leakage and rounding, amperes.
_EARTH_COUNTS_A = 1e-3


def supply_words(state: State, job: Job) -> list[str]:
    """Return a line for each supply: VA of VA, its protector, and whatever is wrong with them."""
    lines = []
    for place, va in state.va.items():
        supply, where = job.supply_at(place), PLACE_WORDS[place]
        rated_a, opened = supply.transformer.rated_a, state.fuses[place]
        guard = "no fuse (inherently limited)"
        if supply.protector != "none":
            guard = f"{supply.fuse_a:g} A {supply.protector} {opened}"
        words = f"supply at the {where}: {va:.1f} of {supply.rated_va:g} VA, {guard}"
        if not state.power[place]:
            words += ", disconnect open"
        if state.transformers[place] != "whole":
            words += f"; the transformer is {state.transformers[place]}"
        lines.append(words)
        if place in state.overloaded:
            share = state.amps[f"{place}:fuse"] / rated_a
            lines.append(f"overload at the {where}: {100 * share:.0f} % of the rated {rated_a:.2f} A")
        if supply.protector != "none" and supply.limited == "not-inherently":
            if supply.fuse_a > supply.largest_fuse_a:
                lines.append(
                    f"the {supply.fuse_a:g} A {supply.protector} at the {where} is more than the "
                    f"{supply.largest_fuse_a:.1f} A that Class 2 allows at {supply.open_v:g} V"
                )
            burns_a = rated_a * math.sqrt(BURNS_AT)
            if supply.holds_a > burns_a:
                lines.append(
                    f"the {supply.fuse_a:g} A {supply.protector} at the {where} protects the cable and "
                    f"not the transformer: {burns_a:.2f} to {supply.holds_a:.2f} A burn that out behind a "
                    f"whole {supply.protector}"
                )
    return lines


def earth_words(state: State, job: Job) -> str:
    """Return what flows on equipment ground, with the caution; empty where nothing does."""
    if state.earth_a < _EARTH_COUNTS_A:
        return ""
    amps = f"{state.earth_a:.2f} A flow on equipment ground"
    if job.outdoor_run.return_by == "earth":
        amps += " for as long as the outdoor unit has power: it is the way back of this job"
    return (
        f"{amps}. Caution: grounding paths are there for faults, and current on them is objectionable "
        "(NEC 250.6); ask the code, the maker and the licensed person on site"
    )


def second_transformer_words(state: State, job: Job) -> str:
    """Return how the two supplies of a job stand to each other; empty where there is one."""
    run = job.outdoor_run
    if run.far_supply is None:
        return ""
    if run.receiver == "isolated":
        return "second transformer outdoors: its common is not joined to C indoors (isolated receiver)"
    between = state.between("air:R", "out:R")
    phase = "in phase" if run.far_in_phase else "out of phase"
    return (
        "second transformer outdoors: its common is joined to C indoors (both sources are listed for it), "
        f"{phase}: {between:.1f} V between the two hot sides"
    )
