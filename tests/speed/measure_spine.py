"""How fast the bench is: settled states, a simulated hour, import, and the solver against starting ngspice.

    python tests/speed/measure_spine.py [--out FOLDER] [--repeat N]

prints what was asked for beside what was measured, the cost against the number of nodes and of cases, and the
same circuits solved here and by a freshly started ngspice, side by side. With --out it draws the costs as
`spine.png` in that folder. Nothing fails: a busy machine is not a bug.

`import lessonkit` asks for one thread of numpy's linear algebra; --all-threads measures once more with as
many as the machine has cores, which tells why.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

import lessonkit  # noqa: F401  (first, since it sets how many threads numpy gets)

# isort: split
import numpy as np
from rich.console import Console
from rich.table import Table

from lessonkit.bench.bench import Bench
from lessonkit.copper.elements import Resistance, Source, Winding
from lessonkit.copper.network import Network, solve, solve_many
from lessonkit.job.calls import CALLS
from lessonkit.job.faults import Fault, single_faults
from lessonkit.job.model import Job
from lessonkit.job.toml import demo_job, demo_names
from lessonkit.studies.cases import every_case, rest

CONSOLE = Console()
IMPORTS = 7
SETTLED = "a settled state: a new call on a living bench"
READ = "the same, and everything read that a face shows"
COLD = "one solution of a network never seen before"


def timed(act: Callable[[], object]) -> float:
    """Return the seconds that one run takes."""
    start = time.perf_counter()
    act()
    return time.perf_counter() - start


def spread(seconds: Sequence[float]) -> str:
    """Return median, 95th percentile and worst in milliseconds."""
    p95 = float(np.quantile(seconds, 0.95))
    return f"{1e3 * statistics.median(seconds):.2f} / {1e3 * p95:.2f} / {1e3 * max(seconds):.2f}"


def settled_states(job: Job, faults: Sequence[Fault | None]) -> tuple[list[float], list[float]]:
    """Time a new call on a broken bench: settling alone, and settling with everything that a face reads."""
    alone, read = [], []
    for fault in faults:
        bench = Bench(job, faults=[fault] if fault else [])
        for call in CALLS[1:]:
            alone.append(timed(partial(bench.set_call, call)))
            read.append(alone[-1] + timed(partial(getattr, bench, "state")))
    return alone, read


def simulated_hour(job: Job, call: str, outdoor_c: float, *faults: str) -> float:
    """Time an hour of a job."""
    bench = Bench(job, outdoor_c=outdoor_c)
    bench.set_call(call)
    bench.advance(5.0)
    bench.set_faults(faults)
    return timed(lambda: bench.advance(3600.0))


def fresh_import() -> list[float]:
    """Time `import lessonkit` in new processes, less what an empty Python takes."""

    def run(code: str) -> float:
        return timed(lambda: subprocess.run([sys.executable, "-c", code], check=True))

    run("import lessonkit")
    empty = statistics.median(run("pass") for _ in range(IMPORTS))
    return [run("import lessonkit") - empty for _ in range(IMPORTS)]


def starting_ngspice(program: str, benches: Sequence[Bench]) -> dict[str, list[float]]:
    """Time what ngspice and the bench take for the same circuits."""
    found: dict[str, list[float]] = {"starting ngspice": [], SETTLED: [], READ: [], COLD: []}
    with tempfile.TemporaryDirectory() as folder:
        deck = Path(folder, "bench.cir")
        command = [program, "-b", deck.name]
        for bench in benches:
            deck.write_text(bench.to_spice(), encoding="utf-8")
            run = partial(subprocess.run, command, cwd=folder, capture_output=True, check=True)
            found["starting ngspice"].append(timed(run))
            living = Bench(
                bench.job
            )  # like the bench on a table: it has been used before, but not for this call
            living.set_call("off" if bench.call != "off" else "fan")
            living.advance(3.0)
            found[SETTLED].append(timed(partial(living.set_call, bench.call)))
            found[READ].append(found[SETTLED][-1] + timed(partial(getattr, living, "state")))
            found[COLD].append(timed(partial(solve, bench.network(), bench.job.frequency_hz)))
    return found


def ladder(nodes: int) -> Network:
    """Return a long line of loads, as large as wanted."""
    branches: list[Resistance | Winding | Source] = [Source("s", "n1", "n0", 1.0, 27 + 0j)]
    for k in range(1, nodes - 1):
        branches.append(Resistance(f"r{k}", f"n{k}", f"n{k + 1}", 0.5))
        branches.append(Winding(f"w{k}", f"n{k + 1}", "n0", 100.0, 0.3))
    return Network(tuple(branches), "n0")


def cost_by_nodes(repeat: int) -> dict[int, float]:
    """Return nodes -> median seconds of one solution."""
    found = {}
    for nodes in (5, 10, 20, 34, 50, 100, 200):
        network = ladder(nodes)
        solve(network, 60.0)
        found[nodes] = statistics.median(timed(partial(solve, network, 60.0)) for _ in range(repeat))
    return found


def cost_by_cases(repeat: int) -> dict[int, float]:
    """Return cases in one call -> median seconds for each case, circuits of one shape."""
    bench = Bench(demo_job("two-run"))
    networks = []
    for call in CALLS:
        bench.set_call(call)
        bench.advance(3.0)
        networks.append(bench.network())
    found = {}
    for cases in (1, 2, 5, 10, 20, 50, 100, 200):
        batch = [networks[k % len(networks)] for k in range(cases)]
        seconds = statistics.median(
            timed(partial(solve_many, batch, 60.0)) for _ in range(max(repeat // 5, 3))
        )
        found[cases] = seconds / cases
    return found


def draw(nodes: dict[int, float], cases: dict[int, float], path: Path) -> None:
    """Draw both costs side by side."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(1, 2, figsize=(10, 4), layout="constrained")
    for axis, data, what in (
        (axes[0], nodes, "nodes of one circuit"),
        (axes[1], cases, "circuits in one call"),
    ):
        axis.loglog(list(data), [1e3 * s for s in data.values()], "o-", color="#0072B2")
        axis.set_xlabel(what)
        axis.set_ylabel("milliseconds a circuit")
        axis.grid(True, which="both", alpha=0.3)
    figure.savefig(path, dpi=120)


def table(title: str, *columns: str) -> Table:
    """Return an empty table."""
    found = Table(title=title, title_justify="left")
    for column in columns:
        found.add_column(column)
    return found


def report(repeat: int, out: Path | None) -> None:
    """Measure and print everything."""
    threads = os.environ.get("OPENBLAS_NUM_THREADS", "all")
    CONSOLE.print(f"{os.cpu_count()} cores; threads for linear algebra: {threads}")

    speed = table(
        "Settled states, ms: median / 95 % / worst", "job", "settled (asked: 5)", "and read by a face"
    )
    for name in demo_names():
        job = demo_job(name)
        alone, read = settled_states(job, [None, *list(single_faults(job))[::3]])
        speed.add_row(name, spread(alone), spread(read))
    CONSOLE.print(speed)

    hours = table("A simulated hour, s (asked: 1)", "job", "story", "seconds")
    for name, call, outdoor_c, faults in (
        ("full-cable", "heat-2", -5.0, ()),
        ("two-run", "cool-2", 30.0, ()),
        ("two-run", "heat-aux", -5.0, ()),
        ("two-run", "cool-2", 30.0, ("outdoor.SIG=noise:3",)),
        ("earth-return", "cool-2", 30.0, ("outdoor.earth=resistance:5",)),
    ):
        seconds = simulated_hour(demo_job(name), call, outdoor_c, *faults)
        hours.add_row(name, ", ".join((call, f"{outdoor_c:g} C outdoors", *faults)), f"{seconds:.3f}")
    CONSOLE.print(hours)

    loads = fresh_import()
    CONSOLE.print(f"import lessonkit, beyond an empty Python (asked: 200): {spread(loads)} ms")

    batch = table("Every call with every single fault, in one go", "job", "cases", "seconds", "ms a case")
    for name in demo_names():
        job = demo_job(name)
        cases = every_case(job)
        seconds = timed(partial(rest, job, cases))
        batch.add_row(name, str(len(cases)), f"{seconds:.2f}", f"{1e3 * seconds / len(cases):.2f}")
    CONSOLE.print(batch)

    program = shutil.which("ngspice")
    if program:
        benches = []
        for name in demo_names():
            for call in CALLS:
                bench = Bench(demo_job(name))
                bench.set_call(call)
                bench.advance(3.0)
                benches.append(bench)
        against = table(
            "The same circuits, ms: median / 95 % / worst", "what", "time", "ngspice / this (asked: 20)"
        )
        found = starting_ngspice(program, benches)
        theirs = statistics.median(found["starting ngspice"])
        for what, seconds in found.items():
            against.add_row(what, spread(seconds), f"{theirs / statistics.median(seconds):.0f}")
        CONSOLE.print(against)
    else:
        CONSOLE.print("ngspice is not on this machine, so nothing is set beside it")

    nodes, cases_cost = cost_by_nodes(repeat), cost_by_cases(repeat)
    costs = table("Cost of a solution, ms", "nodes", "one circuit", "cases in one call", "each of them")
    for (n, seconds), (many, each) in zip([*nodes.items(), ("", 0.0)], cases_cost.items(), strict=False):
        costs.add_row(str(n), f"{1e3 * seconds:.3f}" if n else "", str(many), f"{1e3 * each:.3f}")
    CONSOLE.print(costs)
    if out:
        out.mkdir(parents=True, exist_ok=True)
        draw(nodes, cases_cost, out / "spine.png")
        CONSOLE.print(f"drawn in {out / 'spine.png'}")


def main() -> None:
    """Measure here, and once more with all threads in a process of its own."""
    parser = argparse.ArgumentParser(description="Measure how fast the bench is.")
    parser.add_argument("--out", type=Path, help="folder for the picture of the costs")
    parser.add_argument("--repeat", type=int, default=50, help="repetitions for the costs (default: 50)")
    parser.add_argument("--all-threads", action="store_true", help="measure once more with all threads")
    options = parser.parse_args()
    report(options.repeat, options.out)
    if options.all_threads:
        env = os.environ | {"OPENBLAS_NUM_THREADS": str(os.cpu_count())}
        subprocess.run([sys.executable, __file__, "--repeat", str(options.repeat)], env=env, check=True)


if __name__ == "__main__":
    main()
