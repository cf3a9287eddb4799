"""The VA budget: what every call asks of the transformer, and the state that asks for most.

A nameplate says VA at 24 V, sealed and inrush. A budget adds the sealed VA of the coils that a call energises
and the VA of the boards, which draw theirs always. The bench then says what the transformer gives in that
state: its volts differ from 24, so its VA does, too.

The state that asks for most is seldom a call of the thermostat: in a defrost the outdoor board keeps the
compressor, may turn the valve and asks for auxiliary heat as well.
"""

from __future__ import annotations

from dataclasses import dataclass

from lessonkit.bench.bench import Bench
from lessonkit.bench.state import State
from lessonkit.job.calls import CALLS
from lessonkit.job.model import Job
from lessonkit.job.toml import load_job

__all__ = ["Budget", "BudgetRow", "va_budget"]

#: Seconds until what a call energises has settled, and from then on into a defrost.
SETTLED_S, DEFROST_S = 20.0, 30.0
#: Cold enough for the coil to frost, and a call under which everything may run at once.
FROST_C, DEFROST_CALL = -2.0, "heat-aux"


@dataclass(frozen=True)
class BudgetRow:
    """One state: the coils that are in, VA by nameplates, VA on the bench.

    `sealed_va` is the nameplates' sum with boards, `inrush_va` that of the same coils before they have pulled
    in; `bench_va` is what the supply gives, volts times amperes, both RMS.
    """

    name: str
    coils: tuple[str, ...]
    sealed_va: float
    inrush_va: float
    bench_va: float


@dataclass(frozen=True)
class Budget:
    """A table of states with their VA; shown last in a cell, it is a table."""

    rows: tuple[BudgetRow, ...]
    rated_va: float

    @property
    def hungriest(self) -> BudgetRow:
        """Return the state that draws most on the bench."""
        return max(self.rows, key=lambda row: row.bench_va)

    def __str__(self) -> str:
        return "\n".join(
            f"{row.name:9}  {row.sealed_va:5.1f} VA  {row.bench_va:5.1f} VA" for row in self.rows
        )

    __repr__ = __str__

    def _repr_markdown_(self) -> str:
        head = (
            "| state | coils that are in | nameplates, VA at 24 V | on the bench, VA | their inrush, VA |\n"
        )
        rule = "| --- | --- | --- | --- | --- |\n"
        return (
            head
            + rule
            + "\n".join(
                f"| {row.name} | {', '.join(row.coils)} | {row.sealed_va:.1f} | {row.bench_va:.1f} | "
                f"{row.inrush_va:.0f} |"
                for row in self.rows
            )
        )


def _row(name: str, state: State, job: Job) -> BudgetRow:
    inside = [coil.partition(":")[2] for coil, held in state.coils.items() if held.sealed]
    boards_va = job.thermostat.load_va + job.defrost_board.load_va
    return BudgetRow(
        name,
        tuple(coil.replace("-", " ") for coil in inside),
        sum(job.coil(coil).sealed_va for coil in inside) + boards_va,
        sum(job.coil(coil).inrush_va for coil in inside),
        float(state.va["air"]),
    )


def va_budget(job: Job | str = "full-cable") -> Budget:
    """Return what each call, and a defrost, asks of the supply.

    The defrost comes under `heat-aux`. `job` has a conductor for each terminal; what the electronics of a
    link draw is in `bench_va` alone.
    """
    job = load_job(job) if isinstance(job, str) else job
    rows = [
        _row(call, Bench(job, call=call).advance(SETTLED_S), job)
        for call in CALLS
        if call not in ("off", "fan")
    ]
    bench = Bench(job, call=DEFROST_CALL, outdoor_c=FROST_C)
    bench.advance(SETTLED_S)
    bench.force_defrost()
    rows.append(_row("defrost", bench.advance(DEFROST_S), job))
    return Budget(tuple(rows), job.supply.rated_va)
