"""Ghosts and grounds: sweeps go the way that physics says, and refuse what makes no sense."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lessonkit.bench.bench import Bench
from lessonkit.errors import BadParameter
from lessonkit.job.faults import BadFault
from lessonkit.job.model import Job, Run, Supply
from lessonkit.job.toml import demo_job
from lessonkit.studies.sweeps import EarthSweep, earth_sweep, ghost_sweep, phase_volts

OHMS = tuple(np.geomspace(0.1, 100.0, 25))


def with_spare() -> Job:
    """Return a full cable with one conductor more outdoors, beside D and R, that nobody uses."""
    return demo_job("full-cable").with_run("outdoor", conductors=("R", "C", "Y1", "Y2", "O", "D", "spare"))


def two_transformers() -> Job:
    """Return the wire return with a transformer of its own outdoors, so that C carries the signal alone."""
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


@pytest.fixture(scope="module", params=["cool-1", "cool-2", "heat-aux"])
def sweep(request: pytest.FixtureRequest) -> EarthSweep:
    """Sweep the earth return under three loads."""
    return earth_sweep(demo_job("earth-return"), OHMS, request.param)


def falls(values: np.ndarray, slack: float = 0.0) -> bool:
    """Return whether values never rise by more than some slack."""
    return bool(np.all(np.diff(values.astype(float)) <= slack))


def test_a_worse_earth_leaves_fewer_volts(sweep: EarthSweep) -> None:
    """As long as the contactor holds, coil and board lose volts with every ohm, and the commons part."""
    under_load = sweep.pulled_in
    assert under_load.sum() >= 10
    assert falls(sweep.coil_v[under_load])
    assert falls(sweep.board_v[under_load])
    assert falls(-sweep.common_v[under_load])
    assert falls(-sweep.hum_peak_v[under_load])


def test_a_sweep_says_its_outcomes(sweep: EarthSweep) -> None:
    """Each of the ohms has its word, frames go before the contactor, and a row shows what the arrays hold."""
    words = sweep.outcomes
    assert [word == "works" for word in words] == sweep.works.tolist()
    assert [word != "chatters" for word in words] == [
        w or r for w, r in zip(sweep.works, sweep.rests, strict=True)
    ]
    assert sweep.fails_first == "the frames"
    table = sweep._repr_markdown_().splitlines()
    assert len(table) == len(OHMS) + 2
    assert table[2] == f"| {' | '.join(repr(sweep).splitlines()[0].split('  '))} |"
    assert f"{sweep.coil_v[0]:.1f} V" in table[2]


def test_a_sweep_takes_the_name_of_a_job() -> None:
    """A job may be named, and a good bond loses nothing."""
    good = earth_sweep("earth-return", [0.1])
    assert (good.outcomes, good.fails_first) == (("works",), "nothing")


def test_what_fails_never_comes_back(sweep: EarthSweep) -> None:
    """A worse earth never makes a frame pass, a coil pull in or a job work that a better one didn't."""
    assert falls(sweep.odds, slack=0.1)  # 64 trials each way
    assert falls(sweep.pulled_in)
    assert falls(sweep.works)
    assert sweep.works[0]
    assert not sweep.works[-1]


def test_the_picture_has_three_bands_in_their_order(sweep: EarthSweep) -> None:
    """From a good bond to a bad rod the job works, then finds no rest, then does nothing, at rest."""
    bands = np.where(sweep.works, 0, np.where(sweep.rests, 2, 1))
    assert set(bands) == {0, 1, 2}
    assert falls(-bands)


def test_frames_break_long_before_the_coil(sweep: EarthSweep) -> None:
    """The signal gives up at an earth on which the contactor still has volts to spare."""
    breaks_at = sweep.ohm[np.argmax(sweep.odds < 0.5)]
    lets_go_at = sweep.ohm[np.argmin(sweep.pulled_in)]
    assert breaks_at < 0.5 * lets_go_at
    assert sweep.coil_v[np.argmax(sweep.odds < 0.5)] > 20.4  # 85 % of 24 V, where any coil has to pull in


def test_a_heavier_call_breaks_at_a_better_earth() -> None:
    """The second stage draws more over the earth, so its frames break first."""
    job = demo_job("earth-return")
    one, two = (earth_sweep(job, OHMS, call) for call in ("cool-1", "cool-2"))
    assert two.works.sum() < one.works.sum()
    held = one.pulled_in & two.pulled_in
    assert np.all(two.hum_peak_v[held] > one.hum_peak_v[held])


def test_the_sweep_is_what_a_bench_shows() -> None:
    """Each point is the circuit of a bench at that earth, with everything on."""
    job = demo_job("earth-return")
    sweep = earth_sweep(job, (0.5, 1.0), "cool-2")
    for k, ohm in enumerate(sweep.ohm):
        bench = Bench(job, faults=[f"outdoor.earth=resistance:{ohm}"])
        bench.set_call("cool-2")
        state = bench.advance(30.0)
        link = state.links["outdoor"]
        assert state.delivering == "cooling, stage 2"
        assert sweep.coil_v[k] == pytest.approx(state.coils["out:contactor"].volts, abs=1e-6)
        assert sweep.common_v[k] == pytest.approx(state.volts["out:C"], abs=1e-6)
        assert sweep.hum_peak_v[k] == pytest.approx(math.sqrt(2) * link.hum_v, abs=1e-6)
        assert sweep.odds[k] == link.odds * link.reply_odds == 1


def test_a_ghost_grows_with_its_cable() -> None:
    """A longer cable couples more, so both meters show more, and the high one far more than the low one."""
    ghost = ghost_sweep(with_spare(), "outdoor", "spare", (1.0, 3.0, 10.0, 30.0, 100.0, 300.0))
    # Beyond 30 m the high one has all there is, and R itself loses volts along the cable.
    assert falls(-ghost.high_v[ghost.length_m <= 30])
    assert falls(-ghost.low_v)
    assert np.all(ghost.high_v > 5 * ghost.low_v)
    assert ghost.conductor == "outdoor.spare"


def test_a_load_takes_the_ghost_away() -> None:
    """A broken conductor that ends at a coil shows next to nothing, however long it is."""
    ghost = ghost_sweep(demo_job("full-cable"), "thermostat", "E", (30.0, 300.0))
    assert np.all(ghost.high_v < 0.5)


def test_a_break_half_way_couples_half() -> None:
    """What hangs behind a break is the ghost's whole length: half a run couples as half a cable does."""
    job = with_spare()
    whole = ghost_sweep(job, "outdoor", "spare", (50.0,), at=0.0)
    half = ghost_sweep(job, "outdoor", "spare", (100.0,), at=0.5)
    assert half.low_v[0] == pytest.approx(whole.low_v[0], rel=0.02)  # R drops more in 100 m
    none = ghost_sweep(job, "outdoor", "spare", (100.0,), at=1.0)
    assert none.high_v[0] < 0.05 * whole.high_v[0]


def test_ghosts_follow_the_neighbours() -> None:
    """Beside two live conductors a ghost is twice what it is beside a live one and a dead one."""
    job = demo_job("full-cable").with_run("outdoor", conductors=("R", "spare", "Y1", "C", "Y2", "O", "D"))
    off = ghost_sweep(job, "outdoor", "spare", (100.0,), call="off")
    on = ghost_sweep(job, "outdoor", "spare", (100.0,), call="cool-1")
    assert on.high_v[0] == pytest.approx(2 * off.high_v[0], rel=0.05)


def test_two_transformers_in_and_out_of_phase() -> None:
    """In phase there is next to nothing between the two hot sides, out of phase the sum of both."""
    job = two_transformers()
    in_phase, opposed = phase_volts(job)
    state = Bench(job).state
    near, far = state.between("air:R", "air:C"), state.between("out:R", "out:C")
    assert in_phase < 0.5
    assert opposed == pytest.approx(near + far, abs=0.5)


def test_a_link_does_not_mind_the_phase() -> None:
    """Nothing but the signal crosses over, so a job with two transformers works in either phase."""
    for in_phase in (True, False):
        bench = Bench(two_transformers().with_run("outdoor", far_in_phase=in_phase), outdoor_c=20.0)
        bench.set_call("cool-2")
        assert bench.advance(60.0).delivering == "cooling, stage 2"


def test_joined_transformers_blow_a_fuse_in_one_phase_only() -> None:
    """A spare that joins R to R, through two touches, is a short of both sources when they are opposed."""
    job = two_transformers().with_run("outdoor", conductors=("SIG", "C", "spare", "spare-2"))
    for in_phase, blown in ((True, False), (False, True)):
        wired = _joined(job.with_run("outdoor", far_in_phase=in_phase))
        assert wired is blown


def _joined(job: Job) -> bool:
    """Return whether 0.5 ohm from R at the air handler to R outdoors would carry what blows a fuse."""
    from lessonkit.copper.elements import Resistance
    from lessonkit.copper.network import solve

    network = Bench(job).network(extra=(Resistance("joined", "air:R", "out:R", 0.5, "R to R"),))
    amps = abs(solve(network, job.frequency_hz).a("joined"))
    fuse = job.outdoor_run.far_supply
    assert fuse is not None
    return amps >= fuse.fuse.blow_a


@pytest.mark.parametrize("ohms", [0, -1.0, 1e-5, 1e12, math.nan, math.inf, "2"])
def test_bad_ohms_are_named(ohms: object) -> None:
    """An earth that can't be is one sentence: the parameter, its value, what is allowed."""
    with pytest.raises(BadParameter, match="^ohms is .*, but must be") as caught:
        earth_sweep(demo_job("earth-return"), [1.0, ohms])  # type: ignore[list-item]
    assert caught.value.value is ohms


def test_bad_sweeps_are_named() -> None:
    """Each of the other parameters that can't be is named with its value and what is allowed."""
    earth, full = demo_job("earth-return"), demo_job("full-cable")
    with pytest.raises(BadParameter, match=r"ohms is \[\], but must be at least one number"):
        earth_sweep(earth, [])
    with pytest.raises(BadParameter, match="job is 'wire-return', but must be a job whose outdoor run"):
        earth_sweep(demo_job("wire-return"), [1.0])
    with pytest.raises(BadParameter, match="call is 'hot', but must be one of off"):
        earth_sweep(earth, [1.0], "hot")
    with pytest.raises(BadParameter, match="length_m is -3.0, but must be a number above 0"):
        ghost_sweep(full, "thermostat", "E", [10.0, -3.0])
    with pytest.raises(BadParameter, match="length_m is 900.0, but must be from 0.001 to 500 metres"):
        ghost_sweep(full, "thermostat", "E", [900.0])
    with pytest.raises(BadParameter, match="run is 'garden', but must be one of thermostat, outdoor"):
        ghost_sweep(full, "garden", "E", [10.0])
    with pytest.raises(BadFault, match="position is 2.0, but must be a number from 0 to 1"):
        ghost_sweep(full, "thermostat", "E", [10.0], at=2.0)
    with pytest.raises(BadFault, match="outdoor.G=open"):
        ghost_sweep(full, "outdoor", "G", [10.0])
    with pytest.raises(BadParameter, match="job is 'earth-return', but must be a job with a second"):
        phase_volts(earth)


def test_bad_cables_are_named() -> None:
    """A negative length never becomes a run."""
    with pytest.raises(BadParameter, match="length_m is -3.0, but must be above 0 and at most 500 m"):
        Run(length_m=-3.0)
