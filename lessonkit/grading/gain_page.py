"""The gain of a class as a page to print: the picture, the table of questions, and who was left out."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from matplotlib.figure import Figure

from lessonkit.draw import paper
from lessonkit.draw.palette import INK, OKABE_ITO, SOFT
from lessonkit.draw.still import TEXT_PT, Still, axes
from lessonkit.grading.gain import ClassGain, ItemGain, band

__all__ = ["gain_page", "gain_picture", "gain_words"]


def gain_words(gain: ClassGain) -> str:
    """Return the gain in a sentence or two."""
    percent = f"{gain.before:.1f} % before, {gain.after:.1f} % after"
    said = f"{len(gain.students)} students took both forms: {percent}."
    if gain.gain is None:
        return f"{said} Nothing was left to gain: all was right before, so the gain is not defined."
    return f"{said} Normalised gain {gain.gain:.2f}, {band(gain.gain)}."


def gain_picture(gain: ClassGain) -> Still:
    """Draw each question from before to after, and the class below; the least gain stands at the top."""
    order = sorted(gain.items, key=lambda item: (item.gain is None, item.gain or 0.0, item.question))
    rows = [(f"question {item.question}", item.before, item.after) for item in order]
    rows.append(("the class", gain.before, gain.after))
    figure: Figure
    figure, (ax,) = axes(8.0, 1.2 + 0.3 * len(rows))
    for k, (_, was, now) in enumerate(rows):
        wide = 5 if k == len(rows) - 1 else 2.5
        ax.plot((was, now), (k, k), color=SOFT, lw=wide, zorder=1)
        was_mark = ax.plot(was, k, "o", ms=9, mfc="white", mec=INK, mew=2, zorder=2)[0]
        now_mark = ax.plot(now, k, "s", ms=9, color=OKABE_ITO["blue"], zorder=3)[0]
    ax.set(xlim=(-3, 103), ylim=(len(rows) - 0.4, -1.2), xlabel="right answers (%)")
    ax.set_yticks(range(len(rows)), [name for name, _, _ in rows], fontsize=TEXT_PT - 1)
    marks = ((was_mark, now_mark), ("before", "after"))
    ax.legend(*marks, loc="upper left", ncols=2, frameon=False, fontsize=TEXT_PT, borderaxespad=0.0)
    told = "; ".join(f"{name} from {was:.0f} % to {now:.0f} %" for name, was, now in rows)
    return Still(figure, f"Right answers before and after: {told}.")


def gain_page(gain: ClassGain, titles: dict[str, str]) -> str:
    """Return the page as HTML text; `titles` maps a question's number to its idea, as far as known."""
    return paper.page("What the class has gained", _body(gain, titles))


def _body(gain: ClassGain, titles: dict[str, str]) -> Iterator[str]:
    yield "<h1>What the class has gained</h1>"
    yield f"<p><strong>{escape(gain_words(gain))}</strong></p>"
    yield (
        "<p>The normalised gain is what was gained, as a part of what could still be gained: "
        "(after - before) / (100 - before), from the averages of the class. Below 0.3 it is called low, from "
        "0.7 on high (Hake, American Journal of Physics 66, 1998; from memory). It says nothing about one "
        "student.</p>"
    )
    yield gain_picture(gain)._repr_html_()
    yield "<h2>Question by question</h2>"
    heads = ("", "Idea", "Before", "After", "Gain", "Most often before", "Most often after")
    yield paper.table(heads, (_row(item, titles) for item in gain.items), (2, 3, 4))
    yield "<h2>Left out</h2>"
    for words, names in (("before", gain.only_before), ("after", gain.only_after)):
        listed = ", ".join(names) or "nobody"
        yield f"<p>Took only the form {words} the course, and count nowhere: {escape(listed)}.</p>"


def _row(item: ItemGain, titles: dict[str, str]) -> tuple[str, ...]:
    shown = "-" if item.gain is None else f"{item.gain:.2f}"
    return (
        item.question,
        titles.get(item.question, ""),
        f"{item.before:.0f}\u00a0%",
        f"{item.after:.0f}\u00a0%",
        shown,
        item.met_before,
        item.met_after,
    )
