"""Ghosts and grounds against figures worked out by hand, and against ngspice.

Sources, each named again beside its check:

* cable makers' sheets for 18-gauge shielded cable, 40 pF/ft between conductors (a page was read), and what
  follows from it by hand: 4.0 nF over 100 ft, 663 kohm at 60 Hz, 36 uA at 24 V
* NEC 250.53(A)(2), exception: 25 ohm for a rod (from memory), and Ohm's law with two of them and a coil
* IEC 60947-4-1, limits of operation: pick-up by 85 % of rated volts, drop-out between 20 % and 75 % (from
  memory); an army and navy manual on its upkeep says 85 to 110 % (a page was read)
* NEC chapter 9, notes to table 11: sources are to be interconnected only if listed for it (pages were read);
  that two opposed secondaries add up is arithmetic
* ngspice, the open-source descendant of the Berkeley circuit simulator, for a ghost with its meter
"""

from __future__ import annotations

import cmath
import math
import re
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from lessonkit.bench.bench import Bench
from lessonkit.bench.layout import BOND_OHM
from lessonkit.bench.meter import METER_OHM, Meter
from lessonkit.bench.wiring import Wiring
from lessonkit.copper.elements import CONTACT_OHM, Resistance, Source, Winding
from lessonkit.copper.network import Network, solve
from lessonkit.job.faults import Fault
from lessonkit.job.kit import Equipment
from lessonkit.job.model import Job, Run, Supply
from lessonkit.job.parts import BOARD_RELAY_VA, INPUT_OHM, RATED_V, Coil
from lessonkit.job.toml import demo_job
from lessonkit.studies.sweeps import earth_sweep, ghost_sweep, phase_volts

FOOT_M = 0.3048

# A cable of 100 ft whose conductors have 40 pF/ft to each neighbour (makers' sheets, a page was read).
HUNDRED_FEET_M, PF_PER_M = 100 * FOOT_M, 40 / FOOT_M


def ghost_job(conductors: tuple[str, ...] = ("R", "C", "Y1", "Y2", "O", "D", "spare")) -> Job:
    """Return a full cable whose outdoor run has a spare beside D and R, and hardly leaks."""
    return demo_job("full-cable").with_run(
        "outdoor",
        conductors=conductors,
        length_m=HUNDRED_FEET_M,
        capacitance_pf_per_m=PF_PER_M,
        insulation_mohm_km=1e6,
    )


# Ghosts: the coupling of 100 ft of cable (makers' sheets; the rest by hand).


def test_a_hundred_feet_couple_four_nanofarads() -> None:
    """40 pF/ft over 100 ft are 4.0 nF, and 663 kohm at 60 Hz."""
    farad = ghost_job().outdoor_run.pair_farad
    assert farad == pytest.approx(4.0e-9, rel=1e-6)
    assert 1 / (2 * math.pi * 60 * farad) == pytest.approx(663e3, rel=1e-3)


def test_a_ghost_delivers_36_microamperes() -> None:
    """From a neighbour at 24 V, 36 uA is all that ever comes, however low the meter."""
    bench = Bench(ghost_job(), faults=[Fault("outdoor", "spare", "open", None, 0.0)])
    neighbour_v = bench.state.between("out:R", "out:C")
    probe = Resistance("meter", "out:spare", "out:C", 1.0)
    amps = abs(solve(bench.network(extra=(probe,)), 60.0).a("meter"))
    # R lies on one side of the spare and dead D on the other; a short gets what R's side lets through.
    assert amps * 24 / neighbour_v == pytest.approx(36e-6, rel=0.01)


@pytest.mark.parametrize("setting", ["high", "low"])
@pytest.mark.parametrize("feet", [10.0, 100.0, 1000.0])
def test_a_ghost_is_a_divider_of_its_neighbours(setting: str, feet: float) -> None:
    """By hand: two equal capacitances halve R's volts, and the meter loads what comes through them."""
    job = ghost_job().with_run("outdoor", length_m=feet * FOOT_M)
    ghost = ghost_sweep(job, "outdoor", "spare", (feet * FOOT_M,))
    shown_v = (ghost.high_v if setting == "high" else ghost.low_v)[0]
    solution = Bench(job, faults=["outdoor.spare=open@0"]).solution
    # D hangs on the coil at the air handler, so it stands at that end's common: a little off at this end.
    beside_v = solution.v("out:R", "out:C") + solution.v("out:D", "out:C")
    siemens = 2 * math.pi * 60 * 40e-12 * feet * 1j
    expected_v = abs(beside_v * siemens / (2 * siemens + 1 / METER_OHM[setting]))
    assert shown_v == pytest.approx(expected_v, rel=0.005)


def test_unequal_neighbours_divide_unequally() -> None:
    """By hand: with live conductors on both sides all of their volts are there, with one of them half."""
    ring = ("R", "spare", "Y1", "C", "Y2", "O", "D")
    for call, share in (("off", 0.5), ("cool-1", 1.0)):
        job = ghost_job(ring)
        bench = Bench(job, faults=["outdoor.spare=open@0"])
        bench.set_call(call)
        meter = Meter(bench)
        beside_v = meter.volts("out:R", "out:C").value
        coupling = 2 * (2 * math.pi * 60 * 4.0e-9) * 1j
        expected_v = abs(share * beside_v * coupling / (coupling + 1 / METER_OHM["high"]))
        assert meter.volts("out:spare", "out:C").value == pytest.approx(expected_v, rel=0.01)


@pytest.mark.ngspice
@pytest.mark.parametrize("meter_ohm", [10e6, 3e3])
def test_ngspice_sees_the_same_ghost(meter_ohm: float, ngspice: str, tmp_path: Path) -> None:
    """ngspice, given a circuit written here by hand, shows what the meter shows."""
    bench = Bench(ghost_job(), faults=["outdoor.spare=open@0"])
    r_v = bench.state.between("out:R", "out:C")
    deck = tmp_path / "ghost.cir"
    deck.write_text(
        f"* a spare between R and D, which the sequencer's coil holds at common\n"
        f"VR r 0 DC 0 AC {r_v:.9g}\nC1 r spare 4.0n\nC2 spare 0 4.0n\nRM spare 0 {meter_ohm:g}\n"
        ".ac lin 1 60 60\n.print ac vm(spare)\n.end\n",
        encoding="ascii",
    )
    said = subprocess.run([ngspice, "-b", str(deck)], capture_output=True, text=True, check=True).stdout
    found = re.search(r"^0\s+6\.0+e\+01\s+(\S+)", said, re.MULTILINE)
    assert found, said
    setting = "high" if meter_ohm > 1e6 else "low"
    shown_v = Meter(bench).volts("out:spare", "out:C", setting).value
    assert shown_v == pytest.approx(float(found[1]), rel=0.01)


# Grounds: rods and coils (NEC 250.53(A)(2) exception, from memory; Ohm's law).

RODS_OHM = 2 * 25.0


def test_a_coil_behind_two_rods_gets_half_its_volts() -> None:
    """24 V through two rods of 25 ohm into a coil of 48: 0.245 A, and 11.8 V at the coil."""
    circuit = Network(
        (
            Source("supply", "hot", "near", 1e-6, 24.0 + 0j),
            Resistance("coil", "hot", "far", 48.0),
            Resistance("rod, far", "far", "soil", 25.0),
            Resistance("rod, near", "soil", "near", 25.0),
        ),
        "near",
    )
    solution = solve(circuit, 60.0)
    assert abs(solution.a("coil")) == pytest.approx(0.245, abs=5e-4)
    assert abs(solution.v("hot", "far")) == pytest.approx(11.8, abs=0.05)
    assert (
        abs(solution.v("hot", "far")) < 0.85 * 24
    )  # where a coil has to pull in: IEC 60947-4-1, from memory


def test_two_rods_never_carry_half_an_ampere() -> None:
    """A dead short through two rods of 25 ohm draws 0.48 A at 24 V: no fuse of 3 A ever sees it."""
    supply = Supply(rated_v=23.9, rated_va=100.0, open_v=24.0)
    job = replace(demo_job("full-cable"), supply=supply).with_run("outdoor", earth_ohm=RODS_OHM)
    state = Bench(job, faults=["outdoor.R=earth:0.001@1"]).state
    assert state.fuse == "whole"
    assert state.amps["outdoor.earth"] == pytest.approx(0.48, rel=0.01)


def test_rods_work_nothing() -> None:
    """With rods for a return nothing outdoors works under any load, and it doesn't chatter either."""
    for call in ("cool-1", "cool-2", "heat-aux"):
        sweep = earth_sweep(demo_job("earth-return"), (RODS_OHM,), call)
        assert not sweep.pulled_in[0]
        assert not sweep.works[0]
        assert sweep.rests[0]


# Coils: bands of pick-up and drop-out (IEC 60947-4-1, from memory), in volts of a 24-volt coil.


def coils_of(kit: Equipment) -> dict[str, Coil]:
    """Return every coil of a job's equipment by its name."""
    return {name: part for name, part in vars(kit).items() if isinstance(part, Coil)}


@pytest.mark.parametrize("name", ["full-cable", "earth-return", "wire-return", "two-run"])
def test_coils_keep_to_their_bands(name: str) -> None:
    """Every coil pulls in by 20.4 V, 85 %, and lets go between 4.8 and 18 V, 20 % to 75 %."""
    coils = coils_of(demo_job(name).equipment)
    assert coils.keys() >= {
        "contactor",
        "reversing_valve",
        "unloader",
        "blower_relay",
        "sequencer",
        "furnace",
    }
    for coil in coils.values():
        assert coil.holds(20.4, sealed=False)
        assert not coil.holds(4.8 - 0.01, sealed=True)
        assert coil.holds(18.0, sealed=True)


def test_an_earth_that_leaves_20_4_volts_pulls_in() -> None:
    """In the sweep, wherever the contactor keeps 85 % of 24 V, it is in; where it isn't, it had less."""
    sweep = earth_sweep(demo_job("earth-return"), np.geomspace(0.1, 100.0, 31), "cool-1")
    assert np.all(sweep.pulled_in[sweep.coil_v >= 20.4])
    assert np.all(sweep.coil_v[~sweep.pulled_in] < 20.4)


# The earth sweep against a circuit reduced by hand, in series and in parallel.


def _parallel(*ohms: complex) -> complex:
    return 1 / sum(1 / ohm for ohm in ohms)


def _sealed(coil: Coil) -> complex:
    """Return a coil's impedance with its armature in, from its nameplate."""
    z_ohm = RATED_V**2 / coil.sealed_va
    return complex(coil.r_ohm, math.sqrt(z_ohm**2 - coil.r_ohm**2))


def _board(va: float) -> float:
    return RATED_V**2 / va


def by_hand(job: Job, earth_ohm: float) -> tuple[float, float, float]:
    """Return RMS volts of contactor, of relay board, and between the commons, under cool-2."""
    kit, near, far = job.equipment, job.thermostat_run, job.outdoor_run
    wire = near.conductor_ohm
    # Outdoors: two boards, three relays pulled in, and three coils, each behind its contact.
    contactor = 2 * CONTACT_OHM + _sealed(kit.contactor)
    outdoors = _parallel(
        _board(job.relay_board.load_va),
        _board(job.defrost_board.load_va),
        *[_board(BOARD_RELAY_VA)] * 3,
        contactor,
        2 * CONTACT_OHM + _sealed(kit.reversing_valve),
        CONTACT_OHM + _sealed(kit.unloader),
    )
    home = 2 * BOND_OHM + earth_ohm
    out_leg = far.conductor_ohm + outdoors + home
    # Indoors: behind R of the thermostat run, its own board home by C, the blower relay, three inputs.
    at_stat = _parallel(
        _board(job.thermostat.load_va) + wire,
        CONTACT_OHM + wire + _sealed(kit.blower_relay),
        *[CONTACT_OHM + wire + INPUT_OHM] * 3,
    )
    load = _parallel(out_leg, wire + at_stat, _board(job.encoder.load_va))
    behind = job.supply.transformer.r_ohm + job.supply.fuse.r_ohm
    r_v = job.supply.open_v * load / (behind + load)
    board_v = r_v * outdoors / out_leg
    coil_v = board_v * (contactor - 2 * CONTACT_OHM) / contactor
    return abs(coil_v), abs(board_v), abs(r_v * home / out_leg)


def test_the_earth_sweep_is_a_circuit_reduced_by_hand() -> None:
    """Coil, board and commons agree to 0.2 % with a reduction on paper, as long as everything holds."""
    job = demo_job("earth-return")
    sweep = earth_sweep(job, (0.1, 0.3, 1.0, 2.0, 4.0), "cool-2")
    assert np.all(sweep.pulled_in)
    for k, ohm in enumerate(sweep.ohm):
        coil_v, board_v, common_v = by_hand(job, float(ohm) + job.outdoor_run.earth_ohm)
        assert sweep.coil_v[k] == pytest.approx(coil_v, rel=2e-3)
        assert sweep.board_v[k] == pytest.approx(board_v, rel=2e-3)
        assert sweep.common_v[k] == pytest.approx(common_v, rel=2e-3)


def test_the_shift_is_what_parts_the_commons() -> None:
    """By hand: driver and both inputs share the difference of the commons; the cable adds a little from R."""
    job = demo_job("earth-return")
    link, run = job.outdoor_run.link, job.outdoor_run
    sweep = earth_sweep(job, (0.3, 1.0, 3.0), "cool-2")
    driver = _parallel(link.drive_ohm, link.load_ohm)
    share = abs(link.load_ohm / (link.load_ohm + driver + run.conductor_ohm))
    coupled_peak_v = (
        math.sqrt(2) * 27.6 * 2 * math.pi * 60 * run.pair_farad * abs(_parallel(driver, link.load_ohm))
    )
    for k in range(3):
        apart_peak_v = math.sqrt(2) * share * sweep.common_v[k]
        assert abs(sweep.hum_peak_v[k] - apart_peak_v) <= coupled_peak_v


def test_frames_break_where_the_thresholds_say() -> None:
    """By hand: a mark less the shift's peak has to reach the high threshold, a space plus it the low one.

    A shift that leaves both alone costs no frame; one that takes both lets hardly any pass.
    """
    job = demo_job("earth-return")
    link = job.outdoor_run.link
    sweep = earth_sweep(job, np.geomspace(0.2, 6.0, 40), "cool-2")
    mark_v = link.drive_v * (link.load_ohm / 2) / (link.load_ohm / 2 + link.drive_ohm)
    sure_v = min(mark_v - link.high_v, link.low_v)
    assert sure_v == pytest.approx(2.5)
    # Five sigma of noise keep clear of the thresholds; a frame of 50 bits sees the shift at its full peak.
    noise_v = 5 * link.noise_v
    assert np.all(sweep.odds[sweep.hum_peak_v < sure_v - noise_v] == 1)
    assert np.all(sweep.odds[sweep.hum_peak_v > max(mark_v - link.high_v, link.low_v) + noise_v] < 0.1)


# Two transformers (NEC chapter 9, notes to table 11; the sum is arithmetic).


def test_opposed_transformers_give_48_volts() -> None:
    """Two secondaries of 24 V between their hot sides: nothing in phase, 48 V out of phase."""
    stiff = Supply(rated_v=23.99, rated_va=100.0, open_v=24.0, interconnection_listed=True)
    job = replace(demo_job("wire-return"), supply=stiff).with_run(
        "outdoor", return_by="second-transformer", conductors=("SIG", "C", "spare"), far_supply=stiff
    )
    in_phase, opposed = phase_volts(job)
    assert in_phase < 0.05
    assert opposed == pytest.approx(48.0, rel=0.005)


def test_phases_turn_and_magnitudes_stay() -> None:
    """The far supply turned round has the same volts by itself: only between the two is it seen."""
    job = (
        demo_job("wire-return")
        .with_supply(interconnection_listed=True)
        .with_run(
            "outdoor",
            return_by="second-transformer",
            conductors=("SIG", "C", "spare"),
            far_supply=Supply(interconnection_listed=True),
        )
    )
    one, two = (Bench(job.with_run("outdoor", far_in_phase=turn)).state for turn in (True, False))
    assert one.between("out:R", "out:C") == pytest.approx(two.between("out:R", "out:C"), rel=1e-6)
    turned_deg = math.degrees(
        cmath.phase(two.solution.v("out:R", "out:C") / one.solution.v("out:R", "out:C"))
    )
    assert abs(turned_deg) == pytest.approx(180.0, abs=0.01)


# What the hand reductions lean on.


def test_windings_are_their_nameplates() -> None:
    """A sealed coil at 24 V draws its sealed volt-amperes, through the very branch that the job has."""
    job = demo_job("earth-return")
    on = Wiring(job).network(frozenset({"coil out:contactor"}))
    (winding,) = (branch for branch in on.branches if branch.name == "coil out:contactor")
    assert isinstance(winding, Winding)
    assert 24.0**2 * abs(winding.admittance(60.0)) == pytest.approx(job.equipment.contactor.sealed_va)
    assert Run().earth_ohm > 0
