"""How fast many cases are side by side: by their number, by job, beside lone benches, beside ngspice.

Run `pytest tests/speed/test_cases_speed.py -s`. Nothing here fails for being slow; each figure is the best of
a few runs, which a busy machine disturbs least, and the aim stands beside it. `measure_spine.py` measures
single solutions and settled states by nodes; here it is whole ends: settled circuit, frames, relays, until
nothing moves.
"""

from __future__ import annotations

import shutil
import subprocess
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest
from rich.console import Console
from rich.table import Table

from lessonkit.bench.bench import Bench
from lessonkit.bench.wiring import Wiring
from lessonkit.copper.spice import settled_netlist
from lessonkit.draw.palette import OKABE_ITO
from lessonkit.draw.still import axes
from lessonkit.job.model import Job
from lessonkit.job.toml import demo_job, demo_names
from lessonkit.studies.cases import Case, every_case, if_held, rest
from lessonkit.studies.sweeps import earth_sweep

NUMBERS = (1, 3, 10, 30, 100, 300)


def best_s(act: Callable[[], object], runs: int = 3) -> float:
    """Return the seconds of the fastest run, after one that warms up."""
    act()
    found = []
    for _ in range(runs):
        start = time.perf_counter()
        act()
        found.append(time.perf_counter() - start)
    return min(found)


def spread_out(cases: tuple[Case, ...], number: int) -> list[Case]:
    """Return so many cases, from all over the list."""
    return [cases[k * len(cases) // number] for k in range(number)]


def show(table: Table) -> None:
    """Print a table under the name of the test that made it."""
    Console(width=110).print("\n", table)


def lived(job: Job, case: Case) -> str:
    """Return what the house gets after a lone bench lived through a case."""
    bench = Bench(job, outdoor_c=20.0)
    bench.advance(5.0)
    bench.set_faults(case.faults)
    bench.advance(15.0)
    bench.set_call(case.call)
    return bench.advance(45.0).delivering


def test_cost_by_number_of_cases(tmp_path: Path) -> None:
    """The two-run job's ends, 1 to all single faults under all calls; a plot goes to the test's folder."""
    job = demo_job("two-run")
    every = every_case(job)
    table = Table(title="two-run: ends of cases", title_justify="left")
    for column in ("cases", "seconds", "ms a case", "cases a second"):
        table.add_column(column, justify="right")
    each_ms = {}
    for number in (*NUMBERS, len(every)):
        cases = spread_out(every, number)
        seconds = best_s(partial(rest, job, cases))
        each_ms[number] = 1e3 * seconds / number
        table.add_row(str(number), f"{seconds:.3f}", f"{each_ms[number]:.2f}", f"{number / seconds:.0f}")
    show(table)
    figure, (ax,) = axes(8.0, 3.8)
    ax.loglog(list(each_ms), list(each_ms.values()), "o-", lw=2.5, ms=8, color=OKABE_ITO["blue"])
    ax.set(xlabel="cases in one call", ylabel="milliseconds a case")
    figure.savefig(tmp_path / "cases.png")
    print(f"drawn in {tmp_path / 'cases.png'}")
    assert len(rest(job, every)) == len(every) == 560


@pytest.mark.parametrize("name", demo_names())
def test_all_single_faults_under_all_calls(name: str) -> None:
    """Every demo job's whole table of faults, and how much of it lone benches would take."""
    job = demo_job(name)
    every = every_case(job)
    together_s = best_s(partial(rest, job, every), runs=2)
    sample = spread_out(every, 24)
    alone_s = best_s(lambda: [lived(job, case) for case in sample], runs=1) / len(sample) * len(every)
    table = Table(title=f"{name}: {len(Wiring(job).template.nodes)} nodes, {len(every)} cases")
    for column in ("side by side, s", "cases a second", "lone benches, s", "times"):
        table.add_column(column, justify="right")
    table.add_row(
        f"{together_s:.2f}",
        f"{len(every) / together_s:.0f}",
        f"{alone_s:.1f} (from {len(sample)})",
        f"{alone_s / together_s:.0f}",
    )
    show(table)


@pytest.mark.ngspice
def test_ends_beside_starting_ngspice(tmp_path: Path) -> None:
    """The same circuits of the two-run job: one start of ngspice each, against a whole end each; aim 20."""
    job = demo_job("two-run")
    every = every_case(job)
    cases = spread_out(every, 20)
    program = shutil.which("ngspice")
    assert program is not None
    decks = []
    for k, end in enumerate(rest(job, cases)):
        network = Wiring(job, end.case.faults).network(end.settled.on)
        decks.append(tmp_path / f"{k}.cir")
        decks[-1].write_text(settled_netlist(network, job.frequency_hz, "an end"), encoding="utf-8")

    def ngspice() -> None:
        for deck in decks:
            subprocess.run([program, "-b", str(deck)], capture_output=True, check=True)

    theirs_s = best_s(ngspice) / len(cases)
    table = Table(title="a circuit of the two-run job, ms", title_justify="left")
    for column in ("what", "ms a case", "ngspice / this"):
        table.add_column(column, justify="right")
    table.add_row("one start of ngspice, circuit given", f"{1e3 * theirs_s:.2f}", "1")
    for words, batch, act in (
        ("settled under load, all together", every, if_held),
        ("a whole end, all together", every, rest),
        ("a whole end, alone", every[20:21], rest),
    ):
        each_s = best_s(partial(act, job, batch)) / len(batch)
        table.add_row(words, f"{1e3 * each_s:.2f}", f"{theirs_s / each_s:.0f}")
    show(table)


def test_an_earth_sweep() -> None:
    """What the picture of an earth return costs, with as many points as a smooth curve wants."""
    job = demo_job("earth-return")
    ohms = [0.1 * 10 ** (k / 20) for k in range(61)]
    print(f"\nearth sweep of {len(ohms)} points: {best_s(partial(earth_sweep, job, ohms)):.2f} s")
