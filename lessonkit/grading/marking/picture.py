"""The class picture: a bar for each exercise, split by verdict and misunderstanding.

One look shows the instructor where the class stands: which exercise few have, and which one misunderstanding
most of them share. A part is told by its pattern and its label as well as by its colour, and the whole has a
text alternative.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree import ElementTree

from lessonkit.grading.marking.marks import Mark, Student
from lessonkit.grading.school import School

__all__ = ["STATES", "Tally", "class_svg", "tallies"]

STATES = ("right", "not yet", "unanswered", "unreadable", "teacher", "missing")
# Colours that differ in lightness too, and a pattern for each (Okabe and Ito's palette, from memory).
_LOOK = {
    "right": ("#0072b2", ""),
    "not yet": ("#e69f00", "M0 8L8 0"),
    "unanswered": ("#ffffff", "M2 2h1v1h-1z"),
    "unreadable": ("#bbbbbb", "M0 0L8 8M0 8L8 0"),
    "teacher": ("#cc79a7", "M0 4H8"),
    "missing": ("#ffffff", ""),
}
_ROW, _LEFT, _WIDTH = 34, 230, 700


@dataclass(frozen=True)
class Tally:
    """One exercise of the class: students by state, by misunderstanding, and how many were `near`."""

    exercise: str
    title: str
    states: Counter[str]
    models: Counter[str]
    near: int = 0


def tallies(students: Sequence[Student], school: School) -> list[Tally]:
    """Return the counts of each exercise, in the order of the workbooks."""
    marks: dict[str, list[Mark]] = {}
    for student in students:
        for mark in student.marks:
            marks.setdefault(mark.exercise, []).append(mark)
    found = []
    for book in school.books:
        for exercise in book.exercises:
            mine = marks.get(exercise.id, [])
            states = Counter(mark.state for mark in mine)
            models = Counter(mark.model for mark in mine if mark.model)
            near = sum(mark.near for mark in mine)
            found.append(Tally(exercise.id, exercise.title, states, models, near))
    return found


def class_svg(counts: Sequence[Tally]) -> str:
    """Return the picture as SVG."""
    shown = [count for count in counts if sum(count.states.values()) > count.states["missing"]] or list(
        counts
    )
    height = 80 + _ROW * len(shown)
    root = ElementTree.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": f"0 0 {_LEFT + _WIDTH + 20} {height}",
            "role": "img",
        },
    )
    root.set("aria-labelledby", "class-title class-text")
    root.set("font-family", "system-ui, sans-serif")
    _text(root, "title", "Verdicts by exercise").set("id", "class-title")
    _text(root, "desc", _in_words(shown)).set("id", "class-text")
    _patterns(root)
    _legend(root)
    for number, count in enumerate(shown):
        _bar(root, count, 60 + number * _ROW)
    return ElementTree.tostring(root, encoding="unicode")


def _text(parent: ElementTree.Element, tag: str, text: str, **given: object) -> ElementTree.Element:
    element = ElementTree.SubElement(
        parent, tag, {key.replace("_", "-"): str(value) for key, value in given.items()}
    )
    element.text = text
    return element


def _in_words(counts: Sequence[Tally]) -> str:
    lines = []
    for count in counts:
        parts = [f"{count.states[state]} {state}" for state in STATES if count.states[state]]
        parts += [f"{number} of them {model}" for model, number in count.models.most_common()]
        lines.append(f"{count.exercise} {count.title}: {', '.join(parts) or 'nobody'}.")
    return " ".join(lines)


def _patterns(root: ElementTree.Element) -> None:
    holder = ElementTree.SubElement(root, "defs")
    for state, (colour, path) in _LOOK.items():
        box = {"width": "8", "height": "8", "patternUnits": "userSpaceOnUse", "id": _name(state)}
        pattern = ElementTree.SubElement(holder, "pattern", box)
        ElementTree.SubElement(pattern, "rect", {"width": "8", "height": "8", "fill": colour})
        if path:
            ElementTree.SubElement(pattern, "path", {"d": path, "stroke": "#1a1a1a", "stroke-width": "1"})


def _name(state: str) -> str:
    return "state-" + state.replace(" ", "-")


def _legend(root: ElementTree.Element) -> None:
    place = _LEFT
    for state in STATES:
        box = {"x": str(place), "y": "14", "width": "18", "height": "18", "fill": f"url(#{_name(state)})"}
        ElementTree.SubElement(root, "rect", {**box, "stroke": "#1a1a1a"})
        _text(root, "text", state, x=place + 24, y=28, font_size=14)
        place += 44 + 8 * len(state)


def _bar(root: ElementTree.Element, count: Tally, top: int) -> None:
    total = sum(count.states.values())
    title = count.title if len(count.title) < 26 else count.title[:24] + "…"
    _text(root, "text", f"{count.exercise} {title}", x=_LEFT - 8, y=top + 17, text_anchor="end", font_size=14)
    left = float(_LEFT)
    for state, label, number in _parts(count):
        width = _WIDTH * number / total
        box = {"x": f"{left:.1f}", "y": str(top), "width": f"{width:.1f}", "height": "24"}
        part = ElementTree.SubElement(
            root, "rect", {**box, "fill": f"url(#{_name(state)})", "stroke": "#1a1a1a"}
        )
        _text(part, "title", f"{label}: {number} of {total}")
        words = f"{number} {label}" if width > 8 * len(label) + 34 else str(number) if width > 14 else ""
        if words:
            middle = f"{left + width / 2:.1f}"
            back = {"paint-order": "stroke", "stroke": "#ffffff", "stroke-width": "4", "fill": "#1a1a1a"}
            text = _text(root, "text", words, x=middle, y=top + 17, text_anchor="middle", font_size=13)
            text.attrib.update(back)
        left += width


def _parts(count: Tally) -> list[tuple[str, str, int]]:
    """Return the parts of a bar: state, label, number; each misunderstanding is a part of its own."""
    parts = []
    for state in STATES:
        number = count.states[state]
        if state == "not yet":
            parts += [(state, model, many) for model, many in count.models.most_common()]
            number -= sum(count.models.values())
        if number > 0:
            parts.append((state, state, number))
    return parts
