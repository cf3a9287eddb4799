"""One frame on a link, from the sender's bits to what the far end does about it.

    sent -> volts at the receiver -> its decisions -> heard (or refused) -> taken (or left)

A frame is decided once, from its own waveform, and that is the frame that a scope shows and that counters
count. Where chance can't change its fate (`signal_path.foregone`), the waveform is only worked out when
somebody looks; its seed fixes it, so it is the same whenever that is. Where it can, frames of one kind are
decided some polls ahead, in batches, because a hundred at once cost little more than ten.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field, replace
from functools import cached_property

from lessonkit.bench.link import is_for
from lessonkit.bench.signal_path import Conditions
from lessonkit.job.model import RUN_ENDS
from lessonkit.signal.arrivals import Arrivals
from lessonkit.signal.channel import Reception, Shift, Waveform
from lessonkit.signal.frames import Frame

#: A bench remembers so many frames, both ways over all its links.
REMEMBERED = 240

#: Frames are decided so many polls ahead: a few at first, more while nothing changes.
FIRST_BATCH, LARGEST_BATCH = 8, 128


@dataclass(frozen=True)
class FrameSeen:
    """One frame that was sent over a link.

    `way` is `down` (the encoder's frame) or `up` (the reply); `number` counts the polls of the link from 1;
    `heard` is what the receiver read, None where it read no good frame; `listening` says whether the board
    at that end was awake; `taken` whether it acted on the frame. The rest tells how the waveform is made.
    """

    run: str
    way: str
    time_s: float
    number: int
    sent: Frame
    heard: Frame | None
    listening: bool
    taken: bool
    conditions: Conditions = field(repr=False)
    arrivals: Arrivals = field(repr=False, compare=False)
    row: int = field(repr=False, compare=False)

    @property
    def at(self) -> str:
        """Return the place of the receiver."""
        return RUN_ENDS[self.run][1 if self.way == "down" else 0]

    @property
    def other(self) -> str:
        """Return the place of the sender."""
        return RUN_ENDS[self.run][0 if self.way == "down" else 1]

    @cached_property
    def wave(self) -> Waveform:
        """Return the volts at the receiver's looks against its own common: what it decided on."""
        return self.arrivals.waveform(self.row)

    @cached_property
    def reading(self) -> Reception:
        """Return the receiver's decisions, bit by bit."""
        return self.arrivals.reception(self.row)

    @property
    def common(self) -> Shift:
        """Return the sender's common against the receiver's: a sine in PEAK volts, on the clock of `wave`."""
        common = self.conditions.common
        return replace(common, phase_rad=common.phase_rad + self.arrivals.supply_rad(self.row))

    @property
    def why(self) -> str:
        """Return why the frame was not acted on, in a sentence; nothing where it was."""
        if self.taken:
            return ""
        if not self.listening:
            return "The board at this end does nothing."
        return self.reading.error or "The frame is addressed to somebody else."

    def __str__(self) -> str:
        """Return it as a line of a log."""
        fate = "taken" if self.taken else f"left: {self.why}"
        sent = self.sent.to_bytes().hex(" ")
        return f"{self.time_s:8.2f} s  {self.run} {self.way} {self.number}: {sent} {fate}"


class FrameBook:
    """What becomes of the frames of one bench, and the latest of them.

    Parameters: `seed` is the bench's. The chance in a frame follows from it, from the state of the circuit
    and from the frame's number, never from what was looked at.
    """

    def __init__(self, seed: int) -> None:
        self._seed = seed
        self._batches: dict[tuple[str, int, int], tuple[int, Arrivals]] = {}
        self.latest: deque[FrameSeen] = deque(maxlen=REMEMBERED)
        self.last: dict[tuple[str, str], FrameSeen] = {}

    def forget_ahead(self) -> None:
        """Forget what was decided ahead: the circuit is another one from now on."""
        self._batches.clear()

    def carry(
        self,
        conditions: Conditions,
        run: str,
        way: str,
        number: int,
        frame: Frame,
        listening: bool,
        time_s: float,
    ) -> FrameSeen:
        """Send one frame, the `number`th of its link, and return what became of it."""
        heard: Frame | None
        if conditions.sure is None:
            row, arrivals = self._decided(conditions, number, frame)
            heard, _ = arrivals.heard(row)
        else:
            row, arrivals = 0, self._arrivals(conditions, number, [frame])
            heard = frame if conditions.sure else None
        taken = listening and heard is not None and is_for(run, way, heard)
        seen = FrameSeen(run, way, time_s, number, frame, heard, listening, taken, conditions, arrivals, row)
        self.latest.append(seen)
        self.last[run, way] = seen
        if way == "down":
            self.last.pop((run, "up"), None)  # no reply yet to this one
        return seen

    def _arrivals(self, conditions: Conditions, number: int, frames: list[Frame]) -> Arrivals:
        return Arrivals(conditions.channel, tuple(frames), (self._seed, conditions.mark, number))

    def _decided(self, conditions: Conditions, number: int, frame: Frame) -> tuple[int, Arrivals]:
        """Return the row of a frame in its batch; a new one begins with it where it is in none."""
        key = (conditions.name, frame.address, frame.call_bits)
        first, batch = self._batches.get(key, (0, None))
        many = FIRST_BATCH
        if batch is not None:
            row, many = number - first, len(batch.sent)
            if 0 <= row < many and batch.sent[row] == frame:
                return row, batch
            going_on = many <= row < 2 * many
            many = min(2 * many, LARGEST_BATCH) if going_on else FIRST_BATCH
        frames = [Frame(frame.address, frame.call_bits, (frame.sequence + k) % 256) for k in range(many)]
        batch = self._arrivals(conditions, number, frames)
        self._batches[key] = number, batch
        return 0, batch
