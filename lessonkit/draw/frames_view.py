"""What a scope on a link has to show: the last frame, or the reason why there is none."""

from __future__ import annotations

from dataclasses import dataclass

from lessonkit.bench.bench import Bench
from lessonkit.bench.exchange import FrameSeen
from lessonkit.bench.link import ADDRESSES, D_BIT, REPLY
from lessonkit.bench.signal_path import receiver_of
from lessonkit.errors import BadParameter
from lessonkit.job.calls import CALL_TERMINALS, PLACE_WORDS
from lessonkit.job.model import RUN_ENDS
from lessonkit.signal import channel

__all__ = ["WAYS", "FrameView", "byte_words", "last_frame"]

WAYS = ("down", "up")
"""`down` is the encoder's frame at the relay board, `up` the reply at the encoder."""


@dataclass(frozen=True)
class FrameView:
    """What a scope shows of one way over a link.

    That is `frame`, which a bench sent and decided; or `silent` says why there is none. `at` is the place of
    the receiver, `other` that of the sender; volts are against C at `at`.
    """

    run: str
    way: str
    at: str
    other: str
    receiver: channel.Receiver
    frame: FrameSeen | None
    silent: str = ""


def last_frame(bench: Bench, run: str, way: str = "down") -> FrameView:
    """Return the last frame of a run's link, or the reply to it, as its receiver got it."""
    if run not in bench.job.links:
        raise BadParameter(
            "run", run, f"a run with a link: {', '.join(bench.job.links) or 'this job has none'}"
        )
    if way not in WAYS:
        raise BadParameter("way", way, "down (to the relay board) or up (the reply)")
    near, far = RUN_ENDS[run]
    at, other = (far, near) if way == "down" else (near, far)
    frame, boards = bench.last_frame(run, way), bench.state.boards
    silent = next(
        (
            f"the {part.replace('-', ' ')} at the {PLACE_WORDS[place]} does nothing"
            for place, part in ((near, "encoder"), (far, "relay-board"))
            if not boards[f"{place}:{part}"].awake
        ),
        "",
    )
    if frame is None and not silent:
        silent = "none has been sent yet" if way == "down" else "the last frame down was not answered"
    receiver = frame.conditions.channel.receiver if frame else receiver_of(bench.job.runs[run].link)
    return FrameView(run, way, at, other, receiver, None if silent else frame, silent)


def byte_words(position: int, value: int, reply: bool = False, run: str = "outdoor") -> str:
    """Return what one byte of a frame on a run means, by its position.

    The highest bit of the call byte is W2 on the thermostat's run, and D in replies on the outdoor one.
    """
    if position == 1:
        runs = {address: run for run, address in ADDRESSES.items()}
        return f"to {runs.get(value, '?')}" if not value & REPLY else f"from {runs.get(value & ~REPLY, '?')}"
    if position == 2:
        called = [t for k, t in enumerate(CALL_TERMINALS) if value >> k & 1]
        highest = "W2" if run == "thermostat" else "D" if reply else ""
        called += [highest] if highest and value & D_BIT else []
        return " ".join(called) or "nothing"
    return {0: "sync", 3: f"number {value}", 4: "check"}.get(position, "?")
