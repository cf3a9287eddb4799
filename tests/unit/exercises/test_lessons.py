"""What lessons are told with: a prediction beside the bench's answer, and a row of calls put to a job."""

from __future__ import annotations

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import Meter
from lessonkit.bench.reading import Reading
from lessonkit.errors import LessonError, refused
from lessonkit.exercises.predict import predictions, reveal
from lessonkit.exercises.series.workbook_00 import _SPLICES_OHM, CASES
from lessonkit.exercises.series.workbook_01_faults import _CANDIDATES
from lessonkit.exercises.trials import any_job, responds, settled, site, try_calls
from lessonkit.exercises.workbook import known_workbooks, open_workbook
from lessonkit.job.faults import parse_fault
from lessonkit.job.naming import fault_sentence
from lessonkit.job.toml import demo_job

BLANKS = (..., None, "", "  ", "...", [...], ["Y1", ...])


@pytest.mark.parametrize("blank", BLANKS, ids=repr)
def test_nothing_is_shown_before_a_prediction(blank: object, capsys: pytest.CaptureFixture[str]) -> None:
    """Without a prediction there is one sentence that says what to write, and no answer."""
    reveal(blank, Reading(27.4012, "V", ("air:R", "air:C")), show="the table")
    said = capsys.readouterr().out
    assert said.startswith('Predict first: write a number of V, or "skip", in the cell above')
    assert "27" not in said
    assert "table" not in said
    assert len(said.splitlines()) == 1


def test_a_long_sentence_breaks_between_words(capsys: pytest.CaptureFixture[str]) -> None:
    """What a lesson shows is broken before a page would break it in the middle of a word."""
    sentence = " ".join(["defrost-board"] * 12)
    reveal("skip", "on", show=(sentence, "short\n\nlines"))
    shown = capsys.readouterr().out.splitlines()[1:]
    assert " ".join(shown[:-3]) == sentence
    assert [len(line) <= 100 for line in shown] == [True] * 5
    assert shown[-3:] == ["short", "", "lines"]


@pytest.mark.parametrize(
    ("truth", "among", "wanted"),
    [
        (0, (), "a number,"),
        (True, (), "True or False,"),
        (["G"], (), 'a list of words, such as ["one", "two"],'),
        ("off", (), "a word or two in quotation marks,"),
        ("off", ("on", "off"), '"on" or "off",'),
        (["blower"], ("blower", "valve"), 'a list of some of "blower" or "valve", or [],'),
    ],
)
def test_it_says_what_to_write(
    truth: object, among: tuple[str, ...], wanted: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """The form of a prediction follows from what the bench says, which stays unsaid."""
    reveal(..., truth, among=among)
    assert wanted in capsys.readouterr().out


def test_words_outside_the_choice_reveal_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    """Where there are a few words to choose from, another word is no prediction yet."""
    reveal("x", "off", among=("on", "off"))
    reveal(["blower", "x"], ["blower"], among=("blower", "valve"))
    reveal([], ["blower"], among=("blower", "valve"))
    first, second, third = capsys.readouterr().out.splitlines()
    assert first.startswith('Only these words count here: write "on" or "off", or "skip"')
    assert second.startswith('Only these words count here: write a list of some of "blower" or "valve"')
    assert third == "You predicted none. The bench says blower. They differ: find out why."


@pytest.mark.parametrize(
    ("written", "among", "meant"),
    [
        ("yes", ("on", "off"), "on"),
        ("No.", ("on", "off"), "off"),
        (True, ("on", "off"), "on"),
        (False, ("yes", "no"), "no"),
        ("off", ("yes", "no"), "no"),
        ("It is on", ("on", "off"), "on"),
        ("live", ("live", "dead"), "live"),
    ],
)
def test_yes_is_understood_where_on_is_asked(
    written: object, among: tuple[str, ...], meant: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where there are two words for yes and no, the usual other ones are taken for them."""
    reveal(written, meant, among=among)
    assert capsys.readouterr().out == f"You predicted {meant}. The bench says {meant}. They agree.\n"


def test_yes_is_no_answer_to_which(capsys: pytest.CaptureFixture[str]) -> None:
    """Where the words are no yes and no, "yes" is told which words count; a truth stays a truth elsewhere."""
    reveal("yes", "a defrost", among=("a defrost", "nothing"))
    assert capsys.readouterr().out.startswith('Only these words count here: write "a defrost" or "nothing"')
    reveal(True, True)
    assert capsys.readouterr().out == "You predicted True. The bench says True. They agree.\n"


def test_a_reason_is_asked_for_where_it_matters(capsys: pytest.CaptureFixture[str]) -> None:
    """With a prediction and no reason nothing is shown; with both, the reason is held against the bench."""
    reveal("on", "off", because=...)
    assert capsys.readouterr().out.startswith("Say why first")
    reveal("on", "off", because="it holds its place", show="a picture")
    said = capsys.readouterr().out.splitlines()
    assert said[1:] == ["Your reason: it holds its place. Does it fit what the bench says?", "a picture"]
    reveal("on", "off", because="skip")
    assert "reason" not in capsys.readouterr().out
    reveal("skip", "off", because=...)
    assert "The bench says off." in capsys.readouterr().out


def test_skips_are_counted_from_the_notebook_s_names(capsys: pytest.CaptureFixture[str]) -> None:
    """A notebook that skipped twice is told so, and running a cell again does not count again."""
    lines = (
        "prediction_1 = 'skip'; prediction_2 = 'Skip.'; prediction_3 = 'on'; prediction_4 = ...",
        "reveal(prediction_1, 'off', show=('a table', 'a picture'))",
        "reveal(prediction_1, 'off')",
        "predictions()",
    )
    exec("\n".join(lines), {"reveal": reveal, "predictions": predictions})  # noqa: S102 - these lines
    said = capsys.readouterr().out.splitlines()
    assert said[0] == said[3] == "No prediction (skipped so far: 2). The bench says off."
    assert said[1:3] == ["a table", "a picture"]
    assert said[4] == "Predictions: 1 written, 2 skipped, 1 still open."


@pytest.mark.parametrize(
    ("prediction", "truth", "agree"),
    [
        ("On", "on", True),
        ("off", "on", False),
        (26, 26.5, True),
        (24, 26.5, False),
        (0, 0.0, True),
        (True, 1, False),
        (["y2", "Y1"], ("Y1", "Y2"), True),
        ("Y1", ["Y1"], True),
        ({"Y1"}, ["Y1", "Y2"], False),
        ("six", 6, False),
        ("27 V", 27.4, True),
        ("26,5", 26.5, True),
        ((26, 5), 26.5, True),
        ("27 or 28 V", 27.4, False),
        ({}, [], False),
    ],
)
def test_prediction_is_compared(
    prediction: object, truth: object, agree: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    """Words agree whatever their case, numbers within a share, collections in any order."""
    reveal(prediction, truth)
    assert ("They agree." in capsys.readouterr().out) is agree


def test_numbers_are_shown_with_their_unit(capsys: pytest.CaptureFixture[str]) -> None:
    """Both sides carry the unit, and terminals keep their order."""
    reveal(24.0, 26.0312, unit="V", within=0.02)
    reveal(["G"], ["Y1", "G"])
    volts, letters = capsys.readouterr().out.splitlines()
    assert volts.startswith("You predicted 24 V. The bench says 26.03 V. They differ")
    assert "The bench says Y1, G." in letters


def test_a_reading_brings_its_unit(capsys: pytest.CaptureFixture[str]) -> None:
    """A reading of the bench is shown as a meter shows it, and the prediction beside it gets its unit."""
    reveal(27, Reading(27.4012, "V", ("air:R", "air:C")))
    said = capsys.readouterr().out
    assert said == "You predicted 27 V. The bench says 27.40 V from air:R to air:C. They agree.\n"


def test_a_refusal_is_a_sentence() -> None:
    """What the bench refuses is told, what it doesn't refuse is done, and other mistakes stay mistakes."""
    meter = Meter(Bench("full-cable"))
    assert "the power is still on" in refused(meter.ohms, "out:CC", "out:C")
    assert refused(meter.volts, "air:R", "air:C") == "It was not refused, and gave 27.40 V."
    assert "interconnection_listed = true" in refused(
        demo_job("second-transformer").with_supply, interconnection_listed=False
    )
    with pytest.raises(TypeError):
        refused(meter.ohms)


def test_calls_are_put_to_a_job_as_a_person_would() -> None:
    """A row of the table is what a bench shows when someone sets the call and waits."""
    table = try_calls("two-run", ["cool-2"], ["air.relay-W1=stuck-closed"], place="air")
    bench = Bench("two-run", faults=["air.relay-W1=stuck-closed"])
    bench.set_call("cool-2")
    state = bench.advance(20)
    assert table.house_gets == {"cool-2": state.delivering}
    assert table.terminals == {"cool-2": ("Y1", "Y2", "G", "O", "W1")}
    assert "| `cool-2` | Y1 Y2 G O W1 | cooling, stage 2, with auxiliary heat |" in table._repr_markdown_()
    assert " ".join(str(table).split()) == "cool-2 Y1 Y2 G O W1 cooling, stage 2, with auxiliary heat"


def test_a_job_may_be_given_as_a_value() -> None:
    """A job that is no demo job can be tried as well."""
    assert try_calls(demo_job("full-cable"), ["off"]).house_gets == {"off": "nothing"}


def test_one_call_and_one_fault_need_no_list() -> None:
    """A single call or fault may be given as it is."""
    table = try_calls("full-cable", "cool-2", "outdoor.Y2=open")
    assert table.house_gets == {"cool-2": "cooling, stage 1"}


@pytest.mark.parametrize("bad", [{"calls": ["cool-3"]}, {"faults": ["outdoor.SIG=open"]}, {"place": "roof"}])
def test_bad_trials_are_refused(bad: dict[str, object]) -> None:
    """A call, a fault or a place that there isn't gets a sentence."""
    with pytest.raises(LessonError):
        try_calls("full-cable", **bad)


def test_a_settled_defrost_is_a_defrost() -> None:
    """The test pins start a defrost, and it counts as a state of the equipment, not as equipment."""
    state = settled("full-cable", "heat-1", outdoor_c=-2.0, defrost_for_s=30.0)
    assert state.responding["defrost"] == "on"
    assert "defrost" not in responds(state)


@pytest.mark.parametrize(
    ("job", "fault"), [(job, fault) for job, all_ in _CANDIDATES.items() for fault in all_]
)
def test_faults_of_the_exercises_exist_and_have_words(job: str, fault: str) -> None:
    """Each candidate can happen in its job, and is told in words that name the part."""
    assert str(parse_fault(fault, demo_job(job))) == fault
    assert fault_sentence(fault)[:4] == "the "


def test_a_site_is_told_in_one_line() -> None:
    """The line names the place, the job and the valve."""
    assert (
        site("wire-return") == "Brindlemoor Bakery, oven hall (job `wire-return`): two stages, **B** valve."
    )


def test_both_valve_types_are_drawn_equally_often() -> None:
    """About half of the students get a B valve, though most demo jobs have an O valve."""
    import random

    valves = [demo_job(any_job(random.Random(seed))).equipment.valve for seed in range(200)]
    assert 80 <= valves.count("B") <= 120


@pytest.mark.parametrize("job", _SPLICES_OHM)
def test_no_splice_of_the_first_reading_stops_anything(job: str) -> None:
    """The reading of 0.1 is one of a job that runs as asked, with the largest splice, in every call."""
    splice = f"outdoor.C=resistance:{max(_SPLICES_OHM[job])}"
    for call in ("cool-1", "cool-2", "heat-1", "heat-2", "heat-aux"):
        assert settled(job, call, (splice,)).delivering == settled(job, call).delivering


def test_cases_of_the_first_break_differ() -> None:
    """No two cases of 0.2 have one answer, and what is said to be alike within a case is."""
    answers = []
    for job, faults, calls in CASES:
        found = {
            tuple(tuple(responds(settled(job, call, (fault,), later, before_s=20.0))) for later in (5, 60))
            for fault in faults
            for call in calls
        }
        assert len(found) == 1
        answers += found
    assert len(set(answers)) == len(CASES)


@pytest.mark.parametrize("number", known_workbooks())
def test_a_workbook_offers_no_key(number: str) -> None:
    """Nothing that an apprentice finds on a workbook gives all right answers at once."""
    workbook = open_workbook(number)
    offered = [name for name in {*dir(workbook), *vars(type(workbook))} if not name.startswith("__")]
    assert [name for name in offered if "answer" in name or "solve" in name or "key" in name] == []
