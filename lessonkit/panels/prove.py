"""The commissioning sheet on a panel: readings typed in, each judged against its band as its box is left.

    panel = lk.prove_panel("two-run")
    display(panel)
    panel.csv()                 the sheet as it is now, to keep

One part of the sheet is open at a time.  A key fits the site to all readings and explains those that are out;
another shows the sheet as CSV text, to keep or to put in.  What is shown comes from `studies.prove` and
`studies.judging`.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping
from functools import partial
from html import escape
from itertools import groupby
from pathlib import Path

import ipywidgets as widgets

from lessonkit.draw.prove_page import step_words
from lessonkit.draw.tables import table_html
from lessonkit.job.model import Job
from lessonkit.panels.keys import key, named, row, shown, typed_box
from lessonkit.panels.panel import Panel
from lessonkit.studies.judging import Judged, judge
from lessonkit.studies.prove import Proof, prove
from lessonkit.studies.sheet import BadSheet, Read, Step, filled_words, read_sheet, sheet_from_text, typed
from lessonkit.studies.sheet import shown as as_written

__all__ = ["ProvePanel", "judged_html", "prove_panel", "verdict"]

_WORKING = "The suspects are being tried on the bench, which takes up to a minute (in a browser page longer)."
_MOST = 12


def verdict(step: Step, text: str) -> str:
    """Return what is said of a reading that was typed; nothing for an empty box."""
    if not text.strip():
        return ""
    try:
        off = step.off_by(typed(text, step))
    except BadSheet as error:
        return f"✕ {error.mistakes[0]}"
    if off is None:
        return "✓ in its band" if step.is_number else "✓ as it should be"
    if isinstance(off, str):
        return f"✕ not {step.low}"
    side = "above" if off > 0 else "below"
    return f"✕ {as_written(abs(off), step.unit)} {step.unit} {side} its band"


def judged_html(judged: Judged) -> str:
    """Return what a filled sheet says: what is out, what explains it, what to measure next, the fit."""
    out = []
    for number, by in list(judged.out.items())[:_MOST]:
        step = judged.proof.steps[number - 1]
        what, wanted = step_words(step)
        where = f"{step.call}: {what}" if step.call else what
        read = as_written(judged.readings[number], step.unit)
        out.append((str(number), where, read, wanted, as_written(by, step.unit)))
    left = len(judged.out) - len(out)
    blocks = [
        table_html("Out of band", ("step", "what", "reading", "has to be", "off by"), out, bold=False)
        if out
        else "<p>Every reading is in its band.</p>",
        f"<p>{left} more are out of their band.</p>" if left else "",
    ]
    if judged.explained_by:
        causes = [
            (
                " and ".join(map(str, one.faults)),
                f"{one.probability:.1%}",
                ", ".join(map(str, one.unexplained[:6])) or "none",
            )
            for one in judged.explained_by[:_MOST]
        ]
        heads = ("fault", "how likely", "steps that it leaves unexplained")
        blocks.append(table_html("What explains it", heads, causes, bold=False))
    if judged.next is not None:
        following = judged.next
        rows = [(words, ", ".join(gone) or "nobody") for words, gone in following.rules_out.items()]
        title = f"Measure next: {following.look} ({following.minutes:g} min)"
        blocks.append(table_html(title, ("if it shows", "that rules out"), rows, bold=False))
    if judged.fit is not None:
        lines = (escape(line.strip()) for line in str(judged.fit).splitlines())
        blocks.append(f"<p>{'<br>'.join(lines)}</p>")
    return "".join(f'<div class="lk-wide">{block}</div>' for block in blocks if block)


class _Line:
    """A step with a box for its reading and the verdict beside it; made once, and given other steps later."""

    def __init__(self, panel: ProvePanel) -> None:
        self._panel = panel
        self.step: Step | None = None
        self.do, self.says = shown("", "lk-do"), shown("")
        self.box = typed_box(widgets.Combobox)
        self.box.observe(lambda change: self._typed(change["new"]), "value")
        self.widgets = (self.do, row(self.box, self.says))

    def hold(self, step: Step, words: tuple[str, ...]) -> None:
        """Take another step with what has been typed for it."""
        self.step = None  # what comes now nobody types
        what, wanted = step_words(step)
        before = (f"<b>{escape(words[:1].upper() + words[1:])}:</b>" for words in step.before)
        self.do.value = "<br>".join(before)
        self.do.layout.display = None if step.before else "none"
        self.box.description, self.box.options = f"{step.number}. {what}, {wanted}:", words
        self.box.value = self._panel.texts.get(step.number, "")
        self.step = step
        self._say()

    def _typed(self, text: str) -> None:
        if self.step is not None:
            self._panel.type(self.step.number, text)
            self._say()

    def _say(self) -> None:
        assert self.step is not None
        self.says.value = escape(verdict(self.step, self.box.value))


class ProvePanel(Panel):
    """A commissioning sheet with boxes to type into.

    `texts` is what stands in them by step number, `readings` those that can be read, `judged` the last
    judgement. The controls are there for tests: `part`, `lines`, `back`, `forward`, `explain`, `keep`, `text`
    and `take`.
    """

    def __init__(self, proof: Proof, readings: Mapping[int, Read] | None = None) -> None:
        self.proof = proof
        self.judged: Judged | None = None
        self.texts = self._as_texts(readings or {})
        self._parts = [list(steps) for _, steps in groupby(proof.steps, key=lambda step: step.part)]
        self.lines: list[_Line] = []
        self._lines = widgets.VBox([])
        self._lines.add_class("lk-group")
        self._lines.add_class("lk-typed")
        names = [(f"{k + 1}. {_title(steps)}", k) for k, steps in enumerate(self._parts)]
        self.part = named(names, "part:")
        self.part.observe(lambda _: self._open(), "value")
        self.back = key("part before", partial(self._turn, -1))
        self.forward = key("next part", partial(self._turn, 1))
        self.news, self.answer = shown("", "lk-news"), shown("", "lk-paper")
        self.explain = key("fit and explain", self._explain)
        self.keep = key("sheet as CSV text", self._keep)
        self.take = key("take the readings from this text", self._take)
        self.text = typed_box(widgets.Textarea, "CSV text:", rows=8)
        self.text.add_class("lk-csv")
        self.file = shown("")
        self._csv = widgets.VBox([self.text, row(self.take, self.file)])
        self._csv.layout.display = "none"
        self._open()
        self._tell()
        super().__init__(
            f"Commissioning sheet of {proof.job.name}",
            [
                row(self.part, self.back, self.forward),
                self.news,
                self._lines,
                row(self.explain, self.keep),
                self._csv,
                self.answer,
            ],
        )

    # ---- the boxes ----

    def _as_texts(self, readings: Mapping[int, Read]) -> dict[int, str]:
        return {
            number: as_written(read, self.proof.steps[number - 1].unit) for number, read in readings.items()
        }

    def _words(self, step: Step) -> tuple[str, ...]:
        """Return the words that a box offers: those that the sheet knows for such a look."""
        if step.is_number:
            return ()
        if step.unit == "tick":
            return ("yes", "no")
        known = {str(one.low) for one in self.proof.steps if one.act == step.act}
        return tuple(sorted(known | ({"on", "off"} if step.act.startswith("look: ") else set())))

    def _open(self) -> None:
        """Show the boxes of a part; lines that are there are used again."""
        steps = self._parts[self.part.value]
        while len(self.lines) < len(steps):
            self.lines.append(_Line(self))
        for line, step in zip(self.lines, steps, strict=False):
            line.hold(step, self._words(step))
        self._lines.children = tuple(one for line in self.lines[: len(steps)] for one in line.widgets)
        self.back.disabled = self.part.value == 0
        self.forward.disabled = self.part.value == len(self._parts) - 1

    def _turn(self, by: int) -> None:
        self.part.value = min(max(self.part.value + by, 0), len(self._parts) - 1)

    def type(self, number: int, text: str) -> None:
        """Take in what is typed for a step; what was said of the sheet before is gone."""
        if text.strip():
            self.texts[number] = text
        else:
            self.texts.pop(number, None)
        self.judged, self.answer.value = None, ""
        self._csv.layout.display = "none"
        self._tell()

    @property
    def readings(self) -> dict[int, Read]:
        """Return the readings by step number; a box with something else in it is left out."""
        found = {}
        for number, text in sorted(self.texts.items()):
            try:
                found[number] = typed(text, self.proof.steps[number - 1])
            except BadSheet:
                continue
        return found

    def _tell(self, more: str = "") -> None:
        readings = self.readings
        out = len(self.proof.out(readings))
        words = filled_words(len(readings), len(self.proof.steps), out)
        if unread := len(self.texts) - len(readings):
            words += f" {unread} can't be read."
        self.news.value = escape(f"{words} {more}".strip())

    # ---- the whole sheet ----

    def _explain(self) -> None:
        self._tell(_WORKING)
        self.judged = judged = judge(self.proof, self.readings)
        self.answer.value = judged_html(judged)
        best = judged.explained_by[:1]
        said = f"Best explained by {' and '.join(map(str, best[0].faults))}." if best else ""
        self._tell(said)

    def csv(self) -> str:
        """Return the sheet as CSV text with all readings, to keep or to judge elsewhere."""
        return self.proof.csv(self.readings)

    def _keep(self) -> None:
        self.text.value = self.csv()
        data = base64.b64encode(self.text.value.encode()).decode()
        name = escape(f"{self.proof.job.name}-sheet.csv")
        self.file.value = f'<a download="{name}" href="data:text/csv;base64,{data}">save it as {name}</a>'
        self._csv.layout.display = None

    def _take(self) -> None:
        try:
            readings = sheet_from_text(self.text.value, self.proof.steps, "CSV text")
        except BadSheet as error:
            self._tell(f"✕ {error}")
            return
        self.texts = self._as_texts(readings)
        self.judged, self.answer.value = None, ""
        self._open()
        self._tell()

    def still(self) -> tuple[str, str]:
        """Return what is out and what explains it, and how far the sheet is filled."""
        html = judged_html(self.judged) if self.judged is not None else ""
        readings = self.readings
        return html, filled_words(len(readings), len(self.proof.steps), len(self.proof.out(readings)))


def _title(steps: list[Step]) -> str:
    calls = {step.call for step in steps} - {"", "off"}
    return f"{steps[0].part} ({calls.pop()})" if len(calls) == 1 else steps[0].part


def prove_panel(
    job: Job | str = "two-run", readings: Mapping[int, Read] | str | Path | None = None
) -> ProvePanel:
    """Return a job's commissioning sheet to fill in.

    Parameters: `job` is a job, its name or its file; `readings` are there at the start, by step number or as
    a filled sheet's file. Show it with `display(panel)`.
    """
    proof = prove(job)
    if isinstance(readings, str | Path):
        readings = read_sheet(readings, proof.steps)
    return ProvePanel(proof, readings)
