"""A show of hands: a question, a box for each answer, and the bench's answer after the hands are counted.

    panel = lk.vote_panel(lk.ask_class("SIG breaks. What now?", lk.what_follows(...)))
    display(panel)

Nothing tells the right answer before a hand was counted. After the reveal the boxes are closed, so that
the count that is shown is the one that was made. Several questions make steps: one step at a time, with a
table of all steps that were revealed.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

import ipywidgets as widgets

from lessonkit.draw.image import svg_image_html
from lessonkit.draw.tables import table_html
from lessonkit.draw.wiring import wiring_svg
from lessonkit.errors import require
from lessonkit.panels.keys import key, row, shown
from lessonkit.panels.panel import Panel
from lessonkit.studies.asked import Asked, Rows
from lessonkit.studies.experiment import Experiment

__all__ = ["VotePanel", "vote_panel"]

_COUNT_FIRST = "Count the hands first; then the bench answers."


class VotePanel(Panel):
    """Questions for a class, one after the other.

    `boxes` has the number box of each answer of the question that is asked now; `reveal`, `back` and
    `forward` are keys. `counts` maps the number of each revealed question to the hands that were counted.
    """

    def __init__(self, questions: tuple[Asked, ...], name: str) -> None:
        self.questions, self.at = questions, 0
        self.counts: dict[int, dict[str, int]] = {}
        self._open: dict[int, dict[str, int]] = {}
        self.asked, self.answer, self.steps = shown("", "lk-news"), shown(), shown()
        self.boxes: dict[str, widgets.BoundedIntText] = {}
        self._boxes = widgets.VBox([])
        self._boxes.add_class("lk-votes")
        self.reveal = key("reveal", self._reveal)
        self.back = key("one step back", lambda: self._turn(-1))
        self.forward = key("one step on", lambda: self._turn(1))
        several = len(questions) > 1
        keys = row(self.reveal, *((self.back, self.forward) if several else ()))
        super().__init__(name, [self.asked, self._boxes, keys, self.answer, self.steps], None)
        self.add_class("lk-projector")
        self._ask()

    # ---- what the keys do ----

    def _turn(self, by: int) -> None:
        self.at = min(max(self.at + by, 0), len(self.questions) - 1)
        self._ask()

    def _reveal(self) -> None:
        if self.at not in self.counts and self._counted():
            self.counts[self.at] = self._counted()
        self._show()

    def _counted(self) -> dict[str, int]:
        """Return the hands for each answer, or nothing while no hand is counted."""
        hands = {answer: int(box.value) for answer, box in self.boxes.items()}
        return hands if any(hands.values()) else {}

    def _ask(self) -> None:
        """Put up the boxes of the question that is asked now, with what was counted before."""
        kept = self.counts.get(self.at) or self._open.get(self.at, {})
        self.boxes = {
            answer: widgets.BoundedIntText(
                value=kept.get(answer, 0),
                min=0,
                max=999,
                description=answer,
                tooltip="",
                layout={"width": "auto"},
            )
            for answer in self.questions[self.at].among
        }
        for box in self.boxes.values():
            box.observe(self._count, "value")
        self._boxes.children = tuple(self.boxes.values())
        self._show()

    def _count(self, _: object) -> None:
        self._open[self.at] = self._counted()
        self._show()

    # ---- what is shown ----

    def _show(self) -> None:
        question, over = self.questions[self.at], self.at in self.counts
        step = f"Step {self.at + 1} of {len(self.questions)}. " if len(self.questions) > 1 else ""
        hint = "" if over or self._counted() else f" <em>{_COUNT_FIRST}</em>"
        self.asked.value = f"<strong>{escape(step + question.words)}</strong>{hint}"
        for box in self.boxes.values():
            box.disabled = over
        self.reveal.disabled = over or not self._counted()
        self.back.disabled = self.at == 0
        self.forward.disabled = self.at == len(self.questions) - 1
        self.answer.value = self._told() if over else ""
        self.steps.value = self._so_far() if len(self.questions) > 1 and self.counts else ""

    def _told(self) -> str:
        told, hands = self.questions[self.at].told, self.counts[self.at]
        total, right = sum(hands.values()), hands[told.right]
        line = f"{right} of {total} hands were for the bench's answer: {told.right}. {told.said}"
        rows = [
            (("✓ " if answer == told.right else "") + answer, str(count), f"{100 * count / total:.0f} %")
            for answer, count in hands.items()
        ]
        votes = table_html("Hands up", ("answer", "hands", "share"), rows)
        things = "".join(_html(thing) for thing in told.shows)
        return f'<div class="lk-news">{escape(line.strip())}</div>{votes}{things}'

    def _so_far(self) -> str:
        rows = []
        for k, hands in sorted(self.counts.items()):
            right = self.questions[k].told.right
            rows.append((str(k + 1), right, f"{hands[right]} of {sum(hands.values())}"))
        return table_html("Steps so far", ("step", "the bench's answer", "hands for it"), rows)

    def still(self) -> tuple[str, str]:
        """Return the question with its answers to choose from, and what was told of it so far."""
        question = self.questions[self.at]
        items = "".join(f"<li>{escape(answer)}</li>" for answer in question.among)
        html = f"<p><strong>{escape(question.words)}</strong></p><ul>{items}</ul>{self.answer.value}"
        return html, repr(question)


def _html(thing: object) -> str:
    """Return what is shown of a thing: a table, a picture, or words."""
    if isinstance(thing, Rows):
        return table_html(thing.caption, thing.heads, thing.rows)
    if isinstance(thing, Experiment):
        bench = thing.bench()
        return svg_image_html(wiring_svg(bench.state, bench.job))
    picture = getattr(thing, "_repr_html_", None)
    return str(picture()) if picture else f"<p>{escape(str(thing))}</p>"


def vote_panel(*questions: Asked | Iterable[Asked], name: str = "Show of hands") -> VotePanel:
    """Return a show of hands for a notebook.

    `questions` are what `lk.ask_class` returns, one or several, or what a study has as `questions`. Show it
    with `display(panel)`.
    """
    asked: list[Asked] = []
    for one in questions:
        asked += [one] if isinstance(one, Asked) else list(getattr(one, "questions", one))
    good = bool(asked) and all(isinstance(one, Asked) for one in asked)
    require(good, "questions", questions, "one question or more, as lk.ask_class returns them")
    return VotePanel(tuple(asked), name)
