"""A session: one bench, what people do to it, and who wants to see it afterwards.

Parts of a panel never touch each other. Each one asks the session to do something to the bench, and the
session lets time pass and shows the new state to all parts. What the bench refuses is said in a sentence,
and nothing is changed.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from threading import RLock

from lessonkit.bench.bench import Bench
from lessonkit.bench.state import State
from lessonkit.draw.words import clock_words
from lessonkit.errors import LessonError
from lessonkit.panels.keys import shown

__all__ = ["Session"]


class Session:
    """The bench of a panel.

    Parameters: `bench`; `after_s`, the seconds that pass after each change. `news` is a widget with the line
    that says what is going on.
    """

    def __init__(self, bench: Bench, after_s: float = 5.0) -> None:
        self.bench = bench
        self.after_s = after_s
        self.news = shown("", "lk-news")
        self._watchers: list[Callable[[State], None]] = []
        self._turn = RLock()

    def watch(self, show: Callable[[State], None]) -> None:
        """Call `show` with every new state, the present one first."""
        self._watchers.append(show)
        self.look(show)

    def look(self, show: Callable[[State], None]) -> None:
        """Show the present state to one part, which wants to show it in another way."""
        with self._turn:
            show(self.bench.state)

    def do(self, act: Callable[[], object], seconds: float | None = None) -> None:
        """Do something to the bench, let time pass, and show what came of it.

        `seconds` is `after_s` unless given.
        """
        refused, state = "", None
        with self._turn:
            try:
                act()
                state = self.bench.advance(self.after_s if seconds is None else seconds)
            except LessonError as error:
                refused = str(error)
            self.show(refused, state)

    def wait(self, seconds: float) -> None:
        """Let time pass."""
        self.do(lambda: None, seconds)

    def show(self, refused: str = "", state: State | None = None) -> None:
        """Show the present state to everybody; `state` is it, where it has been read already."""
        with self._turn:
            state = state or self.bench.state
            for show in self._watchers:
                show(state)
            self.news.value = _news(self.bench, state, refused)


def _news(bench: Bench, state: State, refused: str) -> str:
    called = " ".join(t for t in bench.job.call_terminals if t in state.called) or "no terminal"
    words = (
        f"After {clock_words(state.time_s)}: call {state.call} ({called}). The house gets {state.delivering}."
    )
    if state.waiting_s > 0 and "Y1" in state.called:
        words += f" The compressor waits another {clock_words(state.waiting_s)} (short-cycle delay)."
    if refused:
        return f"{escape(words)} <strong>✕ {escape(refused)}</strong>"
    return escape(words)
