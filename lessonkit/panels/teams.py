"""A fault hunt in teams on one screen: the same hidden fault for each, a clock each, and a board.

    display(lk.team_hunt_panel("earth-return", ("Red", "Blue"), seed=4))

Keys choose whose turn it is; what that team asks for is done on its own bench and costs its own minutes.
What a team has found stays covered until every team is through: then the picture, the stories and the best
plan's minutes are told.
"""

from __future__ import annotations

from functools import partial

import ipywidgets as widgets

from lessonkit.draw.tables import table_html
from lessonkit.job.faults import Fault
from lessonkit.job.model import Job
from lessonkit.panels.hidden import HiddenFaultPanel
from lessonkit.panels.keys import key, press, row, shown
from lessonkit.studies.team_hunt import TEAMS, TeamHunt, team_hunt

__all__ = ["TeamHuntPanel", "team_hunt_panel"]


class TeamHuntPanel(HiddenFaultPanel):
    """A hidden fault for several teams; `teams` are the keys, `hunt` the hunt, `turn` whose turn it is."""

    def __init__(self, hunt: TeamHunt, seed: int = 0) -> None:
        self.hunt, self.turn = hunt, next(iter(hunt.of))
        super().__init__(hunt.of[self.turn], seed)
        self.add_class("lk-projector")

    def _hiding(self) -> None:
        """Lay the teams and the board where one alone hides faults: here nobody may."""
        self.teams = {team: key(team, partial(self._next, team), toggle=True) for team in self.hunt.of}
        self.board = shown()
        self.hide_box = widgets.VBox([row(*self.teams.values(), label="Whose turn:"), self.board])
        self.hide_box.add_class("lk-group")

    @property
    def told(self) -> bool:
        """Tell whether the fault may be told: every team is through."""
        return self.hunt.over

    def _next(self, team: str) -> None:
        self.turn = team
        self._take(self.hunt.of[team])
        self._show()

    def _show(self) -> None:
        super()._show()
        for team, button in self.teams.items():
            press(button, team == self.turn)
        board = self.hunt.board
        self.board.value = table_html(board.caption, board.heads, board.rows)

    def _waiting(self) -> str:
        done = "found the fault" if self.hidden.found else "gave up"
        return (
            f"{self.turn} {done} after {self.hidden.minutes:g} min. The fault is told when all are through."
        )


def team_hunt_panel(
    job: Job | str = "earth-return",
    teams: tuple[str, ...] = TEAMS,
    seed: int = 0,
    *,
    fault: Fault | str | None = None,
) -> TeamHuntPanel:
    """Return a fault hunt in teams for a notebook.

    Parameters: `job` is a job, its name or its file; `teams` are two names or more; `seed` draws the fault,
    or `fault` names it. Show it with `display(panel)`.
    """
    return TeamHuntPanel(team_hunt(job, teams, seed, fault), seed)
