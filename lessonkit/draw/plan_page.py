"""A plan as a page to print: which conductor serves what at both ends, and what to know before it does.

The best plan stands in full, with boxes to tick; the others stand in a table beside it, with what speaks
against each.  A refused survey gets a page as well: it says why, and what a new cable would do.
"""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from lessonkit.draw import paper
from lessonkit.draw.view import show_bench
from lessonkit.job.calls import PLACE_WORDS, TERMINAL_WORDS
from lessonkit.job.model import RUN_ENDS
from lessonkit.studies.arrangements import Arrangement
from lessonkit.studies.commissioning import calls_of, outdoor_c_of
from lessonkit.studies.corners import HOT_C, MUST_PULL_V, WORDS
from lessonkit.studies.customary import c_to_f
from lessonkit.studies.half_wave import PairReading, failed_diodes
from lessonkit.studies.plan import Plan, Planned
from lessonkit.studies.survey import Survey

__all__ = [
    "BROKEN_HEADS",
    "NO_PICTURE",
    "broken_rows",
    "coil_rows",
    "pair_words",
    "plan_page",
    "schedule_rows",
    "way_row",
]

_OTHERS = 8
#: The heads of what `broken_rows` yields.
BROKEN_HEADS = ("Conductor", "Stops", "Starts by itself", "Harm")
#: What stands in the place of the wiring picture where a conductor is shared.
NO_PICTURE = "No picture: two calls share a conductor by diodes, and the wiring picture has no diodes."


def plan_page(planned: Planned) -> str:
    """Return the page of a planned survey as HTML text."""
    return paper.page(f"Plan: {planned.survey.title}", _body(planned))


def _body(planned: Planned) -> Iterator[str]:
    survey = planned.survey
    working = [one for one in planned.plans if one.works]
    yield f"<h1>Plan: {escape(survey.title)}</h1>"
    yield f'<p>Site <span class="line long"></span> Date {paper.DATE_LINE}</p>'
    yield paper.cautions(*_own_cautions(working[0] if working else None))
    if planned.refused:
        yield f"<h2>Refused</h2><p><strong>Nothing in the wall works: {escape(planned.why)}.</strong></p>"
    yield "<h2>What is in the wall</h2>"
    yield paper.facts(_facts(survey))
    yield paper.table(("Run", "Label", "Ohms, one way", "Insulation", "Found"), _found(survey), (2, 3))
    for words in planned.inferred:
        yield f"<p>{escape(words)}.</p>"
    if working:
        yield from _plan(working[0], planned.refused)
    yield "<h2>The other ways</h2>"
    others = [one for one in planned.plans if one not in working[:1]]
    yield paper.table(
        ("Way", "Works", "Minutes", "Weakest coil", "Ground", "Against it"),
        (way_row(one) for one in others[:_OTHERS]),
        (2, 3, 4),
    )
    if len(others) > _OTHERS:
        yield f"<p>{len(others) - _OTHERS} more ways were tried.</p>"
    order = (
        "<p>Plans stand in this order: it works; no current on equipment ground; a single broken conductor "
        "starts nothing; no conductor shared by diodes; no new cable; nothing unproven in use; nothing "
        "given up; fewer minutes.</p>"
    )
    yield paper.together((order, "<h2>Signed</h2>", paper.signatures("Licensed person", "Owner")))


def _own_cautions(best: Plan | None) -> Iterator[str]:
    if best is None:
        return
    if best.earth_a > 0.001:
        yield paper.earth_caution(best.earth_a)
    if best.arrangement.return_by == "second-transformer" and best.arrangement.outdoor == "link":
        yield "Two supplies feed this plan. Open both disconnects, and prove dead at both places."
    if best.arrangement.unproven:
        yield "Conductors marked unproven are proved first (ohms, insulation). One that fails is not used."


def _facts(survey: Survey) -> Iterator[tuple[str, str, str]]:
    for run in survey.runs:
        length_m, gauge, _ = run.inferred()
        yield f"{run.name} run", *paper.length_words(length_m)
        yield f"{run.name} run, wire", *paper.gauge_words(gauge)
    supply = f"{survey.rated_va:g} VA, {survey.open_v:g} V without load, fuse {survey.fuse_a:g} A"
    yield "supply at the air handler", supply, supply
    bonded = {True: "bonded", False: "NOT bonded", None: "bond not known"}[survey.bonded]
    ground = bonded if survey.ground_ohm is None else f"{bonded}, {survey.ground_ohm:g} ohm"
    yield "equipment ground outdoors", ground, ground


def _found(survey: Survey) -> Iterator[tuple[str, ...]]:
    for run in survey.runs:
        for conductor in run.conductors:
            verdict, why = run.verdict(conductor)
            ohm = "not read" if conductor.ohm is None else f"{conductor.ohm:.2f}"
            mohm = conductor.insulation_mohm
            insulation = "not read" if mohm is None else f"{mohm:g} Mohm"
            yield run.name, conductor.label, ohm, insulation, f"{verdict}: {why}" if why else verdict


def _plan(one: Plan, refused: bool) -> Iterator[str]:
    how = one.arrangement
    title = "With a new cable" if refused else "The plan"
    yield f"<h2>{title}: {escape(how.name)}</h2>"
    yield f"<p>About <strong>{one.minutes:.0f} minutes</strong> ({one.minutes / 60:.1f} hours) of work.</p>"
    if one.needs:
        yield "<h3>Needed</h3>" + paper.ticks(one.needs)
    for words in how.unproven:
        yield f"<p>Unproven: {escape(words)}.</p>"
    for words in one.lost:
        yield f"<p>Given up: {escape(words)}.</p>"
    yield f"<h3>Coils at the worst corner (each has to pull in at {MUST_PULL_V:.1f} V)</h3>"
    yield paper.table(
        ("Coil", "Volts, RMS", "To spare"),
        coil_rows(one),
        (1, 2),
        kind="together",
    )
    yield (
        f"<p>Corners: {escape(WORDS['line'])}; copper at {HOT_C:g} °C ({c_to_f(HOT_C):.0f} °F), "
        "read 5 % too low; coils at the unfriendly ends of their bands; ground that carries current up to "
        "five times as poor as it was read.</p>"
    )
    yield f"<p>Supply: {one.va:.0f} VA of {one.rated_va:g} VA.</p>"
    for pair in one.shared:
        yield f"<p>{escape(pair_words(pair))}</p>"
    for run, (margin_v, share) in one.links.items():
        yield (
            f"<p>{escape(run.capitalize())} link: {margin_v:.1f} V to spare at its receiver, {share:.0%} of "
            "the frames get through.</p>"
        )
    yield "<h3>Wiring schedule, both ends</h3>"
    heads = ("Run", "Label", "Near end", "Far end", "Carries", "Landed")
    yield paper.table(heads, schedule_rows(one), kind="together")
    yield from _picture(how)
    yield "<h3>What is lost when one conductor breaks</h3>"
    yield paper.table(BROKEN_HEADS, broken_rows(one), kind="names")
    yield (
        "<p>A break that starts nothing can still harm: read the last column. When all is connected, work "
        "through the commissioning sheet.</p>"
    )


def _picture(how: Arrangement) -> Iterator[str]:
    if how.shared:
        yield f"<p>{NO_PICTURE}</p>"
        return
    call = "cool-2" if "cool-2" in calls_of(how.job) else "cool-1"
    seconds = how.job.equipment.short_cycle_s + 60.0
    picture = show_bench(how.job, call, seconds=seconds, outdoor_c=outdoor_c_of(how.job))
    yield paper.figure(picture.svg, f"The plan under {call}, with its volts.")


def pair_words(one: PairReading) -> str:
    """Return what is to be known of two terminals that share a conductor."""
    reach = " or ".join(paper.length_words(one.reach_m))
    return (
        f"{one.pair.name} share a conductor of the {one.pair.run} run by half-waves. The relay of "
        f"{one.weaker} gets a mean of {one.least_v:.1f} V (direct volts) at the worst corner, "
        f"{one.margin_v:+.1f} V to spare; by its own ohms it reaches {reach}. A coil gets up to "
        f"{one.most_w:.1f} W, and the transformer carries {1000 * one.direct_a:.0f} mA of direct current: "
        "the makers say whether they may. Most meters misread the volts of this conductor. "
        + " ".join(f"{words[0].upper()}{words[1:]}." for words in failed_diodes())
    )


def coil_rows(one: Plan) -> Iterator[tuple[str, str, str]]:
    """Yield coil, volts at the worst corner, and what it has to spare."""
    for name, coil in one.coils.items():
        place, _, part = name.partition(":")
        words = f"{part.replace('-', ' ')}, {PLACE_WORDS[place]}"
        yield words, f"{coil.volts:.1f} V", f"{coil.margin_v:+.1f} V"


def schedule_rows(one: Plan) -> Iterator[tuple[str, ...]]:
    """Yield run, label, near end, far end, what it carries, and two boxes to tick."""
    for served in one.arrangement.schedule:
        near, far = (PLACE_WORDS[place] for place in RUN_ENDS[served.run])
        end = served.terminal or "free, insulated"
        carries = TERMINAL_WORDS.get(served.terminal, "")
        yield served.run, served.label, f"{near}: {end}", f"{far}: {end}", carries, "☐ ☐"


def broken_rows(one: Plan) -> Iterator[tuple[str, str, str, str]]:
    """Yield conductor, what stops when it breaks, what starts by itself, and what harm that can do."""
    for label, lost in one.lost_if_broken.items():
        starts, harm = lost.starts_words or "nothing", lost.harm_words or "none seen on the bench"
        yield label, lost.stops_words, starts, harm


def way_row(one: Plan) -> tuple[str, ...]:
    """Return one way in short: name, works, minutes, weakest coil, ground, what is against it."""
    weakest = min((coil.margin_v for coil in one.coils.values()), default=None)
    unsafe = [label for label, lost in one.lost_if_broken.items() if not lost.safe]
    against = [*one.why[:1], *one.lost, *(f"a break of {label} starts something" for label in unsafe[:1])]
    if one.earth_a > 0.001:
        against.append(
            f"{one.earth_a:.2f} A on equipment ground: not without the code, the maker and the licensed "
            "person"
        )
    return (
        one.arrangement.name,
        "yes" if one.works else "no",
        f"{one.minutes:.0f}",
        "" if weakest is None else f"{weakest:+.1f} V",
        f"{one.earth_a:.2f} A" if one.earth_a > 0.001 else "none",
        "; ".join(against),
    )
