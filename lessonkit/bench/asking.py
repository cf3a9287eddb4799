"""What wants to be on: thermostat, links, disconnects and the defrost board ask for two-way elements.

Coils, boards and fuses follow the circuit (`settling`). All other two-way elements (`wiring`) are asked for
from outside it: a thermostat closes contacts, a relay board holds what it heard, a hand closes a disconnect.
`Wants` is all that decides this, so two moments with equal wants ask for the same.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from lessonkit.bench.wiring import Wiring
from lessonkit.job.model import RUN_ENDS
from lessonkit.job.thermostat import STEALS_FROM

__all__ = ["Asks", "DEFROST_BOARD_AT", "Held", "THERMOSTAT_AT", "Wants", "what_asks"]

#: The boards that close contacts of their own, as "place:name".
DEFROST_BOARD_AT, THERMOSTAT_AT = "out:defrost-board", "stat:thermostat"

#: What wants to be on: the name of each two-way element -> the board that has to be awake for it ("" for
#: none).
Asks = Mapping[str, str]

#: What relays hold: a run, its end "far" (the relay board) or "near" (the encoder, which has D alone), and
#: the terminals.
Held = tuple[str, str, frozenset[str]]


class Wants(NamedTuple):
    """All that decides what wants to be on.

    `called` are the terminals that the thermostat energises, `held` what relays hold, `powered` the places
    whose disconnect is closed (None: all). `free` says that the compressor's delay is over, `defrosting` that
    a defrost runs and its board is awake; `outdoor_c` is what an outdoor thermostat feels.
    """

    called: frozenset[str]
    held: tuple[Held, ...] = ()
    powered: frozenset[str] | None = None
    free: bool = True
    defrosting: bool = False
    outdoor_c: float = 8.0


def what_asks(wiring: Wiring, wants: Wants) -> dict[str, str]:
    """Return what wants to be on, each with the board that has to be awake for it."""
    job, called, powered = wiring.job, wants.called, wants.powered
    asks = {f"power {place}": "" for place in wiring.supplies if powered is None or place in powered}
    for terminal in called:
        asks[f"call stat:{terminal}"] = THERMOSTAT_AT
    if job.thermostat.power == "stealing":
        idle = [t for t in STEALS_FROM if t in job.call_terminals and t not in called]
        asks |= {f"tap stat:{terminal}": "" for terminal in idle[:1]}
    if job.outdoor_thermostat is not None:
        closed = job.outdoor_thermostat.closed(wants.outdoor_c)
        asks |= {key: "" for key, which in wiring.lockouts.items() if which in closed}
    for run in job.links:
        asks[f"driver {run}.near"] = f"{RUN_ENDS[run][0]}:encoder"
    for run, end, terminals in wants.held:
        near, far = RUN_ENDS[run]
        place, board = (near, f"{near}:encoder") if end == "near" else (far, f"{far}:relay-board")
        for terminal in terminals:
            asks[f"relay {place}:{terminal}"] = asks[f"pull {place}:{terminal}"] = board
    if wants.free:
        asks["board out:compressor"] = DEFROST_BOARD_AT
    if wants.defrosting:
        asks |= dict.fromkeys(wiring.defrost_contacts, DEFROST_BOARD_AT)
    else:
        asks["board out:valve"] = ""  # at rest this contact is closed
    return asks
