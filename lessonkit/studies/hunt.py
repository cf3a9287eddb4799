"""A hunt: a few suspects, a few looks with their minutes, and what each order of looks costs.

This is `search` made so small that every number can be worked out by hand, and that the very best order is
found by trying all of them.

    run = box_hunt([1, 1, 1, 1, 1, 1, 1, 7])      eight pieces of cable, the last seven times as likely
    run.scores()                                  each look with its bits and its minutes
    run.best().minutes                            what the best order takes on average
    run.follow(["box 4", "box 6", "box 7"])       what an order of one's own takes
    run.after("box 7", "volts")                   what is left when box 7 shows volts

A **look** shows one word for each suspect; a look with the same word for two suspects does not part them. An
order leaves out each look that can tell nothing more. `job_hunt` takes the words from a bench.

Where the model stops: exactly one suspect is at fault, it is always there, and a look never misleads. For
looks that may mislead, and for faults that come and go, there is `find`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from types import MappingProxyType

import numpy as np

from lessonkit.bench.hands import walk_min
from lessonkit.errors import LessonError, require
from lessonkit.job.model import Job
from lessonkit.job.toml import load_job
from lessonkit.studies.dictionary import Dictionary, Page, named_suspects
from lessonkit.studies.find import LOOK_MIN
from lessonkit.studies.search import NextTest, after, entropy_bits, perfect, ranked

__all__ = ["Hunt", "LookAt", "Route", "box_hunt", "hunt", "job_hunt", "still_likely"]

#: The best order is sought by trying all, so a hunt has no more suspects than this.
MOST_SUSPECTS = 12


class NoSuchLook(LessonError, ValueError):
    """A hunt has no look, or no suspect, of that name."""


@dataclass(frozen=True)
class LookAt:
    """One look: the word that it shows for each suspect, its minutes once one is there, and its place.

    `place` is stat, air or out, or "" where nobody has to walk.
    """

    words: Mapping[str, str]
    minutes: float = 1.0
    place: str = ""


@dataclass(frozen=True)
class Row:
    """What one suspect costs on a route: its looks in order, minutes, and whom it can't be told from."""

    suspect: str
    chance: float
    looks: tuple[str, ...]
    minutes: float
    alike: tuple[str, ...]


@dataclass(frozen=True)
class Route:
    """Looks in an order, whatever each one shows. Shown last in a cell, it is a table."""

    rows: tuple[Row, ...]

    @property
    def minutes(self) -> float:
        """Return the minutes on average: each suspect's, times its chance."""
        return sum(row.chance * row.minutes for row in self.rows)

    @property
    def looks(self) -> float:
        """Return how many looks it takes on average."""
        return sum(row.chance * len(row.looks) for row in self.rows)

    @property
    def first(self) -> str:
        """Return the look that it begins with, "" where there is none."""
        return next((row.looks[0] for row in self.rows if row.looks), "")

    def __str__(self) -> str:
        lines = [
            f"{row.chance:6.1%}  {row.suspect:24} {row.minutes:5.1f} min  {', '.join(row.looks) or 'no look'}"
            for row in self.rows
        ]
        return "\n".join([*lines, f"on average {self.looks:.2f} looks, {self.minutes:.1f} min"])

    __repr__ = __str__

    def _repr_markdown_(self) -> str:
        head = "| if it is | chance | the looks, in order | minutes |\n| --- | --- | --- | --- |\n"
        rows = [
            f"| {row.suspect} | {100 * row.chance:.1f} % | {', '.join(row.looks) or 'none'} | "
            f"{row.minutes:.1f} |"
            for row in self.rows
        ]
        return head + "\n".join(rows) + f"\n\nOn average: {self.looks:.2f} looks, {self.minutes:.1f} minutes."


@dataclass(frozen=True)
class Hunt:
    """Suspects with their chances, and looks.

    Fields: `chance`, suspect -> probability, together 1; `looks`, name -> `LookAt`; `here`, where one stands.
    Shown last in a cell, it is a table of its looks.
    """

    chance: Mapping[str, float]
    looks: Mapping[str, LookAt]
    here: str = ""

    # ---- what each look teaches ----

    @property
    def bits(self) -> float:
        """Return how many bits are still open."""
        return entropy_bits(np.array(list(self.chance.values())))

    def scores(self, most: int | None = None) -> tuple[NextTest, ...]:
        """Return the looks that teach something, the most bits a minute first, no more than `most`."""
        belief = np.array(list(self.chance.values()))
        tests = {}
        for name, look in self.looks.items():
            words = list(dict.fromkeys(look.words[one] for one in self.chance))
            tests[name] = perfect([words.index(look.words[one]) for one in self.chance])
        return tuple(ranked(belief, tests, {name: self.cost(name) for name in self.looks})[:most])

    def bits_of(self, look: str) -> float:
        """Return how many bits a look teaches on average; 0 where it can tell nothing."""
        self._known(look)
        return next((score.bits for score in self.scores() if score.test == look), 0.0)

    def cost(self, look: str, here: str | None = None) -> float:
        """Return the minutes for a look: the walk from where one stands, and the look itself."""
        at, here = self._known(look), self.here if here is None else here
        return at.minutes + (walk_min(here, at.place) if here and at.place else 0.0)

    def shows(self, look: str) -> dict[str, tuple[str, ...]]:
        """Return what a look can show, and for each word the suspects that would show it."""
        at = self._known(look)
        found: dict[str, list[str]] = {}
        for one in self.chance:
            found.setdefault(at.words[one], []).append(one)
        return {word: tuple(names) for word, names in found.items()}

    def after(self, look: str, word: str) -> Hunt:
        """Return the hunt that is left when a look has shown a word."""
        shown = self.shows(look)
        if word not in shown:
            raise NoSuchLook(f"{look} can't show {word!r} here; it shows {_or(shown)}.")
        return replace(self.among(shown[word]), here=self.looks[look].place or self.here)

    def among(self, suspects: Iterable[str], looks: Iterable[str] | None = None) -> Hunt:
        """Return the same hunt with some of its suspects, and some of its looks, only."""
        chosen = tuple(suspects)
        for one in chosen:
            if one not in self.chance:
                raise NoSuchLook(f"there is no suspect {one!r} in this hunt; there is {_or(self.chance)}.")
        total = sum(self.chance[one] for one in chosen)
        names = tuple(self.looks) if looks is None else tuple(looks)
        return replace(
            self,
            chance=MappingProxyType({one: self.chance[one] / total for one in chosen}),
            looks=MappingProxyType({name: self._known(name) for name in names}),
        )

    # ---- orders of looks ----

    def follow(self, order: Sequence[str]) -> Route:
        """Return what it takes to go through looks in a fixed order, without those that tell nothing more."""
        for look in order:
            self._known(look)

        def choose(left: Hunt) -> str | None:
            return next((look for look in order if len(left.shows(look)) > 1), None)

        return self._routed(choose)

    def greedy(self, by: str = "bits a minute") -> Route:
        """Return the route that takes the look that seems best each time.

        `by` is "bits a minute", "bits", "count" (the look that leaves the fewest suspects at worst) or
        "minutes" (the cheapest that tells anything).
        """
        require(by in _WISHES, "by", by, f"one of {', '.join(_WISHES)}")

        def choose(left: Hunt) -> str | None:
            scores = left.scores()
            return min(scores, key=lambda score: _WISHES[by](left, score)).test if scores else None

        return self._routed(choose)

    def best(self) -> Route:
        """Return the route of the fewest minutes on average, found by trying all."""
        require(len(self.chance) <= MOST_SUSPECTS, "suspects", len(self.chance), f"{MOST_SUSPECTS} at most")

        @cache
        def least(members: tuple[str, ...], here: str) -> tuple[float, str | None]:
            left = replace(self.among(members), here=here)
            found: tuple[float, str | None] = (float("inf"), None)
            for look in self.looks:
                parts = left.shows(look)
                if len(parts) > 1:
                    there = self.looks[look].place or here
                    minutes = left.cost(look) + sum(
                        sum(left.chance[one] for one in part) * least(part, there)[0]
                        for part in parts.values()
                    )
                    found = min(found, (minutes, look), key=lambda one: one[0])
            return found if found[1] is not None else (0.0, None)

        return self._routed(lambda left: least(tuple(left.chance), left.here)[1])

    def _routed(self, choose: Callable[[Hunt], str | None]) -> Route:
        """Play a way to choose the next look out for every suspect."""
        rows: dict[str, Row] = {}

        def walk(left: Hunt, looks: tuple[str, ...], minutes: float) -> None:
            look = choose(left)
            if look is None:
                for one in left.chance:
                    alike = tuple(other for other in left.chance if other != one)
                    rows[one] = Row(one, self.chance[one], looks, minutes, alike)
                return
            for word in left.shows(look):
                walk(left.after(look, word), (*looks, look), minutes + left.cost(look))

        walk(self, (), 0.0)
        return Route(tuple(rows[one] for one in self.chance))

    def _known(self, look: str) -> LookAt:
        if look not in self.looks:
            raise NoSuchLook(f"there is no look {look!r} in this hunt; there is {_or(self.looks)}.")
        return self.looks[look]

    # ---- how it is shown ----

    def _lines(self) -> list[tuple[str, ...]]:
        scores = {score.test: score for score in self.scores()}
        lines: list[tuple[str, ...]] = []
        for name in self.looks:
            shares = {w: sum(self.chance[one] for one in part) for w, part in self.shows(name).items()}
            words = ", ".join(f"{word}: {100 * share:.1f} %" for word, share in shares.items())
            score = scores.get(name)
            told = (f"{score.bits:.2f}", f"{score.bits_a_minute:.2f}") if score else ("0.00", "0.00")
            lines.append((name, words, told[0], f"{self.cost(name):g}", told[1]))
        return lines

    def __str__(self) -> str:
        lines = [
            f"{a:24} {bits:>5} bits  {cost:>5} min  {each:>5} bits a minute  ({words})"
            for a, words, bits, cost, each in self._lines()
        ]
        return "\n".join([f"{len(self.chance)} suspects, {self.bits:.2f} bits open", *lines])

    __repr__ = __str__

    def _repr_markdown_(self) -> str:
        head = "| look | it shows | bits | minutes | bits a minute |\n| --- | --- | --- | --- | --- |\n"
        rows = "\n".join(f"| {' | '.join(line)} |" for line in self._lines())
        return f"{len(self.chance)} suspects, {self.bits:.2f} bits open.\n\n{head}{rows}"


#: What each way to choose looks at; the least comes first.
_WISHES: Mapping[str, Callable[[Hunt, NextTest], float]] = MappingProxyType(
    {
        "bits a minute": lambda _, score: -score.bits_a_minute,
        "bits": lambda _, score: -score.bits,
        "count": lambda left, score: max(map(len, left.shows(score.test).values())),
        "minutes": lambda _, score: score.minutes,
    }
)


def _or(names: Iterable[str]) -> str:
    return ", ".join(map(str, names)) or "none"


# ---- where hunts come from ----


def hunt(
    odds: Mapping[str, float],
    looks: Mapping[str, str | Sequence[str]],
    minutes: Mapping[str, float] | None = None,
) -> Hunt:
    """Return a hunt from tables.

    `odds` gives suspects and how likely each is against the others, such as 7 to 1; `looks` gives for each
    look its word for every suspect in the same order, as a list or as words with blanks between; `minutes` is
    1 for each look that it does not name.
    """
    require(len(odds) > 0, "odds", dict(odds), "at least one suspect")
    for one, weight in odds.items():
        require(weight > 0, f"odds of {one}", weight, "more than 0")
    total, made = sum(odds.values()), {}
    for name, shown in looks.items():
        words = shown.split() if isinstance(shown, str) else [str(word) for word in shown]
        require(
            len(words) == len(odds), f"words of {name}", len(words), f"one for each of {len(odds)} suspects"
        )
        cost = (minutes or {}).get(name, 1.0)
        require(cost > 0, f"minutes of {name}", cost, "more than 0")
        made[name] = LookAt(MappingProxyType(dict(zip(odds, words, strict=True))), float(cost))
    shares = {one: weight / total for one, weight in odds.items()}
    return Hunt(MappingProxyType(shares), MappingProxyType(made))


def box_hunt(odds: Sequence[float], minutes: Sequence[float] | float = 1.0) -> Hunt:
    """Return a hunt along a cable in pieces, with a box at each joint.

    A box before the fault shows volts, and one behind it none. `odds` has a number for each piece,
    `minutes` one for each box between two pieces, or one for all.
    """
    count = len(odds)
    require(count >= 2, "odds", list(odds), "two pieces or more")
    cost = [float(minutes)] * (count - 1) if isinstance(minutes, (int, float)) else list(minutes)
    require(len(cost) == count - 1, "minutes", len(cost), f"one for each of {count - 1} boxes")
    pieces = {f"piece {k + 1}": share for k, share in enumerate(odds)}
    looks = {
        f"box {k}": ["no volts" if piece < k else "volts" for piece in range(count)] for k in range(1, count)
    }
    return hunt(pieces, looks, dict(zip(looks, cost, strict=True)))


def still_likely(chance: float, shows: int, looks: int) -> tuple[float, ...]:
    """Return how likely a fault that comes and goes still is.

    There is a number for the start, and one for each sound look after it. `chance` is how likely it was, in
    percent, against something that every look shows as sound; `shows` says
    that one look in so many shows the fault. Percent, by Bayes' rule.
    """
    require(0 < chance < 100, "chance", chance, "between 0 and 100 percent")
    require(shows >= 2, "shows", shows, "2 or more: a fault that shows in every look does not come and go")
    require(looks >= 0, "looks", looks, "0 or more")
    sound = perfect([0, 0])
    sound[0] = 1 - 1 / shows, 1 / shows
    beliefs = [np.array([chance / 100, 1 - chance / 100])]
    for _ in range(looks):
        beliefs.append(after(beliefs[-1], sound, 0))
    return tuple(100 * float(belief[0]) for belief in beliefs)


def job_hunt(
    job: Job | str,
    faults: Iterable[str],
    looks: Iterable[str],
    call: str,
    here: str = "stat",
) -> Hunt:
    """Return a hunt on a job: each look shows what the bench shows.

    All looks are taken under one call. `faults` are suspects such as "outdoor.SIG=open", as likely as
    `dictionary` has them; `looks` are pairs of
    points ("out:R out:C", "direct out:SIG out:C"), a link ("outdoor link") or a piece of equipment. A look
    costs half a minute, and the walk.
    """
    site = job if isinstance(job, Job) else load_job(job)
    names = tuple(faults)
    pages, odds = _pages(site, names, call)
    made = {}
    for name in looks:
        if name not in pages:
            known = _or(pages)
            raise NoSuchLook(f"under {call} {name!r} tells nothing of these suspects; what tells is {known}.")
        made[name] = LookAt(MappingProxyType(_words(pages[name], names)), LOOK_MIN, pages[name].look.place)
    shares = MappingProxyType(dict(zip(names, odds, strict=True)))
    return Hunt(shares, MappingProxyType(made), here)


@lru_cache(maxsize=32)
def _pages(job: Job, names: tuple[str, ...], call: str) -> tuple[dict[str, Page], tuple[float, ...]]:
    book = Dictionary(job, named_suspects(job, names), (call,))
    return {look.act: page for look, page in book.pages.items()}, tuple(map(float, book.prior))


def _words(page: Page, names: Sequence[str]) -> dict[str, str]:
    """Return one word for each suspect; readings of one cluster are called by their rounded volts."""
    which = [int(np.argmax(row)) for row in page.chance]
    if page.volts is None:
        return {name: page.words[k] for name, k in zip(names, which, strict=True)}
    found = {}
    for k in set(which):
        volts = [v for v, one in zip(page.volts, which, strict=True) if one == k]
        low, high = f"{min(volts):.0f}", f"{max(volts):.0f}"
        found[k] = f"{low} V" if low == high else f"{low} to {high} V"
    return {name: found[k] for name, k in zip(names, which, strict=True)}
