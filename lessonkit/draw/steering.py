"""Pictures of half-wave steering: two cycles of one conductor, and how far it reaches.

    steering_picture    volts on the conductor and the current of both relays, through two cycles
    reach_picture       a relay's mean current against the ohms of the conductor

Both run the circuit through time (`studies.steering`); nothing is drawn by hand.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lessonkit.draw.palette import INK, OKABE_ITO, SOFT
from lessonkit.draw.still import TEXT_PT, Still, axes
from lessonkit.studies.steering import CALLS, Steering, steer

__all__ = ["reach_picture", "steering_picture"]

_FIRST, _SECOND = OKABE_ITO["blue"], OKABE_ITO["vermilion"]
_LOOPS_OHM = (0.5, 10.0, 20.0, 30.0, 45.0, 60.0)
#: Good to half a percent (`steer`), which no eye sees.
_STEPS = 64


def steering_picture(site: Steering, call: str = "first") -> Still:
    """Draw one steered conductor and its two relays over two cycles.

    Volts at the far end of the conductor against common, and what the supply would give with nothing on it;
    below, the current of each relay's coil.
    """
    steered = steer(site, call)
    trace = steered.trace
    shown = trace.time_s - trace.time_s[0] <= 2 / site.freq_hz + 1e-9
    time_ms = 1000 * (trace.time_s - trace.time_s[0])[shown]
    figure, (volts, amps) = axes(8.0, 5.2, rows=2)
    turn = 2 * np.pi * site.freq_hz * trace.time_s[shown]
    volts.plot(time_ms, np.sqrt(2) * site.supply_v * np.sin(turn), color=SOFT, lw=1.6, ls=":", label="supply")
    volts.plot(time_ms, trace.across("far")[shown], color=INK, lw=2.5, label="on the conductor")
    volts.set(ylabel="volts", xlim=(0, time_ms[-1]))
    for name, colour, dash in (("first", _FIRST, "-"), ("second", _SECOND, "--")):
        milliamps = 1000 * np.abs(trace.current_a(f"coil-{name}"))[shown]
        amps.plot(time_ms, milliamps, color=colour, lw=3, ls=dash, label=f"{name} relay")
    coil = site.first
    amps.axhline(1000 * coil.pick_up_a, color=SOFT, lw=1.6, ls=":")
    amps.text(
        time_ms[-1], 1000 * coil.pick_up_a, "must pull in", fontsize=TEXT_PT - 1, ha="right", va="bottom"
    )
    amps.set(ylabel="coil (mA)", xlabel="milliseconds", xlim=(0, time_ms[-1]))
    amps.set_ylim(bottom=-2)
    for ax in (volts, amps):
        ax.legend(fontsize=TEXT_PT - 1, loc="upper right", frameon=False, ncols=2)
        ax.set_ylim(top=1.45 * ax.get_ylim()[1])
    closed = " and ".join(CALLS[call]) or "no"
    words = [f"{name}: mean {1000 * c.mean_a:.0f} mA, {c.state}" for name, c in steered.coils.items()]
    high, low = (round(float(edge(trace.across("far")))) for edge in (np.max, np.min))
    return Still(
        figure,
        f"One conductor through two cycles, {closed} contact closed. Its volts go from {low} V to "
        f"{high} V. Relays: {'; '.join(words)}.",
    )


def reach_picture(site: Steering) -> Still:
    """Draw a called relay's mean current against the conductor's ohms.

    One line for the supply as it is, one for a supply that is a tenth lower. Where a line falls below the
    dotted one the relay is no longer sure to pull in.
    """
    figure, (ax,) = axes(8.0, 3.9)
    said = []
    for share, colour, dash, marker in ((1.0, _FIRST, "-", "o"), (0.9, _SECOND, "--", "s")):
        supply_v = share * site.supply_v
        milliamps = [
            1000
            * steer(replace(site, loop_ohm=ohm, supply_v=supply_v), "first", _STEPS).coils["first"].mean_a
            for ohm in _LOOPS_OHM
        ]
        words = f"supply {supply_v:.1f} V"
        ax.plot(_LOOPS_OHM, milliamps, color=colour, lw=3, ls=dash, marker=marker, ms=7, label=words)
        said.append(f"with a {words} from {milliamps[0]:.0f} mA down to {milliamps[-1]:.0f} mA")
    must_ma = 1000 * site.first.pick_up_a
    ax.axhline(must_ma, color=SOFT, lw=1.6, ls=":")
    ax.text(1.0, must_ma + 0.4, "must pull in", fontsize=TEXT_PT, color=INK)
    ax.set(xlabel="conductor and way back (ohm)", xlim=(0, _LOOPS_OHM[-1]))
    ax.set_ylabel("mean current (mA)")
    ax.legend(fontsize=TEXT_PT - 1, loc="upper right", frameon=False)
    return Still(
        figure,
        f"Mean current of a called relay, from {_LOOPS_OHM[0]:g} to {_LOOPS_OHM[-1]:g} ohm of conductor and "
        f"way back: {'; '.join(said)}. It must have {must_ma:.0f} mA to be sure to pull in.",
    )
