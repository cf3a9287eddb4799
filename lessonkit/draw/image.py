"""Pictures as images: what a page shows that neither trusts nor runs anything.

A notebook that somebody else wrote is shown without its scripts, its styles and its SVG, of which only the
letters would be left, run together. An image whose address is the picture itself stays, and so do its words
for those who can't see it. It is also what paper and exported pages show.
"""

from __future__ import annotations

import re
from html import escape, unescape
from urllib.parse import quote

__all__ = ["MOST", "asleep_html", "image_html", "svg_image_html"]

#: So many times its normal width a picture may fill where there is room.
MOST = 1.35
#: What an address may hold as it is, in every browser, within double quotes.
_PLAIN = " /:;,=?!'()*@+$~"

_STYLE = (
    "<style>.lk-awake .lk-asleep { display: none } "
    "@media print { .lk-image { break-inside: avoid } .lk-image img { min-width: 0 !important } }</style>"
)


def image_html(address: str, words: str, width: float = 0.0) -> str:
    """Return an image by its address, with its words.

    `width` is that of the picture in pixels at normal size: on paper and on a page it fills the width that
    there is, up to a third more than that; a page narrower than 600 px scrolls it, so that it can be read.
    """
    least = f"min-width:clamp(0px,(600px - 100vw) * 1000,{0.8 * width:.0f}px);" if width else ""
    most = f"width:100%;max-width:{MOST * width:.0f}px" if width else "max-width:100%"
    image = f'<img alt="{escape(words)}" style="{least}{most}" src="{address}">'
    return f'{_STYLE}<div class="lk-image" style="overflow-x:auto">{image}</div>'


def svg_image_html(svg: str) -> str:
    """Return a picture of a `Canvas` as an image, with its own words."""
    head = svg.partition(">")[0]
    found = {name: re.search(rf' {name}="([^"]*)"', head) for name in ("aria-label", "width")}
    words, width = (unescape(at[1]) if at else "" for at in found.values())
    return image_html(f"data:image/svg+xml,{quote(svg, safe=_PLAIN)}", words, float(width or 0.0))


def asleep_html(name: str, inner: str) -> str:
    """Return what stands for a panel when nobody answers its keys, and says how to wake it."""
    wake = (
        f"{name} is asleep. To use it, run the notebook from its top (Run, Run All Cells); your answers stay."
    )
    seen = "<p>This is how it stood when its cell was run:</p>" if inner else ""
    return f'{_STYLE}<div class="lk-asleep"><p><strong>{escape(wake)}</strong></p>{seen}{inner}</div>'
