"""Nonsense in every field of a job, in every act on a bench, in files and on the command line.

Whatever is given, the answer is one sentence of the `LessonError` family that names what is wrong, and never
an exception of Python's own. Each table below is walked from end to end.
"""

from __future__ import annotations

import math
import tomllib
import typing
from collections.abc import Callable, Iterator
from dataclasses import MISSING, fields, is_dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomli_w

from lessonkit.__main__ import main
from lessonkit.bench.bench import Bench
from lessonkit.bench.hands import Hands
from lessonkit.bench.meter import Meter
from lessonkit.errors import LessonError
from lessonkit.job.calls import terminals_for
from lessonkit.job.faults import BadFault, Fault, as_faults, check_fault, parse_fault
from lessonkit.job.handwork import HandWork
from lessonkit.job.kinds import check_kinds
from lessonkit.job.kit import Equipment
from lessonkit.job.model import BadJob, Job, LinkSettings, Run
from lessonkit.job.parts import CONTACTOR, DEFROST_BOARD, Fuse, Transformer
from lessonkit.job.second_heat import OutdoorThermostat
from lessonkit.job.supply import Supply
from lessonkit.job.thermostat import Thermostat
from lessonkit.job.toml import demo_job, job_from_toml, job_to_toml, load_job
from lessonkit.studies.experiment import experiment

JOB = demo_job("two-run")

#: Every dataclass of a job, as it is by itself and sound.
PARTS = (
    Job("x"), Run(), LinkSettings(), Supply(), Equipment(), CONTACTOR, DEFROST_BOARD, Thermostat(),
    OutdoorThermostat(5.0, -5.0), Transformer(), Fuse(),
)  # fmt: skip

#: No field of a job can have one of these.
NEVER: tuple[Any, ...] = (
    math.nan, math.inf, -math.inf, 1e300, 10**400, 10**5000, 1j, b"x", {}, object(), (1,), ["R", 1], [None],
    np.float64("nan"),
)  # fmt: skip
#: And by kind of field: these neither.
NEVER_BY_KIND: dict[Any, tuple[Any, ...]] = {
    float: (True, False, "x", "1", "", [], ("R",), None),
    int: (True, False, "1", 2.5, 1.0, [], None, -1, 0),
    bool: ("no", "true", 1, 0, None, [], 2.5),
    str: (True, 3, 2.5, None, []),
}

ODD: tuple[Any, ...] = (
    *NEVER, -1.0, -1, 0, 0.0, 1e-320, True, False, "x", "1", "", None, [], 2.5, ("R",), "R\nC", "air",
    Fault("outdoor", "SIG", "open", at="x"), Fault(1, 2, 3), Fault("outdoor", "SIG", "resistance", math.nan),  # type: ignore[arg-type]
    Fault("outdoor", "R", "short", ["C"]), Fault("outdoor", [], "open"), HandWork("fly", ()),  # type: ignore[arg-type]
    HandWork("lift", ("x",)), HandWork(1, (2,)),  # type: ignore[arg-type]
)  # fmt: skip


def said(act: Callable[[], object]) -> str:
    """Return the sentence with which an act is refused, or an empty one; it has one line and some measure."""
    try:
        act()
    except LessonError as error:
        sentence = str(error)
        assert "\n" not in sentence
        assert 10 < len(sentence) < 700
        return sentence
    return ""


def kind_of(part: object, name: str) -> Any:
    """Return the kind of a field: float, int, bool, str, a tuple or a dataclass."""
    hint = typing.get_type_hints(type(part))[name]
    return next((one for one in typing.get_args(hint) if typing.get_origin(hint) is not tuple), hint)


def may_be_none(part: object, name: str) -> bool:
    """Return whether a field may be left out as None."""
    return type(None) in typing.get_args(typing.get_type_hints(type(part))[name])


@pytest.mark.parametrize("part", PARTS, ids=lambda part: type(part).__name__)
def test_no_field_takes_nonsense(part: Any) -> None:
    """NaN, the endless, `True` for a number, text and foreign things are refused by the field's key."""
    for one in fields(part):
        key = one.metadata.get("key", one.name)
        for bad in (*NEVER, *NEVER_BY_KIND.get(kind_of(part, one.name), ())):
            if bad is None and may_be_none(part, one.name):
                continue
            sentence = said(lambda name=one.name, bad=bad: replace(part, **{name: bad}))  # type: ignore[misc]
            assert key in sentence, (one.name, type(bad))


@pytest.mark.parametrize("part", PARTS, ids=lambda part: type(part).__name__)
def test_a_field_takes_its_value_or_says_why_not(part: Any) -> None:
    """Of odd values too, what isn't refused in a sentence makes a part that can be written and compared."""
    for one in fields(part):
        for odd in ODD:
            made: list[Any] = []
            said(lambda name=one.name, odd=odd, made=made: made.append(replace(part, **{name: odd})))  # type: ignore[misc]
            for whole in made:
                assert whole == replace(whole)
                assert type(getattr(whole, one.name)) is not np.float64


def test_numbers_of_other_libraries_become_plain_ones() -> None:
    """A number of numpy, or one read off a meter, is written into a file like any other."""
    job = Job("x").with_run("outdoor", length_m=np.float64(30.0), gauge_awg=np.int64(18))
    job = job.with_supply(rated_va=Meter(Bench(JOB)).volts("air:R"))
    assert type(job.outdoor_run.length_m) is type(job.supply.rated_va) is float
    assert type(job.outdoor_run.gauge_awg) is int
    assert job_from_toml(job_to_toml(job)) == job


def test_a_link_of_absurd_speed_or_none_is_refused() -> None:
    """A speed that would never end or never begin is named with what is possible."""
    for changes in ({"baud": 1e300}, {"baud": 1e-320}, {"interval_s": 1e-9}, {"drive_ohm": 1e-320}):
        assert f"{next(iter(changes))} is" in said(lambda changes=changes: LinkSettings(**changes))  # type: ignore[misc]


def test_kinds_need_a_dataclass_of_plain_fields() -> None:
    """A sound part passes, whatever its kind."""
    for part in PARTS:
        check_kinds(part)


# ---- files ----

#: What a file can say of a key that no key can be.
IN_A_FILE: tuple[Any, ...] = (math.nan, {"odd": 1})


def paths(table: dict[str, Any], before: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """Yield the keys of a table and of all tables in it."""
    for key, value in table.items():
        yield (*before, key)
        if isinstance(value, dict):
            yield from paths(value, (*before, key))


@pytest.mark.parametrize("name", ["earth-lockout", "second-transformer"])
def test_every_key_of_a_file_is_named_when_it_is_nonsense(name: str) -> None:
    """Each key of a job, nonsense in its place, is refused under its whole name."""
    text = job_to_toml(demo_job(name))
    for path in paths(tomllib.loads(text)):
        for bad in IN_A_FILE:
            table = tomllib.loads(text)
            at = table
            for key in path[:-1]:
                at = at[key]
            at[path[-1]] = bad
            with pytest.raises(BadJob) as caught:
                job_from_toml(tomli_w.dumps(table), "odd.toml")
            assert ".".join(path) in str(caught.value)
            assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("run", "names"),
    [
        ('[runs.thermostat]\nlength_m = 5.0\n', "R C Y1 Y2 G O W1 E"),
        ('[runs.thermostat]\narrangement = "link"\n', "R SIG C"),
        ('[equipment]\nvalve = "B"\nstages = 1\n[runs.thermostat]\ngauge_awg = 20\n', "R C Y1 G B W1 E"),
    ],
)  # fmt: skip
def test_a_run_without_conductors_has_those_of_its_equipment(run: str, names: str) -> None:
    """A table that names no conductors gets one for every terminal, or what a link needs."""
    assert job_from_toml(f'name = "x"\n{run}').thermostat_run.conductors == tuple(names.split())


def test_measured_ohms_need_their_conductors() -> None:
    """Ohms without the names that they belong to are refused under their key."""
    with pytest.raises(
        BadJob, match=r"runs\.outdoor\.ohms is \[1\.0, 2\.0\], but must be one number for each"
    ):
        job_from_toml('name = "x"\n[runs.outdoor]\nohms = [1.0, 2.0]\n')


# ---- acts ----


@cache
def bench() -> Bench:
    """Return the bench that a table of acts is tried on: what is refused changes nothing."""
    return Bench(JOB)


ACTS: dict[str, Callable[[Any], object]] = {
    "a bench of it": Bench,
    "seed": lambda v: Bench(JOB, seed=v),
    "faults": lambda v: Bench(JOB, faults=v),
    "outdoor_c": lambda v: Bench(JOB, outdoor_c=v),
    "call": lambda v: Bench(JOB, call=v),
    "set_call": lambda v: bench().set_call(v),
    "set_faults": lambda v: bench().set_faults(v),
    "add_fault": lambda v: bench().add_fault(v),
    "clear_fault": lambda v: bench().clear_fault(v),
    "set_hands": lambda v: bench().set_hands(v),
    "set_outdoor_c": lambda v: bench().set_outdoor_c(v),
    "dw": lambda v: bench().set_outdoor_c(3.0, v),
    "advance": lambda v: bench().advance(v),
    "set_power": lambda v: bench().set_power(v),
    "set_power place": lambda v: bench().set_power(False, v),
    "replace_transformer": lambda v: bench().replace_transformer(v),
    "between": lambda v: bench().state.between(v, "air:C"),
    "energised": lambda v: bench().state.energised(v),
    "reference": lambda v: bench().state.reference(v),
    "meter": lambda v: Meter(bench(), v),
    "volts red": lambda v: Meter(bench()).volts(v),
    "volts black": lambda v: Meter(bench()).volts("air:R", v),
    "volts setting": lambda v: Meter(bench()).volts("air:R", "air:C", v),
    "dc_volts": lambda v: Meter(bench()).dc_volts(v, v),
    "ohms": lambda v: Meter(bench()).ohms(v, "air:C"),
    "amps": lambda v: Meter(bench()).amps(v),
    "turns": lambda v: Meter(bench()).amps("air:fuse", v),
    "capacitance": lambda v: Meter(bench()).capacitance(v),
    "insulation": lambda v: Meter(bench()).insulation(v),
    "test_v": lambda v: Meter(bench()).insulation("air:R", "air:C", v),
    "is_dead": lambda v: Meter(bench()).is_dead(v, v),
    "hands at": lambda v: Hands(bench(), v),
    "hands power": lambda v: Hands(bench()).power(v),
    "probe": lambda v: Hands(bench()).probe(v, "attic:C"),
    "lift": lambda v: Hands(bench()).lift(v, "out"),
    "lift at": lambda v: Hands(bench()).lift("outdoor.SIG", v),
    "move": lambda v: Hands(bench()).move(v, "out", "out:Y1"),
    "move to": lambda v: Hands(bench()).move("outdoor.SIG", "out", v),
    "twist": lambda v: Hands(bench()).twist("out", v, "outdoor.SIG"),
    "put_back": lambda v: Hands(bench()).put_back(v, "out"),
    "jumper": lambda v: Hands(bench()).jumper(v, "out:C"),
    "take_out": lambda v: Hands(bench()).take_out(v, "out:C"),
    "unplug": lambda v: Hands(bench()).unplug(v),
    "plug": lambda v: Hands(bench()).plug(v),
    "do": lambda v: Hands(bench()).do(v),
    "parse_fault": lambda v: parse_fault(v, JOB),
    "check_fault": lambda v: check_fault(v, JOB),
    "terminals_for": terminals_for,
    "valve": lambda v: terminals_for("heat-1", v),
    "stages": lambda v: terminals_for("heat-1", "O", v),
    "heat": lambda v: terminals_for("heat-1", "O", 1, v),
    "heat_stages": lambda v: terminals_for("heat-1", "O", 1, "electric", v),
    "emergency_by": lambda v: terminals_for("emergency", "O", 1, "electric", 1, v),
    "with_run": lambda v: JOB.with_run(v, length_m=3.0),
    "with_coil": lambda v: JOB.with_coil(v, r_ohm=3.0),
    "with_electronics": lambda v: JOB.with_electronics(v, load_va=3.0),
    "with_equipment": lambda v: JOB.with_equipment(valve=v),
    "load_job": load_job,
    "job_from_toml": job_from_toml,
    "experiment": lambda v: experiment(JOB, "off", (), before_s=v),
}

#: What an act may do with an odd value that isn't odd to it.
FINE: dict[str, tuple[Any, ...]] = {
    "seed": (0,),
    "faults": ([], {}),
    "set_faults": ([], {}),
    "set_hands": ([], {}),
    "outdoor_c": (-1.0, -1, 0, 0.0, 1e-320, 2.5),
    "set_outdoor_c": (-1.0, -1, 0, 0.0, 1e-320, 2.5),
    "dw": (0, 0.0, 1e-320, None),
    "advance": (0, 0.0, 1e-320, 2.5),
    "experiment": (0, 0.0, 1e-320, 2.5, 1e300),
    "set_power": (True, False),
    "set_power place": (None, "air"),
    "replace_transformer": ("air",),
    "hands power": (True, False),
    "hands at": ("air",),
    "lift at": ("air",),
    "volts black": (None,),
    "energised": ("air",),
    "reference": ("air",),
}


@pytest.mark.parametrize("act", ACTS)
def test_an_act_refuses_what_it_can_t_take(act: str) -> None:
    """NaN, negative, huge, text, lists and foreign things: a sentence each, but for what the act can use."""
    bench.cache_clear()
    fine = [repr(value) for value in FINE.get(act, ())]
    for odd in ODD:
        sentence = said(lambda odd=odd: ACTS[act](odd))  # type: ignore[misc]
        done = not isinstance(odd, int | float) or abs(odd) < 1e301
        assert sentence or (done and repr(odd) in fine), (act, type(odd))


def test_a_field_that_is_none_is_refused_by_its_name() -> None:
    """A misspelt field in a changed job is answered with those that there are."""
    for change in (
        lambda: JOB.with_run("outdoor", lenght_m=3.0),
        lambda: JOB.with_supply(va=3.0),
        lambda: JOB.with_equipment(valves="O"),
        lambda: JOB.with_coil("contactor", ohm=3.0),
        lambda: JOB.with_electronics("encoder", volts=3.0),
    ):
        assert "field is" in said(change)
        assert "but must be one of" in said(change)


# ---- faults that contradict each other ----


@pytest.mark.parametrize(
    ("pair", "says"),
    [
        (("out.relay-Y1=stuck-open", "out.relay-Y1=stuck-closed"), "contradict each other"),
        (("air.transformer=weak:0.8", "air.transformer=burnt-out"), "contradict each other"),
        (("air.transformer=dead", "air.transformer=weak"), "contradict each other"),
        (("outdoor.earth=open", "outdoor.earth=resistance:5"), "contradict each other"),
        (("thermostat.R=swapped:C", "thermostat.C=swapped:R"), "undo each other"),
        (("outdoor.SIG=noise:1", "outdoor.SIG=noise:2"), "are the same fault twice"),
        (("outdoor.R=open@0.2", "outdoor.R=open@0.7"), "are the same fault twice"),
    ],
)
def test_faults_that_can_t_be_together_are_refused(pair: tuple[str, str], says: str) -> None:
    """Two faults of which one denies the other are named both, with what to do."""
    with pytest.raises(BadFault) as caught:
        as_faults(pair, JOB)
    assert f"faults {pair[0]} and " in str(caught.value)
    assert f"{says}; give one of them" in str(caught.value)


def test_two_swaps_of_one_conductor_go_round() -> None:
    """A conductor that changed places twice is no fault twice: three conductors have gone round in a ring."""
    bench = Bench("full-cable", faults=["outdoor.Y1=swapped:O", "outdoor.Y1=swapped:Y2"], call="cool-1")
    volts = bench.state.volts
    # Y1 has gone to where Y2 ended, O to where Y1 ended, Y2 to where O ended; Y1 and O are called.
    assert volts["out:Y2"] > 20.0
    assert volts["out:Y1"] > 20.0
    assert volts["out:O"] < 12.0


# ---- the command line ----


@pytest.mark.parametrize(
    "words",
    [
        ["--outdoor", "nan"],
        ["--outdoor", "1e9"],
        ["--seconds", "nan"],
        ["--seconds", "inf"],
        ["--seconds", "-1"],
        ["--seconds", "soon"],
        ["--seed", "nan"],
        ["--seed", "-1"],
        ["--seed", "1e300"],
        ["--call", ""],
        ["--power", ""],
        ["--fault", "outdoor.SIG=resistance:nan"],
        ["--fault", "outdoor.SIG=resistance:inf"],
        ["--fault", "outdoor.SIG=open@nan"],
        ["--fault", "outdoor.SIG=open@2"],
        ["--fault", "outdoor.R=short:R"],
        ["--fault", "out.relay-Y1=stuck-open", "--fault", "out.relay-Y1=stuck-closed"],
        ["--hand", ""],
        ["--hand", "twist out:outdoor.R out:outdoor.R"],
        ["--meter", "", ""],
        ["--meter", "nan", "air:C"],
        ["--steps", ""],
        ["--spice", ""],
    ],
)
def test_the_command_line_refuses_in_one_line(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """Every bad option of `bench` ends in status 2 and one line that names it."""
    assert main(["bench", "two-run", *words]) == 2
    line = capsys.readouterr().err
    assert line.count("\n") == 1
    assert len(line) < 700


@pytest.mark.parametrize(
    "text", ["", "\x00", "name = 3\n", "name = 'x'\nruns = 3\n", "[[supply]]\n", "x" * 9999]
)
def test_a_file_that_is_no_job_is_refused_in_one_line(
    text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An empty file, noise, and tables of the wrong shape end in status 2 and one line."""
    (tmp_path / "odd.toml").write_text(text, encoding="utf-8")
    assert main(["bench", str(tmp_path / "odd.toml")]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_every_part_of_a_job_is_in_the_table() -> None:
    """No dataclass of a job is left out above."""
    kinds = {type(part) for part in PARTS}
    for part in PARTS:
        for one in fields(part):
            value = getattr(part, one.name)
            assert not is_dataclass(value) or type(value) in kinds
            assert one.default is not MISSING or one.default_factory is not MISSING or one.name in (
                "name", "inrush_va", "sealed_va", "r_ohm"
            )  # fmt: skip
