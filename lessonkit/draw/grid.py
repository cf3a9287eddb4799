"""Where things stand in the wiring picture.

Three places side by side, with the two runs between them. Every terminal letter has one row that goes through
the whole picture, so a call can be followed along its row from the thermostat to the coil. Where a run is a
link, an encoder and a relay board stand in the run, and only R, C and SIG pass between them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from lessonkit.job.model import RUN_ENDS, Job, is_idle

__all__ = ["AIR", "BOARD_GAP", "BOARD_W", "ENCODER_W", "OUT", "PLACES_X", "STAT", "WIDTH", "Grid"]

WIDTH = 1036.0
STAT, AIR, OUT = (6.0, 162.0), (368.0, 596.0), (800.0, 1030.0)
PLACES_X = {"stat": STAT, "air": AIR, "out": OUT}
ENCODER_W, BOARD_W, BOARD_GAP = 26.0, 54.0, 6.0

#: The row on which each coil stands; the reversing valve stands on that of its letter.
COIL_ROWS = {
    "blower-relay": "G",
    "sequencer": "W1",
    "furnace": "W1",
    "sequencer-2": "W2",
    "furnace-2": "W2",
    "emergency-relay": "E",
    "contactor": "Y1",
    "unloader": "Y2",
}

_FIRST_ROW, _PITCH = 68.0, 26.0
_BAND_LINE = 22.0


@dataclass(frozen=True)
class Grid:
    """Rows and columns for one job."""

    job: Job

    @cached_property
    def row_names(self) -> tuple[str, ...]:
        """Return the rows from top to bottom."""
        idle = dict.fromkeys(c for run in self.job.runs.values() for c in run.conductors if is_idle(c))
        signal = ("SIG",) if self.job.links else ()
        return ("R", "C", *self.job.call_terminals, "D", *signal, *idle)

    def y(self, row: str) -> float:
        """Return the height of a row, by terminal or conductor name."""
        return _FIRST_ROW + _PITCH * self.row_names.index(row)

    def conductor_y(self, conductor: str) -> float:
        """Return the height of a conductor, the earth path included."""
        return self.ground_y if conductor == "earth" else self.y(conductor)

    @property
    def ground_y(self) -> float:
        """Return the height of the earth path."""
        return _FIRST_ROW + _PITCH * len(self.row_names) + 6

    @property
    def band_y(self) -> float:
        """Return where the lines about equipment begin."""
        return self.ground_y + 36

    @property
    def fed_outdoors(self) -> bool:
        """Return whether the outdoor unit has a transformer of its own."""
        return self.job.outdoor_run.far_supply is not None

    @property
    def band_lines(self) -> int:
        """Return how many lines about equipment each place has."""
        return 5 if self.fed_outdoors else 4

    def band_line(self, k: int) -> float:
        """Return the baseline of the k-th line about equipment."""
        return self.band_y + _BAND_LINE * k

    @property
    def floor_y(self) -> float:
        """Return the lower edge of the places."""
        return self.band_line(self.band_lines - 1) + 11

    @property
    def height(self) -> float:
        """Return the height of the whole picture: places, legend, two lines of news."""
        return self.news_y + 32

    @property
    def legend_y(self) -> float:
        """Return the baseline of the legend."""
        return self.floor_y + 24

    @property
    def news_y(self) -> float:
        """Return the baseline of the first line of news."""
        return self.legend_y + 26

    def terminals(self, place: str) -> tuple[str, ...]:
        """Return the terminals of a place, supply first."""
        if place == "stat":
            return ("R", "C", *self.job.call_terminals)
        defrost = ("D",) if self.job.has_defrost else ()
        if place == "air":
            return ("R", "C", *self.job.call_terminals, *defrost)
        return ("R", "C", *self.job.outdoor_terminals, *defrost)

    def row_of_coil(self, name: str) -> str:
        """Return the row on which a coil stands; empty for one that has no place in the picture."""
        row = {"reversing-valve": self.job.equipment.valve}.get(name, COIL_ROWS.get(name, ""))
        return row if row in self.row_names else ""

    def is_link(self, run: str) -> bool:
        """Return whether a run carries a link."""
        return self.job.runs[run].arrangement == "link"

    def span(self, run: str) -> tuple[float, float]:
        """Return where the conductors of a run begin and end: screw to screw."""
        near, far = RUN_ENDS[run]
        return PLACES_X[near][1], PLACES_X[far][0]

    def signal_span(self, run: str) -> tuple[float, float]:
        """Return where SIG begins and ends: encoder to relay board."""
        left, right = self.span(run)
        return left + ENCODER_W + BOARD_GAP, right - BOARD_W - BOARD_GAP

    def bus_x(self, run: str) -> float:
        """Return where R comes down through the relay board of a link."""
        return self.span(run)[1] - BOARD_W + 18

    def conductor_span(self, run: str, conductor: str) -> tuple[float, float]:
        """Return where one conductor begins and ends."""
        return self.signal_span(run) if conductor == "SIG" else self.span(run)

    def board_rows(self) -> tuple[float, float]:
        """Return the top and bottom of encoders and relay boards."""
        return self.y(self.job.call_terminals[0]) - 14, self.y("SIG") + 14
