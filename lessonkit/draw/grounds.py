"""Pictures of ghosts and grounds: one model each, seen along one quantity.

    earth_picture    a job's earth return from a good bond to a bad rod, in one line of a notebook
    earth_figure     coil volts, signal shift and answered polls against the resistance of an earth return
    ghost_figure     what two meters show on a broken conductor, against the length of its cable
    phase_picture    two transformers through two cycles, in phase and out of phase

Each takes its numbers from `grounds` or from a bench and returns a `Still`: pixels, and the same in words.
Lines differ by colour, by dash and by marker, and carry their names beside them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from lessonkit.bench.bench import Bench
from lessonkit.draw.palette import FAINT, INK, OKABE_ITO, PAPER, SHADE, SOFT
from lessonkit.draw.still import TEXT_PT, Still, axes
from lessonkit.errors import require, require_positive
from lessonkit.job.model import Job
from lessonkit.job.toml import load_job
from lessonkit.studies.sweeps import EarthSweep, GhostSweep, fine_earth_sweep, phase_volts

__all__ = ["earth_figure", "earth_picture", "ghost_figure", "phase_picture"]

_ONE, _TWO = OKABE_ITO["blue"], OKABE_ITO["vermilion"]

#: The three bands of an earth sweep: its word, its ground, and its hatching.
_BANDS = {"works": (PAPER, ""), "chatters": (SHADE, "//"), "dead": (FAINT, "")}


def earth_picture(
    job: Job | str = "earth-return", call: str = "cool-2", from_ohm: float = 0.05, to_ohm: float = 40.0
) -> Still:
    """Draw an earth return from a good bond to a bad rod.

    `from_ohm` and `to_ohm` are added to what the job's earth path has.
    """
    require_positive("from_ohm", from_ohm)
    require_positive("to_ohm", to_ohm)
    require(from_ohm < to_ohm, "to_ohm", to_ohm, f"more than from_ohm, {from_ohm:g} ohm")
    return earth_figure(fine_earth_sweep(job, from_ohm, to_ohm, call))


def earth_figure(sweep: EarthSweep) -> Still:
    """Draw what an earth return does, from a good bond to a bad rod, as one continuous picture.

    The bands behind the curves say what the job does in the end; the curves say why: they are the circuit
    with everything on that the call asks for, which is the load that the earth has to bear.
    """
    _check_rising("ohm", sweep.ohm)
    figure, (volts, shift, share) = axes(9.0, 7.6, rows=3)
    for ax in (volts, shift, share):
        ax.set(xscale="log", xlim=(sweep.ohm[0], sweep.ohm[-1]))
        for word, low, high in _bands(sweep):
            colour, hatch = _BANDS[word]
            ax.axvspan(low, high, facecolor=colour, edgecolor=PAPER, hatch=hatch, lw=0, zorder=0)
    for word, low, high in _bands(sweep):
        _say(volts, math.sqrt(low * high), 31.5, word, ha="center", weight="bold", size=TEXT_PT + 1)

    volts.plot(sweep.ohm, sweep.coil_v, color=_ONE, lw=3, marker="o", ms=6, markevery=0.06)
    for limit, word in ((sweep.pickup_v, "pulls in at"), (sweep.dropout_v, "lets go below")):
        volts.axhline(limit, color=SOFT, lw=1.6, ls=":")
        _say(volts, sweep.ohm[0] * 1.08, limit + 0.9, f"{word} {limit:g} V", va="bottom")
    for ohm, volt, word in _turns(sweep):
        late = ohm > math.sqrt(sweep.ohm[0] * sweep.ohm[-1])  # in the right half the words stand to the left
        volts.annotate(
            word,
            (ohm, volt),
            (-12 if late else 12, -4),
            textcoords="offset points",
            fontsize=TEXT_PT - 1,
            ha="right" if late else "left",
            va="top",  # beside the bend the curve itself would be covered
            bbox={"facecolor": PAPER, "edgecolor": "none", "alpha": 0.75, "pad": 1.5},
        )
    volts.set(ylim=(0, 35), yticks=(0, 10, 20, 30), ylabel="contactor coil\n(V RMS)")

    shift.plot(sweep.ohm, sweep.hum_peak_v, color=_TWO, lw=3, ls="--", marker="s", ms=6, markevery=0.06)
    shift.axhline(sweep.margin_v, color=SOFT, lw=1.6, ls=":")
    words = f"the thresholds bear {sweep.margin_v:.1f} V"
    _say(shift, sweep.ohm[0] * 1.08, sweep.margin_v + 0.6, words, va="bottom")
    shift.set(ylim=(0, max(8.0, 1.1 * float(sweep.hum_peak_v.max()))), ylabel="shift on the signal\n(V peak)")

    share.plot(sweep.ohm, 100 * sweep.odds, color=INK, lw=3, ls="-.", marker="^", ms=7, markevery=0.06)
    share.set(ylim=(-4, 108), yticks=(0, 50, 100), ylabel="polls answered\n(%)")
    share.set_xlabel("ohms in the earth return, beyond a good bond")
    for ax in (volts, shift):
        ax.tick_params(which="both", labelbottom=False)
    narrow = sweep.ohm[-1] < 30 * sweep.ohm[0]  # between powers of ten there is room for 2, 3 and 5
    for ax in (volts, shift, share):
        ax.xaxis.set_major_formatter(lambda ohm, _: f"{ohm:g}")
        ax.xaxis.set_minor_formatter(lambda ohm, _: f"{ohm:g}" if narrow and f"{ohm:e}"[0] in "235" else "")
    figure.align_ylabels()
    return Still(figure, earth_words(sweep))


def _check_rising(name: str, values: NDArray[np.float64]) -> None:
    """Refuse a sweep that has no width or goes back on itself."""
    rising = values.size >= 2 and bool(np.all(np.diff(values) > 0))
    require(rising, f"{name} of the sweep", values.tolist(), "two numbers or more, each above the last")


def _bands(sweep: EarthSweep) -> Iterator[tuple[str, float, float]]:
    """Yield each band with its ends in ohms; a border lies half way, as a ratio, between two points."""
    words = sweep.outcomes
    borders = [float(sweep.ohm[0]), *np.sqrt(sweep.ohm[1:] * sweep.ohm[:-1]), float(sweep.ohm[-1])]
    begin = 0
    for k in range(1, len(words) + 1):
        if k == len(words) or words[k] != words[begin]:
            yield words[begin], float(borders[begin]), float(borders[k])
            begin = k


def _turns(sweep: EarthSweep) -> Iterator[tuple[float, float, str]]:
    """Yield where the coil's curve bends, half way down each bend, and why."""
    asleep = (sweep.coil_v < 1.0) & (np.arange(sweep.ohm.size) > 0)
    for turned, why in (
        (~sweep.pulled_in & ~asleep, "no longer pulls in:\nopen, it draws more"),
        (asleep, "boards fall asleep,\nall relays open"),
    ):
        k = int(np.argmax(turned))
        if turned[k] and k:
            yield math.sqrt(sweep.ohm[k] * sweep.ohm[k - 1]), float(sweep.coil_v[k - 1 : k + 1].mean()), why


def earth_words(sweep: EarthSweep) -> str:
    """Return what the picture of an earth sweep shows, in words."""
    ranges = "; ".join(
        f"{word} from {_short(low)} to {_short(high)} ohm" for word, low, high in _bands(sweep)
    )
    said = [f"An earth return under {sweep.call}: it {ranges}"]
    broken = np.flatnonzero(sweep.odds < 0.5)
    if broken.size:
        k = broken[0]
        said.append(
            f"Half of the polls go unanswered from {_short(sweep.ohm[k])} ohm on, where the signal is "
            f"shifted by {sweep.hum_peak_v[k]:.1f} V peak and the thresholds bear {sweep.margin_v:.1f} V; "
            f"the contactor still has {sweep.coil_v[k]:.1f} V there"
        )
    out = np.flatnonzero(~sweep.pulled_in)
    if out.size:
        said.append(
            f"From {_short(sweep.ohm[out[0]])} ohm on the contactor doesn't get the {sweep.pickup_v:g} V "
            "that it takes to pull in"
        )
    return ". ".join(said) + "."


def _short(number: float) -> str:
    """Return a number to two digits, without an exponent."""
    return f"{float(f'{number:.2g}'):g}"


def ghost_figure(sweep: GhostSweep) -> Still:
    """Draw what a meter of high and one of low impedance show on a broken conductor, by length."""
    _check_rising("length_m", sweep.length_m)
    figure, (ax,) = axes(9.0, 4.4)
    for name, curve, colour, dash, marker in (
        ("high impedance, 10 Mohm", sweep.high_v, _ONE, "-", "o"),
        ("low impedance, 3 kohm", sweep.low_v, _TWO, "--", "s"),
    ):
        ax.plot(sweep.length_m, curve, color=colour, lw=3, ls=dash, marker=marker, ms=7, markevery=0.08)
        peak = int(np.argmax(curve))
        at = sweep.length_m[peak] if peak < curve.size - 1 else sweep.length_m[-1]
        ha = "center" if peak < curve.size - 1 else "right"
        _say(ax, float(at), float(curve[peak]) + 0.6, name, ha=ha, va="bottom", weight="bold")
    top = max(16.0, 1.25 * float(sweep.high_v.max()))
    ax.set(xscale="log", xlim=(sweep.length_m[0], sweep.length_m[-1]), ylim=(0, top))
    ax.xaxis.set_major_formatter(lambda metres, _: f"{metres:g}")
    ax.set_xlabel("length of the cable (m)")
    ax.set_ylabel(f"volts on {sweep.conductor},\nbroken at its near end (RMS)")
    return Still(figure, ghost_words(sweep))


def ghost_words(sweep: GhostSweep) -> str:
    """Return what the picture of a ghost sweep shows, in words."""
    short, long = sweep.length_m[0], sweep.length_m[-1]
    high, low = sweep.high_v, sweep.low_v
    return (
        f"{sweep.conductor} is broken at its near end and touches nothing. From {short:g} m to {long:g} m of "
        f"cable a meter of high impedance shows from {high[0]:.2g} V to {high.max():.1f} V; one of low "
        f"impedance shows from {low[0]:.2g} V to {low.max():.2g} V. What a low impedance takes away was "
        "never able to deliver anything."
    )


def phase_picture(job: Job | str = "second-transformer") -> Still:
    """Draw two transformers through two cycles, both phases.

    Volts are against each one's own common, as waves: their peaks are 1.41 times what a meter shows.
    """
    job = job if isinstance(job, Job) else load_job(job)
    between = phase_volts(job)
    figure, rows = axes(9.0, 6.4, rows=2)
    time_s = np.linspace(0.0, 2 / job.frequency_hz, 401)
    for ax, in_phase, apart_v in zip(rows, (True, False), between, strict=True):
        solution = Bench(job.with_run("outdoor", far_in_phase=in_phase)).solution
        near = _wave(solution.v("air:R", "air:C"), job.frequency_hz, time_s)
        far = _wave(solution.v("out:R", "out:C"), job.frequency_hz, time_s)
        apart = _wave(solution.v("air:R", "out:R"), job.frequency_hz, time_s)
        ax.fill_between(1e3 * time_s, apart, color=SOFT, alpha=0.16, lw=0)
        ax.plot(1e3 * time_s, apart, color=INK, lw=2, ls=":")
        ax.plot(1e3 * time_s, near, color=_ONE, lw=6 if in_phase else 3)
        ax.plot(1e3 * time_s, far, color=_TWO, lw=2.5, ls="--", marker="s", ms=6, markevery=40)
        up_ms, down_ms, last_ms = (k * 250 / job.frequency_hz for k in (1, 3, 8))
        if in_phase:
            _say(ax, up_ms, 45, "R indoors, R outdoors", ha="center", va="bottom", weight="bold")
            _say(ax, down_ms, 4, "R to R", ha="center", va="bottom", weight="bold")
        else:
            _say(ax, up_ms, 17, "R indoors", ha="center", weight="bold")
            _say(ax, down_ms, 17, "R outdoors", ha="center", weight="bold")
            _say(ax, down_ms, -58, "R to R", ha="center", weight="bold")
        words = "in phase" if in_phase else "out of phase"
        _say(ax, last_ms, 104, f"{words}: {apart_v:.1f} V RMS from R to R", ha="right", size=TEXT_PT + 1)
        ax.set(xlim=(0, last_ms), ylim=(-90, 118), yticks=(-80, -40, 0, 40, 80), ylabel="volts")
    rows[0].tick_params(labelbottom=False)
    rows[1].set_xlabel("milliseconds")
    return Still(
        figure,
        f"Two transformers through two cycles. In phase both hot sides rise and fall together, with "
        f"{between[0]:.1f} V RMS between them; out of phase one rises while the other falls, with "
        f"{between[1]:.1f} V RMS between them.",
    )


def _wave(phasor: complex, freq_hz: float, time_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return an RMS phasor as volts through time."""
    turn = 2 * math.pi * freq_hz * time_s + float(np.angle(phasor))
    return math.sqrt(2) * abs(phasor) * np.sin(turn)


def _say(
    ax: Axes,
    x: float,
    y: float,
    words: str,
    ha: str = "left",
    va: str = "center",
    weight: str = "normal",
    size: float = TEXT_PT,
    colour: str = INK,
) -> None:
    """Write words beside what they name, on a ground that keeps them legible over a curve."""
    box = {"facecolor": PAPER, "edgecolor": "none", "alpha": 0.75, "pad": 1.5}
    ax.text(x, y, words, ha=ha, va=va, fontsize=size, weight=weight, color=colour, bbox=box)
