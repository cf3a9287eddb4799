"""Job files: every mistake named with its file and key, and every job the same after a round trip."""

from __future__ import annotations

import datetime
import re
import tomllib
from dataclasses import astuple, fields, replace
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lessonkit.bench.bench import Bench
from lessonkit.errors import BadParameter, LessonError
from lessonkit.job.calls import CALL_TERMINALS, CALLS
from lessonkit.job.kit import Equipment
from lessonkit.job.model import BadJob, Job, LinkSettings, Run, Supply
from lessonkit.job.parts import Coil, Electronics
from lessonkit.job.thermostat import Thermostat
from lessonkit.job.toml import demo_job, demo_names, job_from_toml, job_to_toml, load_job

by_name = pytest.mark.parametrize("name", demo_names())


# ---- round trips ----


def test_a_wiring_can_stand_at_another_site() -> None:
    """Another title changes nothing else, and the story of the old site stays there."""
    job = demo_job("wire-return")
    moved = job.at_site("Osierholt Nursery, seedling house")
    assert (moved.title, moved.story) == ("Osierholt Nursery, seedling house", "")
    assert replace(moved, title=job.title, story=job.story) == job


@by_name
def test_demo_jobs_survive_the_round_trip(name: str, tmp_path: Path) -> None:
    """A demo job written to a file and read back is the same job."""
    path = tmp_path / "job.toml"
    path.write_text(job_to_toml(demo_job(name)), encoding="utf-8")
    assert load_job(path) == load_job(str(path)) == demo_job(name) == load_job(name)


def test_the_demo_jobs() -> None:
    """The demo jobs are there, the simplest first, each set in a place with a name and a story."""
    first = ("full-cable", "earth-return", "wire-return", "two-run")
    assert demo_names()[:4] == first
    assert set(demo_names()) >= {"old-cable", "four-wire", "dual-fuel", "earth-lockout"}
    assert set(demo_names()) >= {"second-transformer", "out-of-phase", "isolated-receiver"}
    for name in demo_names():
        job = demo_job(name)
        assert job.name == name
        assert job.title
        assert job.story
        fuse_a, most_a = job.supply.fuse_a, job.supply.largest_fuse_a
        assert fuse_a <= most_a, "no more than Class 2 allows"
    shapes = {name: demo_job(name).links for name in first}
    assert shapes == {
        "full-cable": (),
        "earth-return": ("outdoor",),
        "wire-return": ("outdoor",),
        "two-run": ("thermostat", "outdoor"),
    }
    assert len(demo_job("earth-return").outdoor_run.conductors) == 2
    assert set(demo_job("two-run").thermostat_run.conductors) == {"R", "C", "SIG", "spare"}


def test_a_file_with_a_byte_order_mark_is_read(tmp_path: Path) -> None:
    """An editor's byte-order mark and Windows line ends do no harm."""
    path = tmp_path / "job.toml"
    path.write_bytes('\ufeffname = "barn"\r\n[supply]\r\nrated_va = 40.0\r\n'.encode())
    assert load_job(path) == Job("barn")


positive = st.floats(0.01, 1000.0)


@st.composite
def coils(draw: st.DrawFn) -> Coil:
    """Draw a coil that can be wound."""
    sealed = draw(st.floats(0.5, 20.0))
    inrush = sealed * draw(st.floats(1.0, 4.0))
    pickup = draw(st.floats(5.0, 23.0))
    return Coil(
        inrush, sealed, 576 / inrush * draw(st.floats(0.05, 1.0)), pickup, pickup * draw(st.floats(0.2, 0.95))
    )


electronics = st.builds(
    lambda va, low, more, boot: Electronics(va, low, low + more, boot),
    st.floats(0.1, 5.0),
    st.floats(5.0, 16.0),
    st.floats(0.1, 5.0),
    st.floats(0.0, 5.0),
)
thermostats = st.builds(
    lambda board, power, holds, off_s, on_s: Thermostat(*astuple(board), power, holds, off_s, on_s),
    electronics,
    st.sampled_from(("common", "battery", "stealing")),
    st.sampled_from(("call", "mode")),
    st.floats(0.0, 600.0),
    st.floats(0.0, 600.0),
)

supplies = st.builds(
    lambda va, rated, more, fuse, guard: Supply(
        rated, va, min(rated + more, 30.0), fuse, guard, interconnection_listed=True
    ),
    st.floats(5.0, 100.0),
    st.floats(20.0, 26.0),
    st.floats(0.5, 5.0),
    st.floats(1.0, 10.0),
    st.sampled_from(("fuse", "breaker")),
)


@st.composite
def links(draw: st.DrawFn) -> LinkSettings:
    """Draw link settings that can work."""
    baud = draw(st.sampled_from((300.0, 1200.0, 2400.0)))
    interval = 100 / baud + draw(st.floats(0.05, 3.0))
    acceptance = draw(st.integers(1, 5))
    drive = draw(st.floats(5.0, 24.0))
    low = drive * draw(st.floats(0.05, 0.5))
    return LinkSettings(
        baud,
        interval,
        acceptance * interval + draw(st.floats(0.1, 20.0)),
        acceptance,
        drive,
        draw(st.floats(10.0, 5000.0)),
        draw(st.floats(1000.0, 1e6)),
        low,
        low + (drive - low) * draw(st.floats(0.05, 0.9)),
        draw(st.floats(0.0, 1.0)),
        draw(st.floats(-0.1, 0.1)),
    )


@st.composite
def runs(draw: st.DrawFn, name: str, valve: str) -> Run:
    """Draw a run that holds together."""
    idle = draw(st.sampled_from(((), ("spare",), ("spare", "bad"), ("bad-2", "spare-7"))))
    far_supply = None
    if draw(st.booleans()):
        arrangement, return_by = "direct", "wire"
        inside = ("G", "W1", "E") if name == "thermostat" else ("D",)
        wanted = [t for t in CALL_TERMINALS if t in ("Y1", "Y2", valve)] + list(inside)
        names = ["R", "C", *draw(st.lists(st.sampled_from(wanted), unique=True))]
    else:
        arrangement = "link"
        ways = ("wire",) if name == "thermostat" else ("wire", "earth", "second-transformer")
        return_by = draw(st.sampled_from(ways))
        names = {"wire": ["R", "C", "SIG"], "earth": ["R", "SIG"], "second-transformer": ["C", "SIG"]}[
            return_by
        ]
        far_supply = draw(supplies) if return_by == "second-transformer" else None
    return Run(
        arrangement,
        return_by,
        draw(st.floats(0.5, 400.0)),
        draw(st.integers(12, 26)),
        draw(st.floats(-40.0, 60.0)),
        tuple(draw(st.permutations([*names, *idle]))),
        draw(st.floats(0.0, 200.0)),
        draw(st.floats(0.1, 1000.0)),
        draw(st.floats(0.01, 100.0)),
        draw(st.booleans()),
        draw(links()),
        far_supply,
        receiver=draw(st.sampled_from(("common", "isolated"))) if far_supply else "common",
    )


words = st.text(st.characters(codec="utf-8", exclude_categories=["Cc"]), max_size=20)


@st.composite
def jobs(draw: st.DrawFn) -> Job:
    """Draw any job that holds together."""
    valve = draw(st.sampled_from("OB"))
    kit = Equipment(
        valve,
        draw(st.sampled_from((1, 2))),
        draw(st.floats(0.0, 600.0)),
        draw(st.floats(600.0, 6000.0)),
        draw(st.floats(60.0, 900.0)),
        *(draw(coils()) for _ in range(6)),
    )
    return Job(
        draw(words.filter(str.strip)),
        draw(words),
        draw(words),
        draw(st.sampled_from((50.0, 60.0))),
        draw(supplies),
        kit,
        draw(runs("thermostat", valve)),
        draw(runs("outdoor", valve)),
        draw(thermostats),
        *(draw(electronics) for _ in range(3)),
    )


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(jobs())
def test_any_job_survives_the_round_trip(job: Job) -> None:
    """A job of any make, with any text in it, reads back as the same job."""
    assert job_from_toml(job_to_toml(job)) == job


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(jobs(), st.sampled_from(CALLS))
def test_any_job_comes_to_life(job: Job, call: str) -> None:
    """A job of any make settles under any call, with volts that its supplies can give."""
    bench = Bench(job)
    bench.set_call(call)
    state = bench.advance(12.0)
    most = job.supply.open_v + (job.outdoor_run.far_supply.open_v if job.outdoor_run.far_supply else 0)
    assert all(0 <= volts <= most * 1.001 for volts in state.volts.values())
    assert set(state.links) == set(job.links)
    assert state.time_s == 12.0


# ---- mistakes ----

GOOD = job_to_toml(demo_job("two-run"))


def mistakes(text: str) -> str:
    """Return what is said about a job text, after making sure that it is one line that names the file."""
    with pytest.raises(BadJob) as caught:
        job_from_toml(text, "barn.toml")
    said = str(caught.value)
    assert said.startswith("barn.toml: ")
    assert "\n" not in said
    assert caught.value.mistakes
    assert isinstance(caught.value, LessonError)
    assert isinstance(caught.value, ValueError)
    return said


LINK = 'name = "x"\n[runs.outdoor]\narrangement = "link"\n'


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "name is missing"),
        ("name = 5", "name is 5, but must be text in quotes"),
        ("name = ", "this is not TOML: Invalid value (at end of document)"),
        ('name = "x"\nname = "y"', "this is not TOML"),
        ('name = "x"\nfrequency_hz = 400', "frequency_hz is 400, but must be 50 or 60"),
        ('name = "x"\nfrequency_hz = nan', "frequency_hz is nan, but must be a number"),
        ('name = "x"\nfrequency_hz = true', "frequency_hz is True, but must be a number"),
        ('name = "x"\nfrequency_hz = "60"', "frequency_hz is '60', but must be a number"),
        ('name = "x"\nstorey = "y"', "storey is not a key of a job (did you mean story?)"),
        ('name = "x"\nsupply = 24', "supply must be a table"),
        ('name = "x"\n[supply]\nrated_va = 0', "supply.rated_va is 0.0, but must be from 1 to 100 VA"),
        (
            'name = "x"\n[supply]\nrated_va = 150.0',
            "supply.rated_va is 150.0, but must be from 1 to 100 VA",
        ),
        ('name = "x"\n[supply]\nrated_va = inf', "supply.rated_va is inf"),
        (
            'name = "x"\n[supply]\nopen_v = 32.0',
            "supply.open_v is 32.0, but must be above 24 V and at most 30 V",
        ),
        ('name = "x"\n[supply]\nfuse_a = -3.0', "supply.fuse_a is -3.0, but must be a number above 0"),
        ('name = "x"\n[supply]\nvolts = 24', "supply.volts is not a key of a job"),
        ('name = "x"\nruns = 5', "runs must be a table with thermostat and outdoor"),
        ('name = "x"\n[runs.attic]\nlength_m = 5', "runs.attic is not a key of a job"),
        ('name = "x"\n[outdoor_run]\nlength_m = 5', "outdoor_run is not a key of a job (known here: runs)"),
        (
            'name = "x"\n[runs.outdoor]\nlength = 5',
            "runs.outdoor.length is not a key of a job (did you mean length_m?)",
        ),
        (
            'name = "x"\n[runs.outdoor]\nlength_m = "long"',
            "runs.outdoor.length_m is 'long', but must be a number",
        ),
        ('name = "x"\n[runs.outdoor]\nlength_m = 0', "runs.outdoor.length_m is 0.0, but must be above 0"),
        ('name = "x"\n[runs.outdoor]\nlength_m = nan', "runs.outdoor.length_m is nan"),
        (
            'name = "x"\n[runs.outdoor]\ngauge_awg = 18.0',
            "runs.outdoor.gauge_awg is 18.0, but must be a whole number",
        ),
        (
            'name = "x"\n[runs.outdoor]\ngauge_awg = 40',
            "runs.outdoor.gauge_awg is 40, but must be a whole number from 12",
        ),
        (
            'name = "x"\n[runs.outdoor]\narrangement = "mesh"',
            "runs.outdoor.arrangement is 'mesh', but must be one of",
        ),
        (
            'name = "x"\n[runs.outdoor]\nreturn = "sky"',
            "runs.outdoor.return is 'sky', but must be one of wire, earth",
        ),
        ('name = "x"\n[runs.outdoor]\nreturn_by = "wire"', "runs.outdoor.return_by is not a key of a job"),
        (
            'name = "x"\n[runs.outdoor]\nconductors = "RC"',
            "runs.outdoor.conductors must be a list of names in quotes",
        ),
        (
            'name = "x"\n[runs.outdoor]\nconductors = ["R"]',
            "runs.outdoor.conductors is ['R'], but must be at least two",
        ),
        (
            'name = "x"\n[runs.outdoor]\nconductors = ["R", 5]',
            "runs.outdoor.conductors must be a list of names",
        ),
        ('name = "x"\n[runs.outdoor]\nconductors = ["R", "C", "Q"]', "runs.outdoor.conductors is 'Q'"),
        ('name = "x"\n[runs.outdoor]\nconductors = ["R", "C", "C"]', "runs.outdoor.conductors is ['C']"),
        (
            'name = "x"\n[runs.outdoor]\nconductors = ["R", "C", "spare-"]',
            "runs.outdoor.conductors is 'spare-'",
        ),
        ('name = "x"\n[runs.outdoor]\nconductors = ["Y1", "C"]', "runs.outdoor.conductors lacks R"),
        (
            'name = "x"\n[runs.outdoor]\nconductors = ["R", "C", "G"]',
            "has G, which the outdoor unit doesn't have",
        ),
        ('name = "x"\n[runs.outdoor]\nconductors = ["R", "C", "B"]', "has B, but equipment.valve is O"),
        (
            'name = "x"\n[runs.outdoor]\nconductors = ["R", "C", "SIG"]',
            "has SIG, but runs.outdoor.arrangement is direct",
        ),
        ('name = "x"\n[runs.outdoor]\nreturn = "earth"', "return is earth, but a direct run returns by wire"),
        (
            'name = "x"\n[runs.thermostat]\nconductors = ["R", "C", "D"]',
            "has D, which ends at the air handler",
        ),
        (
            'name = "x"\n[runs.outdoor]\narrangement = "link"\nconductors = ["R", "C"]',
            "lacks SIG, the conductor that a link speaks on",
        ),
        (
            LINK + 'conductors = ["R", "C"]',
            "lacks SIG, the conductor that a link speaks on",
        ),
        (
            LINK + 'return = "earth"\nconductors = ["R", "C", "SIG"]',
            "return is earth, but there is a conductor C",
        ),
        (
            LINK.replace("outdoor", "thermostat") + 'return = "earth"\nconductors = ["R", "SIG"]',
            "a thermostat has no bonded metal",
        ),
        (
            LINK + 'return = "second-transformer"\nconductors = ["R", "SIG"]',
            "has R, but the two transformers must never be joined",
        ),
        (
            LINK + 'return = "second-transformer"\nconductors = ["C", "SIG"]',
            "far_supply is missing",
        ),
        (
            'name = "x"\n[runs.outdoor.link]\nbaud = 0',
            "runs.outdoor.link.baud is 0.0, but must be a number above 0",
        ),
        (
            'name = "x"\n[runs.outdoor.link]\ninterval_s = 0.01',
            "runs.outdoor.link.interval_s is 0.01, but must be longer",
        ),
        (
            'name = "x"\n[runs.outdoor.link]\nwatchdog_s = 1.0',
            "runs.outdoor.link.watchdog_s is 1.0, but must be longer",
        ),
        (
            'name = "x"\n[runs.outdoor.link]\nacceptance = 2.5',
            "acceptance is 2.5, but must be a whole number",
        ),
        (
            'name = "x"\n[runs.outdoor.link]\nacceptance = 0',
            "acceptance is 0, but must be a whole number of equal",
        ),
        ('name = "x"\n[runs.outdoor.link]\nhigh_v = 13.0', "in the order 0 < low_v < high_v < drive_v, 12 V"),
        (
            'name = "x"\n[equipment]\nvalve = "X"',
            "equipment.valve is 'X', but must be O (energised to cool) or B",
        ),
        ('name = "x"\n[equipment]\nstages = 3', "equipment.stages is 3, but must be 1 or 2"),
        ('name = "x"\n[equipment.contactor]\ninrush_va = 30.0', "equipment.contactor lacks sealed_va, r_ohm"),
        (
            'name = "x"\n[equipment.contactor]\ninrush_va = 3.0\nsealed_va = 10.0\nr_ohm = 5.0',
            "equipment.contactor.inrush_va is 3.0, but must be at least the sealed 10 VA",
        ),
        (
            'name = "x"\n[thermostat]\nbrownout_v = 20.0',
            "thermostat.brownout_v is 20.0, but must be above 0 and below",
        ),
        ('name = "x"\n[thermostat]\nrestart_v = inf', "thermostat.restart_v is inf"),
    ],
)
def test_each_mistake_is_named_with_its_key(text: str, said: str) -> None:
    """A mistake in a job file is told with the file, the key, what is wrong and what is allowed."""
    assert said in mistakes(text)


def test_all_mistakes_are_named_at_once() -> None:
    """Three mistakes in three tables are three clauses of one sentence."""
    text = (
        'storie = "y"\n[supply]\nrated_va = 500\n[runs.outdoor]\nlength_m = -5\n'
        '[equipment.contactor]\ninrush_va = "much"\n'
    )
    said = mistakes(text)
    for part in (
        "storie",
        "name is missing",
        "supply.rated_va",
        "runs.outdoor.length_m",
        "contactor.inrush_va",
    ):
        assert part in said
    assert said.count("; ") >= 4


def _keys(table: dict[str, Any], prefix: str = "") -> list[str]:
    """Return the path of every table in a job file."""
    found = [prefix]
    for key, value in table.items():
        if isinstance(value, dict):
            found += _keys(value, f"{prefix}{key}.")
    return found


def test_an_unknown_key_is_refused_in_every_table() -> None:
    """Whatever table it stands in, a key that no job has is named with its path."""
    for path in _keys(tomllib.loads(GOOD)):
        table = tomllib.loads(GOOD)
        inner = table
        for key in filter(None, path.split(".")):
            inner = inner[key]
        inner["zz_wrong"] = 1
        said = mistakes(tomli_w.dumps(table))
        where = "runs.zz_wrong" if path == "runs." else f"{path}zz_wrong"
        assert f"{where} is not a key of a job" in said


def _values(table: dict[str, Any], path: tuple[str, ...] = ()) -> list[tuple[str, ...]]:
    """Return the path of every value in a job file, tables included."""
    found = [path] if path else []
    for key, value in table.items():
        found += _values(value, (*path, key)) if isinstance(value, dict) else [(*path, key)]
    return found


@pytest.mark.parametrize("wrong", [datetime.date(2026, 11, 25), [1, 2], {"a": 1}, True, "text"], ids=repr)
def test_every_value_of_the_wrong_type_is_named(wrong: object) -> None:
    """Something of another type in the place of any value or table is answered with that value's key."""
    for path in _values(tomllib.loads(GOOD)):
        table = tomllib.loads(GOOD)
        inner = table
        for key in path[:-1]:
            inner = inner[key]
        fits = isinstance(wrong, dict) and isinstance(inner[path[-1]], dict)
        if type(wrong) is type(inner[path[-1]]) and not fits:
            continue
        inner[path[-1]] = wrong
        assert ".".join(path) in mistakes(tomli_w.dumps(table))


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_a_damaged_file_is_read_or_refused(data: st.DataObject) -> None:
    """A file with a piece cut out or put in is either a job or a sentence, never anything else."""
    start = data.draw(st.integers(0, len(GOOD)))
    text = GOOD[:start] + data.draw(st.text(max_size=6)) + GOOD[start + data.draw(st.integers(0, 30)) :]
    said, job = "barn.toml: ", None
    try:
        job = job_from_toml(text, "barn.toml")
    except BadJob as error:
        said = str(error)
    assert said.startswith("barn.toml: ")
    assert job is None or job_from_toml(job_to_toml(job)) == job


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    """A missing file, a folder, and a file that is not text are told apart, each in one sentence."""
    (tmp_path / "latin.toml").write_bytes(b'name = "\xe9t\xe9"')
    (tmp_path / "deep.toml").write_text("a = " + "[" * 100_000, encoding="utf-8")
    for name, said in (
        ("nowhere.toml", "there is no such file; give the path of a job file or a demo job (full-cable"),
        ("latin.toml", "the file is not UTF-8 text"),
        ("", "the file can't be read"),
        ("deep.toml", "nested too deeply|not TOML"),
        ("\0", "the file can't be read"),
    ):
        with pytest.raises(BadJob, match=said.replace("(", r"\(")) as caught:
            load_job(str(tmp_path / name) if name != "\0" else "\0")
        assert "\n" not in str(caught.value)


def test_unknown_demo_jobs() -> None:
    """A demo job that is none is answered with those that there are."""
    with pytest.raises(
        BadParameter, match="but must be one of full-cable, earth-return, wire-return, two-run"
    ):
        demo_job("four-run")


def test_every_field_can_be_written() -> None:
    """The file of a demo job says every value there is, so that it can serve as a pattern."""
    for kind in (Supply, LinkSettings, Run, Equipment, Job, Coil, Electronics):
        for field in fields(kind):
            key = field.metadata.get("key", field.name)
            if key in ("thermostat_run", "outdoor_run", "far_supply", "outdoor_thermostat"):
                continue
            assert re.search(rf"\b{key}\b", GOOD), key


def test_a_job_made_in_code_is_checked_too() -> None:
    """Replacing one part of a good job by one that does not fit is refused, with the job's name."""
    with pytest.raises(BadJob, match="job 'two-run': runs.outdoor.conductors lacks SIG"):
        replace(demo_job("two-run"), outdoor_run=Run("link", "wire", conductors=("R", "C")))


def test_measured_ohms_take_the_place_of_gauge_and_length() -> None:
    """A measured conductor has its own ohms, warmer ones more; a list of the wrong length is refused."""
    run = Run(conductors=("R", "C"), ohms=(0.5, 2.0), temp_c=20.0)
    assert (run.ohm_of("R"), run.ohm_of("C")) == pytest.approx((0.5, 2.0))
    assert replace(run, temp_c=75.0).ohm_of("C") == pytest.approx(2.0 * (1 + 0.00393 * 55), rel=1e-3)
    with pytest.raises(BadParameter, match="one number for each of 2 conductors"):
        Run(conductors=("R", "C"), ohms=(0.5,))
    job = job_from_toml('name = "x"\n[runs.outdoor]\nconductors = ["R", "C"]\nohms = [0.5, 2]\n')
    assert job.outdoor_run.ohms == (0.5, 2.0)
    assert job_from_toml(job_to_toml(job)) == job
