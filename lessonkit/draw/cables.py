"""Pictures of faults along a cable: what a meter reads at both ends, wherever the fault is.

    break_picture    capacitance at either end against where a conductor is broken
    touch_picture    where two conductors seem to touch, against the ohms of the touch itself

Each puts the fault on a bench and lets hands and a meter look for it. A touch of more ohms than the bench's
lies in series with the copper, so its ohms are added to what is read, at both ends alike.
"""

from __future__ import annotations

from lessonkit.bench.bench import Bench
from lessonkit.bench.layout import SHORT_OHM
from lessonkit.copper.wire import resistance_per_m
from lessonkit.draw.palette import INK, OKABE_ITO, SOFT
from lessonkit.draw.still import TEXT_PT, Still, axes
from lessonkit.errors import require
from lessonkit.job.faults import Fault
from lessonkit.job.model import Job
from lessonkit.job.toml import load_job
from lessonkit.studies.cable import locate_open, locate_short, short_distance

__all__ = ["break_picture", "touch_picture"]

_NEAR, _FAR = OKABE_ITO["blue"], OKABE_ITO["vermilion"]
_PLACES = tuple(k / 10 for k in range(1, 10))
_TOUCH_OHM = (0.0, 0.25, 0.5, 0.75, 1.0)


def break_picture(job: Job | str, run: str, conductor: str) -> Still:
    """Draw what both ends of a broken conductor read, by the place.

    That is the capacitance to all others, against where the break is.
    `job` is a `Job` or the name of one; `run` is "thermostat" or "outdoor"; the break goes from a tenth of
    the run to nine tenths of it.
    """
    job = job if isinstance(job, Job) else load_job(job)
    require(run in job.runs, "run", run, f"one of {', '.join(job.runs)}")
    length_m = job.runs[run].length_m
    found = [
        locate_open(Bench(job, faults=[Fault(run, conductor, "open", None, at)]), run, conductor)
        for at in _PLACES
    ]
    metres = [at * length_m for at in _PLACES]
    figure, (ax,) = axes(8.0, 3.9)
    for name, colour, dash, marker, end in (
        ("near end", _NEAR, "-", "o", [one.near for one in found]),
        ("far end", _FAR, "--", "s", [one.far for one in found]),
    ):
        ax.plot(
            metres,
            [1e9 * read for read in end],
            color=colour,
            lw=3,
            ls=dash,
            marker=marker,
            ms=7,
            label=f"read at the {name}",
        )
    ax.set(xlim=(0, length_m), xlabel=f"where {conductor} is broken (m from the near end)")
    ax.set_ylim(bottom=0)
    ax.set_ylabel(f"{conductor} to all others (nF)")
    ax.legend(fontsize=TEXT_PT - 1, loc="center left", frameon=False)
    first, last = found[0], found[-1]
    return Still(
        figure,
        f"Capacitance of {conductor} to all other conductors, which are twisted together. Broken at "
        f"{metres[0]:.1f} m it reads {first.near} at the near end and {first.far} at the far end; broken at "
        f"{metres[-1]:.1f} m, {last.near} and {last.far}. Both lines are straight, and they cross half way.",
    )


def touch_picture(job: Job | str, run: str, one: str, other: str, at: float = 0.3) -> Still:
    """Draw where two conductors seem to touch, by the touch's ohms.

    The touch stays where it is, a share `at` along the run. One line reckons from the near end alone, the
    other from both ends.
    """
    job = job if isinstance(job, Job) else load_job(job)
    require(run in job.runs, "run", run, f"one of {', '.join(job.runs)}")
    cable = job.runs[run]
    found = locate_short(Bench(job, faults=[Fault(run, one, "short", other, at)]), run, one, other)
    metre_ohm = resistance_per_m(cable.gauge_awg, cable.temp_c)
    ends = [(found.near - SHORT_OHM + ohm, found.far - SHORT_OHM + ohm) for ohm in _TOUCH_OHM]
    from_one = [near / (2 * metre_ohm) for near, _ in ends]
    from_both = [short_distance(*read, cable.length_m, metre_ohm) for read in ends]
    figure, (ax,) = axes(8.0, 3.9)
    ax.plot(
        _TOUCH_OHM, from_one, color=_FAR, lw=3, ls="--", marker="s", ms=7, label="from the near end alone"
    )
    ax.plot(_TOUCH_OHM, from_both, color=_NEAR, lw=3, marker="o", ms=7, label="from both ends")
    ax.axhline(cable.length_m, color=SOFT, lw=1.6, ls=":")
    ax.text(_TOUCH_OHM[-1], cable.length_m + 0.6, "end of the cable", fontsize=TEXT_PT, color=INK, ha="right")
    ax.set(xlabel="ohms of the touch itself", ylim=(0, max(*from_one, cable.length_m) * 1.15))
    ax.set_ylabel("the touch seems to be at (m)")
    ax.legend(fontsize=TEXT_PT - 1, loc="upper left", frameon=False)
    return Still(
        figure,
        f"{one} touches {other} at {at * cable.length_m:.1f} m of {cable.length_m:g} m. Reckoned from the "
        f"near end alone it seems to be at {from_one[0]:.1f} m if the touch itself has no ohms, and at "
        f"{from_one[-1]:.1f} m if it has {_TOUCH_OHM[-1]:g} ohm. From both ends it is at "
        f"{from_both[0]:.1f} m and {from_both[-1]:.1f} m.",
    )
