"""A commissioning sheet as a page to print and to fill in with a pencil.

Every step has its box, its band and a line for the reading; what has to be done first stands above it.  The
picture shows the job in its heaviest call, with the volts that the sound one has.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from html import escape
from itertools import groupby

from lessonkit.draw import paper
from lessonkit.draw.view import show_bench
from lessonkit.job.calls import PLACE_WORDS
from lessonkit.job.model import RUN_ENDS, Job, is_idle
from lessonkit.studies.commissioning import RING_OUT, calls_of
from lessonkit.studies.corners import WORDS
from lessonkit.studies.customary import c_to_f
from lessonkit.studies.prove import Proof
from lessonkit.studies.sheet import Step, shown

__all__ = ["prove_page", "step_words"]

#: So many steps of a list stay on one sheet of paper, the first ones with what stands above them.
_KEPT = 12


def prove_page(proof: Proof) -> str:
    """Return the sheet of a job as HTML text."""
    job = proof.job
    return paper.page(f"Commissioning sheet of {job.title or job.name}", _body(proof, job))


def _body(proof: Proof, job: Job) -> Iterator[str]:
    yield f"<h1>Commissioning sheet: {escape(job.title or job.name)}</h1>"
    if job.story:
        yield f"<p>{escape(job.story)}</p>"
    yield (
        f'<p>Site <span class="line long"></span> Date {paper.DATE_LINE} Meter and its number '
        '<span class="line long"></span></p>'
    )
    yield paper.cautions(*_own_cautions(proof, job))
    call = "cool-2" if "cool-2" in calls_of(job) else "cool-1"
    picture = show_bench(job, call, seconds=job.equipment.short_cycle_s + 60.0)
    yield paper.figure(picture.svg, f"The sound job under {call}, with its volts.")
    yield "<h2>The job</h2>"
    yield paper.facts(_facts(job))
    yield (
        f"<p>A band counts {escape('; '.join(WORDS.values()))}. Volts and amperes are RMS. A reading outside "
        "its band is a question: write it down as it is, and go on only if it is safe.</p>"
    )
    yield "<h2>Wiring schedule</h2>"
    heads = ("Run", "Conductor", "Near end", "Far end", "Colour of the jacket")
    yield paper.table(heads, _schedule(job), kind="together")
    *parts, last = (_part(part, list(steps)) for part, steps in groupby(proof.steps, key=lambda s: s.part))
    for lines in parts:
        yield from lines
    # Nobody signs a sheet of paper that says nothing of what is signed.
    signed = "<h2>Signed</h2>", paper.signatures("Technician", "Owner")
    yield paper.together((*last, *signed))


def _part(title: str, steps: list[Step]) -> Iterator[str]:
    calls = {step.call for step in steps}
    call = calls.pop() if steps[0].call and len(calls) == 1 else ""
    yield from _steps(steps, f"<h2>{escape(title)}{f' ({call})' if call not in ('', 'off') else ''}</h2>")


def _own_cautions(proof: Proof, job: Job) -> Iterator[str]:
    yield (
        "An insulation tester destroys electronics: every board is off the conductor before it is tested, at "
        "both ends."
    )
    if job.outdoor_run.far_supply is not None:
        yield "Two supplies feed this job. Open both disconnects, and prove dead at both places."
    if job.outdoor_run.return_by == "earth":
        yield paper.earth_caution(max(float(s.high) for s in proof.steps if s.red == "outdoor.earth"))


def _facts(job: Job) -> Iterator[tuple[str, str, str]]:
    for name, run in job.runs.items():
        used = run.arrangement if run.arrangement == "direct" else f"link, return by {run.return_by}"
        yield f"{name} run ({used.replace('-', ' ')})", *paper.length_words(run.length_m)
        yield f"{name} run, wire", *paper.gauge_words(run.gauge_awg)
        ohm = f"{run.conductor_ohm:.2f} ohm"
        yield f"{name} run, one conductor", ohm, ohm
    for place, supply in (("air", job.supply), ("out", job.outdoor_run.far_supply)):
        if supply is not None:
            words = f"{supply.rated_va:g} VA, {supply.protector} {supply.fuse_a:g} A"
            yield f"supply at the {PLACE_WORDS[place]}", words, words
    stat = job.outdoor_thermostat
    for what, at_c in (
        ("auxiliary heat locked out above", None if stat is None else stat.auxiliary_above_c),
        ("compressor locked out below", None if stat is None else stat.compressor_below_c),
    ):
        if at_c is not None:
            yield what, f"{at_c:.1f} °C", f"{c_to_f(at_c):.0f} °F"


def _schedule(job: Job) -> Iterator[tuple[str, str, str, str, str]]:
    for run, cable in job.runs.items():
        near, far = (PLACE_WORDS[place] for place in RUN_ENDS[run])
        for name in cable.conductors:
            end = "free" if is_idle(name) else name
            yield run, name, f"{near}: {end}", f"{far}: {end}", ""
    if job.outdoor_run.return_by == "earth":
        near, far = (f"{PLACE_WORDS[place]}: C to metal" for place in RUN_ENDS["outdoor"])
        yield "outdoor", "equipment ground", near, far, ""


def _steps(steps: list[Step], above: str) -> Iterator[str]:
    """Yield the steps of a part, each list of them with what stands above it."""
    listed: list[str] = []
    for step in steps:
        if step.before:
            if listed:
                yield _block(above, listed)
                above, listed = "", []
            above += "".join(_before(step))
        listed.append(_step(step))
    yield _block(above, listed)


def _block(above: str, listed: list[str]) -> str:
    """Return a list under its heading, in equal pieces between which a sheet of paper may end."""
    size = math.ceil(len(listed) / math.ceil(len(listed) / _KEPT))
    pieces = ("".join(listed[k : k + size]) for k in range(0, len(listed), size))
    lists = [f'<ul class="steps">{piece}</ul>' for piece in pieces]
    return "".join(paper.together([piece]) for piece in (above + lists[0], *lists[1:]))


def _before(step: Step) -> Iterator[str]:
    """Yield what stands above a reading: its caution, boxes to tick, and what is done."""
    if step.warning:
        yield f'<p class="live">{escape(step.warning)}.</p>'
    if step.first:
        yield f'<div class="before">{paper.ticks(map(_capital, step.first))}</div>'
    if step.do:
        yield f'<p class="do">{escape(_capital(step.do))}:</p>'


def _step(step: Step) -> str:
    what, wanted = step_words(step)
    named = f'<li>{paper.BOX}<b>{step.number}</b> <span class="what">{escape(what)}</span>'
    if step.unit == "tick":
        return f"{named}</li>"
    band = escape(wanted) if step.is_number else f"<b>{escape(wanted)}</b>"
    line = paper.LINE if step.is_number else paper.WORD_LINE
    return f'{named} <span class="band">{band}</span> {line}</li>'


def step_words(step: Step) -> tuple[str, str]:
    """Return what is read at a step, in as few words as a line has room for, and what it has to be."""
    if step.is_number:
        return _capital(_points(step)), _band(step)
    return _capital(step.act.removeprefix("look: ")), str(step.low)


def _points(step: Step) -> str:
    if not step.black:
        place, _, part = step.red.partition(":")
        return f"clamp: {part}, {PLACE_WORDS[place]}" if part else "clamp: equipment ground"
    red, black = paper.end_words(step.red), paper.end_words(step.black)
    if step.part == RING_OUT:
        return f"{red} – {black}"
    if step.unit == "Mohm":
        return f"{red} {step.act.removeprefix('insulation ')}"
    if step.act.startswith("ohms of"):
        return step.act.removeprefix("ohms of ").removeprefix("the ")
    here, there = paper.place_words(step.red), paper.place_words(step.black)
    where = here if here == there else f"{here} to {there}"
    act = "" if step.act.startswith("volts") else f"{step.act}, "
    return f"{act}{red} – {black}, {where}"


def _band(step: Step) -> str:
    low, high = shown(step.low, step.unit), shown(step.high, step.unit)
    if high == "OL":
        return f"≥ {low} {step.unit}" if low != "OL" else "OL"
    return f"{low} to {high} {step.unit}"


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
