"""A fault hunt in teams: one hidden fault for all, a clock and a score for each.

    hunt = team_hunt("earth-return", ("Red", "Blue"), seed=4)
    hunt.of["Red"].call("heat-1")          each team has the whole fault to itself
    hunt                                   the board: minutes and wrong parts, the best first

All teams look for the same fault, each from its beginning, so that one team's readings are worth nothing to
another team's clock. The fault and the best plan are told when every team is through. Who found it stands
first, who gave up last; among equals fewer minutes come first, then fewer wrong parts.
"""

from __future__ import annotations

from dataclasses import dataclass

from lessonkit.errors import require
from lessonkit.job.faults import Fault
from lessonkit.job.model import Job
from lessonkit.studies.asked import Rows
from lessonkit.studies.hidden import HiddenFault, hidden_fault

__all__ = ["TeamHunt", "team_hunt"]

TEAMS = ("Red", "Blue", "Green")
BEST_PLAN = "the best plan"
#: How a team stands, the best first.
_ORDER = ("found", "still looking", "given up")


@dataclass(frozen=True)
class TeamHunt:
    """Teams with one hidden fault each, which is the same; `of` maps a team to its own."""

    of: dict[str, HiddenFault]

    @property
    def over(self) -> bool:
        """Tell whether every team has found the fault or given up."""
        return all(hidden.over for hidden in self.of.values())

    @property
    def ranked(self) -> tuple[str, ...]:
        """Return the teams, the best first."""
        place = list(self.of)

        def key(team: str) -> tuple[int, float, int, int]:
            hidden = self.of[team]
            return _ORDER.index(_standing(hidden)), hidden.minutes, hidden.wrong_parts, place.index(team)

        return tuple(sorted(place, key=key))

    @property
    def board(self) -> Rows:
        """Return the board: a row a team, and the best plan when every team is through."""
        rows = [
            (team, _standing(hidden), f"{hidden.minutes:g}", str(hidden.wrong_parts))
            for team, hidden in ((name, self.of[name]) for name in self.ranked)
        ]
        if self.over:
            score = next(iter(self.of.values())).score
            rows.append((BEST_PLAN, "found", f"{score.best_minutes:g}", str(score.best_wrong_parts)))
        return Rows("The board", ("team", "fault", "minutes", "wrong parts"), tuple(rows))

    def __repr__(self) -> str:
        return str(self.board)

    def _repr_markdown_(self) -> str:
        return self.board._repr_markdown_()


def _standing(hidden: HiddenFault) -> str:
    if not hidden.over:
        return "still looking"
    return "found" if hidden.found else "given up"


def team_hunt(
    job: Job | str = "earth-return",
    teams: tuple[str, ...] = TEAMS,
    seed: int = 0,
    fault: Fault | str | None = None,
) -> TeamHunt:
    """Return a hunt for one hidden fault in teams.

    `seed` draws the fault, or `fault` names it; `teams` are names that differ, two or more.
    """
    names = tuple(str(team) for team in teams)
    allowed = f"two names or more that differ, none of them {BEST_PLAN!r}"
    require(len(set(names)) == len(names) >= 2 and BEST_PLAN not in names, "teams", teams, allowed)
    first = hidden_fault(job, seed, fault)
    return TeamHunt({team: first if k == 0 else first.anew() for k, team in enumerate(names)})
