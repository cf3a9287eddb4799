"""A session: one bench, what people do to it, and who wants to see it afterwards.

Parts of a panel never touch each other. Each one asks the session to do something to the bench, and the
session lets time pass and shows the new state to all parts. What the bench refuses is said in a sentence,
and nothing is changed.

Several panels may stand on one bench, and cells of a notebook may change it too: whoever does something to
it, all sessions of that bench show what came of it.
"""

from __future__ import annotations

from collections.abc import Callable
from threading import RLock
from weakref import WeakKeyDictionary

from IPython import get_ipython

from lessonkit.bench.bench import Bench
from lessonkit.bench.state import State
from lessonkit.errors import LessonError

__all__ = ["Session"]


class _Sharing:
    """The sessions of one bench, which take turns."""

    def __init__(self) -> None:
        self.turn = RLock()
        self.sessions: list[Session] = []
        self.shown: State | None = None


_SHARED: WeakKeyDictionary[Bench, _Sharing] = WeakKeyDictionary()


class Session:
    """The bench of a panel.

    Parameters: `bench`; `after_s`, the seconds that pass after each change. `refused` is the sentence of the
    bench when it would not do what was asked for last, else empty.
    """

    def __init__(self, bench: Bench, after_s: float = 5.0) -> None:
        self.bench = bench
        self.after_s = after_s
        self.refused = ""
        self._watchers: list[Callable[[State], None]] = []
        self._shared = _SHARED.setdefault(bench, _Sharing())
        self._shared.sessions.append(self)
        _follow_cells()

    def watch(self, show: Callable[[State], None], first: bool = False) -> None:
        """Call `show` with every new state; `first` puts it before all others, for what is looked at most."""
        self._watchers.insert(0 if first else len(self._watchers), show)
        self.look(show)

    def look(self, show: Callable[[State], None]) -> None:
        """Show the present state to one part, which wants to show it in another way."""
        with self._shared.turn:
            show(self.bench.state)

    def do(self, act: Callable[[], object], seconds: float | None = None) -> None:
        """Do something to the bench, let time pass, and show what came of it.

        `seconds` is `after_s` unless given.
        """
        with self._shared.turn:
            for session in self._shared.sessions:
                session.refused = ""
            try:
                act()
                self.bench.advance(self.after_s if seconds is None else seconds)
            except LessonError as error:
                self.refused = str(error)
            self._shared.sessions.sort(key=lambda one: one is not self)
            self.show()

    def wait(self, seconds: float) -> None:
        """Let time pass."""
        self.do(lambda: None, seconds)

    def show(self) -> None:
        """Show the present state to every part of every session of the bench."""
        with self._shared.turn:
            self._shared.shown = self.bench.state
            for session in self._shared.sessions:
                for show in session._watchers:
                    show(self._shared.shown)

    def close(self) -> None:
        """Show nothing any more."""
        if self in self._shared.sessions:
            self._shared.sessions.remove(self)


def _follow_cells() -> None:
    """Look at every shared bench after each cell of a notebook, which may have changed it."""
    shell = get_ipython()
    if shell is not None and _look_again not in shell.events.callbacks["post_run_cell"]:
        shell.events.register("post_run_cell", _look_again)


def _look_again(*_: object) -> None:
    for bench, shared in list(_SHARED.items()):
        if shared.sessions and bench.state is not shared.shown:
            shared.sessions[0].show()
