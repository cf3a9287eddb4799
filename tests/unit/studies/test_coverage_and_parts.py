"""Which looks notice which breaks, tables of a sheet's parts, a fit in words, and their pictures."""

from __future__ import annotations

from functools import lru_cache

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.draw.sheets import band_picture, residual_picture
from lessonkit.errors import LessonError
from lessonkit.studies.coverage import notices
from lessonkit.studies.prove import Proof, bands, prove
from lessonkit.studies.sheet_parts import fit_sheet, out_of_band, over_calls, sheet_part


@lru_cache(maxsize=1)
def sheet() -> Proof:
    """Return the sheet of a link with a wire to come back by."""
    return prove("wire-return")


def test_a_look_notices_what_a_bench_shows() -> None:
    """A break that a look notices changes what a bench in time shows there, and one that it misses "
    "doesn't."""
    found = notices("wire-return")
    for look in ("heat-aux: auxiliary heat", "cool-2: compressor stage 2"):
        call, equipment = look.split(": ")
        sound = Bench("wire-return", call=call)
        word = sound.advance(30).responding[equipment]
        for name in ("thermostat.W1", "thermostat.G", "thermostat.Y2", "outdoor.SIG"):
            broken = Bench("wire-return", call=call, faults=[f"{name}=open"])
            assert (broken.advance(30).responding[equipment] != word) == (name in found.by_look[look])


def test_the_request_for_heat_needs_a_defrost() -> None:
    """Only a forced defrost notices a broken D."""
    found = notices("full-cable")
    assert {look for look, seen in found.by_look.items() if "outdoor.D" in seen} == {
        "defrost: auxiliary heat"
    }
    assert found.missed(["cool-2", "heat-aux", "emergency"]) == ("outdoor.D",)
    assert found.missed(["cool-2", "heat-aux", "emergency", "defrost"]) == ()


def test_the_fewest_looks_are_the_fewest() -> None:
    """As many looks as said miss nothing, and the table says which notices what."""
    found = notices("wire-return")
    assert found.fewest == 4
    chosen = [
        "cool-2: compressor stage 2",
        "heat-1: reversing valve",
        "fan: blower",
        "emergency: emergency heat",
    ]
    assert found.missed(chosen) == ()
    assert found.missed(chosen[:-1]) == ("thermostat.W1", "thermostat.E")
    assert "| `fan: blower` | thermostat.C, thermostat.G, thermostat.R |" in found._repr_markdown_()
    assert "fan: blower" in repr(found)
    with pytest.raises(LessonError, match="look"):
        found.missed(["cool-3"])


def test_a_part_of_a_sheet_is_a_table() -> None:
    """Steps stand with band and reading, and what is out is marked."""
    readings = sheet().filled(["thermostat.W1=open"])
    part = sheet_part(sheet(), "Auxiliary heat", readings)
    assert [sheet().steps[n - 1].act for n in part.out][-1] == "look: auxiliary heat"
    assert "**out**" in part._repr_markdown_()
    assert "**" not in str(part)
    assert float(part.low("air:R")) < float(part.high("air:R"))
    assert "0.50 Mohm or more" in str(sheet_part(sheet(), "Insulation at 250 V direct"))
    assert len(out_of_band(sheet(), readings).steps) == len(sheet().out(readings))
    with pytest.raises(LessonError, match="part"):
        sheet_part(sheet(), "Soup")
    with pytest.raises(LessonError, match="point"):
        part.low("out:E")


def test_volts_over_calls() -> None:
    """Each call has its band; a reading outside is counted; unknown points are refused."""
    found = over_calls(sheet(), "out:R", readings=sheet().filled(["air.transformer=weak:0.9"]))
    assert found.out == len(found.rows)
    assert over_calls(sheet(), "out:R").out == 0
    assert float(found.under("cool-2")) < float(found.under("off"))
    with pytest.raises(LessonError, match="no volts"):
        over_calls(sheet(), "out:G")


def test_a_fit_keeps_what_is_left_of_each_reading() -> None:
    """A low line is found, nothing is left, and before it every volt is off by that share."""
    fitted = fit_sheet(sheet(), sheet().filled(["air.transformer=weak:0.97"]))
    assert fitted.line_percent == pytest.approx(97.0, abs=0.05)
    assert fitted.left_is == "less than the doubt"
    assert set(fitted.fit.before_v) == set(fitted.fit.left_v) == set(fitted.fit.doubt_v)
    assert all(-1.0 < volts < -0.6 for volts in fitted.fit.before_v.values())
    assert "97.0 % of nominal" in str(fitted)
    with pytest.raises(LessonError, match="Too few"):
        fit_sheet(sheet(), {})


def test_pictures_say_what_they_show() -> None:
    """The text alternatives have the bands, the readings and what is left."""
    readings = sheet().filled(["air.transformer=weak:0.97"])
    assert "read " in band_picture(sheet(), "out:R", readings=readings).words
    assert "Most is left at step" in residual_picture(sheet(), readings).words


def test_bands_of_a_few_readings_are_those_of_the_whole_sheet() -> None:
    """Who takes only some of the readings gets the same bands for them."""
    job, some = sheet().job, [k for k, one in enumerate(sheet().taken) if one.red in ("air:R", "out:R")][:6]
    few = bands(job, tuple(sheet().taken[k] for k in some))
    for k, (low, high) in zip(some, few, strict=True):
        assert float(sheet().steps[k].low) == pytest.approx(float(low), abs=0.011)
        assert float(sheet().steps[k].high) == pytest.approx(float(high), abs=0.011)
