"""Handouts: a workbook as pages to print, with lines to write on in place of cells to fill in.

A workbook that was run once becomes a notebook for paper: its text and cautions stay, pictures and tables
stay as its cells showed them, a panel is a still picture. Questions carry a student's numbers. A prediction
and an answer become lines; code and whatever only a running workbook needs go. The explanations, which a
workbook folds away until one has predicted, stand on the last pages.

nbconvert makes HTML of it, in black and white, for A4 or Letter. The page opens without a network.
"""

from __future__ import annotations

import ast
import copy
import re
from html import escape
from typing import Any

from lessonkit.draw.paper import LINE
from lessonkit.exercises.core import Answer
from lessonkit.exercises.notebooks import (
    CHECK_MARKER,
    Cell,
    Notebook,
    blank,
    find_answers,
    find_checks,
    markdown_cell,
    new_notebook,
    notebook_bytes,
    opened,
    source_of,
    with_variant,
)
from lessonkit.exercises.workbook import open_workbook

__all__ = ["PAPERS", "handout_html", "handout_notebook"]

#: The sizes of paper, as CSS names them.
PAPERS = {"a4": "A4", "letter": "letter"}

_LONG = '<span class="line long"></span>'
_DETAILS = re.compile(r"<details>\s*<summary>.*?</summary>\n?(.*?)</details>\n?", re.DOTALL)
_LINK = re.compile(r"(?<!!)\[([^\]\n]+)\]\((?!https?:)[^)\n]+\)")
_PREDICTED = re.compile(r"^(prediction|reason)_(\w+)\s*=", re.MULTILINE)
_ASK = re.compile(r"""\bask\(\s*["']([\w.]+)["']""")
_WIDGET = "application/vnd.jupyter.widget-view+json"

_STYLE = """
@page { size: %s; margin: 16mm 15mm; }
body { font: 11pt/1.42 Georgia, "DejaVu Serif", serif; color: #000; background: #fff;
       max-width: 46rem; margin: 0 auto; padding: 1rem; }
h1, h2, h3, th, .who { font-family: system-ui, "DejaVu Sans", sans-serif; line-height: 1.25; }
h1 { font-size: 1.6em; margin: .3em 0; } h2 { font-size: 1.2em; margin: 1.3em 0 .3em;
     border-bottom: 1.5px solid #000; } h3 { font-size: 1.05em; }
h1, h2, h3 { break-after: avoid; }
p, li { orphans: 3; widows: 3; } p { margin: .5em 0; }
a { color: inherit; text-decoration: none; } a.anchor-link { display: none; }
blockquote { border: 2px solid #000; margin: .8em 0; padding: .3em .9em; break-inside: avoid; }
pre, code { font: .9em/1.4 "DejaVu Sans Mono", Consolas, monospace; }
pre { white-space: pre-wrap; overflow-wrap: anywhere; break-inside: avoid; margin: .5em 0; }
table { border-collapse: collapse; margin: .5em 0; max-width: 100%%; font-size: .95em; }
th, td { border: 1px solid #000; padding: .25em .6em; text-align: left; vertical-align: top; }
td, th { background: none !important; color: #000 !important; }
tr, img, svg, figure { break-inside: avoid; }
img { max-width: 100%% !important; min-width: 0 !important; height: auto; filter: grayscale(1); }
svg { max-width: 100%%; height: auto; filter: grayscale(1); }
.lk-asleep > p, .lk-asleep > p + p { display: none; }
.line { display: inline-block; border-bottom: 1px solid #000; min-width: 5em; height: 1.35em; }
.place { white-space: nowrap; margin-right: 1em; } .who span, .who small { white-space: nowrap; }
.line.long { min-width: min(24em, 70%%); } .line.full { display: block; width: 100%%; height: 1.9em; }
.write { break-inside: avoid; margin: .6em 0 1em; }
.write table td + td { min-width: 14em; height: 1.6em; }
.who { border-bottom: 1.5px solid #000; padding-bottom: .5em; margin-bottom: .8em; }
.later { break-before: page; }
@media print { body { max-width: none; padding: 0; } }
"""


def handout_notebook(ran: Notebook, variant: int = 0) -> Notebook:
    """Return a workbook for paper, with a variant's numbers.

    `ran` is the pristine workbook after one run: its outputs are what is printed.
    """
    notebook = blank(with_variant(ran, variant))
    workbook = open_workbook(*opened(notebook))
    answers = {index: number for number, index in find_answers(notebook).items()}
    checks = set(find_checks(notebook).values())
    cells: list[Cell] = []
    later: list[str] = []
    asked = ""  # the prediction that the next explanation belongs to
    for index, cell in enumerate(notebook["cells"]):
        source = source_of(cell)
        if cell["cell_type"] == "markdown":
            text, folded = _unfold(source)
            later += [f"**Prediction {asked or len(later) + 1}.** {words}" for words in folded]
            cells.append(markdown_cell(_unlinked(text), cell["id"]))
        elif index in answers:
            number = answers[index]
            form = workbook.exercise(number).form(workbook.givens(number)).blank()
            cells.append(markdown_cell(_lines_for(form), cell["id"]))
        elif guesses := _PREDICTED.findall(source):
            asked = next((number for word, number in guesses if word == "prediction"), asked)
            rows = [f"<p><b>{word.capitalize()} {number}:</b> {_LONG}</p>" for word, number in guesses]
            cells.append(markdown_cell(f'<div class="write">{"".join(rows)}</div>', cell["id"]))
        elif question := _ASK.search(source):
            title, _, text = workbook.question(question[1]).partition("\n")
            cells.append(markdown_cell(f"### {title.replace('**', '')}\n{_unlinked(text)}", cell["id"]))
        elif index not in checks and CHECK_MARKER not in source and not _only_for_screens(source):
            outputs = _printed(cell)
            if outputs:
                cells.append({**copy.deepcopy(cell), "outputs": outputs})
    if later:
        words = "Read each one after you have written your prediction."
        head = f'<div class="later"></div>\n\n## Explanations\n\n{words}'
        cells.append(markdown_cell(_unlinked("\n\n".join([head, *later])), "explanations"))
    return new_notebook(cells)


def handout_html(ran: Notebook, variant: int = 0, *, paper: str = "a4", name: str = "") -> str:
    """Return a workbook as a page to print. `name` is the student's; without one there is a line for it."""
    from lessonkit.exercises.progress import title_of

    paged = handout_notebook(ran, variant)
    title = title_of(ran)
    who = escape(name) if name else _LONG
    numbers = f"No. {variant}" if variant else "self-study"
    top = f'<p class="who">Name: {who} Date: {LINE} <small>({numbers})</small></p>'
    return (
        f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{_STYLE % PAPERS[paper]}</style>\n</head>\n"
        f"<body>\n<main>\n{top}\n{_body(paged)}\n</main>\n</body>\n</html>\n"
    )


def _body(notebook: Notebook) -> str:
    """Return a notebook's text and outputs as HTML."""
    import nbformat
    from nbconvert import HTMLExporter

    exporter = HTMLExporter(
        template_name="basic",
        exclude_input=True,
        exclude_output_prompt=True,
        exclude_input_prompt=True,
        exclude_anchor_links=True,
    )
    html: str = exporter.from_notebook_node(nbformat.reads(notebook_bytes(notebook).decode(), 4))[0]
    # A cell may be named after an exercise that a page has twice, and nothing here jumps to it.
    return re.sub(r' id="cell-id=[^"]*"', "", html)


def _unfold(text: str) -> tuple[str, list[str]]:
    """Return a text without what it folds away, and that."""
    return _DETAILS.sub("", text), [found.strip() for found in _DETAILS.findall(text)]


def _unlinked(text: str) -> str:
    """Return a text whose links into the folder are words: paper can't follow them."""
    return _LINK.sub(r"\1", text)


def _only_for_screens(source: str) -> bool:
    """Tell whether a cell opens the workbook, or reveals what belongs to a prediction."""
    try:
        nodes = list(ast.walk(ast.parse(source)))
    except SyntaxError:
        return True
    named = {node.func.attr for node in nodes if isinstance(node, ast.Call) and hasattr(node.func, "attr")}
    return bool(named & {"open_workbook", "reveal", "predictions", "progress"})


def _printed(cell: Cell) -> list[dict[str, Any]]:
    """Return what a cell showed, without errors and without what needs a running page."""
    kept = []
    for output in cell.get("outputs", ()):
        if output.get("output_type") == "stream":
            kept.append({**output, "text": "".join(output["text"])})
        elif output.get("output_type") in ("display_data", "execute_result"):
            data = {kind: what for kind, what in output["data"].items() if kind != _WIDGET}
            if set(data) - {"text/plain"} or (data and _WIDGET not in output["data"]):
                joined = {k: "".join(v) if isinstance(v, list) else v for k, v in data.items()}
                kept.append({**output, "metadata": output.get("metadata", {}), "data": joined})
    return kept


def _lines_for(form: Answer) -> str:
    """Return lines to write an answer on, a row for each part of it."""
    if type(form) is dict and form:
        rows = "".join(
            f"<tr><td>{escape(str(key))}</td><td>{_parts(value)}</td></tr>" for key, value in form.items()
        )
        return f'<div class="write"><table><tbody>{rows}</tbody></table></div>'
    if type(form) in (list, tuple) and len(form) > 1:
        numbers = range(1, len(form) + 1)
        places = " ".join(f'<span class="place">{number}. {LINE}</span>' for number in numbers)
        return f'<div class="write"><p>{places}</p></div>'
    return f'<div class="write"><p><b>Answer:</b> {_LONG}</p></div>'


def _parts(value: Answer) -> str:
    """Return what stands in one row: parts of its own, or nothing but room."""
    if type(value) is dict and value:
        return " &nbsp; ".join(f"{escape(str(key))}: {LINE}" for key in value)
    if type(value) in (list, tuple) and len(value) > 1:
        return " &nbsp; ".join([LINE] * len(value))
    return ""
