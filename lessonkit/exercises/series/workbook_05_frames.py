"""The exercises of workbook 05 about whole frames: read one, and find where a call was lost.

What stands in a frame comes from the link's own rooms; what a fault does comes out of the bench.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence
from functools import lru_cache

from lessonkit.bench.bench import Bench
from lessonkit.bench.exchange import FrameSeen
from lessonkit.bench.link import down_frame
from lessonkit.exercises.compare import Choice, ChoiceSet, Count, Record
from lessonkit.exercises.core import Answer, Exercise, Givens, WrongModel
from lessonkit.exercises.trials import responds
from lessonkit.job.calls import ALL_CALL_TERMINALS, CALL_TERMINALS, OUTDOOR_TERMINALS, to_bits
from lessonkit.job.toml import demo_job
from lessonkit.signal.frames import character_levels
from lessonkit.studies.experiment import experiment

__all__ = ["FRAME_EXERCISES", "listed", "reversed_byte"]


def reversed_byte(number: int) -> int:
    """Return a byte with its bits in the other order, as one who takes the highest first would read it."""
    return int(f"{number:08b}"[::-1], 2)


def listed(words: Sequence[str]) -> str:
    """Return words as a list in a sentence."""
    return ", ".join(words[:-1]) + " and " + words[-1] if len(words) > 1 else "".join(words)


def _terminals(number: int) -> list[str]:
    return [name for k, name in enumerate(ALL_CALL_TERMINALS) if number >> k & 1]


def _on_the_line(number: int) -> str:
    bits = "".join(str(level) for level in character_levels(number))
    return f"{bits[0]} {bits[1:5]} {bits[5:9]} {bits[9]}"


# 5.4: read a frame ----------------------------------------------------------------------------------------

RUNS = ("thermostat", "outdoor")


def _read_variant(rng: random.Random) -> Givens:
    run = rng.choice(RUNS)
    valve = rng.choice("OB")
    absent = {"O": "B", "B": "O"}[valve]
    fitting = [t for t in (CALL_TERMINALS if run == "thermostat" else OUTDOOR_TERMINALS) if t != absent]
    while True:
        called = set(rng.sample(fitting, rng.randint(2, min(4, len(fitting)))))
        number = rng.randint(20, 250)
        if all(one != reversed_byte(one) for one in (number, to_bits(called))):
            return {"run": run, "terminals": tuple(t for t in fitting if t in called), "number": number}


def _sent(givens: Givens) -> bytes:
    called = frozenset(givens["terminals"])
    return down_frame(str(givens["run"]), called, int(givens["number"])).to_bytes()


def _read_question(givens: Givens) -> str:
    rows = "\n".join(f"| {k} | `{_on_the_line(byte)}` |" for k, byte in enumerate(_sent(givens), 1))
    return (
        "You wrote down the looks of a receiver, filled ring 1 and empty ring 0, in the order on the line. "
        "The blanks only make it easier to read:\n\n"
        f"| character | levels |\n| --- | --- |\n{rows}\n\n"
        "For which run is the frame? Which terminals does it call? What is its frame number?"
    )


def _reading(run: str, terminals: Iterable[str], number: int) -> Answer:
    return {"run": run, "terminals": list(terminals), "number": number}


def _read(givens: Givens) -> Answer:
    _, address, calls, number, _ = _sent(givens)
    return _reading(RUNS[address - 1], _terminals(calls), number)


def _slipped(givens: Givens, calls: int, number: int) -> Answer:
    return _reading(str(givens["run"]), _terminals(calls), number)


def _highest_first(givens: Givens) -> Answer:
    _, _, calls, number, _ = _sent(givens)
    return _slipped(givens, reversed_byte(calls), reversed_byte(number))


def _shifted(givens: Givens, places: int) -> Answer:
    """Read calls and number from places too early (-1: the start bit counted) or too late (+1)."""
    _, _, calls, number, _ = _sent(givens)
    if places < 0:
        return _slipped(givens, calls << 1 & 255, number << 1 & 255)
    return _slipped(givens, calls >> 1 | 128, number >> 1 | 128)


def _other_run(givens: Givens) -> Answer:
    return {**_read(givens), "run": RUNS[1 - RUNS.index(givens["run"])]}


READ = Exercise(
    id="5.4",
    title="Read a frame",
    points=3,
    variant=_read_variant,
    question=_read_question,
    solve=_read,
    compare=Record(
        (("run", Choice(RUNS)), ("terminals", ChoiceSet(ALL_CALL_TERMINALS)), ("number", Count()))
    ),
    wrong_models=(
        WrongModel(
            "highest first",
            "On the line the lowest bit comes first. Read both characters from the left, as they were sent.",
            _highest_first,
        ),
        WrongModel(
            "number highest first",
            "Run and terminals are right. Use the same order of bits for the number.",
            lambda givens: {**_read(givens), "number": reversed_byte(int(givens["number"]))},
        ),
        WrongModel(
            "terminals highest first",
            "Run and number are right. Use the same order of bits for the terminals, from the left.",
            lambda givens: {**_read(givens), "terminals": _terminals(reversed_byte(_sent(givens)[2]))},
        ),
        WrongModel(
            "start bit counted",
            "You gave the start bit a place among the data bits. The data bits begin behind it.",
            lambda givens: _shifted(givens, -1),
        ),
        WrongModel(
            "stop bit counted",
            "You took the stop bit for a data bit, and left out the first data bit.",
            lambda givens: _shifted(givens, 1),
        ),
        WrongModel(
            "zeros called",
            "A terminal is called where its bit is 1. You listed those whose bit is 0.",
            lambda givens: {**_read(givens), "terminals": _terminals(255 - _sent(givens)[2])},
        ),
        WrongModel(
            "sync not counted",
            "The sync is the first character. So the address is the second, and the call bits the third.",
            lambda givens: _slipped(givens, _sent(givens)[1], _sent(givens)[2]),
        ),
        WrongModel(
            "calls and number exchanged",
            "You took the fourth character for the call bits and the third for the number.",
            lambda givens: _slipped(givens, _sent(givens)[3], _sent(givens)[2]),
        ),
        WrongModel(
            "the other run",
            "Terminals and number are right. The address is a number, too: read the second character again.",
            _other_run,
        ),
    ),
)


# 5.5: where the call was lost ----------------------------------------------------------------------------

PLACES = ("before the encoder", "on SIG", "at the relay board", "behind the relay board")
_COIL_OF = {"Y1": "contactor", "Y2": "unloader", "O": "reversing-valve", "B": "reversing-valve"}
_SITES = ("kiln-room", "wire-return")
_CALLS = ("cool-1", "cool-2", "heat-1", "heat-2")
#: Long enough for a watchdog of ten seconds.
_AFTER_S = 20.0


def _lost_variant(rng: random.Random) -> Givens:
    site, call = rng.choice(_SITES), rng.choice(_CALLS)
    called = sorted(set(_sound(site, call)) & set(OUTDOOR_TERMINALS))
    hit = rng.choice(called)
    # A cable between thermostat and encoder, SIG, a relay's contact, a coil: one fault in each place.
    place = rng.choice((PLACES[0], PLACES[0], *PLACES[1:]))
    fault = {
        PLACES[0]: f"thermostat.{hit}=open",
        PLACES[1]: "outdoor.SIG=open",
        PLACES[2]: f"out.relay-{hit}=stuck-open",
        PLACES[3]: f"out.{_COIL_OF[hit]}=burnt-out",
    }[place]
    return {"job": site, "call": call, "fault": fault, "place": place}


@lru_cache(maxsize=64)
def _sound(site: str, call: str) -> tuple[str, ...]:
    """Return what the bench energises at the thermostat for a call."""
    live = Bench(demo_job(site), call=call).advance(10).energised("stat")
    return tuple(t for t in CALL_TERMINALS if t in live)


@lru_cache(maxsize=256)
def _broken(site: str, call: str, fault: str) -> Bench:
    return experiment(site, call, [fault], before_s=0, after_s=_AFTER_S).bench()


def _bench(givens: Givens) -> Bench:
    return _broken(str(givens["job"]), str(givens["call"]), str(givens["fault"]))


def _frames(givens: Givens) -> tuple[FrameSeen, FrameSeen | None]:
    down = _bench(givens).last_frame("outdoor", "down")
    assert down is not None  # the encoder of these jobs is always fed
    return down, _bench(givens).last_frame("outdoor", "up")


def _lost_question(givens: Givens) -> str:
    down, reply = _frames(givens)
    bench = _bench(givens)
    state = bench.state
    arrives = "the same" if down.heard else "no start bit, ever"
    answer = f"`{_on_the_line(reply.sent.call_bits)}`" if reply else "no reply comes"
    letters = [t for t in OUTDOOR_TERMINALS if t in bench.job.outdoor_terminals]
    volts = ", ".join(f"{t} {state.volts[f'out:{t}']:.1f} V" for t in letters)
    runs = listed(responds(state)) or "nothing"
    calls = listed(_sound(str(givens["job"]), str(givens["call"])))
    return (
        f"The thermostat calls `{givens['call']}`, which asks for {calls}. The house does not get "
        "what it should. The outdoor unit is on a link of three conductors. You find:\n\n"
        "| look | what you find |\n| --- | --- |\n"
        f"| third character of the frame, at the air handler | `{_on_the_line(down.sent.call_bits)}` |\n"
        f"| the same frame at the outdoor unit | {arrives} |\n"
        f"| third character of the reply | {answer} |\n"
        f"| outdoor terminals to C | {volts} |\n"
        f"| what runs | {runs} |\n\n"
        "Which terminals does the frame call (`frame`)? Which ones does the reply say that the relay board "
        "holds (`held`; `[]` where there is no reply)? Where was the call lost (`lost`): "
        f"{', '.join(f'`{place}`' for place in PLACES)}?"
    )


def _finding(frame: Iterable[str], held: Iterable[str], lost: str) -> Answer:
    return {"frame": list(frame), "held": list(held), "lost": lost}


def _read_both(givens: Givens) -> tuple[list[str], list[str]]:
    down, reply = _frames(givens)
    return _terminals(down.sent.call_bits), _terminals(reply.sent.call_bits) if reply else []


def _found(givens: Givens) -> Answer:
    return _finding(*_read_both(givens), str(givens["place"]))


def _blames(place: str) -> WrongModel:
    hints = {
        PLACES[0]: "You read the frame well. Does it carry each outdoor terminal of this call?",
        PLACES[1]: "A frame that arrives outdoors and is answered was not lost on SIG.",
        PLACES[2]: "Blame a relay only where the reply says that it is held, and its terminal has no volts.",
        PLACES[3]: "Behind the board means: the terminal has its volts, and the part on it does nothing.",
    }

    def compute(givens: Givens) -> Answer:
        return None if givens["place"] == place else _finding(*_read_both(givens), place)

    return WrongModel(f"blames {place}", hints[place], compute)


def _by_the_book(givens: Givens) -> Answer:
    called = _sound(str(givens["job"]), str(givens["call"]))
    return _finding(called, _read_both(givens)[1], str(givens["place"]))


def _both_reversed(givens: Givens) -> Answer:
    down, reply = _frames(givens)
    held = _terminals(reversed_byte(reply.sent.call_bits)) if reply else []
    return _finding(_terminals(reversed_byte(down.sent.call_bits)), held, str(givens["place"]))


def _held_unheard(givens: Givens) -> Answer:
    frame, held = _read_both(givens)
    return None if held == frame else _finding(frame, frame, str(givens["place"]))


def _live_for_held(givens: Givens) -> Answer:
    state = _bench(givens).state
    live = [t for t in OUTDOOR_TERMINALS if t in state.energised("out")]
    frame, held = _read_both(givens)
    return None if held == live else _finding(frame, live, str(givens["place"]))


LOST = Exercise(
    id="5.5",
    title="Where was the call lost?",
    points=3,
    variant=_lost_variant,
    question=_lost_question,
    solve=_found,
    compare=Record(
        (
            ("frame", ChoiceSet(ALL_CALL_TERMINALS)),
            ("held", ChoiceSet(ALL_CALL_TERMINALS)),
            ("lost", Choice(PLACES)),
        )
    ),
    wrong_models=(
        *map(_blames, PLACES),
        WrongModel(
            "what the call asks for",
            "Write what stands in the frame, not what the call should put there. And G stays indoors.",
            _by_the_book,
        ),
        WrongModel(
            "highest first",
            "On the line the lowest bit comes first. You read the bits from the other end.",
            _both_reversed,
        ),
        WrongModel(
            "held without a reply",
            "A frame tells what is wanted. What is held stands in the reply; without one, nothing is known.",
            _held_unheard,
        ),
        WrongModel(
            "volts for held",
            "You listed the terminals that have volts. What the board means to hold stands in the reply.",
            _live_for_held,
        ),
    ),
)


FRAME_EXERCISES = (READ, LOST)
