"""Paper: what a printed sheet is put together from, in plain HTML that opens without a network.

A sheet goes into a cellar.  It prints on A4 and on Letter in black and white, has boxes to tick and lines to
write on, and says its cautions before anything else.  Metric and US units stand side by side.  Whatever came
from a file is escaped here.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from lessonkit.copper.wire import area_m2
from lessonkit.draw.image import svg_image_html
from lessonkit.job.calls import PLACE_WORDS
from lessonkit.job.naming import point_words
from lessonkit.studies.customary import FOOT_M

__all__ = [
    "BOX",
    "DATE_LINE",
    "LINE",
    "WORD_LINE",
    "cautions",
    "earth_caution",
    "facts",
    "figure",
    "gauge_words",
    "length_words",
    "end_words",
    "page",
    "place_words",
    "signatures",
    "table",
    "ticks",
    "together",
    "written",
]

_STYLE = """
@page { margin: 12mm 12mm 15mm; font: 8pt system-ui, "DejaVu Sans", sans-serif;
        @bottom-left { content: TITLE "     Site ____________________"; white-space: pre; }
        @bottom-right { content: "Page " counter(page) " of " counter(pages); } }
body { font: 15px/1.35 system-ui, "DejaVu Sans", sans-serif;
       color: #000; background: #fff;
       margin: 0 auto; max-width: 52rem; padding: 1rem; }
h1 { font-size: 1.5em; margin: 0 0 .2em; overflow-wrap: anywhere; }
h2 { font-size: 1.12em; margin: 1.1em 0 .3em; border-bottom: 2px solid #000; break-after: avoid; }
h3 { font-size: 1em; margin: .8em 0 .2em; break-after: avoid; }
p { margin: .3em 0; overflow-wrap: anywhere; }
table { border-collapse: collapse; width: 100%; }
th, td { padding: .18em .6em .18em 0; text-align: left; vertical-align: top;
         border-bottom: 1px solid #767676; }
td, th { overflow-wrap: break-word; }
thead { display: table-header-group; }
tr { break-inside: avoid; }
table.names td:first-child { white-space: nowrap; }
.number { text-align: right; font-variant-numeric: tabular-nums; }
.caution { border: 3px solid #000; padding: .4em .8em; margin: .6em 0; break-inside: avoid; }
.caution ul { margin: .2em 0; padding-left: 1.2em; }
.box { display: inline-block; flex: none; width: .95em; height: .95em; margin-right: .45em;
       border: 1.5px solid #000; vertical-align: -.12em; }
ul.tick { list-style: none; padding: 0; margin: .3em 0; }
ul.tick li { margin: .3em 0; break-inside: avoid; }
.line { display: inline-block; border-bottom: 1px solid #000; min-width: 4.2em; height: 1.1em; }
.word { min-width: 25mm; } .date { min-width: 30mm; }
.long { min-width: 14em; } .sign { white-space: nowrap; margin-right: .6em; }
.sign .long { min-width: 11em; }
ul.steps { list-style: none; padding: 0; margin: .2em 0; columns: 2; column-gap: 1.6em; }
ul.steps li { display: flex; align-items: baseline; gap: .35em; padding: .16em 0; break-inside: avoid;
              border-bottom: 1px dotted #767676; }
ul.steps .what { flex: 1; } ul.steps .band { font-variant-numeric: tabular-nums; text-align: right; }
.do { font-weight: 600; margin: .5em 0 .1em; break-after: avoid; }
.live { font-weight: 700; border: 2px solid #000; padding: .1em .5em; margin: .5em 0 .1em;
        break-after: avoid; }
.before { break-after: avoid; break-inside: avoid; }
.together { break-inside: avoid; }
figure { margin: .6em 0; break-inside: avoid; }
figure img { width: 100% !important; max-width: 100% !important; height: auto; filter: grayscale(1); }
@media print { body { max-width: none; padding: 0; font-size: 9.5pt; }
               figure { margin: .3em 0; }
               figure img { width: 89% !important; display: block; margin: 0 auto; } }
@media (max-width: 600px) { ul.steps { columns: 1; } }
"""

#: A box to tick.
BOX = '<span class="box" role="img" aria-label="box to tick"></span>'
#: A line to write a number on, one for a word, and one for a date.
LINE = '<span class="line"></span>'
WORD_LINE, DATE_LINE = '<span class="line word"></span>', '<span class="line date"></span>'


def page(title: str, body: Iterable[str]) -> str:
    """Return a whole page as HTML text; sheets have the title, a line for the site, and their number."""
    style = _STYLE.replace("TITLE", _css_text(title))
    head = (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{style}</style>\n</head>\n<body>\n<main>\n"
    )
    return head + "\n".join(body) + "\n</main>\n</body>\n</html>\n"


def _css_text(words: str) -> str:
    """Return words as a string of CSS; whatever could end it stands there by its number."""
    plain = (c if c.isalnum() or c in " .,:;-" else f"\\{ord(c):x} " for c in words)
    return f'"{"".join(plain)}"'


def written(words: str) -> str:
    """Return words with lines to write on where they have four underscores; a date gets room for one."""
    return escape(words).replace("date ____", f"date {DATE_LINE}").replace("____", WORD_LINE)


def together(parts: Iterable[str]) -> str:
    """Return parts that stay on one sheet of paper."""
    return f'<div class="together">{"".join(parts)}</div>'


def cautions(*more: str) -> str:
    """Return the box of cautions that every sheet has, and `more` that this one needs."""
    always = (
        "Open every disconnect, lock and tag it, and prove the circuit dead before you touch a wire.",
        "Line voltage and stored charge stay in the equipment. Low-voltage work only, inside your licence.",
        "The local code, the makers' instructions and the licensed person on site come first. These numbers "
        "come from a model of the job; they replace no measurement.",
    )
    listed = "".join(f"<li>{escape(words)}</li>" for words in (*always, *more))
    return f'<div class="caution"><strong>Caution.</strong><ul>{listed}</ul></div>'


def earth_caution(amps: float) -> str:
    """Return the caution where equipment ground carries control current."""
    return (
        f"Equipment ground carries up to {amps:.2f} A of control current here. Whether it may at all is the "
        "licensed person's decision, under the local code and the makers' instructions. A ground that opens "
        "puts 24 V on metal."
    )


def ticks(acts: Iterable[str]) -> str:
    """Return things to tick, one a line; four underscores are a line to write on."""
    return '<ul class="tick">' + "".join(f"<li>{BOX}{written(act)}</li>" for act in acts) + "</ul>"


def table(
    head: Sequence[str], rows: Iterable[Sequence[object]], numbers: Iterable[int] = (), kind: str = ""
) -> str:
    """Return a table; the columns in `numbers` stand to the right.

    Its `kind` is "together" where it stays on one sheet, "names" where its first column never wraps.
    """
    right = set(numbers)

    def cell(tag: str, k: int, value: object) -> str:
        side = ' class="number"' if k in right else ""
        scope = ' scope="col"' if tag == "th" else ""
        return f"<{tag}{scope}{side}>{escape(str(value))}</{tag}>"

    top = "".join(cell("th", k, name) for k, name in enumerate(head))
    lines = ("<tr>" + "".join(cell("td", k, v) for k, v in enumerate(row)) + "</tr>" for row in rows)
    named = f' class="{kind}"' if kind else ""
    return f"<table{named}><thead><tr>{top}</tr></thead><tbody>{''.join(lines)}</tbody></table>"


def facts(rows: Iterable[tuple[str, str, str]]) -> str:
    """Return a table of facts in metric and US units, side by side."""
    return table(("", "Metric", "US"), rows, (1, 2))


def figure(svg: str, words: str) -> str:
    """Return a picture of a `Canvas`, with words under it."""
    return f"<figure>{svg_image_html(svg)}<figcaption>{escape(words)}</figcaption></figure>"


def signatures(*people: str) -> str:
    """Return the lines on which people sign, the licence number with the first."""
    rows = []
    for k, who in enumerate(people):
        lines = [f'{escape(who)} <span class="line long"></span>']
        lines += ['Licence number <span class="line long"></span>'] if k == 0 else []
        lines.append(f"Date {DATE_LINE}")
        rows.append("<p>" + " ".join(f'<span class="sign">{line}</span>' for line in lines) + "</p>")
    return "".join(rows)


def length_words(metres: float) -> tuple[str, str]:
    """Return a length in metres and in feet."""
    return f"{metres:.1f} m", f"{metres / FOOT_M:.0f} ft"


def gauge_words(awg: int) -> tuple[str, str]:
    """Return a wire's size in square millimetres and as a gauge."""
    return f"{area_m2(awg) * 1e6:.2f} mm²", f"{awg} AWG"


def end_words(node: str) -> str:
    """Return what a point of a job is called: a terminal, the conductor whose loose end it is, or metal."""
    name = point_words(node.rpartition(":")[2].rpartition(".")[2])
    # Two signal conductors meet at the air handler, so there the name says which way; a spare's needn't.
    return name if name.startswith("SIG") else name.removesuffix("-stat").removesuffix("-out")


def place_words(node: str) -> str:
    """Return the words for the place of a point."""
    return PLACE_WORDS.get(node.partition(":")[0], "")
