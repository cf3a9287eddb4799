"""Ghosts and grounds: what a broken wire shows, and what a poor way back does, swept over one quantity.

Each sweep here puts one number of a job through a range and asks the same circuit and the same frames that
a bench uses, so that a picture of it is one model seen many times:

    ghost_sweep      a broken conductor's volts by cable length, for a meter of high and of low impedance
    earth_sweep      an earth return from a good bond to a bad rod: coil volts, signal shift, frames, rest
    phase_volts      two transformers, in and out of phase: volts between their hot sides

An equipment ground or the earth is for faults.  Whether a maker's instructions and the local code let it
carry anything else is a matter for them and for the licensed person on site; the sweep shows what happens
when it is relied on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lessonkit.bench.bench import Bench
from lessonkit.bench.layout import conductor_node
from lessonkit.bench.meter import Meter
from lessonkit.errors import require, require_finite, require_positive
from lessonkit.job.faults import EARTH_KINDS, Fault
from lessonkit.job.model import RUN_ENDS, Job
from lessonkit.job.ohms import ohm_words
from lessonkit.job.toml import load_job
from lessonkit.studies.cases import Case, if_held, rest


@dataclass(frozen=True)
class GhostSweep:
    """RMS volts at the far end of a broken conductor, by length of its cable.

    All arrays have the shape (lengths,).
    """

    conductor: str
    length_m: NDArray[np.float64]
    high_v: NDArray[np.float64]
    low_v: NDArray[np.float64]


def ghost_sweep(
    job: Job, run: str, conductor: str, lengths_m: Sequence[float], call: str = "off", at: float = 0.0
) -> GhostSweep:
    """Return what a meter shows at the far end of a conductor that is broken at `at`, for several lengths.

    The loads at its terminals stay where they are: a coil or an input at the far end loads a ghost away by
    itself, so the conductors that show one are the spares and those lifted from their screws.
    """
    require(run in RUN_ENDS, "run", run, f"one of {', '.join(RUN_ENDS)}")
    high, low = [], []
    far = RUN_ENDS[run][1]
    node, common = conductor_node(run, conductor, far), f"{far}:C"
    for length_m in lengths_m:
        require_positive("length_m", length_m)
        longer = job.with_run(run, length_m=float(length_m))
        bench = Bench(longer, faults=[Fault(run, conductor, "open", None, at)])
        bench.set_call(call)
        meter = Meter(bench)
        high.append(meter.volts(node, common, "high").value)
        low.append(meter.volts(node, common, "low").value)
    return GhostSweep(f"{run}.{conductor}", *(np.asarray(a, dtype=float) for a in (lengths_m, high, low)))


#: So many points more go where the outcome of an earth sweep changes.
_BETWEEN = 7


@dataclass(frozen=True)
class EarthSweep:
    """An earth return by its resistance, with everything on that the call asks for.

    All arrays have the shape (ohms,).

    `coil_v` is RMS across the contactor, `board_v` RMS at the relay board, `common_v` RMS between the two
    commons, `hum_peak_v` the PEAK shift on the signal, `odds` the share of polls heard and answered under
    that load; `pulled_in` says whether the contactor pulls in, `rests` whether the job finds a state that
    it stays in, and `works` whether it then does what was called.  For reading them: `pickup_v` and
    `dropout_v` of the contactor, and `margin_v`, the PEAK shift up to which both thresholds of the link are
    left alone.
    """

    call: str
    ohm: NDArray[np.float64]
    coil_v: NDArray[np.float64]
    board_v: NDArray[np.float64]
    common_v: NDArray[np.float64]
    hum_peak_v: NDArray[np.float64]
    odds: NDArray[np.float64]
    pulled_in: NDArray[np.bool_]
    rests: NDArray[np.bool_]
    works: NDArray[np.bool_]
    pickup_v: float
    dropout_v: float
    margin_v: float

    @property
    def outcomes(self) -> tuple[str, ...]:
        """Return what the job does at each of `ohm`, in a word: `works`, `chatters` or `dead`."""
        return tuple(
            "works" if works else "dead" if rests else "chatters"
            for works, rests in zip(self.works, self.rests, strict=True)
        )

    @property
    def fails_first(self) -> str:
        """Return what goes first as the ohms rise: `the frames`, `the contactor`, or `nothing` so far."""
        lost = {"the frames": self.odds < 0.5, "the contactor": ~self.pulled_in}
        found = {name: float(self.ohm[gone].min()) for name, gone in lost.items() if gone.any()}
        return min(found, key=lambda name: found[name], default="nothing")

    def __repr__(self) -> str:
        """Return a line for each of `ohm`, as a notebook without tables shows it."""
        return "\n".join("  ".join(row) for row in self._rows())

    def _repr_markdown_(self) -> str:
        head = "| added ohms | contactor coil | between the two C | polls answered | the job |\n"
        return head + "|" + " --- |" * 5 + "".join(f"\n| {' | '.join(row)} |" for row in self._rows())

    def _rows(self) -> list[tuple[str, ...]]:
        columns = zip(self.ohm, self.coil_v, self.common_v, self.odds, self.outcomes, strict=True)
        return [
            (ohm_words(ohm), f"{coil:.1f} V", f"{common:.2f} V", f"{100 * odds:.0f} %", word)
            for ohm, coil, common, odds, word in columns
        ]


def earth_sweep(job: Job | str, ohms: Sequence[float], call: str = "cool-2", seed: int = 0) -> EarthSweep:
    """Return what an earth return does, from a good bond to a bad rod.

    Parameters: `job`, or the name of one, has a link with an earth return on its outdoor run; `ohms` are
    added to what the job's earth path has.  Shown last in a cell, it is a table.
    """
    job = job if isinstance(job, Job) else load_job(job)
    run = job.outdoor_run
    require(
        run.arrangement == "link" and run.return_by == "earth",
        "job",
        job.name,
        "a job whose outdoor run is a link with an earth return",
    )
    allowed = EARTH_KINDS["resistance"]
    require(len(ohms) > 0, "ohms", ohms, "at least one number")
    for ohm in ohms:
        fits = allowed.low <= require_finite("ohms", ohm) <= allowed.high
        require(fits, "ohms", ohm, f"numbers from {ohm_words(allowed.low)} to {ohm_words(allowed.high)}")
    cases = [Case(call, (Fault("outdoor", "earth", "resistance", float(ohm)),)) for ohm in ohms]
    loaded, ended = if_held(job, cases, seed), rest(job, [Case(call), *cases], seed)
    wanted, ended = ended[0].delivering, ended[1:]
    rows = []
    for held, end in zip(loaded, ended, strict=True):
        solution = held.settled.solution
        down, up = held.ways["outdoor", "down"], held.ways["outdoor", "up"]
        rows.append(
            (
                abs(solution.v("out:CC", "out:C")),
                abs(solution.v("out:R", "out:C")),
                abs(solution.v("out:C", "air:C")),
                2**0.5 * down.hum_v,
                down.odds * up.odds,
                "out:contactor" in held.settled.latches.sealed,
                not end.chatter,
                end.delivering == wanted and not end.chatter,
            )
        )
    coil_v, board_v, common_v, hum_peak_v, odds, pulled_in, rests, works = (
        np.asarray(column) for column in zip(*rows, strict=True)
    )
    levels, coil = loaded[0].ways["outdoor", "down"], job.equipment.contactor
    return EarthSweep(
        call=call,
        ohm=np.asarray(ohms, dtype=float),
        coil_v=coil_v,
        board_v=board_v,
        common_v=common_v,
        hum_peak_v=hum_peak_v,
        odds=odds,
        pulled_in=pulled_in,
        rests=rests,
        works=works,
        pickup_v=coil.pickup_v,
        dropout_v=coil.dropout_v,
        margin_v=min(levels.high_v - run.link.high_v, run.link.low_v - levels.low_v),
    )


def fine_earth_sweep(
    job: Job | str, from_ohm: float, to_ohm: float, call: str = "cool-2", points: int = 25
) -> EarthSweep:
    """Return an earth sweep in even ratios, with more points wherever the job begins to do something else.

    So the borders between what works, what chatters and what is dead stand where they belong.
    """
    sweep = earth_sweep(job, [float(ohm) for ohm in np.geomspace(from_ohm, to_ohm, points)], call)
    turns = [(word, bool(pulled)) for word, pulled in zip(sweep.outcomes, sweep.pulled_in, strict=True)]
    more = [
        float(ohm)
        for k in range(points - 1)
        if turns[k] != turns[k + 1]
        for ohm in np.geomspace(sweep.ohm[k], sweep.ohm[k + 1], _BETWEEN + 2)[1:-1]
    ]
    return _joined(sweep, earth_sweep(job, more, call)) if more else sweep


def _joined(one: EarthSweep, other: EarthSweep) -> EarthSweep:
    """Return the points of two sweeps of one job in the order of their ohms."""
    order = np.argsort(np.concatenate([one.ohm, other.ohm]))
    columns: dict[str, Any] = {
        column.name: np.concatenate([getattr(one, column.name), getattr(other, column.name)])[order]
        for column in fields(EarthSweep)
        if isinstance(getattr(one, column.name), np.ndarray)
    }
    return replace(one, **columns)


def phase_volts(job: Job) -> tuple[float, float]:
    """Return the RMS volts between the hot sides of two transformers, in phase and out of phase.

    Parameters: `job` has a second transformer at the outdoor unit.  In phase there is next to nothing
    between the two, out of phase nearly twice the supply: a wire laid from R to R is harmless in one case
    and a short circuit of both in the other. Class 2 sources are not to be interconnected unless they are
    listed for it (NEC chapter 9, notes to table 11).
    """
    require(
        job.outdoor_run.far_supply is not None,
        "job",
        job.name,
        "a job with a second transformer at the outdoor unit",
    )
    volts = []
    for in_phase in (True, False):
        turned = job.with_run("outdoor", far_in_phase=in_phase)
        volts.append(Bench(turned).state.between("air:R", "out:R"))
    return volts[0], volts[1]
