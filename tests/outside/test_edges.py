"""Edges of a distributed RC line against published figures and ngspice.

Sources: T. Sakurai, "Approximation of Wiring Delay in MOSFET LSI", IEEE JSSC 1983 (0.377 RC and 1.02 RC,
from memory); J. M. Rabaey, Digital Integrated Circuits (0.9 RC from 10 to 90 %, and 0.69 RC and 2.2 RC for
one lumped RC, from memory); a series of 200 terms worked out elsewhere (0.37875, 1.0311, 0.90095, 0.50318);
ngspice 39, run on ladders.
"""

from __future__ import annotations

import math
import re
import subprocess
from pathlib import Path

import pytest

from lessonkit.signal.edges import step_modes

# Open end, ideal driver, R = C = 1.
OPEN_LINE = step_modes(0.0, 1.0, 1.0)

# What ngspice 39 measured on a ladder of 200 pi sections (1 kohm and 1 uF in all): source and load in ohms,
# then milliseconds until 10, 50 and 90 % of the final volts. `test_ngspice_live` measures them again.
RECORDED = {
    (0.0, 1e12): (0.13016, 0.378748, 1.03111),
    (500.0, 2000.0): (0.178166, 0.524479, 1.42305),
    (5000.0, 10000.0): (0.523804, 2.54892, 8.09138),
}
SHARES = (0.1, 0.5, 0.9)


def test_published_delays() -> None:
    """Half after 0.377 RC (Sakurai), nine tenths after 1.02 RC (his fit), 10 to 90 % in 0.9 RC (Rabaey)."""
    assert OPEN_LINE.time_to(0.5) == pytest.approx(0.377, abs=0.002)
    assert OPEN_LINE.time_to(0.9) == pytest.approx(1.02, rel=0.015)
    assert OPEN_LINE.rise_s() == pytest.approx(0.9, abs=0.002)


def test_long_series() -> None:
    """To five figures, the delays of the diffusion equation's series."""
    assert OPEN_LINE.time_to(0.5) == pytest.approx(0.37875, abs=1e-5)
    assert OPEN_LINE.time_to(1 - 1 / math.e) == pytest.approx(0.50318, abs=1e-5)
    assert OPEN_LINE.time_to(0.9) == pytest.approx(1.0311, abs=1e-4)
    assert OPEN_LINE.rise_s() == pytest.approx(0.90095, abs=1e-5)


def test_open_line_weights_are_the_textbooks() -> None:
    """With an ideal driver and an open end the series is 4/pi (exp(-pi^2 t/4) - exp(-9 pi^2 t/4)/3 + ...)."""
    assert OPEN_LINE.rates_per_s[:3] == pytest.approx([(math.pi * n / 2) ** 2 for n in (1, 3, 5)])
    assert OPEN_LINE.weights[:3] == pytest.approx([4 / math.pi, -4 / (3 * math.pi), 4 / (5 * math.pi)])


def test_lumped_limit() -> None:
    """Behind a driver that dwarfs the copper the edge is one RC: 0.693 and 2.197 of it (Rabaey)."""
    for modes in (step_modes(1000.0, 1e-3, 1e-9), step_modes(1000.0, 0.0, 1e-9)):
        assert modes.time_to(0.5) == pytest.approx(0.6931e-6, rel=1e-4)
        assert modes.rise_s() == pytest.approx(2.1972e-6, rel=1e-4)


def test_ladder_bias_is_the_known_one() -> None:
    """A ladder of 100 plain sections is late by about one per cent: ngspice gave 0.38253 and 1.04144."""
    assert OPEN_LINE.time_to(0.5) * (1 + 1 / 100) == pytest.approx(0.38253, rel=1e-3)
    assert OPEN_LINE.time_to(0.9) * (1 + 1 / 100) == pytest.approx(1.04144, rel=1e-3)


@pytest.mark.parametrize(("ends", "recorded_ms"), RECORDED.items())
def test_ngspice_recorded(ends: tuple[float, float], recorded_ms: tuple[float, ...]) -> None:
    """With driver and load resistance too, delays agree with ngspice's ladder to 0.1 per cent."""
    modes = step_modes(ends[0], 1000.0, 1e-6, ends[1])
    assert [modes.time_to(share) * 1e3 for share in SHARES] == pytest.approx(list(recorded_ms), rel=1e-3)


@pytest.mark.ngspice
@pytest.mark.parametrize(("ends", "recorded_ms"), RECORDED.items())
def test_ngspice_live(
    ends: tuple[float, float], recorded_ms: tuple[float, ...], ngspice: str, tmp_path: Path
) -> None:
    """The ngspice on this machine measures what was recorded."""
    assert measure_ladder(ngspice, tmp_path, *ends) == pytest.approx(list(recorded_ms), rel=2e-3)


def measure_ladder(ngspice: str, folder: Path, source_ohm: float, load_ohm: float) -> list[float]:
    """Run a ladder of pi sections in ngspice; milliseconds to 10, 50 and 90 %."""
    sections = 200
    ohm, farad = 1000.0 / sections, 1e-6 / sections
    final = load_ohm / (load_ohm + source_ohm + 1000.0)
    lines = ["* ladder of pi sections", "V1 in 0 PULSE(0 1 0 1n 1n 1 2)", f"Rs in n0 {max(source_ohm, 1e-6)}"]
    lines += [f"Ca n0 0 {farad / 2}", f"Cb n{sections} 0 {farad / 2}", f"Rl n{sections} 0 {load_ohm}"]
    lines += [f"R{k} n{k - 1} n{k} {ohm}" for k in range(1, sections + 1)]
    lines += [f"C{k} n{k} 0 {farad}" for k in range(1, sections)]
    lines += [".tran 2u 30m 0 2u uic"]
    lines += [
        f".meas tran t{k} when v(n{sections})={final * share} cross=1" for k, share in enumerate(SHARES)
    ]
    (folder / "ladder.cir").write_text("\n".join([*lines, ".end"]) + "\n", encoding="utf-8")
    done = subprocess.run(
        [ngspice, "-b", "ladder.cir"], cwd=folder, capture_output=True, text=True, timeout=120, check=False
    )
    found = dict(re.findall(r"^t(\d)\s*=\s*(\S+)", done.stdout, re.MULTILINE))
    assert len(found) == len(SHARES), done.stdout + done.stderr
    return [float(found[str(k)]) * 1e3 for k in range(len(SHARES))]
