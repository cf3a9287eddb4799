"""The nodal solver: the laws that every linear network obeys, and its words when there is no answer."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.copper.elements import Branch, Capacitance, Resistance, Source, Switch, Winding
from lessonkit.copper.network import (
    FloatingNode,
    Network,
    Solution,
    UnknownNode,
    solve,
    solve_many,
)
from lessonkit.copper.spice import settled_netlist, spice_name
from lessonkit.errors import BadParameter

ohms = st.floats(0.01, 1e6)
volts = st.complex_numbers(min_magnitude=0.0, max_magnitude=40.0, allow_nan=False, allow_infinity=False)
frequencies = st.sampled_from((0.0, 50.0, 60.0, 1200.0))


@st.composite
def networks(draw: st.DrawFn, most: int = 7) -> Network:
    """Draw a network without islands: a tree of resistances to n0, and anything across it."""
    count = draw(st.integers(2, most))
    branches: list[Branch] = []
    for k in range(1, count):
        branches.append(Resistance(f"tree{k}", f"n{k}", f"n{draw(st.integers(0, k - 1))}", draw(ohms)))
    for k in range(draw(st.integers(1, 8))):
        a, b = draw(st.permutations(range(count)))[:2]
        ends = (f"n{a}", f"n{b}")
        kind = draw(st.sampled_from((Resistance, Winding, Capacitance, Source)))
        if kind is Resistance:
            branches.append(Resistance(f"extra{k}", *ends, draw(ohms)))
        elif kind is Winding:
            branches.append(Winding(f"extra{k}", *ends, draw(ohms), draw(st.floats(0.0, 2.0))))
        elif kind is Capacitance:
            branches.append(Capacitance(f"extra{k}", *ends, draw(st.floats(0.0, 1e-6))))
        else:
            ac_v, dc_v = draw(volts), draw(st.floats(-20, 20))
            branches.append(Source(f"extra{k}", *ends, draw(ohms), ac_v, dc_v, draw(st.floats(0.0, 0.1))))
    return Network(tuple(branches), "n0")


def _into_node(network: Network, solution: Solution, node: str) -> tuple[complex, float]:
    """Return the sum of the currents that leave a node, and the largest of them."""
    leaving = [solution.a(branch.name) for branch in network.branches if branch.a == node]
    leaving += [-solution.a(branch.name) for branch in network.branches if branch.b == node]
    return sum(leaving), max(map(abs, leaving), default=0.0)


def _assert_same(one: np.ndarray, other: np.ndarray) -> None:
    """Hold two solutions equal to what rounding leaves of 16 digits.

    Resistances from 0.01 to 1e6 ohm in one network cost up to 8 of them, measured by its largest value.
    """
    largest = max(np.abs(one).max(initial=0.0), np.abs(other).max(initial=0.0))
    assert np.allclose(one, other, rtol=0, atol=1e-7 * largest + 1e-12)


@settings(max_examples=150, deadline=None)
@given(networks(), frequencies)
def test_currents_add_up_at_every_node(network: Network, freq_hz: float) -> None:
    """Kirchhoff's current law holds at every node, the reference included."""
    solution = solve(network, freq_hz)
    for node in network.nodes:
        total, largest = _into_node(network, solution, node)
        assert abs(total) <= 1e-6 * max(largest, 1e-6), node


@settings(max_examples=100, deadline=None)
@given(networks(), frequencies)
def test_ohms_law_holds_in_every_branch(network: Network, freq_hz: float) -> None:
    """Each branch carries what its own impedance lets through, worked out from the volts at its ends."""
    solution = solve(network, freq_hz)
    w = 2 * math.pi * freq_hz
    for branch in network.branches:
        across = solution.v(branch.a, branch.b)
        if isinstance(branch, Capacitance):
            expected = 1j * w * branch.c_farad * across
        elif isinstance(branch, Resistance):
            expected = across / branch.r_ohm
        else:
            emf = 0 if isinstance(branch, Winding) else branch.ac_v if freq_hz else branch.dc_v
            expected = (across - emf) / (branch.r_ohm + 1j * w * branch.l_henry)
        assert solution.a(branch.name) == pytest.approx(expected, rel=1e-9, abs=1e-12)


@settings(max_examples=100, deadline=None)
@given(networks(), frequencies)
def test_sources_give_what_the_rest_takes(network: Network, freq_hz: float) -> None:
    """The complex power of all branches, sources included, adds up to nothing (Tellegen)."""
    solution = solve(network, freq_hz)
    powers = [solution.v(b.a, b.b) * solution.a(b.name).conjugate() for b in network.branches]
    assert abs(sum(powers)) <= 1e-6 * max(1e-6, *map(abs, powers))


@settings(max_examples=100, deadline=None)
@given(networks(), frequencies, st.data())
def test_reciprocity(network: Network, freq_hz: float, data: st.DataObject) -> None:
    """Volts at one place from a current at another are the same with the two exchanged."""
    dead = [
        Source(b.name, b.a, b.b, b.r_ohm, 0j, 0.0, b.l_henry) if isinstance(b, Source) else b
        for b in network.branches
    ]
    one, two = data.draw(st.sampled_from(network.nodes[1:])), data.draw(st.sampled_from(network.nodes[1:]))
    stiff = 1e9  # so far above the rest that the source is as good as a current

    def volts_at(there: str, driven: str) -> complex:
        probes = [
            Source(f"probe {node}", node, "n0", stiff, emf, emf)
            for node in dict.fromkeys((one, two))
            for emf in [stiff if node == driven else 0.0]
        ]
        return solve(Network((*dead, *probes), "n0"), freq_hz).v(there)

    assert volts_at(two, one) == pytest.approx(volts_at(one, two), rel=1e-6, abs=1e-9)


@settings(max_examples=100, deadline=None)
@given(networks(), frequencies)
def test_superposition(network: Network, freq_hz: float) -> None:
    """All sources together give the sum of what each gives alone."""
    sources = [b for b in network.branches if isinstance(b, Source)]
    total = np.zeros(len(network.nodes), dtype=complex)
    for alone in sources:
        branches = tuple(
            Source(b.name, b.a, b.b, b.r_ohm, 0j, 0.0, b.l_henry)
            if isinstance(b, Source) and b is not alone
            else b
            for b in network.branches
        )
        total += solve(Network(branches, "n0"), freq_hz).node_v
    _assert_same(total, solve(network, freq_hz).node_v)


@settings(max_examples=40, deadline=None)
@given(st.lists(networks(), min_size=1, max_size=6), frequencies)
def test_a_batch_gives_what_each_gives_alone(many: list[Network], freq_hz: float) -> None:
    """Networks of any mixture of shapes, solved in one call, come out in order and as if alone."""
    many = [*many, many[0]]
    for network, together in zip(many, solve_many(many, freq_hz), strict=True):
        assert together.network is network
        alone = solve(network, freq_hz)
        _assert_same(together.node_v, alone.node_v)
        _assert_same(together.branch_a, alone.branch_a)


def test_direct_current_sees_no_reactance() -> None:
    """At 0 Hz a winding is its copper, a capacitance an open switch, and a source gives its direct volts."""
    network = Network(
        (
            Source("s", "a", "0", 1.0, 24 + 0j, 9.0),
            Winding("w", "a", "0", 8.0, 5.0),
            Capacitance("c", "a", "b", 1e-3),
            Resistance("r", "b", "0", 10.0),
        ),
        "0",
    )
    solution = solve(network, 0.0)
    assert solution.v("a") == pytest.approx(8.0)
    assert solution.v("b") == 0
    assert solution.a("w") == pytest.approx(1.0)


def test_an_island_is_named() -> None:
    """Nodes without a path to the reference are named, all of them and no others."""
    network = Network(
        (Resistance("r", "air:R", "air:C", 1.0), Resistance("far", "out:R", "out:C", 1.0)), "air:C"
    )
    with pytest.raises(FloatingNode, match="no path leads from out:R, out:C back to air:C") as caught:
        solve(network, 60.0)
    assert set(caught.value.nodes) == {"out:R", "out:C"}
    assert "matrix" not in str(caught.value).lower()


def test_open_contacts_and_capacitance_at_rest_carry_no_path() -> None:
    """An open contact never ties a node down, and a capacitance does not at 0 Hz though it does at 60 Hz."""
    open_contact = Network((Resistance("k", "x", "c", math.inf),), "c")
    with pytest.raises(FloatingNode, match="x"):
        solve(open_contact, 60.0)
    only_capacitance = Network((Capacitance("k", "x", "c", 1e-9),), "c")
    assert solve(only_capacitance, 60.0).v("x") == 0
    with pytest.raises(FloatingNode, match="x"):
        solve(only_capacitance, 0.0)


def test_one_island_in_a_batch_is_found() -> None:
    """In a stack of equal wirings, one member with an island is enough for the sentence."""
    good = Network((Resistance("r", "x", "c", 5.0),), "c")
    bad = Network((Resistance("r", "x", "c", math.inf),), "c")
    with pytest.raises(FloatingNode, match="x"):
        solve_many([good, bad, good], 60.0)


def test_a_network_of_one_node_is_no_trouble() -> None:
    """Without a branch there is nothing to solve, and the reference is at 0 V."""
    assert solve(Network((), "c"), 60.0).volts == {"c": 0.0}


def test_unknown_nodes_are_named() -> None:
    """Asking for a node that is not there says which there are, without the quotes of a KeyError."""
    solution = solve(Network((Resistance("r", "air:R", "air:C", 1.0),), "air:C"), 60.0)
    with pytest.raises(UnknownNode) as caught:
        solution.v("air:Q")
    assert str(caught.value) == "there is no terminal 'air:Q' here; there are air:C, air:R"
    with pytest.raises(UnknownNode):
        solution.v("air:R", "nowhere")


@pytest.mark.parametrize(
    "make",
    [
        lambda: Resistance("r", "a", "b", 0.0),
        lambda: Resistance("r", "a", "b", -1.0),
        lambda: Resistance("r", "a", "b", math.nan),
        lambda: Winding("w", "a", "b", 0.0, 1.0),
        lambda: Winding("w", "a", "b", 1.0, -1.0),
        lambda: Capacitance("c", "a", "b", -1e-9),
        lambda: Capacitance("c", "a", "b", math.nan),
        lambda: Source("s", "a", "b", 0.0),
        lambda: Source("s", "a", "b", 1.0, complex(math.nan, 0.0)),
        lambda: Source("s", "a", "b", 1.0, dc_v=math.inf),
        lambda: Resistance("r", "a", "a", 1.0),
        lambda: Resistance("", "a", "b", 1.0),
        lambda: Resistance("r", "a", " ", 1.0),
    ],
)
def test_impossible_parts_are_refused(make: object) -> None:
    """Ideal shorts, ideal sources and negative parts have no place in a network."""
    with pytest.raises(BadParameter, match="but must be"):
        make()  # type: ignore[operator]


@pytest.mark.parametrize("freq_hz", [-1.0, math.nan, math.inf])
def test_impossible_frequencies_are_refused(freq_hz: float) -> None:
    """A frequency is a finite number of hertz, 0 or more."""
    with pytest.raises(BadParameter, match="freq_hz"):
        solve(Network((Resistance("r", "a", "b", 1.0),), "b"), freq_hz)


def test_netlist_has_every_element_on_a_commented_line() -> None:
    """Each element is a line of its own that says what it is, after a title that is a comment."""
    network = Network(
        (
            Source("s", "air:R", "air:C", 1.0, 27.6 + 0j, 0.0, 0.01, note="transformer"),
            Winding("w", "air:R", "air:C", 8.0, 5.0),
            Capacitance("c", "air:R", "air:SIG-out", 1e-9),
            Resistance("open", "air:SIG-out", "air:C", math.inf),
        ),
        "air:C",
    )
    lines = settled_netlist(network, 60.0, "a title\nin two lines").splitlines()
    assert lines[0] == "* a title in two lines"
    elements = [line for line in lines if line[0] in "RLCV"]
    assert len(elements) == 1 + 3 + 2 + 1
    assert all(" ; " in line for line in elements)
    assert sum(line.startswith(".ac ") for line in lines) == 1
    assert ".print ac vr(air_sig_out) vi(air_sig_out)" in lines
    assert lines[-1] == ".end"
    assert ".op" in settled_netlist(network, 0.0, "levels")
    assert spice_name("air:SIG-out") == "air_sig_out"


def test_an_open_contact_is_left_out_of_the_netlist() -> None:
    """Nothing flows in an open contact, so its place holds a comment and no element."""
    network = Network((Resistance("r", "a", "c", 5.0), Resistance("k", "a", "c", math.inf)), "c")
    lines = settled_netlist(network, 60.0, "open").splitlines()
    assert [line for line in lines if "1_k" in line] == ["* R1_k a c is open ; k"]


@pytest.mark.parametrize(("closed", "ohm"), [(True, 2.0), (False, 6.0)])
def test_a_switch_counts_in_its_first_position(closed: bool, ohm: float) -> None:
    """Settled, a switch is the resistance of its position before the first toggle: here half of a divider."""
    switch = Switch("k", "x", "0", closed, (0.1,), 2.0, 6.0)
    network = Network((Source("s", "a", "0", 1e-9, 24 + 0j), Resistance("r", "a", "x", ohm), switch), "0")
    assert solve(network, 60.0).v("x") == pytest.approx(12)
    assert solve(network, 60.0).thevenin("x", "0").z_ohm == pytest.approx(ohm / 2)


def test_a_thevenin_source_is_the_divider() -> None:
    """Behind two equal ohms stand half the volts and half the ohms; a load of as much halves them again."""
    network = Network(
        (
            Source("s", "a", "0", 1e-9, 24 + 0j),
            Resistance("up", "a", "x", 100.0),
            Resistance("down", "x", "0", 100.0),
            Resistance("side", "x", "y", 7.0),
        ),
        "0",
    )
    source = solve(network, 60.0).thevenin("x", "0")
    assert (source.open_v, source.z_ohm) == (pytest.approx(12), pytest.approx(50))
    assert source.loaded_v(50.0) == pytest.approx(6)
    solution = solve(network, 60.0)
    assert solution.between([("x", "0"), ("x", "y"), ("y", "0"), ("y", "a")]) == pytest.approx(
        [50, 7, 57, 57]
    )
    assert solution.volts["x"] == pytest.approx(12)
    assert solution.v("a", "x") == pytest.approx(12)
    for one, two in (("0", "x"), ("y", "x"), ("0", "y")):
        assert solution.thevenin(one, two).z_ohm == pytest.approx(solution.between([(one, two)])[0])
