"""Every usual shape of a logger's file is read to the same minutes and degrees; what may be two things is refused."""

import datetime as dt
import re
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

import testpour
from testpour.common.problems import Problems
from testpour.exchange.channels import _units_in
from testpour.exchange.grid import TraceProblems
from testpour.exchange.reader import _too_little, read_trace
from testpour.exchange.trace import Trace, _broken

MINUTES = np.arange(0, 90, 0.5)
DEGREES = 22 + 80 * np.exp(-(((MINUTES - 50) / 9) ** 2))
LONG = np.arange(0, 240, 0.5)
DEGREES_LONG = 22 + 80 * np.exp(-(((LONG - 50) / 9) ** 2))
START = dt.datetime(2026, 3, 14, 23, 30)


def stamps(form, start=START):
    return [(start + dt.timedelta(minutes=float(m))).strftime(form) for m in MINUTES]


def rows(times, degrees=DEGREES, separator=",", mark=".", more=()):
    shown = [f"{d:.2f}".replace(".", mark) for d in degrees]
    return "\n".join(separator.join([t, d, *more]) for t, d in zip(times, shown, strict=True)) + "\n"


def upside_down(text):
    return "\n".join(reversed(text.splitlines())) + "\n"


def elapsed(scale, digits=4, mark="."):
    return [f"{m * scale:.{digits}f}".replace(".", mark) for m in MINUTES]


def write(path, text, coding="utf-8"):
    path.write_bytes(text if isinstance(text, bytes) else text.encode(coding))
    return path


SHAPES = {
    "seconds": ("time (s),T (degC)\n" + rows(elapsed(60, 0)), {}),
    "minutes": ("t/min,T/°C\n" + rows(elapsed(1)), {}),
    "aligned by blanks": ("   t/min     T/°C\n" + rows([f"{t:>8}" for t in elapsed(1)], separator="    "), {}),
    "single blanks": (rows(elapsed(1), separator=" "), {"time": "min", "unit": "degC"}),
    "hours": ("Hours,Temp [°C]\n" + rows(elapsed(1 / 60, 6)), {}),
    "decimal commas": ("Zeit (min);Temperatur (°C)\n" + rows(elapsed(1, 2, ","), separator=";", mark=","), {}),
    "tabs and decimal commas": ("min\t°C\n" + rows(elapsed(1, 2, ","), separator="\t", mark=","), {}),
    "degrees Fahrenheit": ("time (min),T (°F)\n" + rows(elapsed(1), DEGREES * 1.8 + 32), {}),
    "kelvin": ("time (min),T (K)\n" + rows(elapsed(1), DEGREES + 273.15), {}),
    "a type K thermocouple in degC": ("time (min),Type K [°C]\n" + rows(elapsed(1)), {}),
    "unit by argument": ("time (min),probe\n" + rows(elapsed(1), DEGREES * 1.8 + 32), {"unit": "degF"}),
    "unit of time by argument": ("time,T (degC)\n" + rows(elapsed(1)), {"time": "min"}),
    "no heads": (rows(elapsed(60, 0)), {"time": "s"}),
    "unit in the cells": ("time (min),T\n" + rows(elapsed(1)).replace("\n", " °C\n"), {}),
    "units in a row of their own": ("time;T\nmin;°C\n" + rows(elapsed(1), separator=";"), {}),
    "junk above": ("Logger file\nSerial;0042\nInterval;30 s\nTemperature in °C\n\nmin;T\n" + rows(elapsed(1), separator=";"), {}),
    "a pair right above the heads": (
        "Serial;0815\nNo.;min;°C\n" + "".join(f"{k};{line}\n" for k, line in enumerate(rows(elapsed(1), separator=";").splitlines())), {},
    ),
    "a counter": ("No.,time (min),T (°C)\n" + "".join(f"{k},{line}\n" for k, line in enumerate(rows(elapsed(1)).splitlines(), 1)), {}),
    "hh:mm:ss over midnight": ("time;T (°C)\n" + rows(stamps("%H:%M:%S"), separator=";", mark=","), {}),
    "twelve hours over midnight": ("time,T (°C)\n" + rows(stamps("%I:%M:%S %p")), {}),
    "elapsed hh:mm:ss": ("elapsed,T (°C)\n" + rows([f"{int(m) // 60}:{int(m) % 60:02d}:{m * 60 % 60:02.0f}" for m in MINUTES]), {}),
    "elapsed mm:ss": ("time mm:ss,T (°C)\n" + rows([f"{int(m)}:{m * 60 % 60:02.0f}" for m in MINUTES]), {}),
    "ISO stamps": ("when,T (°C)\n" + rows(stamps("%Y-%m-%dT%H:%M:%S")), {}),
    "ISO stamps with a zone": ("when,T (°C)\n" + rows(stamps("%Y-%m-%dT%H:%M:%S.000Z")), {}),
    "date and time apart": ("Datum;Zeit;T (°C)\n" + rows(stamps("%d.%m.%Y;%H:%M:%S"), separator=";", mark=","), {}),
    "day first, told by the 14th": ("Date,T (°C)\n" + rows(stamps("%d/%m/%Y %H:%M:%S")), {}),
    "month first, told by the 14th": ("Date,T (°C)\n" + rows(stamps("%m/%d/%Y %I:%M:%S %p")), {}),
    "a date with a month's name": ("Date,T (°C)\n" + rows(stamps("%d-%b-%Y %H:%M:%S")), {}),
    "thousandths of a second": ("millis,T (°C)\n" + rows([f"{m * 60_000:.0f}" for m in MINUTES]), {}),
    "a date with a German month": ("Zeit;T (°C)\n" + rows([stamp.replace("-03-", ". März ") for stamp in stamps("%d-%m-%Y %H:%M:%S")], separator=";"), {}),
    "separators at the ends of lines": ("min;°C;\n" + rows(elapsed(1), separator=";").replace("\n", ";\n"), {}),
    "quoted": ('"time (min)","T (°C)"\n' + rows([f'"{m}"' for m in elapsed(1)]), {}),
    "humidity beside it": ("time (min),T (°C),RH (%)\n" + rows(elapsed(1), more=["44.1"]), {}),
    "the time last": ("T (°C),time (min)\n" + "".join(f"{d:.2f},{m}\n" for m, d in zip(MINUTES, DEGREES, strict=True)), {}),
    "stamps with the letters of a zone": ("time,T (°C)\n" + rows(stamps("%Y-%m-%d %H:%M:%S CET")), {}),
    "newest first": ("time (s),T (°C)\n" + upside_down(rows(elapsed(60, 0))), {}),
    "stamps newest first": ("time,T (°C)\n" + upside_down(rows(stamps("%Y-%m-%d %H:%M:%S"))), {}),
    "the clock newest first, over midnight": ("time,T (°C)\n" + upside_down(rows(stamps("%H:%M:%S"))), {}),
    "days": ("Time,T (°C)\n" + rows(elapsed(1 / 1440, 8)), {"time": "d"}),
    "elapsed beside the clock": (
        "time,T (°C),elapsed (s)\n" + "".join(f"{line},{30 * k}\n" for k, line in enumerate(rows(stamps("%H:%M:%S")).splitlines())), {},
    ),
}


@pytest.mark.parametrize("name", SHAPES)
def test_every_shape_gives_the_same_table(name, tmp_path):
    text, said = SHAPES[name]
    trace = read_trace(write(tmp_path / "trace.csv", text), **said)
    assert trace.table["minutes"].to_numpy() == pytest.approx(MINUTES, abs=1e-3)
    assert trace.table["temperature"].to_numpy() == pytest.approx(DEGREES, abs=0.011)
    assert list(trace.table.columns) == ["minutes", "temperature"]
    turned = ("The newest row comes first, so the rows were read from the last one up.",) if "newest first" in name else ()
    assert trace.state == "peaked" and trace.notes == turned


@pytest.mark.parametrize("coding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "latin-1", "cp1252"])
def test_every_coding_of_letters_is_read(coding, tmp_path):
    text, _ = SHAPES["decimal commas"]
    trace = read_trace(write(tmp_path / "trace.csv", text, coding))
    assert trace.table["temperature"].max() == pytest.approx(102, abs=0.01)


REFUSED = {
    "nothing": ("", {}, "nothing is in it"),
    "blank lines": ("\n\n  \n", {}, "nothing is in it"),
    "a picture": (b"\x89PNG\r\n\x1a\n" + bytes(range(256)), {}, "a picture"),
    "a workbook": (b"PK\x03\x04" + bytes(50), {}, "a workbook"),
    "noise": (np.random.default_rng(2).bytes(4000), {}, "not text"),
    "words": ("Name,Colour,Remark\n" + "knob,red,nice\n" * 40, {}, "no rows look like"),
    "no unit of time": ("a,T (°C)\n" + rows(elapsed(1)), {}, "Say time='ms', time='s', time='min', time='h' or time='d'"),
    "hours or minutes": ("time,T (°C)\n" + rows([f"{int(m)}:{m * 60 % 60:02.0f}" for m in MINUTES]), {}, "Say time='hh:mm' or time='mm:ss'"),
    "no unit of temperature": ("time (min),T\n" + rows(elapsed(1), DEGREES + 18), {}, "Say unit='degC'"),
    "two units": ("time (min),T (°C)\n" + rows(elapsed(1)), {"unit": "degF"}, "Leave unit= out"),
    "two channels": ("time (min),T1 (°C),T2 (°C)\n" + rows(elapsed(1), more=["21.0"]), {}, "'T1' and 'T2'"),
    "no such channel": ("time (min),T1 (°C)\n" + rows(elapsed(1)), {"channel": "T9"}, "it has 'T1'"),
    "day or month": ("Date,T (°C)\n" + rows(["03/04/2026 10:00:00", *["04/06/2026 10:00:00"] * 179]), {}, "Say day_first=True"),
    "backwards": (
        "time (min),T (°C)\n" + rows(["5", "6", "7", "8", "9", "10"] + elapsed(1)[:-6]), {},
        "the time runs backwards in 1 place, first at row 7 of the block",
    ),
    "autumn": (
        "time,T (°C)\n" + rows([stamp for minute in (30, 0) for stamp in stamps("%Y-%m-%d %H:%M:%S", dt.datetime(2026, 10, 25, 2, minute))[:90]]),
        {}, "the clocks went back, add the hour to the rows from there on",
    ),
    "twelve hours without AM": ("time,T (°C)\n" + rows(stamps("%I:%M:%S", dt.datetime(2026, 3, 14, 12, 30))), {}, "without AM and PM"),
    "two zones": (
        "time,T (°C)\n" + rows([f"{stamp} {'CET' if k < 90 else 'CEST'}" for k, stamp in enumerate(stamps("%Y-%m-%d %H:%M:%S"))]), {},
        "the clock changes from CET to CEST between the rows",
    ),
    "a change of the clocks": (
        "time,T (°C)\n" + rows([f"{stamp}{'+01:00' if k < 90 else '+02:00'}" for k, stamp in enumerate(stamps("%Y-%m-%dT%H:%M:%S"))]), {},
        "the clock changes from +01:00 to +02:00 between the rows. Export the trace by one clock, such as UTC",
    ),
    "one row without the offset of the others": (
        "time,T (°C)\n" + rows([f"{stamp}{'' if k == 7 else '+01:00'}" for k, stamp in enumerate(stamps("%Y-%m-%dT%H:%M:%S"))]), {},
        "the clock changes from +01:00 to no zone between the rows",
    ),
    "two rows out of order": (
        "time,T (°C)\n" + rows([(every := stamps("%Y-%m-%d %H:%M:%S"))[1], every[0], *every[2:]]), {}, "Put the rows in the order of their times",
    ),
    "a channel named by an s and no unit of time": (
        "Time,S (°C)\n" + rows(elapsed(1), 22 + MINUTES), {}, "the unit of the time column headed 'Time' is not stated",
    ),
    "commas for both": ("min,°C\n" + rows(elapsed(1, 1, ","), mark=","), {}, "separate cells and to mark decimals"),
    "both marks": ("min;°C\n" + rows(elapsed(1, 1, ","), separator=";"), {}, "Export again with one of them"),
    "dates without a clock": ("Date,T (°C)\n" + rows(stamps("%Y-%m-%d")), {}, "no time of day"),
    "wrong unit": ("time (min),T (K)\n" + rows(elapsed(1)), {}, "Check the unit"),
    "a bad argument": ("time (min),T (°C)\n" + rows(elapsed(1)), {"unit": "Rankine"}, "not one of degC, degF, K"),
    "a bad unit of time": ("time (min),T (°C)\n" + rows(elapsed(1)), {"time": "weeks"}, "not one of ms, s, min, h, d,"),
    "mixed after the end": ("time (min),T (°C)\n" + rows(elapsed(1)), {"mixed_at": "9 h"}, "check mixed_at="),
    "mixed at no time": ("time (min),T (°C)\n" + rows(elapsed(1)), {"mixed_at": "noon"}, "mixed_at"),
    "mixed by the clock": ("time (min),T (°C)\n" + rows(elapsed(1)), {"mixed_at": "10:05"}, "elapsed times"),
    "day numbers": (  # 46085 is 4 March 2026: 45658 is 1 January 2025 in every spreadsheet
        "time,T (°C)\n" + rows([f"{46085 + m / 1440:.6f}" for m in MINUTES]), {},
        "such as '46085.000000', as a spreadsheet keeps dates. Format it there as date and time, and export the trace again",
    ),
    "mixed at a time or after minutes": (
        "time,T (°C)\n" + rows(stamps("%H:%M:%S")), {"mixed_at": "23.35"},
        "may be 23:35 by the clock, or 23.35 min after the first row. Write '23:35' or '23.35 min'",
    ),
    "a row for each channel": (
        "time (min),channel,T (°C)\n" + "".join(f"{m},core,{d:.2f}\n{m},bench,21.0\n" for m, d in zip(elapsed(1), DEGREES, strict=True)), {},
        "its rows alternate between 2 channels, 'core' and 'bench'. Keep the rows of the channel in the casting",
    ),
    "a week in minutes": ("time (h),T (°C)\n" + rows(elapsed(60)), {}, "Check the unit of its times"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_read_or_may_be_two_things_is_refused_with_what_to_say(name, tmp_path):
    text, said, words = REFUSED[name]
    with pytest.raises(TraceProblems) as refused:
        read_trace(write(tmp_path / "trace.csv", text), **said)
    assert any(words in problem for problem in refused.value.problems), refused.value.problems
    assert isinstance(refused.value, Problems)


def test_a_workbook_is_read_as_its_text_would_be(tmp_path):
    held = pd.DataFrame({"Time": [START + dt.timedelta(minutes=float(m)) for m in MINUTES], "Core °C": DEGREES.round(2), "Room °C": 21.0})
    held.to_excel(tmp_path / "trace.xlsx", index=False)
    trace = read_trace(tmp_path / "trace.xlsx", mixed_at="23:40")
    assert (trace.channel, trace.room_channel) == ("Core", "Room")
    np.testing.assert_allclose(trace.table["minutes"], MINUTES - 10, atol=0.01)
    np.testing.assert_allclose(trace.table["temperature"], DEGREES.round(2))


def test_a_steady_casting_that_flickers_between_two_degrees_is_one_channel(tmp_path):
    """To whole degrees: 22, 23, 22, 23 ..., beside rows numbered 1 and 2 of two loggers on one file, which are two."""
    flickers = "".join(f"{m},{22 + k % 2}\n" for k, m in enumerate(elapsed(1)))
    assert read_trace(write(tmp_path / "steady.csv", "time (min),T (°C)\n" + flickers)).channel == "T"
    numbered = "".join(f"{m},1,{d:.1f}\n{m},2,21\n" for m, d in zip(elapsed(1), DEGREES, strict=True))
    with pytest.raises(TraceProblems, match="2 channels, '1' and '2'"):
        read_trace(write(tmp_path / "two.csv", "time (min),sensor,T (°C)\n" + numbered))


def test_all_problems_are_said_at_once(tmp_path):
    text = "a,T1,T2\n" + rows(elapsed(1), DEGREES + 18, more=["44"])
    with pytest.raises(TraceProblems) as refused:
        read_trace(write(tmp_path / "trace.csv", text), until="soon")
    assert len(refused.value.problems) == 3


def test_a_missing_file_and_a_folder_are_refused(tmp_path):
    for path in (tmp_path / "none.csv", tmp_path):
        with pytest.raises(TraceProblems, match="cannot be opened"):
            read_trace(path)


def test_blanks_and_broken_wires_are_gaps(tmp_path):
    lines = rows(elapsed(1)).splitlines()
    for k, cell in ((10, ""), (11, "---"), (12, "OL"), (13, "9999"), (14, "err"), (16, "HI"), (15, "what?")):
        lines[k] = f"{lines[k].split(',')[0]},{cell}"
    trace = read_trace(write(tmp_path / "t.csv", "min,°C\n" + "\n".join(lines) + "\n\nend of file\n"))
    assert trace.table["temperature"].isna().sum() == 6 and len(trace.table) == len(MINUTES) - 1
    assert "1 cell held no temperature that a casting can have, first in line 15" in trace.sentence()
    assert "Left out as unreadable: 1 line among the rows, the first at line 17." in trace.sentence()


def test_the_room_is_told_from_the_casting(tmp_path):
    text = "min;middle (°C);room (°C)\n" + rows(elapsed(1), separator=";", more=["19.5"])
    trace = read_trace(write(tmp_path / "t.csv", text))
    assert trace.channel == "middle"
    assert (trace.table["room"] == 19.5).all()
    swapped = read_trace(tmp_path / "t.csv", channel=2, room=1)
    assert (swapped.table["temperature"] == 19.5).all() and swapped.state == "flat"
    assert swapped.verdict() == ("No exotherm in channel room, but middle, read as the room, got above 40 °C, as no room does: the two may be swapped. "
                                 "If so, say channel='middle' and room='room'.")


def test_a_glitch_of_the_room_is_no_swapped_channel(tmp_path):
    rooms = np.where(np.abs(MINUTES - 40) < 1, 150.0, 20.0)  # three rows
    text = "min;middle (°C);room (°C)\n" + "".join(f"{m};19.5;{room}\n" for m, room in zip(MINUTES, rooms, strict=True))
    assert "A thin casting may cure without warming itself" in read_trace(write(tmp_path / "t.csv", text)).verdict()


@pytest.mark.parametrize(
    "mixed_at, first",
    [(10, -10.0), ("10 min", -10.0), (10.05, -10.05), ("10.05 min", -10.05), ("10.5", -10.5), (-5, 5.0),
     ("23:40", -10.0), ("11:40 PM", -10.0), ("2026-03-14 23:40", -10.0), (dt.datetime(2026, 3, 14, 23, 20), 10.0), ("0:10", -40.0)],
)
def test_minutes_count_from_the_catalyst(mixed_at, first, tmp_path):
    text = "when,T (°C)\n" + rows(stamps("%Y-%m-%d %H:%M:%S"))
    trace = testpour.read_trace(write(tmp_path / "t.csv", text), mixed_at=mixed_at, channel=np.int64(1))  # as people call it, its arguments checked
    assert trace.table["minutes"].iloc[0] == pytest.approx(first)
    assert trace.readings.loc["time_to_peak", "value"] == pytest.approx(50 + first, abs=0.1)


def test_an_offset_of_the_mixing_is_refused_with_whose_clock_counts(tmp_path):
    path = write(tmp_path / "t.csv", "when,T (°C)\n" + rows(stamps("%Y-%m-%dT%H:%M:%S+01:00")))
    for mixed_at in ("2026-03-14T23:40:00+01:00", "2026-03-14 22:40Z", dt.datetime(2026, 3, 14, 22, 40, tzinfo=dt.UTC)):
        with pytest.raises(TraceProblems, match="has an offset from UTC. Give the time by the logger's clock, without it."):
            read_trace(path, mixed_at=mixed_at)
    assert read_trace(path, mixed_at="2026-03-14 23:40").table["minutes"].iloc[0] == pytest.approx(-10)


@pytest.mark.parametrize("first, value, count", [(160, 150.0, 2), (20, 150.0, 3), (160, 60.0, 2), (70, -20.0, 5), (102, 140.0, 1)])
def test_a_glitch_of_a_few_rows_is_missing_and_said_to_be(first, value, count, tmp_path):
    degrees = DEGREES.copy()
    degrees[first : first + count] = value
    trace = read_trace(write(tmp_path / "t.csv", "min,°C\n" + rows(elapsed(1), degrees)))
    assert np.flatnonzero(trace.table["temperature"].isna()).tolist() == list(range(first, first + count))
    assert trace.readings.loc["peak_temperature", "value"] == pytest.approx(102, abs=0.2)
    assert trace.readings.loc["time_to_peak", "value"] == pytest.approx(50, abs=0.1)
    said = f"jumped away and back faster than a casting cools, first to {value:g} °C after {MINUTES[first]:g} min; treated as missing."
    assert said.replace("-", "\N{MINUS SIGN}") in trace.sentence()


@pytest.mark.parametrize("first, count", [(160, 6), (177, 3)])
def test_what_lasts_or_does_not_come_back_is_no_glitch(first, count, tmp_path):
    degrees = DEGREES.copy()
    degrees[first : first + count] = 70
    trace = read_trace(write(tmp_path / "t.csv", "min,°C\n" + rows(elapsed(1), degrees)))
    assert trace.table["temperature"].notna().all() and not trace.notes


def test_a_peak_of_few_rows_is_no_glitch(tmp_path):
    """Rows every five minutes: a casting warms by 56 K between two of them, and cools by 8."""
    degrees = [21.0, 21.5, 22, 23, 24, 80, 90, 82, 74, 67, 60, 55, 50]
    text = "".join(f"{5 * k},{d}\n" for k, d in enumerate(degrees))
    trace = read_trace(write(tmp_path / "t.csv", f"min,°C\n{text}"))
    assert trace.table["temperature"].notna().all() and trace.table["temperature"].max() == 90


@pytest.mark.parametrize("step, first", [(5, 2), (10, 3), (10, 8), (15, 5)])
def test_a_peak_of_few_rows_lies_between_its_neighbours_and_is_no_less_than_the_highest(step, first, tmp_path):
    """A curve that rises to 102.8 °C at 29.5 min and falls to 22 °C with a time of 30 min, by its formula."""
    minutes = np.arange(first, 120.0, step)
    own = np.where(minutes < 29.5, np.exp(-(((minutes - 29.5) / 7) ** 2)), np.exp(-(minutes - 29.5) / 30))
    text = "".join(f"{m:g},{22 + 80.8 * share:.2f}\n" for m, share in zip(minutes, own, strict=True))
    trace = read_trace(write(tmp_path / "t.csv", f"min,°C\n{text}"), mixed_at=-first)
    time, peak = trace.readings.loc["time_to_peak"], trace.readings.loc["peak_temperature"]
    top = minutes[np.argmax(own)]
    assert (time["known"], time["low"], time["high"]) == ("between", top - step, top + step)
    assert time["low"] <= 29.5 <= time["high"]
    assert peak["known"] == "not yet" and peak["low"] == pytest.approx(22 + 80.8 * own.max(), abs=0.006) and peak["high"] == np.inf


@pytest.mark.parametrize("rows_seen, time", [
    ({5: 22, 20: 35.3, 35: 94.3, 50: 66.1, 65: 48.8, 80: 38.2, 95: 31.8, 110: 27.9}, "20 to 50"),
    ({10: 22.2, 30: 102.7, 50: 66.1, 70: 44.7, 90: 33.6, 110: 28}, "10 to 50"),
])
def test_an_exotherm_of_few_rows_is_one(rows_seen, time, tmp_path):
    text = "".join(f"{m},{d}\n" for m, d in rows_seen.items())
    trace = read_trace(write(tmp_path / "t.csv", f"min,°C\n{text}"), mixed_at=-min(rows_seen))
    said = (f"It warmed itself and peaked at more than {max(rows_seen.values()):.0f} °C after {time} min."
            " There are too few rows before the peak to tell when that began.")
    assert trace.verdict() == said and list(trace.readings.index) == ["time_to_peak", "peak_temperature"]


def test_a_trace_begun_after_the_peak_knows_it_was_over_and_no_less(tmp_path):
    """22 + 76 exp(-t / 30 min), begun 32 min after mixing at 98 °C: the peak was no lower, and no later but for the minute at the top."""
    text = "min,°C\n" + rows(elapsed(1), 22 + 76 * np.exp(-MINUTES / 30))
    trace = read_trace(write(tmp_path / "t.csv", text), mixed_at=-32)
    time, peak = trace.readings.loc["time_to_peak"], trace.readings.loc["peak_temperature"]
    assert trace.verdict().startswith("The trace began after the peak: at least 97 °C, already by 33 min") and trace.show()
    assert (time["known"], time["low"]) == ("already", -np.inf) and 32 <= time["high"] < 33.5
    assert (peak["known"], peak["high"]) == ("not yet", np.inf) and 97 < peak["low"] <= 98
    unsaid = read_trace(tmp_path / "t.csv")
    assert list(unsaid.readings.index) == ["peak_temperature"]
    assert unsaid.verdict() == "The trace began after the peak: at least 97 °C; say mixed_at= to know by when."


@pytest.mark.parametrize("before", [2, 5])
def test_a_trace_begun_shortly_before_the_peak_has_seen_it(before, tmp_path):
    """A bell of 80 K over 22 °C, its top `before` minutes into the trace."""
    text = "min,°C\n" + rows(elapsed(1), 22 + 80 * np.exp(-(((MINUTES - before) / 9) ** 2)))
    found = read_trace(write(tmp_path / "t.csv", text), mixed_at=-40).readings
    assert found["known"].tolist() == ["exact", "exact"]
    assert found["value"].tolist() == [pytest.approx(40 + before, abs=0.1), pytest.approx(102, abs=0.2)]


def test_resin_poured_warm_that_only_cools_is_no_exotherm(tmp_path):
    text = "min,°C\n" + rows(elapsed(1), 18 + 14 * np.exp(-MINUTES / 20))
    trace = read_trace(write(tmp_path / "t.csv", text))
    assert trace.state == "flat" and "they only cool, from 32 to 18 °C. Either the resin was poured warm, or the trace began after the peak" in trace.sentence()


def test_a_peak_before_a_pause_is_no_glitch(tmp_path):
    """What rose in a minute had half an hour to cool in."""
    minutes = [*np.arange(0, 10, 0.5), 10, 10.5, *np.arange(40, 50, 0.5)]
    text = "".join(f"{m},{d}\n" for m, d in zip(minutes, [22] * 20 + [60, 80] + [26] * 20, strict=True))
    assert read_trace(write(tmp_path / "t.csv", f"min,°C\n{text}")).table["temperature"].notna().all()


@pytest.mark.parametrize("lag", [0.05, 0.6, 2.0])
def test_a_thermocouple_pulled_out_on_the_way_up_tells_no_peak(lag, tmp_path):
    """A bell with 102 °C at 50 min, left at 44 min for air of 22 °C, which the probe takes on within `lag` minutes."""
    out = MINUTES > 44
    pulled = np.where(out, 22 + (DEGREES[MINUTES == 44] - 22) * np.exp(-np.maximum(MINUTES - 44, 0) / lag), DEGREES)
    trace = read_trace(write(tmp_path / "t.csv", "min,°C\n" + rows(elapsed(1), pulled)))
    assert trace.state == "rising" and trace.table["temperature"].notna().tolist() == (~out).tolist()
    assert "The thermocouple seems to have left the casting after 44 min: from there it falls faster than a casting cools." in trace.sentence()
    time, peak = trace.readings.loc["time_to_peak"], trace.readings.loc["peak_temperature"]
    assert (time["known"], time["low"]) == ("not yet", 44) and (peak["known"], peak["high"]) == ("not yet", np.inf)
    assert 70 < peak["low"] <= 22 + 80 * np.exp(-((6 / 9) ** 2))


@pytest.mark.parametrize("minute", [54, 60, 75])
def test_a_thermocouple_pulled_out_past_the_peak_has_seen_it(minute, tmp_path):
    """A bell of 80 K falls by 14 K within 4 min of its top: 80 (1 - exp(-(4 / 9)^2))."""
    trace = read_trace(write(tmp_path / "t.csv", "min,°C\n" + rows(elapsed(1), np.where(MINUTES > minute, 22, DEGREES))))
    assert trace.state == "peaked" and trace.readings.loc["peak_temperature", "known"] == "exact"
    assert trace.readings["value"].to_dict() == pytest.approx({**trace.readings["value"], "time_to_peak": 50, "peak_temperature": 102}, abs=0.3)


def test_a_clock_that_jumped_is_spoken_of(tmp_path):
    times = [f"{m + 60 * (m > 20):.1f}" for m in MINUTES]
    trace = read_trace(write(tmp_path / "t.csv", "min,°C\n" + rows(times)))
    said = "If the logger did not pause, but its clock was set, every time after that is wrong: correct them in the file."
    assert trace.notes == (f"No row between 20 and 80.5 min. {said}",)


def test_a_casting_that_only_warms_is_not_taken_for_the_time(tmp_path):
    degrees = 22 + 0.5 * MINUTES
    text = "T (K),time (h)\n" + "".join(f"{d + 273.15:.2f},{m / 60:.6f}\n" for m, d in zip(MINUTES, degrees, strict=True))
    trace = read_trace(write(tmp_path / "t.csv", text))
    assert trace.table["temperature"].to_numpy() == pytest.approx(degrees, abs=0.01)


@pytest.mark.parametrize("heads", ["Clock,S1,S2", "Clock,S 1,S 2", "Clock,S1 (°C),S2 (°C)", "Clock,T1 (°C),T2 (°C)"])
def test_the_s_of_a_channel_is_no_unit_of_time(heads, tmp_path):
    path = write(tmp_path / "t.csv", f"{heads}\n" + rows(stamps("%H:%M:%S"), 22 + MINUTES, more=["22"]))
    with pytest.raises(TraceProblems, match=f"2 channels may be the casting: '{heads[6:8].strip()}"):
        read_trace(path, unit="degC")
    assert read_trace(path, channel=1, unit="degC").table["temperature"].to_numpy() == pytest.approx(22 + MINUTES)


def test_a_number_too_large_to_be_one_is_a_gap(tmp_path):
    lines = rows(elapsed(60, 0)).splitlines()
    lines[3], lines[5] = "1E999,22", f"{lines[5].split(',')[0]},1e400"
    table = read_trace(write(tmp_path / "t.csv", "s,°C\n" + "\n".join(lines))).table
    assert len(table) == len(MINUTES) - 1 and table["temperature"].isna().sum() == 1


def test_until_leaves_the_oven_out(tmp_path):
    degrees = np.where(MINUTES > 80, 150.0, DEGREES)
    path = write(tmp_path / "t.csv", "min,°C\n" + rows(elapsed(1), degrees))
    assert read_trace(path, until="79 min").readings.loc["peak_temperature", "value"] == pytest.approx(102, abs=0.2)


def again(minute, degrees):
    """A second warming to so many °C, of the shape of the first."""
    return DEGREES_LONG + (degrees - 22) * np.exp(-(((LONG - minute) / 9) ** 2))


def long_rows(degrees, head="min,°C"):
    return head + "\n" + "\n".join(f"{m:g},{d:.1f}" for m, d in zip(LONG, degrees, strict=True)) + "\n"


def test_a_trace_that_warms_further_after_it_cooled_is_asked_which_warming_is_meant(tmp_path):
    path = write(tmp_path / "trace.csv", long_rows(again(170, 130)))
    asked = r"twice: to 102 °C at 50 min and, after it had cooled to 22 °C, to 130 °C at 170 min. Say until=(\d+) to read the first"
    with pytest.raises(TraceProblems, match=asked) as refused:
        read_trace(path)
    until = float(re.search(asked, str(refused.value))[1])
    assert read_trace(path, until=until).readings["value"][["time_to_peak", "peak_temperature"]].tolist() == pytest.approx([50, 102], abs=0.5)
    second = read_trace(path, mixed_at=120).readings["value"]
    assert second[["time_to_peak", "peak_temperature"]].tolist() == pytest.approx([50, 130], abs=0.5)
    write(path, long_rows(again(170, 90)))  # an oven below the peak
    assert read_trace(path).readings.loc["peak_temperature", "value"] == pytest.approx(102, abs=0.5)


def test_a_stuck_thermocouple_is_believed_up_to_where_it_stuck(tmp_path):
    """80 exp(-1) = 29.4 K above 22 at 41 min, 9 min before the peak: it stays at that."""
    trace = read_trace(write(tmp_path / "trace.csv", long_rows(np.where(LONG < 41, DEGREES_LONG, 51.4))))
    assert "From 41 min on every row shows exactly 51.4 °C, like a stuck thermocouple" in trace.sentence()
    assert trace.readings.loc["time_to_peak"].tolist() == [41, 41, np.inf, "not yet"]
    assert 48 < trace.readings.loc["peak_temperature", "low"] <= 51.4
    warmed = 22 + 30 * (1 - np.exp(-LONG / 10))  # comes to rest by itself: 52.0 to the digit from 64 min on
    assert "stuck" not in read_trace(write(tmp_path / "trace.csv", long_rows(warmed))).sentence()


def test_a_top_that_the_logger_cut_off_is_no_less_than_that(tmp_path):
    """80 exp(-(5/9)²) = 58.8 K above 22 from 45 to 55 min: cut off there."""
    trace = read_trace(write(tmp_path / "trace.csv", long_rows(np.minimum(DEGREES_LONG, 80.8))))
    assert trace.readings.loc["peak_temperature", ["low", "high", "known"]].tolist() == [pytest.approx(80.8), np.inf, "not yet"]
    assert trace.readings.loc["time_to_peak", ["low", "high"]].tolist() == [45, 55]
    assert "The top is cut off at 80.8 °C" in trace.sentence()
    coarse = read_trace(write(tmp_path / "trace.csv", long_rows(np.round(DEGREES_LONG))))
    assert "cut off" not in coarse.sentence()


def test_a_casting_as_warm_as_no_room_is_asked_for_its_unit(tmp_path):
    """22 °C is 71.6 °F."""
    path = write(tmp_path / "trace.csv", long_rows(DEGREES_LONG * 1.8 + 32, "min,T (°C)"))
    with pytest.raises(TraceProblems, match=r"'T' begins at 71.6, and in °C neither a room .* If it is °F, put °F .* say unit='degC'"):
        read_trace(path)
    assert read_trace(path, unit="degC").readings.loc["peak_temperature", "value"] == pytest.approx(215.6, abs=1)


def test_two_numbers_are_asked_for_their_unit_where_both_are_long_enough(tmp_path):
    """From 10:00 to 15:30 either way, of which the second is 5.5 min."""
    def clock(last):
        each = np.linspace(0, last, 60).round().astype(int)
        return "time,T (°C)\n" + "".join(f"{10 + k // 60}:{k % 60:02d},{22 + 40 * np.exp(-((k - last / 2) / 20) ** 2):.1f}\n" for k in each)

    with pytest.raises(TraceProblems, match=r"may be hours and minutes or minutes and seconds. Say time='hh:mm' or time='mm:ss'"):
        read_trace(write(tmp_path / "trace.csv", clock(330)))
    for time, last in (("hh:mm", 330), ("mm:ss", 5.5)):
        assert read_trace(tmp_path / "trace.csv", time=time).table["minutes"].max() == pytest.approx(last)
    assert read_trace(write(tmp_path / "trace.csv", clock(120))).table["minutes"].max() == 120


@pytest.mark.parametrize("days, says", [(29.9, []), (30.2, ["it runs over 30 days. Check the unit of its times, or cut it down to one casting."])])
def test_a_trace_over_a_month_is_asked_for_its_unit(days, says):
    assert _too_little(pd.DataFrame({"minutes": np.linspace(-60, 1440 * days - 60, 50), "temperature": 20.0}), True) == says


def test_names_of_channels_run_nowhere(tmp_path):
    text = "min,<script>alert(1)</script> $x^2$ \u202e (°C)\n" + rows(elapsed(1))
    trace = read_trace(write(tmp_path / "t.csv", text))
    assert "<script>" in trace.sentence() and "<script>" not in trace._repr_html_()
    assert trace.show().to_bytes("png")[:4] == b"\x89PNG"


@pytest.mark.parametrize("head, units", [("C type K", {"degC"}), ("Type K F", {"degF"}), ("type K", set()), ("Temp C\nTemp F", {"degC", "degF"})])
def test_the_letter_of_a_unit_is_told_from_that_of_a_thermocouple(head, units):
    assert _units_in(head) == units


@pytest.mark.parametrize("minutes, broken", [([0.0, 1, 2, 10, 11], [0, 1, 2, np.nan, 10, 11]), ([0.0, 1, 2, 6, 7], [0, 1, 2, 6, 7]), ([0.0, 9], [0, 9])])
def test_a_drawn_trace_is_broken_at_each_gap(minutes, broken):
    """A gap is over four times as long as is usual between two rows; rows without a temperature are none."""
    x, y = _broken(pd.Series([*minutes, 99.0]), pd.Series([20.0] * len(minutes) + [np.nan]))
    np.testing.assert_array_equal(x, broken)
    np.testing.assert_array_equal(np.isnan(y), np.isnan(broken))


@pytest.mark.parametrize("name, low, value, high, known, says", [
    ("gel_time", 12.34, 16.0, 19.94, "between", "12.3 to 19.9 min"), ("gel_time", 12.34, 16.0, 20.0, "between", "12 to 20 min"),
    ("peak_temperature", 101.4, 101.4, 101.4, "exact", "101 °C"), ("time_to_peak", 44.6, 44.6, np.inf, "not yet", "more than 45 min"),
    ("time_to_peak", -np.inf, 8.26, 8.26, "already", "less than 8.3 min"), ("onset", 1.0, 1.0, 1.0, "exact", ""),
])
def test_a_reading_of_a_trace_in_words(name, low, value, high, known, says):
    """Tenths of a minute below 20 min; a reading that is not there has none."""
    rows = pd.DataFrame({"value": value, "low": low, "high": high, "known": known}, index=[name])
    assert Trace.words(SimpleNamespace(readings=rows.drop(index="onset", errors="ignore")), name) == says
