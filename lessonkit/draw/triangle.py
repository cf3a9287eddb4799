"""The triangle of volts: a resistance ahead of a coil, and why their volts do not add in line.

Volts across a resistance keep step with the current. Those across a coil's reactance run a quarter of a
period ahead. So the picture lays the first along the page and the second upwards, and the sides of the
triangle have the lengths that a meter shows: RMS volts.
"""

from __future__ import annotations

import math

from lessonkit.draw.palette import INK, OKABE_ITO
from lessonkit.draw.still import TEXT_PT, Still, axes
from lessonkit.errors import require, require_positive

__all__ = ["triangle_picture"]


def triangle_picture(supply_v: float, splice_ohm: float, coil_ohm: float, copper_ohm: float) -> Still:
    """Draw the volts of a splice and a coil in a row as a triangle.

    `coil_ohm` is the coil's impedance Z (24 x 24 / VA), of which `copper_ohm` is copper; `supply_v` is RMS.
    """
    require_positive("supply_v", supply_v)
    require_positive("splice_ohm", splice_ohm)
    require_positive("copper_ohm", copper_ohm)
    require(copper_ohm < coil_ohm, "copper_ohm", copper_ohm, f"below the impedance of {coil_ohm:g} ohm")
    reactance_ohm = math.sqrt(coil_ohm**2 - copper_ohm**2)
    whole_ohm = math.hypot(splice_ohm + copper_ohm, reactance_ohm)
    amps = supply_v / whole_ohm
    splice_v, coil_v, copper_v, up_v = (
        amps * ohm for ohm in (splice_ohm, coil_ohm, copper_ohm, reactance_ohm)
    )
    figure, (ax,) = axes(8.0, 3.6)
    corner = (splice_v + copper_v, up_v)
    sides = (
        ((0.0, 0.0), (splice_v, 0.0), OKABE_ITO["vermilion"], "--", f"splice {splice_v:.1f} V"),
        ((splice_v, 0.0), corner, OKABE_ITO["blue"], "-", f"coil {coil_v:.1f} V"),
        ((0.0, 0.0), corner, INK, "-", f"supply {supply_v:.1f} V"),
    )
    for (x0, y0), (x1, y1), color, dash, label in sides:
        ax.plot([x0, x1], [y0, y1], color=color, ls=dash, lw=3, label=label)
    ax.plot([splice_v, corner[0], corner[0]], [0.0, 0.0, up_v], color=INK, lw=1.2, ls=":")
    ax.set_aspect("equal", adjustable="datalim")
    ax.set(xlabel="volts in step with the current (RMS)", ylabel="volts ahead of it (RMS)")
    ax.legend(fontsize=TEXT_PT, loc="upper left", frameon=False)
    in_line = splice_v + coil_v
    return Still(
        figure,
        f"A triangle of volts. Along the page: the splice, {splice_v:.1f} V. From its end up to the corner: "
        f"the coil, {coil_v:.1f} V. From the start to the corner: the supply, {supply_v:.1f} V. The first "
        f"two make {in_line:.1f} V in line, which is more than the supply: they do not keep step.",
    )
