"""What happened on a bench: its log, and how often something let go.

    bench.log            shown last in a cell: a row for each part, a bar while it is in or awake
    print(bench.log)     a line an event
    bench.log[-1]        the latest event
    bench.log.of("out:contactor", "stat:thermostat").since(275)

An event is one step of one part: a coil pulls in or lets go, a board falls asleep or starts, a fuse blows.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import overload

from lessonkit.bench.reading import Reading
from lessonkit.bench.settling import Latches, Settled
from lessonkit.job.model import Job

__all__ = ["BEGINS", "ENDS", "Event", "Log", "Releases", "what_happened"]

#: What an event calls the moment at which a part is in, or awake, and that at which it no longer is.
BEGINS = frozenset({"starts", "pulls in", "is replaced", "is reset"})
ENDS = frozenset({"falls asleep", "lets go", "blows", "trips", "burns out"})

#: A coil or board that lets go this often within this time, while nobody changed the call or the faults,
#: chatters.
CHATTER_RELEASES, CHATTER_WINDOW_S = 2, 900.0


@dataclass(frozen=True)
class Event:
    """Something that a coil, a board or a fuse did: `what` in words, at `time_s`."""

    time_s: float
    name: str
    what: str

    def __str__(self) -> str:
        """Return it as a line of a log."""
        return f"{self.time_s:8.2f} s  {self.name} {self.what}"


@dataclass(frozen=True)
class Log(Sequence[Event]):
    """What a bench has seen so far; a value, as long as it was when it was asked for.

    `events` come oldest first, from `from_s` to `to_s` on the bench's own clock; `on` holds the coils that
    are in, the boards that are awake and the fuses that are whole at the end. It prints a line an event, and
    a notebook draws a row for each of `names`. Counting, indexing and loops work on it as on a tuple.
    """

    events: tuple[Event, ...] = ()
    from_s: float = 0.0
    to_s: float = 0.0
    on: frozenset[str] = frozenset()
    chosen: tuple[str, ...] = ()

    @classmethod
    def kept(cls, latest: deque[Event], now_s: float, on: Iterable[str]) -> Log:
        """Return the log of the latest events; older ones that were let go don't count as seen."""
        from_s = latest[0].time_s if latest and len(latest) == latest.maxlen else 0.0
        return cls(tuple(latest), from_s, now_s, frozenset(on))

    @property
    def names(self) -> tuple[str, ...]:
        """Return the parts that it is about: those asked for, or all that did something."""
        return self.chosen or tuple(dict.fromkeys(event.name for event in self.events))

    def of(self, *names: str) -> Log:
        """Return the log of these parts alone, in this order; "out:contactor" is one."""
        return replace(self, events=tuple(e for e in self.events if e.name in names), chosen=names)

    def since(self, from_s: float) -> Log:
        """Return the log from a moment on, in seconds."""
        return replace(self, events=tuple(e for e in self.events if e.time_s >= from_s), from_s=from_s)

    @property
    def span_s(self) -> Reading:
        """Return the seconds from the first event to the last; none where there are not two."""
        return Reading(self.events[-1].time_s - self.events[0].time_s if self.events else 0.0, "s")

    def spans(self, name: str) -> tuple[tuple[float, float], ...]:
        """Return when a part was in, awake or whole, as (begin, end); no length means a moment only."""
        steps = [event for event in self.events if event.name == name and event.what in BEGINS | ENDS]
        was_on = steps[0].what in ENDS if steps else name in self.on
        since_s = self.from_s if was_on else None
        found = []
        for step in steps:
            if step.what in BEGINS and since_s is None:
                since_s = step.time_s
            elif step.what in ENDS and since_s is not None:
                found.append((since_s, step.time_s))
                since_s = None
        return (*found, (since_s, self.to_s)) if since_s is not None else tuple(found)

    @overload
    def __getitem__(self, index: int) -> Event: ...
    @overload
    def __getitem__(self, index: slice) -> tuple[Event, ...]: ...
    def __getitem__(self, index: int | slice) -> Event | tuple[Event, ...]:
        """Return an event, or a tuple of them."""
        return self.events[index]

    def __len__(self) -> int:
        """Return the number of events."""
        return len(self.events)

    def __str__(self) -> str:
        """Return a line an event."""
        return "\n".join(map(str, self.events)) or "nothing has happened yet"

    __repr__ = __str__


def outdoor_thermostat_moves(job: Job, before_c: float, after_c: float, time_s: float) -> list[Event]:
    """Return what a job's outdoor thermostat does as the air goes from one temperature to another."""
    stat = job.outdoor_thermostat
    if stat is None:
        return []
    before, after = stat.closed(before_c), stat.closed(after_c)
    words = {"auxiliary": "second heat", "compressor": "the compressor"}
    name = "air:outdoor-thermostat"
    moves = [(which, "locks out") for which in sorted(before - after)]
    moves += [(which, "lets in") for which in sorted(after - before)]
    return [Event(time_s, name, f"{does} {words[which]}") for which, does in moves]


class Releases:
    """How often each coil or board let go lately, which is how chatter over minutes shows."""

    def __init__(self) -> None:
        self._times: dict[str, deque[float]] = {}

    def note(self, names: Iterable[str], time_s: float) -> None:
        """Remember that these let go."""
        for name in names:
            self._times.setdefault(name, deque(maxlen=CHATTER_RELEASES)).append(time_s)

    def forget(self) -> None:
        """Start afresh: somebody changed something, and what chattered before may be over."""
        self._times.clear()

    def often(self, time_s: float) -> frozenset[str]:
        """Return the names that let go often enough, within the window up to now, to be called chattering."""
        old_s = time_s - CHATTER_WINDOW_S
        return frozenset(
            name
            for name, times in self._times.items()
            if len(times) == CHATTER_RELEASES and times[0] >= old_s
        )


def what_happened(time_s: float, before: Latches, settled: Settled) -> list[Event]:
    """Return what coils, boards and fuses did while the circuit settled, in their order.

    A coil that was in for a moment only has both its events.
    """
    after, events = settled.latches, []
    for name in settled.released:
        if name in before.awake:
            events.append(Event(time_s, name, "falls asleep"))
            continue
        if name not in before.sealed:
            events.append(Event(time_s, name, "pulls in"))
        events.append(Event(time_s, name, "lets go"))
    pulled = after.sealed - (before.sealed - frozenset(settled.released))
    events += [Event(time_s, name, "pulls in") for name in sorted(pulled)]
    events += [Event(time_s, name, "blows") for name in sorted(after.blown - before.blown)]
    return events
