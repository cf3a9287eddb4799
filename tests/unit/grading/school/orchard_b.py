"""A second, shorter workbook of the invented school."""

from __future__ import annotations

from lessonkit.exercises import Choice, Exercise, Number, WrongModel

TITLE = "The orchard gate"

EXERCISES = (
    Exercise(
        id="92.1",
        title="Power",
        points=1,
        variant=lambda rng: {"volts": 24.0, "ohm": rng.randint(8, 80)},
        question=lambda g: f"{g['volts']} V across {g['ohm']} ohm: how many watts?",
        solve=lambda g: g["volts"] ** 2 / g["ohm"],
        compare=Number(rel=0.02, unit="W"),
        wrong_models=(
            WrongModel(
                "current",
                "That is the current; power is volts times amperes.",
                lambda g: g["volts"] / g["ohm"],
            ),
        ),
    ),
    Exercise(
        id="92.2",
        title="First step",
        points=1,
        variant=lambda rng: {"part": rng.choice(["gate", "pump"])},
        question=lambda g: f"You are about to touch the terminals of the {g['part']}. What comes first?",
        solve=lambda g: "disconnect",
        compare=Choice(("disconnect", "measure", "pull")),
    ),
)
