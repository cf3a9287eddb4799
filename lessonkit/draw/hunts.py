"""Pictures of a search: what each look would teach, and how the chances move from look to look.

    split_picture      bits of a look with two outcomes, against the share of one of them
    bits_picture       for each look a bar of bits, its minutes, and its bits a minute
    chances_picture       for each suspect its chance at the start and after every look

Each is a pure function of a search or a hunt and returns a `Still`: pixels, and the same in words.
"""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from lessonkit.draw.palette import FAINT, INK, OKABE_ITO
from lessonkit.draw.still import TEXT_PT, Still, axes
from lessonkit.errors import LessonError, require
from lessonkit.studies.find import Search
from lessonkit.studies.hunt import Hunt
from lessonkit.studies.search import entropy_bits

__all__ = ["bits_picture", "chances_picture", "split_picture"]

_BITS, _EACH = OKABE_ITO["sky"], OKABE_ITO["vermilion"]
#: So many suspects have a row of their own; the others share one.
_ROWS = 7


class NothingToDraw(LessonError, ValueError):
    """A search in which no look tells anything has no picture of its looks."""


def split_picture(*shares: float) -> Still:
    """Draw the bits of a look with two outcomes, and mark some.

    They are drawn against the share of one outcome, from 0 to 1; `shares` are marked on the curve.
    """
    for share in shares:
        require(0 < share < 1, "share", share, "between 0 and 1")
    p = np.linspace(0.001, 0.999, 400)
    figure, (ax,) = axes(8.0, 3.6)
    ax.plot(p, [_split_bits(one) for one in p], color=OKABE_ITO["blue"], lw=3)
    for share in shares:
        bits = _split_bits(share)
        ax.plot([share, share, 0], [0, bits, bits], color=INK, lw=1.2, ls=":")
        ax.plot([share], [bits], marker="o", ms=9, color=_EACH, mec=INK)
        ax.text(share + 0.02, bits - 0.02, f"{bits:.2f}", fontsize=TEXT_PT, color=INK, va="top")
    ax.set(xlim=(0, 1), ylim=(0, 1.06), xticks=np.linspace(0, 1, 11), yticks=np.linspace(0, 1, 11))
    ax.set(xlabel="share of one outcome", ylabel="bits")
    said = ", ".join(f"{_split_bits(share):.2f} bits at {share:.2f}" for share in shares)
    return Still(
        figure,
        "Bits of a look with two outcomes, against the share of one of them: none at 0 and at 1, and the "
        f"most, 1 bit, at one half; the curve is the same on both sides{f': {said}' if said else ''}.",
    )


def _split_bits(share: float) -> float:
    return entropy_bits(np.array([share, 1.0 - share]))


def bits_picture(found: Search | Hunt, most: int = 8) -> Still:
    """Draw what each look would teach, the best a minute on top.

    The bar is bits, the mark bits a minute; minutes stand beside the name.
    """
    scores = found.scores(most)
    if not scores:
        raise NothingToDraw(
            "no look tells anything more here, so there is nothing to draw; see what is left."
        )
    names = [f"{score.test}  ({score.minutes:g} min)" for score in scores]
    figure, (ax,) = axes(9.0, 1.2 + 0.42 * len(scores))
    rows = np.arange(len(scores))[::-1]
    ax.barh(rows, [s.bits for s in scores], height=0.6, color=_BITS, edgecolor=INK, lw=0.6, label="bits")
    ax.plot(
        [s.bits_a_minute for s in scores],
        rows,
        ls="",
        marker="D",
        ms=9,
        color=_EACH,
        mec=INK,
        label="bits a minute",
    )
    widest = max(max(s.bits, s.bits_a_minute) for s in scores)
    for row, score in zip(rows, scores, strict=True):
        at = max(score.bits, score.bits_a_minute)
        ax.text(
            at + 0.05 * widest,
            row,
            f"{score.bits:.2f}; {score.bits_a_minute:.2f} a minute",
            fontsize=TEXT_PT - 1,
            color=INK,
            va="center",
        )
    ax.set(yticks=rows, yticklabels=names, xlim=(0, 1.5 * widest), xlabel="bits, and bits a minute")
    _legend(ax, 2)
    said = "; ".join(f"{s.test} {s.bits:.2f} bits in {s.minutes:g} min" for s in scores)
    most_bits = max(scores, key=lambda s: s.bits)
    return Still(
        figure,
        f"What each look would teach, the best for its minutes first: {said}. The most bits at once: "
        f"{most_bits.test}; the most bits a minute: {scores[0].test}.",
    )


def _legend(ax: Axes, columns: int) -> None:
    """Set the legend above a picture, where no bar can lie under it."""
    ax.set_axisbelow(True)
    ax.legend(
        loc="lower center", bbox_to_anchor=(0.4, 1.0), ncols=columns, frameon=False, fontsize=TEXT_PT - 1
    )


def chances_picture(found: Search) -> Still:
    """Draw how likely each suspect was, from look to look."""
    beliefs = np.array(found.beliefs)
    top = np.argsort(-beliefs.max(axis=0) - beliefs[-1], kind="stable")[:_ROWS]
    names = [str(found.suspects[k]) for k in top]
    shares = 100 * beliefs[:, top]
    rest = 100 - shares.sum(axis=1)
    if len(found.suspects) > len(top):
        names.append(f"the {len(found.suspects) - len(top)} others together")
        shares = np.column_stack([shares, rest])
    steps = ["at the start", *(str(look) for look in found.looked)]
    figure, (ax,) = axes(9.0, 1.6 + 0.42 * len(names))
    size = 0.8 / len(steps)
    rows = np.arange(len(names))[::-1]
    shades = [FAINT, *("sky", "blue", "orange", "green", "purple", "vermilion")]
    hatches = ("", "//", "", "..", "xx", "\\\\", "")
    for n, step in enumerate(steps):
        shade = shades[min(n, len(shades) - 1)]
        ax.barh(
            rows + 0.4 - (n + 0.5) * size,
            shares[n],
            height=size,
            color=OKABE_ITO.get(shade, shade),
            edgecolor=INK,
            lw=0.5,
            hatch=hatches[n % len(hatches)],
            label=step,
        )
    ax.set(yticks=rows, yticklabels=names, xlim=(0, 112), xlabel="chance (%)")
    for row, share in zip(rows, shares[-1], strict=True):
        ax.text(
            share + 1,
            row + 0.4 - (len(steps) - 0.5) * size,
            f"{share:.0f} %",
            fontsize=TEXT_PT - 1,
            color=INK,
            va="center",
        )
    _legend(ax, 2)
    told = []
    for n, step in enumerate(steps):
        best = sorted(zip(shares[n], names, strict=True), reverse=True)[:4]
        told.append(f"{step}: " + ", ".join(f"{name} {share:.0f} %" for share, name in best if share >= 0.5))
    return Still(figure, "The chances, step by step. " + "; then ".join(told) + ".")
