"""A link: an encoder at the near end, a relay board at the far end, and frames over SIG.

The encoder polls.  At each interval it reads its terminals, packs them into a frame and sends it; the far
end answers in the gap with what its relays hold and whether the defrost board asks for heat.  The relay
board changes its outputs only when `acceptance` equal good frames in a row have come, and lets every output
go when no good frame has come for the length of its watchdog: silence means the safe state.

    encoder ── down: inputs that are live ─────> relay board ── outputs ──> terminals
    encoder <── up: outputs, request D ──────── relay board

Both ends are small values; each method returns a new one.  What a receiver reads is not decided here: the
bench asks `exchange` with what the settled circuit puts on the copper.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from lessonkit.job.calls import ALL_CALL_TERMINALS, from_bits, to_bits
from lessonkit.job.model import RUN_ENDS, LinkSettings
from lessonkit.signal.frames import Frame

#: Addresses in frames: which run is spoken to; a reply sets the top bit.
ADDRESSES = {"thermostat": 1, "outdoor": 2}
REPLY = 0x80

#: In a frame bit k of the call byte is `ALL_CALL_TERMINALS[k]`. The eighth stands for W2 on the thermostat's
#: run and for D in replies on the outdoor run: neither run has both.
D_BIT = 1 << ALL_CALL_TERMINALS.index("W2")


def down_frame(run: str, inputs: frozenset[str], sequence: int) -> Frame:
    """Return the frame by which an encoder passes on its inputs: the terminals that it reads as live."""
    return Frame(ADDRESSES[run], to_bits(inputs), sequence % 256)


def up_frame(run: str, outputs: frozenset[str], wants_heat: bool, sequence: int) -> Frame:
    """Return the reply: the terminals whose relays are held, and whether D is asked for."""
    return Frame(ADDRESSES[run] | REPLY, to_bits(outputs) | (D_BIT if wants_heat else 0), sequence % 256)


def is_for(run: str, way: str, frame: Frame) -> bool:
    """Return whether a frame is addressed to the receiver of one way over a run's link."""
    return frame.address == ADDRESSES[run] | (REPLY if way == "up" else 0)


@dataclass(frozen=True)
class Listener:
    """What either end remembers of the frames it heard.

    `outputs` are the terminals whose relays it holds; `pending` the last good frame's, heard `equal` times in
    a row; `heard_s` is when the last good frame came (None: never); `state` is `waiting`, `working` or
    `silent`.
    """

    outputs: frozenset[str] = frozenset()
    pending: frozenset[str] = frozenset()
    equal: int = 0
    heard_s: float | None = None
    state: str = "waiting"

    def hears(self, terminals: frozenset[str], now_s: float, settings: LinkSettings) -> Listener:
        """Return the listener after a good frame: it acts once enough equal ones have come in a row."""
        equal = self.equal + 1 if terminals == self.pending and self.equal else 1
        acts, equal = equal >= settings.acceptance, min(equal, settings.acceptance)
        outputs, state = (terminals, "working") if acts else (self.outputs, self.state)
        return Listener(outputs, pending=terminals, equal=equal, heard_s=now_s, state=state)

    def deadline_s(self, settings: LinkSettings) -> float | None:
        """Return when the watchdog runs out; None before the first frame and after it has."""
        return None if self.heard_s is None or self.state == "silent" else self.heard_s + settings.watchdog_s

    def watches(self, now_s: float, settings: LinkSettings) -> Listener:
        """Return the listener after a look at its watchdog: silence lets everything go."""
        deadline = self.deadline_s(settings)
        if deadline is not None and now_s >= deadline - 1e-9:
            return Listener(heard_s=self.heard_s, state="silent")
        return self


@dataclass(frozen=True)
class LinkState:
    """One link as a reader of the bench sees it.

    `inputs` are the terminals that the encoder reads as live, `outputs` those that the relay board holds.
    `sent` and `accepted` count frames from near to far; `replies` those that came back; `state` is the far
    end's: `waiting` (no frame yet), `working`, `poor` (working by luck: many frames are lost), `silent`
    (watchdog ran out), `dead` (no supply at one of the ends, see `why`). Levels are volts at the far end's
    receiver against its own common; `hum_v` is the RMS shift at the supply frequency on top of them.
    """

    run: str
    state: str
    sent: int = 0
    accepted: int = 0
    replies: int = 0
    inputs: frozenset[str] = frozenset()
    outputs: frozenset[str] = frozenset()
    wants_heat: bool = False
    low_v: float = 0.0
    high_v: float = 0.0
    hum_v: float = 0.0
    odds: float = 0.0
    reply_odds: float = 0.0
    last_good_s: float | None = None
    why: str = ""


@dataclass(frozen=True)
class Ends:
    """Both ends of one link, and the counters between them."""

    run: str
    far: Listener = Listener()
    near: Listener = Listener()
    sequence: int = 0
    sent: int = 0
    accepted: int = 0
    replies: int = 0

    def polls(self, inputs: frozenset[str]) -> tuple[Ends, Frame]:
        """Return both ends after the encoder has sent its `inputs` with the next number, and that frame."""
        sequence = (self.sequence + 1) % 256
        ends = Ends(self.run, self.far, self.near, sequence, self.sent + 1, self.accepted, self.replies)
        return ends, down_frame(self.run, inputs, sequence)

    def hears(
        self, frame: Frame, wants_heat: bool, now_s: float, settings: LinkSettings
    ) -> tuple[Ends, Frame]:
        """Return both ends after the far end has taken a frame, and its reply.

        The far end acts on the bits that it read; the reply carries its outputs and `wants_heat`, whether D
        is asked for there.
        """
        far = self.far.hears(from_bits(frame.call_bits), now_s, settings)
        reply = up_frame(self.run, far.outputs, wants_heat, frame.sequence)
        return Ends(
            self.run, far, self.near, self.sequence, self.sent, self.accepted + 1, self.replies
        ), reply

    def hears_reply(self, reply: Frame, now_s: float, settings: LinkSettings) -> Ends:
        """Return both ends after the near end has taken a reply."""
        asked = self.run == "outdoor" and reply.call_bits & D_BIT
        request = frozenset({"D"}) if asked else frozenset()
        near, replies = self.near.hears(request, now_s, settings), self.replies + 1
        return Ends(self.run, self.far, near, self.sequence, self.sent, self.accepted, replies)

    def without(self, board: str) -> Ends:
        """Return both ends after a board "place:name" fell asleep: it forgets, and lets its relays go."""
        near, far = RUN_ENDS[self.run]
        if board == f"{far}:relay-board":
            return replace(self, far=Listener())
        return replace(self, near=Listener()) if board == f"{near}:encoder" else self
