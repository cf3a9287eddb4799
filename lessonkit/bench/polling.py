"""The links of a bench: polls, watchdogs, and what either end makes of the frames.

At each interval an encoder sends what it reads; the relay board at the far end acts and answers; either end
lets go after a silence.  What a frame meets on the copper is the settled circuit's matter, and what the
relays then do to the circuit is the bench's.  This is the part of a bench that does both, once a poll.
"""

from __future__ import annotations

from dataclasses import replace

from lessonkit.bench import signal_path
from lessonkit.bench.exchange import FrameBook, FrameSeen
from lessonkit.bench.link import Ends, LinkState
from lessonkit.bench.log import Releases
from lessonkit.bench.settling import Latches, Settled
from lessonkit.bench.state import read_link
from lessonkit.bench.wiring import Wiring
from lessonkit.job.model import RUN_ENDS, Job
from lessonkit.job.parts import INPUT_LIVE_V
from lessonkit.signal.frames import Frame

__all__ = ["Polling"]


class Polling:
    """What a bench does with its links; `Bench` has the clock, the circuit and everything else."""

    job: Job
    time_s: float
    wiring: Wiring
    _settled: Settled
    _latches: Latches
    _links: dict[str, Ends]
    _polls: dict[str, float]
    _read: dict[str, tuple[frozenset[str], bool]]
    _paths: signal_path.SignalPaths
    _frames: FrameBook
    _releases: Releases
    _switched_s: float

    def _watch(self, run: str) -> bool:
        ends, settings = self._links[run], self.job.runs[run].link
        far, near = ends.far.watches(self.time_s, settings), ends.near.watches(self.time_s, settings)
        if (far, near) == (ends.far, ends.near):
            return False  # as at nearly every event
        self._links[run] = replace(ends, far=far, near=near)
        if ends.far.outputs and not far.outputs:
            self._releases.note([f"{RUN_ENDS[run][1]}:relay-board"], self.time_s)
        return (far.outputs, near.outputs) != (ends.far.outputs, ends.near.outputs)

    def _poll(self, run: str) -> bool:
        settings, (near, far) = self.job.runs[run].link, RUN_ENDS[run]
        self._polls[run] += settings.interval_s
        if f"{near}:encoder" not in self._latches.awake:
            return False
        inputs, wants_heat = self.read(run)
        before = self._links[run]
        ends, frame = before.polls(inputs)
        down = self._send(run, "down", ends.sent, frame, f"{far}:relay-board" in self._latches.awake)
        if down.taken and down.heard is not None:
            ends, reply = ends.hears(down.heard, wants_heat, self.time_s, settings)
            up = self._send(run, "up", ends.sent, reply, True)
            if up.taken and up.heard is not None:
                ends = ends.hears_reply(up.heard, self.time_s, settings)
        self._links[run] = ends
        return (ends.far.outputs, ends.near.outputs) != (before.far.outputs, before.near.outputs)

    def _send(self, run: str, way: str, number: int, frame: Frame, listening: bool) -> FrameSeen:
        """Send one frame through the circuit as it stands."""
        on, awake = self._settled.on, self._latches.awake
        conditions = self._paths.conditions(on, awake, run, way, self._switching(run))
        return self._frames.carry(conditions, run, way, number, frame, listening, self.time_s)

    def _switching(self, run: str) -> bool:
        """Return whether the contactor switched while the frames of this moment were on the line."""
        return self.time_s - self._switched_s <= self.job.runs[run].link.exchange_s

    def way(self, run: str, way: str) -> signal_path.SignalPath:
        """Return what the receiver of one way over a link, "down" or "up", gets now, with its odds."""
        inputs, on, awake = self.read(run)[0], self._settled.on, self._latches.awake
        return self._paths.way(on, awake, run, way, inputs, self._switching(run))

    def read(self, run: str) -> tuple[frozenset[str], bool]:
        """Return what a link's encoder reads as live, and whether its far end sees D asked for."""
        if run not in self._read:
            self._read[run] = signal_path.read_inputs(self.wiring, self._settled.solution, run, INPUT_LIVE_V)
        return self._read[run]

    def link_state(self, run: str) -> LinkState:
        """Return one link as a reader sees it."""
        down, up = self.way(run, "down"), self.way(run, "up")
        return read_link(self.wiring, self._settled, self._links[run], self.read(run)[0], down, up)

    @property
    def frames(self) -> tuple[FrameSeen, ...]:
        """Return the latest few hundred frames over all links, oldest first, with what became of each."""
        return tuple(self._frames.latest)

    def last_frame(self, run: str, way: str = "down") -> FrameSeen | None:
        """Return the frame of a link's last poll, or the reply to it (`up`); None where none was sent."""
        return self._frames.last.get((run, way))
