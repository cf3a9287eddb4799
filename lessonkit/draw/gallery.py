"""The gallery: every picture in figures/, by its file name.

Pictures of the bench are our own SVG and come out the same everywhere, letter for letter. The others are
matplotlib's, whose SVG differs a little from version to version; what they show is kept in them as words,
with the numbers that were computed, and by these words a test tells whether they are up to date.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from types import MappingProxyType

from lessonkit.draw.still import Still
from lessonkit.draw.view import show_bench
from lessonkit.job.toml import demo_job
from lessonkit.signal.channel import Line, Noise, Receiver

__all__ = ["GALLERY", "still_svg"]


def _bench() -> str:
    return show_bench("two-run", "cool-2").svg + "\n"


def _broken() -> str:
    return show_bench("two-run", "cool-2", ["outdoor.SIG=open"], 30.0).svg + "\n"


def _full_cable() -> str:
    return show_bench("full-cable", "heat-aux", ["thermostat.Y2=open@0.3"]).svg + "\n"


def _scope() -> str:
    return show_bench("two-run", "cool-2", scope="outdoor").scope + "\n"


def _scope_poor_earth() -> str:
    return show_bench("two-run", "cool-2", ["outdoor.earth=resistance:8"], 4.0, scope="outdoor").scope + "\n"


def _eye() -> Still:
    from lessonkit.draw.eye import eye_picture

    return eye_picture(
        Line(0.0, 10.0, 1000.0, 0.6, 3e-9, 1e4), Receiver(3.5, 7.5), 1200.0, 2.0, Noise(0.3), frames=24
    )


def _error_rates() -> Still:
    from lessonkit.draw.rates import error_rate_picture

    return error_rate_picture()


def _edges() -> Still:
    from lessonkit.draw.edges import edge_picture

    return edge_picture()


def _earth() -> Still:

    from lessonkit.draw.grounds import earth_figure
    from lessonkit.studies.sweeps import fine_earth_sweep

    return earth_figure(fine_earth_sweep(demo_job("earth-return"), 0.1, 50.0))


def _ghosts() -> Still:
    from lessonkit.draw.grounds import ghost_figure
    from lessonkit.studies.sweeps import ghost_sweep

    lengths_m = (2.0, 5.0, 10.0, 20.0, 40.0, 80.0, 160.0)
    return ghost_figure(ghost_sweep(demo_job("two-run"), "thermostat", "spare", lengths_m))


def _ladder() -> str:
    from lessonkit.bench.bench import Bench
    from lessonkit.draw.ladder import ladder

    bench = Bench("full-cable", call="heat-1")
    bench.advance(20.0)
    return ladder(bench, "out:contactor").svg + "\n"


def _memory() -> Still:
    from lessonkit.draw.coils import memory_picture

    return memory_picture()


def _steering() -> Still:
    from lessonkit.draw.steering import steering_picture
    from lessonkit.studies.steering import Steering

    return steering_picture(Steering(supply_v=28.5), "first")


def _defrost() -> Still:
    from lessonkit.draw.far_end import defrost_picture

    return defrost_picture("two-run", "heat-1", 240.0)


def _conductors() -> Still:
    from lessonkit.draw.plan_pictures import conductor_picture

    return conductor_picture("tannery-row", most=6)


def _split() -> Still:
    from lessonkit.draw.hunts import split_picture

    return split_picture(4 / 14, 7 / 14)


def _band() -> Still:
    from lessonkit.draw.sheets import band_picture
    from lessonkit.studies.prove import prove

    return band_picture(prove("second-transformer"), "out:R")


def _season() -> Still:
    from lessonkit.draw.season import season_picture
    from lessonkit.studies.season import season

    return season_picture(season("harrowmere", "cold-valley"))


def _winter_day() -> Still:
    from lessonkit.draw.winter_day import show_winter_day

    return show_winter_day(faults="outdoor.SIG=open").picture


#: File name -> what makes it: SVG text, or a still picture.
GALLERY: MappingProxyType[str, Callable[[], str | Still]] = MappingProxyType(
    {
        "bench.svg": _bench,
        "bench-broken.svg": _broken,
        "bench-full-cable.svg": _full_cable,
        "scope.svg": _scope,
        "scope-poor-earth.svg": _scope_poor_earth,
        "eye.svg": _eye,
        "error-rates.svg": _error_rates,
        "edges.svg": _edges,
        "earth.svg": _earth,
        "ghosts.svg": _ghosts,
        "ladder.svg": _ladder,
        "memory.svg": _memory,
        "steering.svg": _steering,
        "defrost.svg": _defrost,
        "split.svg": _split,
        "conductors.svg": _conductors,
        "band.svg": _band,
        "season.svg": _season,
        "winter-day.svg": _winter_day,
    }
)


def still_svg(name: str, still: Still) -> str:
    """Return a still picture as SVG text, with its words inside and no date or chance in it."""
    import matplotlib as mpl

    stream = io.StringIO()
    kept = {"Date": None, "Creator": None, "Title": name, "Description": still.words}
    with mpl.rc_context({"svg.hashsalt": name, "svg.fonttype": "none"}):
        still.figure.savefig(stream, format="svg", metadata=kept)
    lines = (line.rstrip() for line in stream.getvalue().splitlines())
    return "\n".join(lines) + "\n"
