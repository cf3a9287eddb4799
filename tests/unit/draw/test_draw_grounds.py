"""Pictures of ghosts and grounds: they draw the sweep they are given, and say the same in words."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.colors import to_hex

from lessonkit.draw.grounds import earth_figure, earth_picture, ghost_figure, phase_picture
from lessonkit.draw.palette import INK, OKABE_ITO
from lessonkit.draw.still import Still
from lessonkit.errors import BadParameter
from lessonkit.job.model import Job, Supply
from lessonkit.job.toml import demo_job
from lessonkit.studies.sweeps import EarthSweep, GhostSweep, earth_sweep, ghost_sweep


@pytest.fixture(scope="module")
def earth() -> EarthSweep:
    """Sweep an earth return under the second stage."""
    return earth_sweep(demo_job("earth-return"), tuple(np.geomspace(0.1, 100.0, 25)))


@pytest.fixture(scope="module")
def ghost() -> GhostSweep:
    """Sweep the length of a cable with a broken spare."""
    job = demo_job("full-cable").with_run("outdoor", conductors=("R", "C", "Y1", "Y2", "O", "D", "spare"))
    return ghost_sweep(job, "outdoor", "spare", (1.0, 10.0, 100.0))


def two_transformers() -> Job:
    """Return a job with a transformer at each end."""
    return (
        demo_job("wire-return")
        .with_supply(interconnection_listed=True)
        .with_run(
            "outdoor",
            return_by="second-transformer",
            conductors=("SIG", "C", "spare"),
            far_supply=Supply(interconnection_listed=True),
        )
    )


def curves(ax: Axes) -> list[tuple[str, str, str]]:
    """Return colour, dash and marker of each curve, lines that mark a limit left out."""
    return [
        (to_hex(line.get_color()), str(line.get_linestyle()), str(line.get_marker()))
        for line in ax.lines
        if len(line.get_xdata()) > 2  # type: ignore[arg-type]
    ]


def test_one_line_draws_a_job() -> None:
    """A job's name is enough; the ends of the sweep are those asked for, and must make one."""
    words = earth_picture("earth-return", "cool-1", 0.5, 8.0).words
    assert "under cool-1" in words
    assert "works from 0.5 to" in words
    assert words.count("8 ohm") >= 1
    assert phase_picture("second-transformer").words == phase_picture(demo_job("second-transformer")).words
    for low, high in ((2.0, 1.0), (0.0, 1.0), (1.0, float("nan"))):
        with pytest.raises(BadParameter):
            earth_picture("earth-return", "cool-2", low, high)


def test_the_earth_picture_draws_the_sweep(earth: EarthSweep) -> None:
    """Coil volts, shift and share stand one below the other, point by point as they were swept."""
    volts, shift, share = earth_figure(earth).figure.axes
    for ax, expected in ((volts, earth.coil_v), (shift, earth.hum_peak_v), (share, 100 * earth.odds)):
        line = next(line for line in ax.lines if len(line.get_xdata()) > 2)  # type: ignore[arg-type]
        assert np.array_equal(np.asarray(line.get_xdata()), earth.ohm)
        assert np.array_equal(np.asarray(line.get_ydata()), expected)
        assert ax.get_xscale() == "log"


def test_the_earth_picture_tells_its_curves_apart_without_colour(earth: EarthSweep) -> None:
    """Each curve has a colour, a dash and a marker of its own, colours of the one palette."""
    looks = [look for ax in earth_figure(earth).figure.axes for look in curves(ax)]
    for part in zip(*looks, strict=True):
        assert len(set(part)) == 3
    assert {look[0] for look in looks} <= {*OKABE_ITO.values(), INK}


def test_the_bands_cover_the_whole_sweep(earth: EarthSweep) -> None:
    """Works, chatters and dead follow each other without a gap, and their words stand in the picture."""
    volts = earth_figure(earth).figure.axes[0]
    spans = [patch.get_window_extent().transformed(volts.transData.inverted()) for patch in volts.patches]
    assert len(spans) == 3
    assert spans[0].x0 == pytest.approx(earth.ohm[0])
    assert spans[-1].x1 == pytest.approx(earth.ohm[-1])
    for one, two in pairwise(spans):
        assert one.x1 == pytest.approx(two.x0)
    said = {text.get_text() for text in volts.texts}
    assert {"works", "chatters", "dead", "pulls in at 18 V", "lets go below 11 V"} <= said


def test_the_earth_picture_says_what_it_shows(earth: EarthSweep) -> None:
    """Its words name the bands with their ohms, where frames break, and where the coil gives up."""
    words = earth_figure(earth).words
    bands = re.findall(r"(works|chatters|dead) from (\S+) to (\S+) ohm", words)
    assert [band[0] for band in bands] == ["works", "chatters", "dead"]
    assert float(bands[0][1]) == 0.1
    assert float(bands[-1][2]) == 100
    assert all(one[2] == two[1] for one, two in pairwise(bands))
    assert "Half of the polls go unanswered" in words
    assert "18 V" in words


@pytest.mark.parametrize("call", ["off", "fan", "cool-1"])
def test_the_earth_picture_stands_any_call(call: str) -> None:
    """A call that wants nothing outdoors has no coil volts, and is drawn all the same."""
    sweep = earth_sweep(demo_job("earth-return"), (0.1, 1.0, 10.0), call)
    assert call in earth_figure(sweep).words


def test_the_ghost_picture_names_both_meters(ghost: GhostSweep) -> None:
    """Both settings are drawn, apart in colour, dash and marker, and named beside their curves."""
    still = ghost_figure(ghost)
    (ax,) = still.figure.axes
    looks = curves(ax)
    assert len(looks) == 2
    assert all(len(set(part)) == 2 for part in zip(*looks, strict=True))
    assert {text.get_text().split(",")[0] for text in ax.texts} == {"high impedance", "low impedance"}
    assert "outdoor.spare is broken" in still.words
    assert f"{ghost.high_v.max():.1f} V" in still.words


def test_the_phase_picture_draws_both_phases() -> None:
    """Above, both waves lie on each other; below, one is the other turned round; peaks are 1.41 RMS."""
    still = phase_picture(two_transformers())
    above, below = still.figure.axes
    for ax, sign in ((above, 1), (below, -1)):
        _, near, far = (np.asarray(line.get_ydata(), dtype=float) for line in ax.lines)
        assert np.abs(near - sign * far).max() < 0.02 * near.max()
        assert near.max() == pytest.approx(2**0.5 * 27.3, rel=0.02)
        assert len(set(curves(ax))) == 3
    assert "out of phase" in still.words
    assert re.search(r"5\d\.\d V RMS between them", still.words)


def test_pictures_become_pixels(earth: EarthSweep, ghost: GhostSweep) -> None:
    """Each becomes a PNG, and its words travel with it as the image's text alternative."""
    for still in (earth_figure(earth), ghost_figure(ghost), phase_picture(two_transformers())):
        assert isinstance(still, Still)
        assert still.png().startswith(b"\x89PNG")
        assert still.words.split(".")[0] in still._repr_html_()


def test_a_picture_needs_a_sweep(earth: EarthSweep, ghost: GhostSweep) -> None:
    """One point is no curve, and neither is a sweep that goes back: both are refused by name."""
    with pytest.raises(BadParameter, match="ohm of the sweep is .*, but must be two numbers or more"):
        earth_figure(earth_sweep(demo_job("earth-return"), (1.0,)))
    with pytest.raises(BadParameter, match="ohm of the sweep"):
        earth_figure(replace(earth, ohm=earth.ohm[::-1]))
    with pytest.raises(BadParameter, match="length_m of the sweep"):
        ghost_figure(replace(ghost, length_m=np.zeros(3)))
