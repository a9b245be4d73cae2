"""Generated trace files: read to the same numbers, or refused with named problems; never another exception."""

import datetime as dt

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from testpour.exchange.grid import TraceProblems
from testpour.exchange.reader import read_trace

FEW = settings(max_examples=100, suppress_health_check=list(HealthCheck))
MANY = settings(max_examples=2500, suppress_health_check=list(HealthCheck))
TIMES = ("s", "min", "h", "clock", "clock AM", "date", "iso")
UNITS = {"°C": lambda c: c, "°F": lambda c: 1.8 * c + 32, "K": lambda c: c + 273.15}
JUNK = ("Logger", "Serial;0815", "Interval,30", "", "Operator\tnobody", "Start: today", "°")

shapes = st.fixed_dictionaries({
    "separator": st.sampled_from([",", ";", "\t"]), "comma": st.booleans(), "time": st.sampled_from(TIMES),
    "unit": st.sampled_from(list(UNITS)), "coding": st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "latin-1"]),
    "end": st.sampled_from(["\n", "\r\n"]), "junk": st.lists(st.sampled_from(JUNK), max_size=4), "counter": st.booleans(),
    "step": st.sampled_from([1, 5, 10, 30, 60]), "rows": st.integers(8, 60), "start": st.integers(0, 86_399),
    "blanks": st.lists(st.integers(0, 59), max_size=3, unique=True), "blank": st.sampled_from(["", "---", "n/a", "OL"]),
    "seed": st.integers(0, 999), "digits": st.integers(1, 3), "room": st.booleans(),
})


def times_of(shape):
    """The time cells, and their head."""
    seconds = shape["step"] * np.arange(shape["rows"])
    if shape["time"] in ("s", "min", "h"):
        scale = {"s": 1, "min": 60, "h": 3600}[shape["time"]]
        cells = [f"{s / scale:.6f}" for s in seconds]
        return [c.replace(".", ",") if shape["comma"] else c for c in cells], f"time ({shape['time']})"
    form = {"clock": "%H:%M:%S", "clock AM": "%I:%M:%S %p", "date": "%d.%m.%Y %H:%M:%S", "iso": "%Y-%m-%d %H:%M:%S"}[shape["time"]]
    start = dt.datetime(2026, 3, 14) + dt.timedelta(seconds=shape["start"])
    return [(start + dt.timedelta(seconds=int(s))).strftime(form) for s in seconds], "time"


def file_of(shape):
    """The file's bytes, and the table it holds."""
    rng = np.random.default_rng(shape["seed"])
    degrees = np.round(22 + np.cumsum(rng.uniform(-0.3, 1.5, shape["rows"])), 2)
    comma = shape["comma"] and shape["separator"] != ","
    shape = {**shape, "comma": comma}
    times, head = times_of(shape)
    shown = [f"{UNITS[shape['unit']](d):.{shape['digits']}f}" for d in degrees]
    shown = [c.replace(".", ",") if comma else c for c in shown]
    gaps = [k for k in shape["blanks"] if k < shape["rows"]]
    shown = [shape["blank"] if k in gaps else cell for k, cell in enumerate(shown)]
    columns, heads = [times, shown], [head, f"casting ({shape['unit']})"]
    if shape["counter"]:
        columns, heads = [[str(k + 1) for k in range(shape["rows"])], *columns], ["No.", *heads]
    if shape["room"]:
        room = f"{UNITS[shape['unit']](20.5):.2f}"
        columns, heads = [*columns, [room.replace(".", ",") if comma else room] * shape["rows"]], [*heads, f"room ({shape['unit']})"]
    lines = [*shape["junk"], shape["separator"].join(heads), *map(shape["separator"].join, zip(*columns, strict=True))]
    degrees[gaps] = np.nan
    return shape["end"].join(lines).encode(shape["coding"]), shape["step"] * np.arange(shape["rows"]) / 60, degrees


def accepted(path, shape):
    raw, minutes, degrees = file_of(shape)
    path.write_bytes(raw)
    trace = read_trace(path)
    assert trace.table["minutes"].to_numpy() == pytest.approx(minutes, abs=2e-4)
    assert trace.table["temperature"].to_numpy() == pytest.approx(degrees, abs=0.06, nan_ok=True)
    assert ("room" in trace.table) == shape["room"]


def spoilt(path, shape, cuts, words):
    """A file with stretches of its bytes replaced: read, and then the same again when written plainly; or refused."""
    raw = bytearray(file_of(shape)[0])
    for (place, length), word in zip(cuts, words, strict=False):
        first = place % len(raw)
        raw[first : first + length] = word.encode("utf-8", "ignore")
    path.write_bytes(bytes(raw))
    try:
        trace = read_trace(path)
    except TraceProblems as refused:
        assert refused.problems and all(isinstance(p, str) and p for p in refused.problems)
        return
    assert trace.sentence() and trace._repr_html_()
    table = trace.table
    assert np.isfinite(table["minutes"]).all() and table["minutes"].is_monotonic_increasing
    assert table["temperature"].dropna().between(-30, 320).all()
    plain = "min,°C\n" + "".join(f"{m:.9f},{'' if np.isnan(t) else format(t, '.9f')}\n" for m, t in table[["minutes", "temperature"]].to_numpy())
    path.write_text(plain, encoding="utf-8")
    again = read_trace(path).table
    assert again["temperature"].to_numpy() == pytest.approx(table["temperature"].to_numpy(), abs=1e-6, nan_ok=True)


cuts = st.lists(st.tuples(st.integers(0, 100_000), st.integers(0, 40)), min_size=1, max_size=6)
words = st.lists(st.one_of(st.text(max_size=12), st.sampled_from([",", ";", "\n", '"', "1,000", "25:61", "NaN", "1e999", "٣", "\x00", "12.13.14 1:1"])),
                 min_size=6, max_size=6)


@pytest.mark.slow
@FEW
@given(shape=shapes)
def test_a_hundred_files_are_read_to_the_numbers_in_them(tmp_path_factory, shape):
    accepted(tmp_path_factory.getbasetemp() / "generated.csv", shape)


@pytest.mark.slow
@FEW
@given(shape=shapes, cuts=cuts, words=words)
def test_a_hundred_spoilt_files_are_read_or_refused(tmp_path_factory, shape, cuts, words):
    spoilt(tmp_path_factory.getbasetemp() / "generated.csv", shape, cuts, words)


@pytest.mark.slow
@pytest.mark.long
@MANY
@given(shape=shapes)
def test_2500_files_are_read_to_the_numbers_in_them(tmp_path_factory, shape):
    accepted(tmp_path_factory.getbasetemp() / "generated.csv", shape)


@pytest.mark.slow
@pytest.mark.long
@MANY
@given(shape=shapes, cuts=cuts, words=words)
def test_2500_spoilt_files_are_read_or_refused(tmp_path_factory, shape, cuts, words):
    spoilt(tmp_path_factory.getbasetemp() / "generated.csv", shape, cuts, words)
