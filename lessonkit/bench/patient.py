"""A bench for long stretches of time: polls that can only say the same again pass all at once.

A link polls once a second, and most polls of a day say what the one before said: the same terminals, over a
circuit that has not changed, heard the same way.  Such polls change nothing but their counts and the time of
the last good frame, so their end can be worked out without living through each.  It is done only where that
is sure: no frame's fate is open (`signal_path.foregone`), both ends already hold what they would hear, and
nothing else falls due in between.  What the bench shows is the same, minute by minute; only the frames passed
over are not remembered one by one.

    PatientBench(job).advance(3600)     an hour in some milliseconds, where nothing is wrong or all is lost
"""

from __future__ import annotations

from dataclasses import replace

from lessonkit.bench.agenda import SAME_S, next_event_s
from lessonkit.bench.bench import Bench
from lessonkit.bench.link import Ends
from lessonkit.bench.state import State
from lessonkit.errors import require_finite
from lessonkit.job.calls import from_bits, to_bits
from lessonkit.job.model import RUN_ENDS

__all__ = ["PatientBench"]


class PatientBench(Bench):
    """A bench that passes over polls which can only repeat the last one; see `Bench`."""

    _until_s = 0.0

    def pass_time(self, seconds: float) -> None:
        """Let time pass, from event to event, without a look at the end."""
        self._until_s = self.time_s + require_finite("seconds", seconds)
        self._pass_over()
        super().pass_time(seconds)

    def live(self, seconds: float) -> State:
        """Let time pass and pass nothing over, so that a scope has the last frames to show."""
        self._until_s = self.time_s
        super().pass_time(seconds)
        return self.state

    def _events(self) -> None:
        super()._events()
        self._pass_over()

    def _pass_over(self) -> None:
        """Pass over all polls up to the next event of another kind, if all of them are repeats."""
        passed = {run: self._repeated(run) for run in self.job.links}
        if not all(passed.values()):
            return
        until_s = min(self._until_s, self._other_event_s())
        for run, once in passed.items():
            interval_s, many, last_s = self.job.runs[run].link.interval_s, 0, self._polls[run]
            # A poll at the moment of the event is lived through: what comes first there is the bench's
            # matter.
            while once is not None and self._polls[run] < until_s - SAME_S:
                last_s, many = self._polls[run], many + 1
                self._polls[run] += interval_s  # one by one, as the bench adds them, to the last bit
            if once is not None and many:
                self._links[run] = _after(self._links[run], once, many, last_s)

    def _other_event_s(self) -> float:
        """Return when the next thing falls due that is no poll and no watchdog that polls keep waiting."""
        ends = {run: self._not_kept_waiting(run) for run in self._links}
        return next_event_s(
            self.job, self.time_s, {}, self._boots, ends, self._timers, self._changes_s(), self._waits()
        )

    def _not_kept_waiting(self, run: str) -> Ends:
        """Return the ends of a link, less the watchdogs that the polls from here on keep from running out.

        They do so where every frame is sure to be heard, and the next one comes in time: behind a silence it
        may come too late.
        """
        ends, link = self._links[run], self.job.runs[run].link
        heard = f"{RUN_ENDS[run][1]}:relay-board" in self._latches.awake
        for name, way in (("far", "down"), ("near", "up")):
            heard = heard and self._sure(run, way) is True  # nothing is answered that was not heard
            end = getattr(ends, name)
            deadline_s = end.deadline_s(link)
            in_time = deadline_s is not None and self._polls[run] < deadline_s - SAME_S
            if heard and in_time and link.interval_s < link.watchdog_s:
                ends = replace(ends, **{name: replace(end, heard_s=None)})
        return ends

    def _sure(self, run: str, way: str) -> bool | None:
        """Return whether every frame of one way gets through, or none; None where that is open."""
        on, awake = self._settled.on, self._latches.awake
        return self._paths.conditions(on, awake, run, way, False).sure

    def _repeated(self, run: str) -> Ends | None:
        """Return what one more poll would make of the ends of a link, or None where it is no mere repeat."""
        ends, (near, far) = self._links[run], RUN_ENDS[run]
        if self._switching(run) or f"{near}:encoder" not in self._latches.awake:
            return None
        down = self._sure(run, "down") if f"{far}:relay-board" in self._latches.awake else False
        up = self._sure(run, "up") if down else False
        if down is None or up is None:
            return None
        inputs, wants_heat = self.read(run)
        settings, after = self.job.runs[run].link, replace(ends, sent=ends.sent + 1)
        if down:
            heard = ends.far.hears(from_bits(to_bits(inputs)), self.time_s, settings)
            after = replace(after, far=heard, accepted=ends.accepted + 1)
        if up:
            heard = ends.near.hears(frozenset({"D"} if wants_heat else ()), self.time_s, settings)
            after = replace(after, near=heard, replies=ends.replies + 1)
        unmoved = (
            replace(after.far, heard_s=ends.far.heard_s) == ends.far
            and replace(after.near, heard_s=ends.near.heard_s) == ends.near
        )
        return after if unmoved else None


def _after(before: Ends, once: Ends, many: int, last_s: float) -> Ends:
    """Return both ends after `many` polls that each do what `once` shows, the last of them at `last_s`."""
    accepted, replies = once.accepted - before.accepted, once.replies - before.replies
    return replace(
        before,
        sequence=(before.sequence + many) % 256,
        sent=before.sent + many,
        accepted=before.accepted + many * accepted,
        replies=before.replies + many * replies,
        far=replace(before.far, heard_s=last_s) if accepted else before.far,
        near=replace(before.near, heard_s=last_s) if replies else before.near,
    )
