"""The commissioning sheet: a sound job fills it in its bands, a broken one shows itself and is named."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import Meter
from lessonkit.errors import BadParameter
from lessonkit.job.faults import Fault, as_faults, single_faults
from lessonkit.job.model import is_idle
from lessonkit.job.toml import demo_job, demo_names
from lessonkit.studies.commissioning import UNPLUGGED, calls_of, outdoor_c_of, walk
from lessonkit.studies.corners import LINE, Corner, at_corner, at_line, corners_of, unfriendly
from lessonkit.studies.dictionary import loaded_volts
from lessonkit.studies.find import Search
from lessonkit.studies.fitting import fit
from lessonkit.studies.judging import Judged, judge, judge_sheet
from lessonkit.studies.prove import Proof, prove
from lessonkit.studies.sheet import COLUMNS, BadSheet, Step, read_sheet, sheet_csv, sheet_from_text, typed
from lessonkit.studies.technician import NOISE


@cache
def proof_of(job: str) -> Proof:
    """Return the sheet of a demo job, made once."""
    return prove(job)


def titles(proof: Proof) -> set[str]:
    """Return the headings of a sheet."""
    return {step.part for step in proof.steps}


@pytest.mark.parametrize("job", demo_names())
def test_a_sound_job_fills_its_own_sheet(job: str) -> None:
    """With nothing wrong every reading lies in its band, on a nominal line, a low and a high one.

    A ground four times as poor as at the survey is out where it is read, and nowhere else.
    """
    proof = proof_of(job)
    assert proof.out(proof.filled()) == {}
    ground = 4.0 if proof.job.outdoor_run.return_by == "earth" else 1.0
    for corner in (Corner(0.96, 50.0, ground), Corner(1.04, -10.0, 1.0)):
        site = at_corner(proof.job, corner)
        out = proof.out(proof.filled(job=site, seed=3))
        assert [proof.steps[n - 1].part for n in out] == (["Ground"] if corner.ground > 1 else [])


@pytest.mark.parametrize("job", ["two-run", "full-cable", "four-wire", "wire-dual-fuel", "isolated-receiver"])
def test_steps_are_there_only_where_the_job_has_the_thing(job: str) -> None:
    """Defrost, watchdog, lockouts, second stage and second transformer stand on the sheets that need them."""
    proof, site = proof_of(job), demo_job(job)
    has = titles(proof)
    assert {"Prove dead", "Ground", "Insulation at 250 V direct", "Hand-over to the owner"} <= has
    assert ("Watchdog" in has) == bool(site.links)
    assert ("Forced defrost and its heat request" in has) == site.has_defrost
    assert ("Outdoor lockouts" in has) == (site.outdoor_thermostat is not None)
    assert ("Second transformer: phase" in has) == (site.outdoor_run.far_supply is not None)
    assert ("Cooling, stage two" in has) == (site.equipment.stages == 2)
    assert ("Safety contacts" in has) == site.equipment.high_pressure
    calls = {step.call for step in proof.steps if step.call}
    assert set(calls_of(site)) <= calls


def test_what_must_respond_and_what_must_not_stand_there() -> None:
    """In stage two of cooling the compressor must run, and emergency heat must not."""
    steps = [s for s in proof_of("two-run").steps if s.part == "Cooling, stage two" and s.unit == "word"]
    words = {step.act.removeprefix("look: "): step.low for step in steps}
    assert words["compressor stage 2"] == "on"
    assert words["emergency heat"] == "off"
    assert words["outdoor link"] == "answers"


def test_a_forced_defrost_shows_its_heat_request() -> None:
    """While it defrosts, D is live at both ends and heat is on indoors; afterwards heat is off again."""
    steps = [s for s in proof_of("full-cable").steps if s.part.startswith("Forced defrost")]
    assert [s.low for s in steps if s.act == "look: auxiliary heat"] == ["on", "off"]
    assert [s.low for s in steps if s.act == "look: outdoor fan"] == ["off", "on"]
    assert all(float(s.low) > 20.4 for s in steps if s.unit == "V")


def test_a_lifted_signal_conductor_releases_everything() -> None:
    """The watchdog lets the compressor go, and the link comes back with its conductor."""
    steps = [s for s in proof_of("earth-return").steps if s.part == "Watchdog"]
    assert [s.low for s in steps] == ["silent", "off", "answers"]


def test_a_transformer_the_wrong_way_round_shows_twice_its_volts() -> None:
    """Between the hot sides of two transformers there is next to nothing, or twice 27.6 V less the loads."""
    (right,) = (s for s in proof_of("second-transformer").steps if s.part.startswith("Second"))
    (wrong,) = (s for s in proof_of("out-of-phase").steps if s.part.startswith("Second"))
    assert float(right.high) <= 2.0
    assert 48 < float(wrong.low) < float(wrong.high) < 2 * 27.6 * 1.05 * 1.02


@pytest.mark.parametrize("job", ["two-run", "dual-fuel"])
def test_the_technician_reads_what_the_meter_reads(job: str) -> None:
    """Volts written down under a call are those of a meter on a bench of its own, to a hundredth."""
    site = demo_job(job)
    bench = Bench(site, outdoor_c=outdoor_c_of(site), call="cool-1")
    bench.skip_delay()
    bench.advance(200.0)
    meter = Meter(bench)
    taken = [t for t in walk(site) if t.part == "Cooling" and t.unit in ("V", "A")]
    assert len(taken) > 8
    for one in taken:
        there = meter.volts(one.red, one.black) if one.unit == "V" else meter.amps(one.red)
        assert one.value == pytest.approx(float(there), abs=0.011)


# ---- what stands at the act ----


def at(proof: Proof, part: str, words: str) -> Step:
    """Return the first step of a part whose act or first deed has these words."""
    return next(step for step in proof.steps if step.part == part and words in step.text)


def test_every_act_with_the_power_on_says_so() -> None:
    """From line volts to a lifted SIG, what is done with covers off stands under its caution."""
    proof = proof_of("two-run")
    live = [("Volts before wiring", "disconnects closed"), ("Nothing called", "volts"), ("Signal", "scope")]
    live += [("Forced defrost and its heat request", "test pins"), ("Watchdog", "SIG of the thermostat run")]
    live += [("Watchdog", "SIG of the outdoor run")]
    for part, words in live:
        assert "LIVE, covers off: licensed person only" in at(proof, part, words).warning, (part, words)
    assert at(proof, "Volts before wiring", "tap of the line").warning.startswith("LINE VOLTAGE")
    begins = next(step for step in proof.steps if step.call == "off" and step.part == "Nothing called")
    assert "From here power is on" in begins.warning
    assert "nobody at a fan or belt" in begins.first
    assert "LIVE" in at(proof_of("second-transformer"), "Second transformer: phase", "hot side").warning


def test_the_ground_is_held_to_the_survey_not_to_the_control() -> None:
    """0.2 ohm at the survey, 0.9 % and 2 digits of an ohmmeter: at most 0.23 ohm, and the code first."""
    step = at(proof_of("two-run"), "Ground", "equipment ground")
    assert (step.low, step.high) == (0.0, 0.23)
    assert "local code" in step.warning
    assert "0.20 ohm at the survey" in step.do
    assert "control alone goes on up to 1.00 ohm" in step.do
    assert any("pipes" in words for words in step.first)
    assert "control alone" not in at(proof_of("wire-return"), "Ground", "equipment ground").do


def test_an_earth_return_is_signed_for_before_it_is_wired() -> None:
    """Who allowed it stands at the wiring, with both joints of C to metal; other jobs have neither."""
    steps = [step for step in proof_of("two-run").steps if step.part.startswith("Wiring")]
    assert "not signed, stop here" in steps[0].warning
    assert steps[0].first == ("return by equipment ground allowed by ____, licence ____, date ____",)
    assert [words for step in steps[1:] for words in step.first] == [
        "C joined to equipment ground at the air handler, tight",
        "C joined to equipment ground at the outdoor unit, tight",
    ]
    assert not any(s.first for s in proof_of("wire-return").steps if s.part.startswith("Wiring"))


def test_the_sheet_says_where_the_compressor_waits() -> None:
    """Cooling after the fan, a call after emergency heat, and after each stop: the minutes stand there."""
    proof = proof_of("two-run")
    waits = [step for step in proof.steps if any("waits up to 5 minutes" in words for words in step.first)]
    assert [step.part for step in waits] == [
        "Cooling", "Signal", "Changeover", "Watchdog", "Watchdog", "Power lost and back"
    ]  # fmt: skip
    done = [step.do for step in proof.steps if step.part == "Changeover" and step.do]
    assert done == [
        "cool-1 straight after off",
        "heat-1 straight after cool-1",
        "cool-1 straight after heat-1",
    ]


def test_a_meter_that_resolves_the_band_is_asked_for() -> None:
    """Ohms are read with the leads' own taken off, and amperes with a clamp of hundredths."""
    steps = proof_of("two-run").steps
    for part in ("Prove dead", "Ring out: ohms of the conductors", "Ground"):
        assert any("own ohms taken off" in s.do for s in steps if s.part == part and s.unit == "ohm"), part
    assert "0.01 A" in next(step.do for step in steps if step.unit == "A")


# ---- corners ----


def test_a_low_line_lowers_loaded_volts_as_much_as_open_ones() -> None:
    """At the rated load a transformer on 95 % of its line gives 5 % of its open volts less, not the same."""
    supply, low = demo_job("full-cable").supply, at_line(demo_job("full-cable"), 0.95).supply
    amps = supply.transformer.rated_a
    before = supply.open_v - amps * supply.transformer.r_ohm
    after = low.open_v - amps * low.transformer.r_ohm
    assert before - after == pytest.approx(0.05 * supply.open_v)
    assert low.rated_va == supply.rated_va


def test_no_share_of_the_line_is_taken_that_is_none() -> None:
    """A line of 40 % is no line that a corner may have."""
    with pytest.raises(BadParameter, match=r"line is 0\.4, but must be a share"):
        at_line(demo_job("two-run"), 0.4)


def test_ground_is_a_corner_where_it_carries_current() -> None:
    """An earth return doubles the corners; with a wire to come home by, ground changes nothing."""
    assert len(corners_of(demo_job("earth-return"))) == 9
    assert len(corners_of(demo_job("wire-return"))) == 5
    job = demo_job("earth-return")
    assert unfriendly(job, LINE[0], 5.0).outdoor_run.earth_ohm == pytest.approx(5 * job.outdoor_run.earth_ohm)


# ---- faults ----


def drawn(job: str, count: int, seed: int) -> list[Fault]:
    """Return single faults of a job, drawn by chance, none of them on a spare."""
    every = [f for f in single_faults(demo_job(job)) if not is_idle(f.part)]
    return random.Random(seed).sample(every, count)


def names_it(judged: Judged, fault: Fault) -> bool:
    """Return whether a judged sheet names a fault, alone or among those that it can't tell apart."""
    top = max((one.probability for one in judged.explained_by), default=0.0)
    return any(one.faults == (fault,) for one in judged.explained_by if one.probability > 0.4 * top)


@pytest.mark.parametrize(("job", "seed"), [("full-cable", 5), ("earth-return", 6)])
def test_a_hidden_fault_shows_itself_and_is_named(job: str, seed: int) -> None:
    """Of ten faults drawn by chance at least nine are out on the sheet, named alone or with their like."""
    proof, faults = proof_of(job), drawn(job, 10, seed)
    judged = [judge(proof, proof.filled([fault])) for fault in faults]
    missed = [str(f) for f, one in zip(faults, judged, strict=True) if not one.out or not names_it(one, f)]
    assert len(missed) <= 1, missed


@pytest.mark.parametrize(
    ("fault", "part"),
    [
        ("thermostat.W1=resistance:20", "Ring out: ohms of the conductors"),
        ("outdoor.O=earth:0.5", "Insulation at 250 V direct"),
        ("outdoor.earth=open", "Ground"),
        ("air.transformer=weak:0.7", "Volts before wiring"),
        ("thermostat.Y1=swapped:G", "Wiring, against the schedule"),
        ("out.unloader=burnt-out", "Cooling, stage two"),
        ("stat.valve=reversed", "Changeover"),
    ],
)
def test_each_part_finds_what_it_is_there_for(fault: str, part: str) -> None:
    """A splice is out in the loops, a touch in the insulation, a lost bond at the ground, and so on."""
    proof = proof_of("full-cable")
    out = proof.out(proof.filled([fault]))
    assert part in {proof.steps[number - 1].part for number in out}


def test_a_weak_line_is_no_fault_and_hides_none() -> None:
    """At 97 % of the line and a hot day the same broken conductor is still named."""
    proof = proof_of("full-cable")
    site = at_corner(proof.job, Corner(0.97, 45.0))
    judged = judge(proof, proof.filled(["outdoor.Y2=open"], site))
    assert str(judged.explained_by[0].faults[0]) == "outdoor.Y2=open"
    assert judged.fit is not None
    assert judged.fit.line == pytest.approx(0.97, abs=0.005)


def test_a_splice_that_makes_a_coil_waver_is_named_alone() -> None:
    """20 ohm in the outdoor R make a board waver; the loop says it, and no second fault is needed."""
    proof = proof_of("two-run")
    judged = judge(proof, proof.filled(["outdoor.R=resistance:20"]))
    assert list(map(str, judged.explained_by[0].faults)) == ["outdoor.R=resistance:20"]
    assert judged.explained_by[0].unexplained == ()


@pytest.mark.parametrize("fault", ["outdoor.R=resistance:4", "outdoor.SIG=noise:1"])
def test_what_the_sheet_measures_is_named_with_its_size(fault: str) -> None:
    """A splice of 4 ohm is told from noise on SIG, and noise of 1 V is seen though no frame is lost by it."""
    proof = proof_of("wire-return")
    judged = judge(proof, proof.filled([fault]))
    assert list(map(str, judged.explained_by[0].faults)) == [fault]
    assert judged.explained_by[0].unexplained == ()
    seen = {proof.steps[number - 1].act for number in judged.out}
    assert (NOISE in seen) == ("noise" in fault)


def test_where_every_wire_is_lifted_only_the_runs_count() -> None:
    """Burnt coils, dead boards and blown fuses leave ohms of loops, insulation and labels as they are."""
    proof = proof_of("earth-return")
    sound = proof.readings(walk(proof.job, parts=UNPLUGGED), UNPLUGGED)
    assert len(sound) > 40
    for fault in single_faults(proof.job):
        if fault.where not in proof.job.runs and fault.kind in ("burnt-out", "dead", "blown"):
            assert proof.readings(walk(proof.job, (fault,), parts=UNPLUGGED), UNPLUGGED) == sound


def test_two_faults_are_named_as_a_pair() -> None:
    """A burnt-out coil indoors and a broken conductor outdoors explain together what neither does alone."""
    proof = proof_of("full-cable")
    pair = as_faults(["air.sequencer=burnt-out", "outdoor.Y2=open"], proof.job)
    judged = judge(proof, proof.filled(pair))
    assert set(judged.explained_by[0].faults) == set(pair)
    assert judged.explained_by[0].unexplained == ()


def test_a_pair_that_the_sheet_can_t_part_gets_a_next_measurement() -> None:
    """With only what an owner sees filled in, several faults are left, and a look that parts them is next."""
    proof = proof_of("full-cable")
    seen = {
        step.number: reading
        for step in proof.steps
        if step.unit == "word" and step.part == "Cooling"
        for reading in [proof.filled(["outdoor.Y1=open"])[step.number]]
    }
    judged = judge(proof, seen)
    assert judged.empty == len(proof.steps) - len(seen)
    assert len(judged.explained_by) > 1
    assert judged.next is not None
    assert judged.next.look.act not in {"compressor stage 1", "blower"}
    assert judged.next.bits > 0.1


def test_all_in_its_band_asks_for_nothing() -> None:
    """A sound sheet has nothing out, no explanation and nothing to measure next."""
    proof = proof_of("four-wire")
    judged = judge(proof, proof.filled())
    assert (judged.out, judged.explained_by, judged.next, judged.empty) == ({}, (), None, 0)


def test_sheets_and_verdicts_say_in_a_line_what_they_are() -> None:
    """In a notebook a sheet and what was judged of it are a sentence each, not a wall of steps."""
    proof = proof_of("four-wire")
    assert repr(proof) == f"Commissioning sheet of {proof.job.title}: {len(proof.steps)} steps"
    told = repr(judge(proof, proof.filled(["outdoor.C=open"])))
    assert "readings are outside their band; best explained by outdoor.C=open (" in told
    assert "\n" not in told


def test_conventional_cooling_can_be_searched() -> None:
    """A job without a defrost board has none of its terminals to look at, and is searched like any other."""
    acts = {look.act for look in Search("four-wire", comes_and_goes=False).pages}
    assert not any("out:CC" in act or ":D " in act for act in acts)
    assert any("out:Y1" in act for act in acts)


# ---- the fit ----


def test_the_fit_finds_line_splice_and_ground() -> None:
    """Line volts, a splice and the ground of a site come out of its readings as they were put in."""
    proof = proof_of("two-run")
    site = at_line(proof.job.with_run("outdoor", earth_ohm=0.7), 1.03)
    found = fit(proof, proof.filled(["thermostat.R=resistance:2"], site))
    assert found is not None
    assert found.line == pytest.approx(1.03, abs=0.003)
    assert found.splice_ohm["thermostat"] == pytest.approx(2.0, abs=0.03)
    assert found.splice_ohm["outdoor"] == pytest.approx(0.0, abs=0.03)
    assert found.earth_ohm == pytest.approx(0.7, abs=0.02)
    assert found.residual_v < 0.02


def test_what_no_splice_explains_is_left_over() -> None:
    """A larger coil than the nameplate says leaves a residual far beyond the meter's last digit."""
    proof = proof_of("full-cable")
    heavier = replace(proof.job.equipment.contactor, inrush_va=60.0, sealed_va=40.0, r_ohm=4.0)
    site = proof.job.with_equipment(contactor=heavier)
    sound, other = fit(proof, proof.filled()), fit(proof, proof.filled(job=site))
    assert sound is not None
    assert other is not None
    assert other.residual_v > 10 * sound.residual_v
    assert abs(other.worst[1]) > 0.1


def test_volts_that_are_gone_bend_no_fit() -> None:
    """With the signal conductor open the line is still found from what is left, and the rest is counted."""
    proof = proof_of("earth-return")
    found = fit(proof, proof.filled(["outdoor.SIG=open"]))
    assert found is not None
    assert found.gone > 5
    assert found.line == pytest.approx(1.0, abs=0.02)


def test_a_sheet_without_numbers_has_no_fit() -> None:
    """Where nobody has read volts, nothing is fitted."""
    assert fit(proof_of("four-wire"), {}) is None


# ---- files ----


def test_the_columns_are_those_of_the_table() -> None:
    """The first line of the CSV names exactly its nine columns, and every step has its line."""
    proof = proof_of("two-run")
    lines = proof.csv().splitlines()
    assert lines[0] == ",".join(COLUMNS) == "step,call,act,red,black,unit,low,high,reading"
    assert len(lines) == len(proof.steps) + 1


@pytest.mark.parametrize("parts", [",", ";", "\t"])
def test_a_filled_sheet_comes_back_as_it_was(tmp_path: Path, parts: str) -> None:
    """Written, saved again by a spreadsheet with other signs, and read: the same readings."""
    proof = proof_of("four-wire")
    readings = proof.filled(["thermostat.G=open"])
    text = sheet_csv(proof.steps, readings)
    if parts != ",":
        import csv
        import io

        rows = list(csv.reader(io.StringIO(text, newline="")))
        rows = [[cell.replace(".", ",") if k == 8 else cell for k, cell in enumerate(row)] for row in rows]
        out = io.StringIO(newline="")
        csv.writer(out, delimiter=parts).writerows(rows)
        text = out.getvalue()
    path = tmp_path / "filled.csv"
    path.write_bytes(b"\xef\xbb\xbf" + text.encode())
    assert read_sheet(path, proof.steps) == readings


def test_toml_reads_the_same(tmp_path: Path) -> None:
    """A table of readings by step number says what a CSV says: numbers, words, OL and yes."""
    proof = proof_of("four-wire")
    (volts, word, tick, loop) = (
        next(s.number for s in proof.steps if s.unit == unit) for unit in ("V", "word", "tick", "ohm")
    )
    path = tmp_path / "filled.toml"
    path.write_text(f'[readings]\n{volts} = 0.0\n{word} = "off"\n{tick} = true\n{loop} = "OL"\n')
    assert read_sheet(path, proof.steps) == {volts: 0.0, word: "off", tick: "yes", loop: math.inf}
    assert loop in judge_sheet("four-wire", path).out


def test_a_sheet_with_older_words_is_still_read() -> None:
    """What is done first may be worded otherwise; number, what is read and its points tell the step."""
    proof = proof_of("two-run")
    readings = proof.filled()
    older = [
        replace(step, do="as one did before" if step.before else "", warning="", first=())
        for step in proof.steps
    ]
    assert sheet_from_text(sheet_csv(older, readings), proof.steps) == readings


BAD_SHEETS = {
    "no file": (None, "there is no such file; give a sheet as prove --csv writes it"),
    "no columns": ("a,b\n1,2\n", "line 1: the column step is missing; the columns must be step,call,act"),
    "an odd column": ("step,reading,colour\n", "line 1: 'colour' is no column of a sheet"),
    "no such step": ("step,reading\n9999,1\n", "line 2: step is '9999', but must be from 1 to"),
    "twice": ("step,reading\n3,0\n3,0\n", "line 3: step 3 is there twice"),
    "a word for volts": (
        "step,reading\n3,plenty\n",
        "line 2, step 3: reading is 'plenty', but must be a number of V",
    ),
    "a tick that is none": (
        "step,reading\n1,maybe\n",
        "line 2, step 1: reading is 'maybe', but must be yes or no",
    ),
    "a bare comma": ("step,reading\n3,25,8\n", "line 2: there are 3 columns where the first line has 2"),
    "another job": (
        "step,act,reading\n3,dance,1\n",
        "line 2: act of step 3 is 'dance', but this job's sheet has",
    ),
    "another job's points": (
        "step,red,black,unit,reading\n3,out:R,out:C,V,1\n",
        "line 2: red of step 3 is 'out:R', but this job's sheet has 'stat:R' there; was the sheet made for",
    ),
    "below nothing": ("step,reading\n3,-5\n", "line 2, step 3: reading is '-5', but V must be 0 or more"),
    "a torn quote": ('step,reading\n3,"1\n', "this is no table in CSV"),
}


@pytest.mark.parametrize("case", BAD_SHEETS)
def test_a_bad_sheet_gets_one_sentence(case: str, tmp_path: Path) -> None:
    """What is wrong in a CSV is named with its file, its line, its column and what is allowed."""
    text, says = BAD_SHEETS[case]
    path = tmp_path / "filled.csv"
    if text is not None:
        path.write_text(text)
    with pytest.raises(BadSheet) as caught:
        read_sheet(path, proof_of("four-wire").steps)
    assert says in str(caught.value)
    assert "filled.csv" in str(caught.value)
    assert str(caught.value).count("\n") == 0


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("readings = 3", "readings is missing; write a table [readings]"),
        ("[reading]\n3 = 1", "reading is not a key of a filled sheet"),
        ("[readings]\n3 = [1]", "key readings.3 must be a number or a text in quotes"),
        ("[readings]\n3 = nan", "key readings.3, step 3: reading is 'nan', but must be a number of V"),
        ("[readings\n", "this is not TOML"),
    ],
)
def test_a_bad_toml_sheet_gets_one_sentence(text: str, says: str, tmp_path: Path) -> None:
    """What is wrong in a TOML sheet is named with its key."""
    path = tmp_path / "filled.toml"
    path.write_text(text)
    with pytest.raises(BadSheet) as caught:
        read_sheet(path, proof_of("four-wire").steps)
    assert says in str(caught.value)


def test_a_unit_behind_the_number_is_read_over() -> None:
    """What people write beside their number is no mistake: 25,8 V is 25.8, and ol is OL."""
    volts = next(s for s in proof_of("two-run").steps if s.unit == "V")
    loop = next(s for s in proof_of("two-run").steps if s.unit == "ohm")
    assert typed("25,8 V", volts) == 25.8
    assert typed("ol", loop) == math.inf


def test_many_pairs_of_probes_read_as_one_by_one() -> None:
    """Volts of all points at once are those of the circuit loaded with 10 megohm, pair by pair."""
    bench = Bench("two-run", call="cool-1", faults=["outdoor.SIG=open"])
    pairs = [("out:SIG", "out:C"), ("air:R", "air:C"), ("stat:Y1", "stat:C")]
    ours = loaded_volts(bench.solution, pairs)
    one_by_one = [abs(bench.solution.thevenin(*pair).loaded_v(10e6)) for pair in pairs]
    assert np.allclose(ours, one_by_one, rtol=1e-9)
