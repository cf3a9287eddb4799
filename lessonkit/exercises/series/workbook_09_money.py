"""The exercises of workbook 09 about money and print: where a furnace takes over, and numbers on pages.

Pages of the trade carry numbers that do not follow from their own formulas. Exercise 9.7 shows numbers that
are printed as they should be, and numbers with the kinds of error that real pages have.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from typing import Any

from lessonkit.exercises.compare import Choice, Number, Record, Table
from lessonkit.exercises.core import Exercise, Givens, Several, WrongModel
from lessonkit.studies.balance import break_even_cop, economic_balance_c, thermal_balance_c
from lessonkit.studies.customary import THERM_KWH, c_to_f, f_to_c
from lessonkit.studies.frost import coil_c
from lessonkit.studies.house import Load
from lessonkit.studies.ratings import Rating

# 9.2: where the furnace takes over ------------------------------------------------------------------------


def _changeover_variant(rng: random.Random) -> Givens:
    while True:
        h3_w = rng.randrange(5000, 8001, 100)
        givens: Givens = {
            "electricity": rng.randrange(12, 31) / 100,
            "fuel": rng.randrange(30, 101) / 1000,
            "efficiency": rng.choice((0.8, 0.85, 0.9, 0.92, 0.95)),
            "h3_w": h3_w,
            "h3_power_w": int(round(h3_w / rng.uniform(2.3, 2.8), -1)),
            "h2_w": int(round(h3_w * rng.uniform(1.2, 1.3), -1)),
            "thermal_c": -rng.randrange(10, 76) / 10,
        }
        givens["h2_power_w"] = int(round(givens["h3_power_w"] * rng.uniform(1.02, 1.08), -1))
        economic_c = _economic_c(givens, _even(givens))
        # On the frost line, and far enough from the other point that the two can be told apart.
        if -7.8 < economic_c < 1.2 and abs(economic_c - givens["thermal_c"]) > 0.8:
            return givens


def _even(givens: Givens) -> float:
    return break_even_cop(givens["electricity"], givens["fuel"], givens["efficiency"])


def _economic_c(givens: Givens, cop: float) -> float:
    """Return where the machine's COP is this, in C; only its two colder ratings play a part."""
    h3, h2 = givens["h3_w"], givens["h2_w"]
    p3, p2 = givens["h3_power_w"], givens["h2_power_w"]
    warm = Rating(1.6 * h2, 1.05 * p2, h3, p3, capacity_h2_w=h2, power_h2_w=p2)
    return economic_balance_c(warm, cop)


def _changeover_question(givens: Givens) -> str:
    return (
        f"A kilowatt-hour of electricity costs {givens['electricity']:.2f}, one of fuel "
        f"{givens['fuel']:.3f}. The furnace turns {givens['efficiency']:.2f} of the fuel into heat, and "
        f"never runs together with the heat pump. At 1.7 °C (35 °F) the heat pump gives {givens['h2_w']} W "
        f"and draws {givens['h2_power_w']} W; at -8.3 °C (17 °F) it gives {givens['h3_w']} W and draws "
        f"{givens['h3_power_w']} W. Both are straight lines in between. The balance point of the house is "
        f"{givens['thermal_c']:.1f} °C. At which COP does heat cost the same from both, and at how many "
        "degrees Celsius should the furnace take over?"
    )


def _answer(givens: Givens, cop: float) -> dict[str, float] | None:
    """Return an answer that goes by this COP, or None where that leads nowhere on the line."""
    economic_c = _economic_c(givens, cop)
    if not -40.0 < economic_c < 60.0:
        economic_c = givens["thermal_c"]
    return {"break_even_cop": cop, "changeover_c": max(economic_c, givens["thermal_c"])}


def _ruled(by_price: bool) -> Callable[[Givens], dict[str, float] | None]:
    """Return a model that goes by price alone, or by capacity alone, where the other one rules."""

    def wrong(givens: Givens) -> dict[str, float] | None:
        economic_c, thermal_c = _economic_c(givens, _even(givens)), givens["thermal_c"]
        at_c = economic_c if by_price else thermal_c
        return (
            None
            if at_c == max(economic_c, thermal_c)
            else {"break_even_cop": _even(givens), "changeover_c": at_c}
        )

    return wrong


def _in_fahrenheit(givens: Givens) -> dict[str, float] | None:
    right = _answer(givens, _even(givens))
    return right and {**right, "changeover_c": c_to_f(right["changeover_c"])}


CHANGEOVER = Exercise(
    id="9.2",
    title="Where the furnace takes over",
    points=3,
    variant=_changeover_variant,
    question=_changeover_question,
    solve=lambda givens: _answer(givens, _even(givens)),
    compare=Record((("break_even_cop", Number(rel=0.01)), ("changeover_c", Number(rel=0.0, absolute=0.3)))),
    wrong_models=(
        WrongModel(
            "price alone",
            "In the air between your answer and the balance point the heat pump is cheaper, and too small. "
            "The two never run together: who heats the house there?",
            _ruled(True),
        ),
        WrongModel(
            "capacity alone",
            "At your answer the heat pump is large enough. Is its heat the cheaper one there, too?",
            _ruled(False),
        ),
        WrongModel(
            "all the fuel becomes heat",
            "Part of the fuel leaves through the flue. What does a kilowatt-hour of heat in the house cost?",
            lambda givens: _answer(givens, givens["electricity"] / givens["fuel"]),
        ),
        WrongModel(
            "efficiency on the wrong side",
            "Heat from fuel gets dearer when the furnace wastes more. Look where its efficiency stands.",
            lambda givens: _answer(givens, givens["electricity"] / givens["fuel"] / givens["efficiency"]),
        ),
        WrongModel(
            "prices turned round",
            "With a COP of 2 a kilowatt-hour of heat costs half of one of electricity. Set that equal to "
            "the furnace's price for heat, and solve again.",
            lambda givens: _answer(givens, 1.0 / _even(givens)),
        ),
        WrongModel(
            "in Fahrenheit",
            "The COP is right. The other number is in degrees Fahrenheit, and the question asks for Celsius.",
            _in_fahrenheit,
        ),
    ),
    nudge="First what a kilowatt-hour of heat costs from the furnace. Then the COP that costs the same. "
    "Then where the lines of watts give that COP. Then compare with the balance point.",
)


# 9.7: numbers in print ------------------------------------------------------------------------------------

KINDS = ("balance point", "break-even COP", "outdoor coil", "degree days", "auxiliary lockout")
RIGHT, HIGH, LOW = "right", "too high", "too low"
_WORDS = (RIGHT, HIGH, LOW)
_ROWS = ("page 1", "page 2", "page 3")


def _page_variant(rng: random.Random) -> Givens:
    pages = [_drawn(kind, rng) for kind in rng.sample(KINDS, 3)]
    if len({page[-1] for page in pages}) == 1:  # not all three the same
        return _page_variant(rng)
    return {"pages": tuple(pages)}


def _drawn(kind: str, rng: random.Random) -> tuple[Any, ...]:
    """Return a page: its kind, its numbers, what it prints, and what that is."""
    if kind == "balance point":
        h3, need = rng.randrange(20, 29) * 1000, rng.randrange(28, 37) * 1000
        h1 = h3 + 1000 * rng.randrange(10, 15)
        word, off_f = rng.choice(((RIGHT, 0.0), (HIGH, 9.5), (LOW, -9.5)))
        return kind, (h1, h3, need), round(_page_balance_f(h1, h3, need) + off_f, 1), word
    if kind == "break-even COP":
        power, therm = rng.randrange(11, 21) / 100, rng.randrange(100, 161, 5) / 100
        share = rng.choice((0.8, 0.9, 0.95))
        right = break_even_cop(power, therm / THERM_KWH, share)
        word, factor = rng.choice(((RIGHT, 1.0), (LOW, 0.76), (HIGH, 1.0 / share**2)))
        return kind, (power, therm, share), round(right * factor, 2), word
    if kind == "outdoor coil":
        air_f = rng.randrange(14, 45)
        right_f = c_to_f(float(coil_c(f_to_c(air_f))))
        word, printed = rng.choice(((RIGHT, right_f), (HIGH, 0.82 * (air_f - 9.7)), (LOW, right_f - 5.4)))
        return kind, (air_f,), round(printed, 1), word
    if kind == "degree days":
        night, noon = rng.randrange(4, 9), rng.randrange(22, 25)
        right = 18.0 - (night + noon) / 2
        word, printed = rng.choice(((RIGHT, right), (HIGH, (18 - night) / 2), (LOW, right / 2)))
        return kind, (night, noon), printed, word
    balance_c = -rng.randrange(10, 61) / 10
    word, off_k = rng.choice(((RIGHT, 1.5), (LOW, -2.5), (HIGH, 14.0)))
    return kind, (balance_c,), round(balance_c + off_k, 1), word


def _page_balance_f(h1: float, h3: float, need: float) -> float:
    """Return the balance point in F by the pages' own formula: a dry coil, a load that ends at 70 °F."""
    ratings = Rating(h1, 1.0, h3, 1.0)
    load = Load(design_w=need, design_outdoor_c=f_to_c(5.0), indoor_c=f_to_c(70.0))
    return c_to_f(thermal_balance_c(load, ratings, frost=False))


def _told(page: tuple[Any, ...]) -> str:
    """Return what a page says."""
    kind, numbers, printed, _ = page
    if kind == "balance point":
        h1, h3, need = numbers
        return (
            f"A heat pump gives {h1} Btu/h at 47 °F and {h3} at 17 °F, on a straight line. A house at 70 °F "
            f"loses {need} Btu/h at 5 °F, and nothing at 70 °F. The balance point is **{printed:.1f} °F**."
        )
    if kind == "break-even COP":
        power, therm, share = numbers
        return (
            f"Electricity costs {power:.2f} for a kilowatt-hour, gas {therm:.2f} for a therm (29.3 kWh), and "
            f"the furnace turns {share:.2f} of it into heat. Both cost the same at a COP of "
            f"**{printed:.2f}**."
        )
    if kind == "outdoor coil":
        return (
            "While it heats, the outdoor coil is at 0.82 x T - 8.589, all in Celsius. In air of "
            f"{numbers[0]} °F it is at **{printed:.1f} °F**."
        )
    if kind == "degree days":
        night, noon = numbers
        return (
            f"A day has 12 hours at {night} °C and 12 hours at {noon} °C. Degree days are the base less the "
            f"mean of the day. With the base 18 °C this day has **{printed:g}** degree days."
        )
    return (
        f"The balance point is {numbers[0]:.1f} °C. So set the lockout of the auxiliary heat to "
        f"**{printed:.1f} °C**: that leaves no gap, and little room for waste."
    )


def _page_question(givens: Givens) -> str:
    pages = "\n\n".join(
        f"**P{row[1:]}.** {_told(page)}" for row, page in zip(_ROWS, givens["pages"], strict=True)
    )
    return (
        "Three pages print these numbers in bold. Check each one with its own numbers.\n\n"
        f"{pages}\n\nIs the number in bold `right`, `too high` or `too low`? (A last digit that was rounded "
        "counts as right. A lockout is right from the balance point up to 5 K above it.)"
    )


def _judged(givens: Givens) -> dict[str, str]:
    return {row: page[-1] for row, page in zip(_ROWS, givens["pages"], strict=True)}


_HINTS = {
    "balance point": "Balance point: two lines in Btu/h. The load has its slope from 5 to 70 °F. Put the "
    "printed temperature into both lines: which one is higher there?",
    "break-even COP": "Break-even COP: first the price of a kilowatt-hour of gas, then of heat from it, "
    "then divide the price of electricity by that.",
    "outdoor coil": "Outdoor coil: turn the air into Celsius first, use the formula there, and turn the "
    "result back. The formula does not hold for Fahrenheit.",
    "degree days": "Degree days: take the mean of the whole day first, and then the base less that mean. "
    "Hour by hour gives another number.",
    "auxiliary lockout": "Auxiliary lockout: go from the balance point to the printed number. In that "
    "band, is the heat pump too small, or large enough?",
}


def _misjudged(kind: str) -> Callable[[Givens], Several | None]:
    """Return a model: the page of this kind judged wrongly, in either way."""

    def wrong(givens: Givens) -> Several | None:
        right = _judged(givens)
        for row, page in zip(_ROWS, givens["pages"], strict=True):
            if page[0] == kind:
                return Several({**right, row: word} for word in _WORDS if word != page[-1])
        return None

    return wrong


PRINTED = Exercise(
    id="9.7",
    title="Numbers in print",
    points=3,
    variant=_page_variant,
    question=_page_question,
    solve=_judged,
    compare=Table(_ROWS, Choice(_WORDS)),
    wrong_models=tuple(WrongModel(kind, _HINTS[kind], _misjudged(kind)) for kind in KINDS),
    nudge="Check the pages one at a time: put the printed number in, and see whether it fits.",
)
