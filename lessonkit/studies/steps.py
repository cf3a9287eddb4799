"""A story in steps: do, wait, read, as a file that can be told, tested and handed in.

    title = "Is it the wire or the board?"

    [[step]]
    do = "call cool-2"

    [[step]]
    wait_s = 60

    [[step]]
    say = "The outdoor unit has its supply."
    read = "volts out:R out:C"
    low = 24
    high = 28

    [[step]]
    do = "lift out:outdoor.R"
    refused = true

Each step has one of three: `do` an act, `wait_s` for some seconds, `read` something. A reading may say what
it should be (`low` and `high`, or `is` for a word), an act that it should be refused; a step that comes out
otherwise is marked. `say` is for the reader. Minutes are those of `hands`; the bench's clock moves in waits.

Acts: those of hands (`handwork`), put-back PLACE:RUN.CONDUCTOR, take-out TERMINAL TERMINAL, plug BOARD, and
call CALL, break FAULT, mend FAULT, power on|off (of both disconnects, or of the one at air or out), fuse,
outdoor C, defrost.
Readings: volts, volts-low, dc-volts, ohms, capacitance, insulation, insulation-500 with one or two probes
(the black one starts at C of the same place); amps with what the clamp goes around; equipment and its name;
link and its run.

Stories that come with the library (`told_names`) are in `told/`: a defrost, a changeover between heat pump
and furnace, an outdoor lockout, a second transformer, a thermostat that starves.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import Any

from lessonkit.bench.bench import Bench
from lessonkit.bench.hands import Hands
from lessonkit.bench.meter import LiveCircuit, Meter, WouldDestroy
from lessonkit.bench.power import DISCONNECTS
from lessonkit.bench.reading import Reading
from lessonkit.errors import LessonError, require, require_finite
from lessonkit.job.calls import check_call
from lessonkit.job.equipment import check_outdoor_c
from lessonkit.job.faults import parse_fault
from lessonkit.job.fields import parse_toml, read_fields, read_text
from lessonkit.job.handwork import ACTS, parse_work
from lessonkit.job.model import Job

__all__ = ["BadStory", "Step", "Story", "Told", "load_story", "play", "told_names"]

#: The longest wait of one step: a week.
LONGEST_WAIT_S = 604800.0
#: Minutes for a new call, for a fuse and for the test pins, once one stands there (ours).
_CALL_MIN, _SERVICE_MIN = 0.5, 2.0

_HANDS_BACK = {
    "put-back": "PLACE:RUN.CONDUCTOR",
    "take-out": "PLACE:TERMINAL PLACE:TERMINAL",
    "plug": "PLACE:BOARD",
}
_OTHER_ACTS = {
    "call": "CALL",
    "break": "FAULT",
    "mend": "FAULT",
    "power": "on|off [air|out]",
    "fuse": "",
    "outdoor": "C",
    "defrost": "",
}
_READS: Mapping[str, Callable[[Meter, Sequence[str]], Reading]] = {
    "volts": lambda meter, at: meter.volts(*at),
    "volts-low": lambda meter, at: meter.volts(at[0], at[1] if len(at) > 1 else None, "low"),
    "dc-volts": lambda meter, at: meter.dc_volts(*at),
    "ohms": lambda meter, at: meter.ohms(*at),
    "capacitance": lambda meter, at: meter.capacitance(*at),
    "insulation": lambda meter, at: meter.insulation(at[0], at[1] if len(at) > 1 else None),
    "insulation-500": lambda meter, at: meter.insulation(at[0], at[1] if len(at) > 1 else None, 500),
    "amps": lambda meter, at: meter.amps(at[0]),
}


class BadStory(LessonError, ValueError):
    """A story that can't be told; `mistakes` lists each with its key."""

    def __init__(self, mistakes: Sequence[str], where: str = "story") -> None:
        self.mistakes = tuple(mistakes)
        super().__init__(f"{where}: " + "; ".join(mistake.rstrip(".") for mistake in mistakes) + ".")


@dataclass(frozen=True)
class Step:
    """One step: exactly one of `do`, `wait_s` and `read`; the rest is what should come of it."""

    do: str = ""
    wait_s: float | None = None
    read: str = ""
    low: float = -math.inf
    high: float = math.inf
    word: str = field(default="", metadata={"key": "is"})
    refused: bool = False
    say: str = ""


@dataclass(frozen=True)
class Story:
    """A title and steps."""

    steps: tuple[Step, ...]
    title: str = ""


@dataclass(frozen=True)
class Told:
    """What came of a step: in words, and as a number where it was a reading (None: refused, or OL).

    `as_said` is whether it came out as the step says; `time_s` is the bench's clock, `minutes` those of
    hands, both at the end of the step.
    """

    step: Step
    shown: str
    value: float | None
    as_said: bool
    refused: bool
    time_s: float
    minutes: float

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain data, ready for JSON."""
        step = self.step
        what = {"do": step.do} if step.do else {"read": step.read} if step.read else {"wait_s": step.wait_s}
        return what | {
            "shown": self.shown,
            "value": self.value,
            "refused": self.refused,
            "as_said": self.as_said,
            "seconds": round(self.time_s, 6),
            "minutes": self.minutes,
        }


def told_names() -> tuple[str, ...]:
    """Return the names of the stories that come with the library."""
    there = resources.files("lessonkit").joinpath("studies", "told").iterdir()
    return tuple(sorted(Path(one.name).stem for one in there if one.name.endswith(".toml")))


def load_story(path: str | Path, job: Job) -> Story:
    """Return the story in a TOML file, or the one of that name.

    `told_names` has the names; `job` is what it will be played on. Raises `BadStory` with every mistake, each
    by its key.
    """
    mistakes: list[str] = []
    if str(path) in told_names():
        own = resources.files("lessonkit").joinpath("studies", "told", f"{path}.toml")
        text: str | None = own.read_text(encoding="utf-8")
    else:
        hint = f"give the path of a story in TOML, or one of {', '.join(told_names())}"
        text = read_text(Path(path), hint, mistakes)
    table = parse_toml(text, "a story", mistakes) if text is not None else None
    if table is None:
        raise BadStory(mistakes, str(path) or "a file without a name")
    steps: list[Step] = []
    for key in table.keys() - {"title", "step"}:
        mistakes.append(f"{key} is not a key of a story (known here: title, step)")
    if not isinstance(table.get("title", ""), str):
        mistakes.append(f"title is {table['title']!r}, but must be text in quotes")
    tables = table.get("step", [])
    if not isinstance(tables, list) or not tables or not all(isinstance(one, dict) for one in tables):
        mistakes.append("step is missing; begin each step with a line [[step]]")
        tables = []
    for k, one in enumerate(tables, 1):
        before = len(mistakes)
        values = read_fields(Step, one, f"step {k}.", mistakes, "a story")
        if len(mistakes) == before:
            step = Step(**values)
            try:
                check_step(step, job)
                steps.append(step)
            except LessonError as error:
                mistakes.append(f"step {k}: {error}")
    if mistakes:
        raise BadStory(mistakes, str(path))
    return Story(tuple(steps), table.get("title", ""))


def check_step(step: Step, job: Job) -> None:
    """Refuse a step that no bench of this job can take, in one sentence with what is allowed."""
    given = [key for key in ("do", "wait_s", "read") if getattr(step, key) not in ("", None)]
    require(len(given) == 1, "a step", ", ".join(given) or "empty", "exactly one of do, wait_s and read")
    if step.wait_s is not None:
        fits = 0 <= require_finite("wait_s", step.wait_s) <= LONGEST_WAIT_S
        require(fits, "wait_s", step.wait_s, f"from 0 to {LONGEST_WAIT_S:g}, a week")
    require(step.low <= step.high, "low", step.low, f"at most high, {step.high:g}")
    if step.read:
        _check_read(step.read, job)
    elif step.do:
        _check_do(step.do, job)


def _check_read(text: str, job: Job) -> None:
    what, *at = text.split()
    most = {"amps": 1, "link": 1, "equipment": 9}.get(what, 2)
    known = [*_READS, "equipment", "link"]
    require(what in known, "read", text, f"one of {', '.join(known)}, and what to read it at")
    require(
        1 <= len(at) <= most, "read", text, f"{what} and {'one or two probes' if most == 2 else 'one name'}"
    )
    if what == "link":
        require(
            at[0] in job.links, "read", text, f"link and one of {', '.join(job.links) or 'none: all direct'}"
        )


def _check_do(text: str, job: Job) -> None:
    act, *rest = text.split()
    if act in ACTS:
        parse_work(text, job)
        return
    takes = _HANDS_BACK | _OTHER_ACTS
    known = "; ".join(f"{name} {what}".strip() for name, what in (ACTS | takes).items())
    require(act in takes, "do", text, f"one of: {known}")
    most = len(takes[act].split())
    least = most - takes[act].count("[")
    require(least <= len(rest) <= most, "do", text, f"written as {act} {takes[act]}".strip())
    if act == "call":
        check_call(rest[0])
    elif act in ("break", "mend"):
        parse_fault(rest[0], job)
    elif act == "power":
        require(rest[0] in ("on", "off"), "do", text, "power on or power off")
        require(rest[1:] in ([], *([place] for place in DISCONNECTS)), "do", text, "power off, air or out")
    elif act == "outdoor":
        check_outdoor_c(_number(rest[0], text))
    elif act in _HANDS_BACK:
        parse_work(" ".join(({"put-back": "lift", "take-out": "jumper", "plug": "unplug"}[act], *rest)), job)


def _number(text: str, step: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise BadStory([f"do is {step!r}, but {text!r} is no number"]) from None


def play(bench: Bench, story: Story) -> tuple[Told, ...]:
    """Play a story on a bench; return what came of each step.

    Raises `BadStory` where a step names what is not there at that moment, such as a probe on a loose end
    that nobody has lifted.
    """
    hands, meter = Hands(bench), Meter(bench)
    return tuple(_told(hands, meter, k, step) for k, step in enumerate(story.steps, 1))


def _told(hands: Hands, meter: Meter, k: int, step: Step) -> Told:
    value: float | None = None
    refused = False
    try:
        if step.wait_s is not None:
            hands.bench.advance(step.wait_s)
            shown, fits = f"{step.wait_s:g} s pass", True
        elif step.read:
            shown, value = _read(hands, meter, step.read)
            fits = (value is None or step.low <= value <= step.high) and step.word in ("", shown)
            value = None if value is None or math.isinf(value) else value
        else:
            shown, fits = _do(hands, step.do), True
    except (LiveCircuit, WouldDestroy) as error:
        shown, fits, refused = str(error), True, True
    except LessonError as error:
        raise BadStory([f"step {k}: {error}"]) from None
    as_said = fits and refused == step.refused
    return Told(step, shown, value, as_said, refused, hands.bench.time_s, hands.minutes)


def _read(hands: Hands, meter: Meter, text: str) -> tuple[str, float | None]:
    what, *at = text.split()
    state = hands.bench.state
    if what == "link":
        return state.links[at[0]].state, None
    if what == "equipment":
        name = " ".join(at)
        require(name in state.responding, "read", text, f"equipment and one of {', '.join(state.responding)}")
        return state.responding[name], None
    reading = _READS[what](meter, at)
    hands.probe(at[0] if ":" in at[0] else "air:R")
    return repr(reading), reading.value


def _do(hands: Hands, text: str) -> str:
    bench, (act, *rest) = hands.bench, text.split()
    if act in ACTS:
        return str(hands.do(text))
    if act in ("put-back", "plug", "take-out"):
        if act == "put-back":
            place, _, conductor = rest[0].partition(":")
            return str(hands.put_back(conductor, place))
        return str(hands.plug(rest[0]) if act == "plug" else hands.take_out(*rest))
    if act == "power":
        return str(hands.power(rest[0] == "on", *rest[1:]))
    if act == "call":
        bench.set_call(rest[0])
        return str(hands.count(text, "stat", _CALL_MIN))
    if act == "fuse":
        bench.replace_fuse()
        return str(hands.count("a whole fuse put in", "air", _SERVICE_MIN))
    if act == "defrost":
        bench.force_defrost()
        return str(hands.count("test pins of the defrost board", "out", _SERVICE_MIN))
    if act == "outdoor":
        bench.set_outdoor_c(_number(rest[0], text))
    elif act == "break":
        bench.add_fault(rest[0])
    else:
        bench.clear_fault(rest[0])
    return text
