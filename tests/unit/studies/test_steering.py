"""Half-wave steering: what follows from the circuit for each call, and where it ends."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from lessonkit.copper.inrush import coil_inrush
from lessonkit.errors import BadParameter
from lessonkit.studies.steering import (
    CALLS,
    DIODES,
    DcCoil,
    NoLimit,
    Steered,
    Steering,
    longest_loop_ohm,
    steer,
    steering_inrush,
)

BARE, FREE, SMOOTH = DcCoil(), DcCoil(freewheel=True), DcCoil(smoothing_farad=100e-6)


@cache
def run(call: str, coil: DcCoil = FREE, **broken: tuple[str, ...]) -> Steered:
    """Run two equal coils, each case once in a session."""
    return steer(Steering(first=coil, second=coil, **broken), call)  # type: ignore[arg-type]


def states(steered: Steered) -> dict[str, str]:
    """Return what each relay does."""
    return {name: coil.state for name, coil in steered.coils.items()}


@pytest.mark.parametrize("call", CALLS)
@pytest.mark.parametrize("coil", [FREE, SMOOTH])
def test_each_call_reaches_its_own_coil(call: str, coil: DcCoil) -> None:
    """With freewheel diode or smoothing capacitor, exactly the called relays pull in and are quiet."""
    expected = {name: "pulled in" if name in CALLS[call] else "released" for name in ("first", "second")}
    assert states(run(call, coil)) == expected


def test_the_two_calls_are_mirror_images() -> None:
    """First and second differ only in polarity: equal currents, opposite direct volts on the conductor."""
    first, second = run("first"), run("second")
    assert first.coils["first"].mean_a == pytest.approx(second.coils["second"].mean_a, rel=1e-4)
    assert first.far.dc_v == pytest.approx(-second.far.dc_v, rel=1e-4)
    assert first.far.half_wave_v == pytest.approx(second.far.half_wave_swapped_v, rel=1e-4)


def test_a_bare_coil_falls_between_the_two_criteria() -> None:
    """Its RMS current says that it picks up, its mean that it does not: an honest answer shows both."""
    coil = run("first", BARE).coils["first"]
    assert coil.mean_a < BARE.pick_up_a < coil.rms_a
    assert (coil.picks_up, coil.picks_up_by_rms) == (False, True)


def test_a_bare_coil_sends_its_current_through_the_other() -> None:
    """When the supply's half is over, a coil's own current goes on through its neighbour, uncalled."""
    bare, free = run("first", BARE).coils["second"], run("first", FREE).coils["second"]
    assert bare.mean_a > 1e-3
    assert free.mean_a < 0.01 * bare.mean_a


def test_a_freewheel_diode_smooths() -> None:
    """It raises the mean and lowers the ripple; a capacitor does more of both."""
    bare, free, smooth = (run("both", c).coils["first"] for c in (BARE, FREE, SMOOTH))
    assert bare.mean_a < free.mean_a < smooth.mean_a
    assert bare.ripple > free.ripple > smooth.ripple


def test_a_weak_smoothing_leaves_a_buzz() -> None:
    """A coil with little inductance lets its current die in the gap: it picks up, and lets go each cycle."""
    quick = DcCoil(r_ohm=120.0, l_henry=0.05, freewheel=True)
    coil = steer(Steering(first=quick), "first").coils["first"]
    assert coil.state == "buzzing"
    assert not coil.would_hold
    assert coil.gap_s > quick.release_s


def test_meters_disagree_about_a_steered_conductor() -> None:
    """One call: a one-diode meter reads nearly the full supply, true RMS 0.7, averaging half, direct 0.45."""
    far = run("first").far
    assert far.half_wave_v > far.true_rms_v > far.average_v > far.dc_v > 0
    assert far.half_wave_swapped_v < 1.0
    assert far.half_wave_v == pytest.approx(2 * far.average_v, rel=0.05)


def test_both_calls_look_like_plain_alternating_current() -> None:
    """With both calls no meter sees that there are two: direct volts vanish, all others agree."""
    far = run("both").far
    assert abs(far.dc_v) < 0.01
    others = (far.true_rms_v, far.ac_only_rms_v, far.average_v, far.half_wave_v, far.half_wave_swapped_v)
    assert max(others) - min(others) < 0.3


def test_a_shorted_near_diode_calls_both() -> None:
    """Its contact then sends both halves, and the uncalled relay answers."""
    assert states(run("first", shorted=("near-first",))) == {"first": "pulled in", "second": "pulled in"}


def test_a_shorted_far_diode_with_freewheel_is_a_short() -> None:
    """The wrong half meets the freewheel diode: amperes of supply current, and no relay answers."""
    hurt = run("second", shorted=("far-first",))
    assert hurt.supply_rms_a > 3.0
    assert states(hurt) == {"first": "released", "second": "released"}
    assert run("second").supply_rms_a < 0.1


@pytest.mark.parametrize("diode", DIODES)
def test_an_open_diode_loses_its_own_call_only(diode: str) -> None:
    """Whichever end it is at, the call that it steers is lost and the other works on."""
    dead = diode.split("-")[1]
    alive = "second" if dead == "first" else "first"
    assert states(run("both", opened=(diode,))) == {dead: "released", alive: "pulled in"}


def test_a_long_conductor_ends_it() -> None:
    """At the limit the coil picks up, beyond it not; a weaker supply brings the limit nearer."""
    site = Steering(first=FREE, second=FREE)
    limit = longest_loop_ohm(site, "first")
    assert steer(replace(site, loop_ohm=limit), "first").coils["first"].picks_up
    assert not steer(replace(site, loop_ohm=1.02 * limit), "first").coils["first"].picks_up
    assert longest_loop_ohm(replace(site, supply_v=23.5), "first", within=0.1) < limit


def test_no_limit_is_told_in_a_sentence() -> None:
    """A coil that never picks up, or no call at all, has no longest conductor."""
    with pytest.raises(NoLimit, match="does not pick up even on a conductor of 0.01 ohm"):
        longest_loop_ohm(Steering(), "first")
    with pytest.raises(NoLimit, match="closes no contact"):
        longest_loop_ohm(Steering(), "none")


def test_coil_and_capacitor_have_opposite_worst_moments() -> None:
    """A coil is worst closed at the zero, an empty smoothing capacitor near the top."""
    angles = range(0, 180, 30)
    assert coil_inrush(angles, r_ohm=10.0, l_henry=0.1).worst_deg == 0
    gulp = steering_inrush(Steering(first=SMOOTH, second=SMOOTH), "first", angles)
    assert gulp.worst_deg == 90
    # Not more than the top of the wave, less a diode's drop, over the ohms in the way.
    assert 3.0 < gulp.peak_a.max() < (33.94 - 0.7) / (2.7 + 1.28 + 0.05)
    assert gulp.ratio > 3


def test_longer_settling_changes_nothing() -> None:
    """The cycles that are read are settled: four of them are alike."""
    for coil in (BARE, FREE, SMOOTH):
        current = np.abs(run("both", coil).trace.current_a("coil-first"))
        cycles = [current[k * 256 : (k + 1) * 256].mean() for k in range(4)]
        assert max(cycles) - min(cycles) < 2e-3 * max(cycles)


@pytest.mark.parametrize(
    ("attempt", "told"),
    [
        (lambda: steer(Steering(), "third"), "call is 'third', but must be one of none, first, second, both"),
        (lambda: Steering(loop_ohm=-1.0), "loop_ohm is -1.0"),
        (lambda: Steering(shorted=("near",)), "shorted is 'near'"),
        (lambda: Steering(shorted=("near-first",), opened=("near-first",)), "not also shorted"),
        (lambda: DcCoil(drop_out_a=1.0), "drop_out_a of a coil is 1.0"),
        (lambda: steering_inrush(Steering(), "none", [0.0]), "call is 'none'"),
    ],
)
def test_bad_sites_get_one_sentence(attempt: object, told: str) -> None:
    """It names the parameter, its value and what is allowed."""
    with pytest.raises(BadParameter) as caught:
        attempt()  # type: ignore[operator]
    assert told in str(caught.value)
