"""A model laid over the readings of a real site: line volts, splices and ground fitted by least squares.

A model that was never held against a site may be believed as far as its numbers are: gauge, length, coils
by their nameplates.  Readings say more.  Three things that no file knows are moved until the bench reads
what was read: the line's share of nominal, ohms of a splice in R of each run (more ohms anywhere in the loop
look the same), and the ohms of equipment ground.  The **residual** is what is left: readings of a sound site
leave as much as a meter errs by; more says that something else is wrong, which no splice explains.

The sum of squares of (read - computed) / doubt is made least by Gauss and Newton's steps; contacts and coils
stay as the sound bench has them, so that volts are smooth in what is moved.

Where the model stops: two unknowns that act alike are shared out between them, as small as may be.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lessonkit.bench.reading import Reading
from lessonkit.job.faults import Fault
from lessonkit.studies.commissioning import RING_OUT
from lessonkit.studies.prove import Proof
from lessonkit.studies.sheet import Read
from lessonkit.studies.technician import read_again

__all__ = ["Fit", "fit"]

#: Coils and boards differ from their files: doubt of a reading beside the meter's own, a share of it (ours).
_SHARE = 0.01
_ROUNDS = 6
#: A splice or a ground below this is none.
_LEAST_OHM = 1e-3


@dataclass(frozen=True)
class Fit:
    """What the readings say of the site.

    `line` is the line's share of nominal, `splice_ohm` the ohms beyond copper in R of each run, `earth_ohm`
    equipment ground; a number that no reading tells is left out (None). `residual_v` is the RMS of what is
    left of the volts, `worst` the step where most is left and how much; `used` counts readings, `gone` those
    of volts that are left out because most of them are missing. `before_v` and `left_v` map each step of
    volts that was used to reading less model, before anything is moved and at the end; `doubt_v` to the doubt
    of the reading.
    """

    line: float | None
    splice_ohm: Mapping[str, float]
    earth_ohm: float | None
    residual_v: float
    worst: tuple[int, float]
    used: int
    gone: int
    before_v: Mapping[int, float]
    left_v: Mapping[int, float]
    doubt_v: Mapping[int, float]

    def __str__(self) -> str:
        """Return what fits best, and what is left over, a line each."""
        told = [] if self.line is None else [f"line {self.line:.1%} of nominal"]
        told += [f"{ohm:.2f} ohm of splices in R of the {run} run" for run, ohm in self.splice_ohm.items()]
        told += [] if self.earth_ohm is None else [f"equipment ground {self.earth_ohm:.2f} ohm"]
        step, volts = self.worst
        lines = [
            f"The model fits {self.used} readings best with: {', '.join(told) or 'nothing that they tell'}.",
            f"  left over: {self.residual_v:.2f} V (RMS); most at step {step}, {volts:+.2f} V",
        ]
        if self.gone:
            lines.append(f"  {self.gone} readings of volts are left out, for most of their volts are missing")
        return "\n".join(lines)

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain data, ready for JSON."""
        return {
            "line": None if self.line is None else round(self.line, 4),
            "splice_ohm": {run: round(ohm, 3) for run, ohm in self.splice_ohm.items()},
            "earth_ohm": None if self.earth_ohm is None else round(self.earth_ohm, 3),
            "residual_v": round(self.residual_v, 4),
            "worst": {"step": self.worst[0], "v": round(self.worst[1], 4)},
            "used": self.used,
            "gone": self.gone,
        }


class _Model:
    """What every usable step would read, as a function of what is moved."""

    def __init__(self, proof: Proof, readings: Mapping[int, Read]) -> None:
        self.job = proof.job
        self.runs = [run for run, cable in proof.job.runs.items() if "R" in cable.conductors]
        usable = [
            step
            for step in proof.steps
            if step.number in readings
            and step.unit in ("V", "ohm")
            and not isinstance(step.low, str)
            and math.isfinite(float(readings[step.number]))
            and math.isfinite(float(step.high))
        ]
        ground = ("air:GND", "out:GND")
        live = [s for s in usable if s.unit == "V" and float(s.low) > 2.0]
        # Volts that are gone say that a contact is open or a wire broken, which no number here can say.
        volts = [s for s in live if float(readings[s.number]) > 0.5 * float(proof.taken[s.number - 1].value)]
        self.gone = len(live) - len(volts)
        loops = [s for s in usable if s.part == RING_OUT or (s.red, s.black) == ground]
        self.steps = [*volts, *loops]
        self.taken = [proof.taken[step.number - 1] for step in self.steps]
        self.read = np.array([float(readings[step.number]) for step in self.steps])
        self.volts = len(volts)
        settings = {"V": "high", "ohm": "ohms"}
        errors = [
            Reading(r, s.unit, (), settings[s.unit]).error for r, s in zip(self.read, self.steps, strict=True)
        ]
        self.doubt = np.hypot(np.array(errors), _SHARE * self.read) if errors else np.zeros(0)
        self.start = np.array([1.0, *(0.0 for _ in self.runs), proof.job.outdoor_run.earth_ohm])

    def __call__(self, x: NDArray[np.float64]) -> NDArray[np.float64]:
        line, splices, earth_ohm = float(x[0]), dict(zip(self.runs, x[1:-1], strict=True)), float(x[-1])
        job = self.job.with_run("outdoor", earth_ohm=earth_ohm)
        faults = [Fault(run, "R", "resistance", float(ohm)) for run, ohm in splices.items() if ohm > 0.01]
        # A line with other volts is to the circuit what a transformer with another share of them is.
        supplies = ("air", "out") if job.outdoor_run.far_supply is not None else ("air",)
        faults += [Fault(place, "transformer", "weak", line) for place in supplies]
        again = read_again(self.taken, job, faults)
        return np.array([self._one(k, again[k], splices, earth_ohm) for k in range(len(self.steps))])

    def _one(self, k: int, again: Reading | None, splices: Mapping[str, float], earth_ohm: float) -> float:
        if again is not None:
            return float(again)
        step, sound = self.steps[k], float(self.taken[k].value)
        if step.part != RING_OUT:
            return earth_ohm
        extra = [ohm for run, ohm in splices.items() if f"air:{run}.R" in (step.red, step.black)]
        return sound + sum(max(ohm, 0.0) for ohm in extra)


def fit(proof: Proof, readings: Mapping[int, Read]) -> Fit | None:
    """Return what the readings of a sheet say of its site, or None where too few of them are numbers."""
    model = _Model(proof, readings)
    if len(model.steps) < 2:
        return None
    x, jacobian = model.start, np.zeros((len(model.steps), model.start.size))
    before = (model.read - model(x))[: model.volts]
    for _ in range(_ROUNDS):
        now = model(x)
        jacobian = _slopes(model, x, now) / model.doubt[:, None]
        move, *_ = np.linalg.lstsq(jacobian, (model.read - now) / model.doubt, rcond=1e-6)
        after = x + move
        after[0] = min(max(after[0], 0.02), 1.19)
        after[1:-1] = np.maximum(after[1:-1], 0.0)
        after[-1] = max(after[-1], _LEAST_OHM)
        done = bool(np.all(np.abs(after - x) < 1e-4))
        x = after
        if done:
            break
    left = (model.read - model(x))[: model.volts]
    told = np.linalg.norm(jacobian, axis=0) > 0.3
    worst = int(np.argmax(np.abs(left))) if left.size else 0
    return Fit(
        line=float(x[0]) if told[0] else None,
        splice_ohm={run: float(x[1 + k]) for k, run in enumerate(model.runs) if told[1 + k]},
        earth_ohm=float(x[-1]) if told[-1] else None,
        residual_v=float(np.sqrt(np.mean(left**2))) if left.size else 0.0,
        worst=(model.steps[worst].number, float(left[worst]) if left.size else 0.0),
        used=len(model.steps),
        gone=model.gone,
        before_v=_by_step(model, before),
        left_v=_by_step(model, left),
        doubt_v=_by_step(model, model.doubt[: model.volts]),
    )


def _by_step(model: _Model, volts: NDArray[np.float64]) -> dict[int, float]:
    """Return volts by the number of the step."""
    return {step.number: float(v) for step, v in zip(model.steps[: model.volts], volts, strict=True)}


def _slopes(
    model: Callable[[NDArray[np.float64]], NDArray[np.float64]],
    x: NDArray[np.float64],
    now: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return how each reading moves with each unknown, by small differences."""
    columns = []
    for k in range(x.size):
        step = 0.01 if k == 0 else 0.1
        there = x.copy()
        there[k] += step
        columns.append((model(there) - now) / step)
    return np.stack(columns, axis=1)
