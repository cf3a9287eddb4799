"""Pictures of a commissioning sheet: readings against their bands, and what a fitted model leaves.

band_picture       one pair of points under every call: band, what a sound job reads, what was read
residual_picture   reading less model for every reading of volts, before and after the fit
"""

from __future__ import annotations

from collections.abc import Mapping

from lessonkit.draw.palette import INK, OKABE_ITO, SOFT
from lessonkit.draw.still import TEXT_PT, Still, axes
from lessonkit.studies.prove import Proof
from lessonkit.studies.sheet import Read
from lessonkit.studies.sheet_parts import fit_sheet, over_calls

__all__ = ["band_picture", "residual_picture"]

_SOUND, _READ, _BAND = OKABE_ITO["blue"], OKABE_ITO["vermilion"], OKABE_ITO["sky"]


def band_picture(
    sheet: Proof, red: str, black: str = "", readings: Mapping[int, Read] | None = None
) -> Still:
    """Draw the band of one reading under every call.

    `red` and `black` are the two points; the bars are bands, the dots what the sound job reads, and crosses
    the readings of a filled sheet.
    """
    found = over_calls(sheet, red, black, readings)
    calls = [row.call for row in found.rows]
    figure, (ax,) = axes(8.0, 3.9)
    for k, row in enumerate(found.rows):
        ax.plot([k, k], [row.low, row.high], color=_BAND, lw=14, solid_capstyle="butt", alpha=0.55)
    ax.plot([], [], color=_BAND, lw=10, alpha=0.55, label="band of a sound job")
    ax.plot(
        range(len(calls)),
        [row.volts for row in found.rows],
        "o",
        color=_SOUND,
        ms=7,
        label="sound, nominal line",
    )
    read = [(k, row.reading) for k, row in enumerate(found.rows) if row.reading is not None]
    if read:
        ax.plot(*zip(*read, strict=True), "x", color=_READ, ms=10, mew=3, label="read on this site")
    ax.set_xticks(range(len(calls)), calls, fontsize=TEXT_PT - 1)
    ax.set_ylabel(f"{found.red} to {found.black} (V)")
    low = min(min(row.low, row.volts if row.reading is None else row.reading) for row in found.rows)
    high = max(max(row.high, row.volts if row.reading is None else row.reading) for row in found.rows)
    ax.set_ylim(low - 1.0, high + 2.2)
    ax.legend(fontsize=TEXT_PT - 1, loc="upper center", ncols=3, frameon=False)
    words = "; ".join(
        f"{row.call} {row.low:.2f} to {row.high:.2f} V"
        + ("" if row.reading is None else f", read {row.reading:.2f} V")
        for row in found.rows
    )
    return Still(figure, f"Bands of the volts from {found.red} to {found.black}, call by call: {words}.")


def residual_picture(sheet: Proof, readings: Mapping[int, Read]) -> Still:
    """Draw what a fitted model leaves of each reading.

    Shown is reading less model, in volts, before and after the fit.
    The grey lines are the doubt of a reading: the meter's error and what parts differ by.
    """
    fitted = fit_sheet(sheet, readings)
    fit = fitted.fit
    numbers = sorted(fit.left_v)
    figure, (ax,) = axes(8.0, 3.9)
    doubt = [fit.doubt_v[n] for n in numbers]
    ax.plot(numbers, doubt, color=SOFT, lw=1.4, ls=":", label="doubt of a reading")
    ax.plot(numbers, [-v for v in doubt], color=SOFT, lw=1.4, ls=":")
    ax.plot(numbers, [fit.before_v[n] for n in numbers], "s", color=_READ, ms=5, label="before the fit")
    ax.plot(numbers, [fit.left_v[n] for n in numbers], "o", color=_SOUND, ms=5, label="after the fit")
    ax.axhline(0.0, color=INK, lw=0.8)
    ax.set_xlabel("step of the sheet")
    ax.set_ylabel("reading less model (V)")
    low, high = ax.get_ylim()
    ax.set_ylim(low, high + 0.2 * (high - low))
    ax.legend(fontsize=TEXT_PT - 1, loc="upper center", ncols=3, frameon=False)
    step, volts = fit.worst
    return Still(
        figure,
        f"Reading less model for {len(numbers)} readings of volts. Before the fit the RMS is "
        f"{float(fitted.before_v):.2f} V, after it {float(fitted.left_v):.2f} V; a reading is in doubt by "
        f"{float(fitted.doubt_v):.2f} V. Most is left at step {step}: {volts:+.2f} V.",
    )
