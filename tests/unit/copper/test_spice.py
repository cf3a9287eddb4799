"""Netlists, line by line, in the syntax of SPICE programs.

Source of the syntax: the ngspice manual's chapters on elementary devices, sources, switches and diodes (from
memory): `Cname n+ n- value IC=v`, `SIN(VO VA FREQ TD THETA PHASE)` with peak volts, `PULSE(V1 V2 TD TR TF PW
PER)`, `PWL(T1 V1 T2 V2 ...)`, `uic` to start from initial conditions.
"""

from __future__ import annotations

import math

import pytest

from lessonkit.copper.elements import Capacitance, Diode, PulseSource, Resistance, Source, Switch, Winding
from lessonkit.copper.network import Network
from lessonkit.copper.spice import settled_netlist, transient_netlist

CIRCUIT = Network(
    (
        Source("sine", "a", "0", 1.0, 24j, 3.0, 0.01),
        Source("cell", "b", "0", 2.0, dc_v=9.0),
        PulseSource("bits", "c", "0", 3.0, 0.5, 5.0, 1e-3, 2e-3, 0.0, 1e-4, 4e-3),
        PulseSource("once", "d", "0", 3.0, 0.5, 5.0, 1e-3),
        Capacitance("cap", "a", "b", 1e-6, initial_v=7.0),
        Winding("coil", "b", "c", 4.0, 0.1, initial_a=0.2),
        Switch("key", "c", "d", True, (0.25, 0.5), 0.05, 1e6),
        Diode("diode", "d", "a", 1e-9, 1.5, 0.1),
        Resistance("open", "d", "a", math.inf),
    ),
    "0",
)


def _elements(netlist: str) -> list[str]:
    """Return the lines of elements and models, less their comments."""
    lines = [line.partition(" ;")[0] for line in netlist.splitlines()]
    return [line for line in lines if line[0] in "RLCVSD" or line.startswith(".model")]


@pytest.mark.parametrize("start", ["rest", "dc"])
def test_every_element_through_time(start: str) -> None:
    """Each element has its value, a source its wave, and from rest each store what it begins with."""
    cap, coil, leak = (" IC=7.0", " IC=0.2", " IC=0") if start == "rest" else ("", "", "")
    peak_v = 24.0 * math.sqrt(2)
    netlist = transient_netlist(CIRCUIT, 0.5, 1e-3, freq_hz=50.0, start=start)
    assert _elements(netlist) == [
        f"V0_sine x_0_sine 0 SIN(3.0 {peak_v!r} 50.0 0 0 90.0)",
        "R0_sine x_0_sine y_0_sine 1",
        f"L0_sine y_0_sine a 0.01{leak}",
        "V1_cell x_1_cell 0 DC 9.0",
        "R1_cell x_1_cell b 2",
        "V2_bits x_2_bits 0 PULSE(0.5 5.0 0.002 1e-09 0.0001 0.001 0.004)",
        "R2_bits x_2_bits c 3",
        "V3_once x_3_once 0 PULSE(0.5 5.0 0.0 1e-09 1e-09 0.001)",
        "R3_once x_3_once d 3",
        f"C4_cap a b 1e-06{cap}",
        "R5_coil b x_5_coil 4",
        f"L5_coil x_5_coil c 0.1{coil}",
        "S6_key c d hand_6_key 0 model_6_key",
        ".model model_6_key SW(VT=0.5 VH=0 RON=0.05 ROFF=1000000.0)",
        f"Vhand_6_key hand_6_key 0 PWL(0 1 0.25 1 {0.25 + 1e-9!r} 0 0.5 0 {0.5 + 1e-9!r} 1)",
        "D7_diode d a model_7_diode",
        ".model model_7_diode D(IS=1e-09 N=1.5 RS=0.1)",
    ]
    assert (".tran 0.001 0.5 0 0.001" + (" uic" if start == "rest" else "")) in netlist.splitlines()
    assert "* R8_open d a is open ; open" in netlist.splitlines()
    assert [line for line in netlist.splitlines() if line.startswith(".print")] == [
        f".print tran v({node})" for node in "abcd"
    ]


def test_every_element_settled() -> None:
    """A source has its direct volts, and its alternating ones as RMS and degrees; a switch is where it is."""
    steady = [branch for branch in CIRCUIT.branches if not isinstance(branch, PulseSource | Diode)]
    netlist = settled_netlist(Network(tuple(steady), "0"), 60.0, "settled")
    assert _elements(netlist) == [
        "V0_sine x_0_sine 0 DC 3 AC 24 90",
        "R0_sine x_0_sine y_0_sine 1",
        "L0_sine y_0_sine a 0.01",
        "V1_cell x_1_cell 0 DC 9 AC 0 0",
        "R1_cell x_1_cell b 2",
        "C2_cap a b 1e-06",
        "R3_coil b x_3_coil 4",
        "L3_coil x_3_coil c 0.1",
        "R4_key c d 0.05",
    ]
    assert ".ac lin 1 60 60" in netlist.splitlines()
    assert ".op" not in netlist.splitlines()


@pytest.mark.parametrize(("reference", "tied"), [("0", False), ("GND", False), ("air:C", True)])
def test_the_reference_is_tied_to_ground(reference: str, tied: bool) -> None:
    """Unless it is SPICE's own ground by name, a source of 0 V holds the reference there."""
    netlist = settled_netlist(Network((Resistance("r", "x", reference, 5.0),), reference), 60.0, "tied")
    assert any(line.startswith("Vref air_c 0 DC 0 AC 0") for line in netlist.splitlines()) == tied
    assert netlist.count("Vref") == tied
