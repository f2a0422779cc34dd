"""Import of foreign traces: the right numbers, or one clear line that says where."""

from __future__ import annotations

import json
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from places import DATA

from tautlog.errors import TautlogError, TraceImportError
from tautlog.io.importer import ImportedTrace, import_csv, write_record
from tautlog.model.trace import DropSetup
from tautlog.record import RecordWriter, open_record


def read(tmp_path: Path, text: str | bytes, **options) -> ImportedTrace:  # type: ignore[no-untyped-def]
    path = tmp_path / "trace.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return import_csv(
        path, **{"force_column": "force", "time_column": "t", "time_unit": "s"} | options
    )


def test_barrier_of_load_cells() -> None:
    folder = DATA / "nhtsa_10146_load_cells"
    expected = json.loads((folder / "expected.json").read_text())["traces"][0]
    trace = import_csv(
        folder / "barrier_total.csv", force_column="total_Fx_N", time_column="time_s", invert=True
    )
    assert (trace.sample_rate_hz, trace.first_time_s) == (expected["sample_rate_hz"], -0.05)
    assert trace.values.size == expected["rows"]
    force_n = trace.trace().force_n
    baseline_n = -expected["baseline"]
    # To the last of the digits that expected.json has.
    assert force_n.max() - baseline_n == pytest.approx(expected["peak"], abs=0.006)
    assert np.argmax(force_n) / 1e4 - 0.05 == pytest.approx(expected["t_peak_s"], abs=1e-9)
    assert trace.values.min() < 0  # as in the file


def test_two_plates_are_summed() -> None:
    folder = DATA / "forceplate_dropjump_1000hz"
    expected = json.loads((folder / "expected.json").read_text())["traces"][0]
    traces = [
        import_csv(folder / "drop_jump.csv", force_column=columns, sample_rate_hz=1000)
        for columns in ("plate1_Fz_N+plate2_Fz_N", ["plate1_Fz_N", 3], (2, "3"))
    ]
    for trace in traces:
        np.testing.assert_array_equal(trace.values, traces[0].values)
        assert trace.columns == ("plate1_Fz_N", "plate2_Fz_N")
    peak_n = traces[0].values.max() - expected["baseline"]
    assert peak_n == pytest.approx(expected["peak"], abs=0.0002)
    assert np.argmax(traces[0].values) / 1000 == expected["t_peak_s"]


def test_a_foreign_trace_becomes_a_record(tmp_path: Path) -> None:
    trace = read(tmp_path, "t,force\n-0.1,-1.5\n0.0,\n0.1,-2\n0.2,3\n", unit="kN", invert=True)
    path = tmp_path / "drop.h5"
    setup = DropSetup(mass_kg=68.0, article="plate")
    write_record(path, trace, setup=setup, campaign="jumps")
    record = open_record(path)
    np.testing.assert_array_equal(record.trace().force_n, [1500.0, np.nan, 2000.0, -3000.0])
    np.testing.assert_array_equal(record.trace().force_n, trace.trace().force_n)
    assert record.trace().sample_rate_hz == 10.0
    assert record.trace().release_time_s is None
    assert record.trace().quantum_n == 0
    assert (record.instrument, record.status, record.setup) == (None, "complete", setup)
    assert record.source["first_time_s"] == -0.1
    assert record.source["source_file"] == "trace.csv"
    assert record.source["source_sha256"] == trace.sha256
    assert record.source["source_columns"] == ["force"]
    assert record.verify_seal().state == "intact"
    with pytest.raises(TautlogError, match="imported trace"):
        record.counts()
    with pytest.raises(TautlogError, match="is finished"):
        RecordWriter.resume(path)


@pytest.mark.parametrize(
    ("unit", "newtons"),
    # SP 811, NIST guide for the use of the SI, appendix B.8: both are exact.
    [("N", 1.0), ("kN", 1000.0), ("lbf", 4.4482216152605), ("kgf", 9.80665)],
)
def test_units(tmp_path: Path, unit: str, newtons: float) -> None:
    trace = read(tmp_path, "t,force\n0,1\n1,2\n", unit=unit)
    np.testing.assert_array_equal(trace.values, [1, 2])
    np.testing.assert_array_equal(trace.trace().force_n, [newtons, 2 * newtons])


@pytest.mark.parametrize(
    "text",
    [
        "t,force\n0.0,1.5\n0.5,-2\n1.0,3e2\n",
        "t;force\n0.0;1.5\n0.5;-2\n1.0;3e2\n",
        "t\tforce\n0.0\t1.5\n0.5\t-2\n1.0\t3e2\n",
        "t;force\r\n0,0;1,5\r\n0,5;-2\r\n1,0;3e2\r\n",
        "t\tforce\n0,0\t1,5\n0,5\t-2\n1,0\t3e2",
        "\ufefft,force\n0.0,1.5\n0.5,-2\n1.0,3e2\n",
        "Rig 7, measured by A. B.\nRate, 2\n\nt,force\n0.0,1.5\n0.5,-2\n1.0,3e2\n",
        "# t , force\n0.0,1.5\n0.5,-2\n1.0,3e2\n",
        "t,force\ns,N\n0.0,1.5\n0.5,-2\n1.0,3e2\n",
        't,"force"\n"0.0","1.5"\n0.5,-2\n\n1.0,3e2\n\n',
        " t , force , note\n0.0, 1.5 ,a\n0.5,-2,b c\n1.0,3e2,\n",
        "date;t;force\n2026-01-01;0,0;1,5\n2026-01-01;0,5;-2\n2026-01-01;1,0;3e2\n",
    ],
)
def test_shapes_of_files(tmp_path: Path, text: str) -> None:
    for content in (text.encode(), text.encode("utf-16")):
        trace = read(tmp_path, content)
        np.testing.assert_array_equal(trace.values, [1.5, -2, 300])
        assert (trace.sample_rate_hz, trace.first_time_s) == (2.0, 0.0)
        assert (trace.columns, trace.time_column) == (("force",), "t")


@pytest.mark.parametrize("text", ["0,1.5\n0.5,-2\n", "a comment\n0,1.5\n0.5,-2\n"])
def test_columns_without_names_have_numbers(tmp_path: Path, text: str) -> None:
    trace = read(tmp_path, text, force_column=2, time_column="1")
    assert (trace.columns, trace.time_column) == (("2",), "1")
    np.testing.assert_array_equal(trace.values, [1.5, -2])


def test_one_column_and_a_rate(tmp_path: Path) -> None:
    trace = read(tmp_path, "force\n1\n2\n", time_column=None, sample_rate_hz=62500)
    assert (trace.sample_rate_hz, trace.first_time_s, trace.time_column) == (62500, 0, "")


def test_a_name_may_hold_a_plus_and_be_latin(tmp_path: Path) -> None:
    trace = read(
        tmp_path, "t,Fx+Fy (\u00b5N)\n0,1\n1,2\n".encode("latin-1"), force_column="Fx+Fy (\u00b5N)"
    )
    assert trace.columns == ("Fx+Fy (\u00b5N)",)


def test_an_empty_cell_and_nan_are_missing_samples(tmp_path: Path) -> None:
    trace = read(tmp_path, "t,force,b\n0,1,1\n1,,1\n2,NaN,1\n3,4,\n4,5,1\n", force_column="force+b")
    np.testing.assert_array_equal(trace.values, [2, np.nan, np.nan, np.nan, 6])


@pytest.mark.parametrize("rate_hz", [1000.0, 3000.0, 44100.0, 62500.0, 500000.0])
def test_times_that_were_printed_with_few_digits_are_even(tmp_path: Path, rate_hz: float) -> None:
    lines = "".join(f"{i / rate_hz:.6f},{i}\n" for i in range(2001))
    trace = read(tmp_path, "t,force\n" + lines)
    # The last time is rounded to 1 us in 2000 intervals.
    assert trace.sample_rate_hz == pytest.approx(rate_hz, rel=0.6e-6 * rate_hz / 2000)


@pytest.mark.parametrize(
    ("text", "options", "message"),
    [
        ("", {}, "is empty"),
        (" \n\n", {}, "is empty"),
        (b"\x89HDF\0\0\0", {}, "is not a text file"),
        ("t,force\n", {}, r"has 0 row\(s\) of data, expected 2 or more"),
        ("t,force\n0,1\n", {}, r"has 1 row\(s\) of data, expected 2 or more"),
        ("t,f\n0,1\n1,2\n", {}, r"no column 'force'; it has 1 't', 2 'f'"),
        ("0,1\n1,2\n", {}, r"no header and 2 column\(s\)"),
        ("t,force\n0,1\n1,2\n", {"force_column": 3}, "no column '3'; it has 1 't', 2 'force'"),
        ("t,force\n0,1\n1,2\n", {"force_column": 0}, "no column '0'"),
        ("t,force\n0,1\n1,2\n", {"force_column": []}, "force column is missing"),
        ("t,force\n0,1\n1,2\n", {"force_column": "force+2"}, "named twice"),
        ("t,force,force\n0,1,2\n1,2,3\n", {}, r"several columns 'force': give .* \[2, 3\]"),
        ("t,force\n0,1\n1,two\n", {}, "line 3, column 'force': expected a number, found 'two'"),
        ("t,force\n0,one\n1,2\n2,3\n", {}, "line 2, column 'force': .* found 'one'"),
        ("t,force\n0,1\n1,2\n2,inf\n", {}, "line 4, column 'force': .* found 'inf'"),
        ("t,force\n0,1\n1,2\n2,1e999\n", {}, "line 4, column 'force'"),
        ("t,force\n0,1\n1,1_0\n", {}, "line 3, column 'force': .* found '1_0'"),
        ("x\n\nt,force\n0,1\n1,2\n\n2\n", {}, r"line 7 has 1 column\(s\), expected .* 'force'"),
        ("t,force\n0,1\n,2\n2,3\n", {}, "line 3: the time is missing"),
        ("t,force\n0,\n1,\n2,\n", {}, "no number in column force"),
        ("t,force\n0,1\n1,2\n1,3\n2,4\n", {}, r"line 4: the time 1 s is not after .* \(1 s\)"),
        ("t,force\n2,1\n1,2\n0,3\n", {}, "line 3: the time 1 s is not after"),
        (
            "t,force\n0,1\n1,2\n2,3\n4,4\n5,5\n",
            {},
            r"line 5: the time 4 s comes 2 s after the one before it, expected 1 s within 25%",
        ),
        ("t,force\n0,1\n1,2\n", {"unit": "counts"}, "unit 'counts' is unknown: choose from N, kN,"),
        ("t,force\n0,1\n1,2\n", {"sample_rate_hz": 5}, "both of time column and sample rate"),
        ("force\n1\n2\n", {"time_column": None}, "neither of time column and sample rate"),
        (
            "force\n1\n2\n",
            {"time_column": None, "sample_rate_hz": 0.0},
            "the sample rate must be > 0 Hz, was 0",
        ),
        ('t,force\n0,"' + "x" * 140_000, {}, "cannot be split into columns"),
    ],
)
def test_mistakes_are_one_clear_line(
    tmp_path: Path, text: str | bytes, options: dict, message: str
) -> None:
    with pytest.raises(TraceImportError, match=message) as caught:
        read(tmp_path, text, **options)
    assert "\n" not in str(caught.value)
    assert isinstance(caught.value, ValueError)


def drop_at(rate_hz: float, second: float) -> str:
    """Two seconds of times in a unit of `second` to a second."""
    return "t,force\n" + "".join(f"{i / rate_hz * second:.9g},{i}\n" for i in range(2000))


@pytest.mark.parametrize("rate_hz", [1000.0, 10_000.0, 62_500.0, 500_000.0])
@pytest.mark.parametrize(("unit", "second"), [("ms", 1e3), ("us", 1e6)])
def test_times_that_are_no_seconds_are_asked_for(
    tmp_path: Path, unit: str, second: float, rate_hz: float
) -> None:
    text = drop_at(rate_hz, second)
    with pytest.raises(TraceImportError, match="are they in ms or us") as caught:
        read(tmp_path, text, time_unit=None)
    assert "\n" not in str(caught.value)
    assert read(tmp_path, text, time_unit=unit).sample_rate_hz == pytest.approx(rate_hz)
    stated = read(tmp_path, text, time_unit="s")
    assert stated.sample_rate_hz == pytest.approx(rate_hz / second)


@pytest.mark.parametrize("rate_hz", [1000.0, 10_000.0, 62_500.0, 500_000.0])
def test_times_that_can_be_seconds_are_not_asked_for(tmp_path: Path, rate_hz: float) -> None:
    trace = read(tmp_path, drop_at(rate_hz, 1.0), time_unit=None)
    assert trace.sample_rate_hz == pytest.approx(rate_hz)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"time_unit": "min"}, "time unit 'min' is unknown"),
        ({"time_column": None, "sample_rate_hz": 1e15}, "at most 1e"),
        ({"time_column": None, "sample_rate_hz": float("nan")}, "must be > 0 Hz"),
    ],
)
def test_no_such_time(tmp_path: Path, options: dict, message: str) -> None:
    with pytest.raises(TraceImportError, match=message):
        read(tmp_path, "t,force\n0,1\n1,2\n", **options)


def test_a_drift_of_the_clock_is_seen(tmp_path: Path) -> None:
    # Every step is within tolerance, the whole is not: a rate that changes half way.
    times = np.cumsum([1.0] * 50 + [1.2] * 50)
    with pytest.raises(TraceImportError, match="is off the even grid"):
        read(tmp_path, "t,force\n" + "".join(f"{t},1\n" for t in times))


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    for path, message in ((tmp_path / "no.csv", "does not exist"), (tmp_path, "is a folder")):
        with pytest.raises(TraceImportError, match=message):
            import_csv(path, force_column=1, sample_rate_hz=1)


def test_the_time_of_an_import_grows_with_its_rows_only(tmp_path: Path) -> None:
    def seconds(rows: int) -> float:
        text = "t,force\n" + "".join(f"{i / 1e5:.5f},{i % 977}\n" for i in range(rows))
        path = tmp_path / "big.csv"
        path.write_text(text)
        begin = time.process_time()
        assert import_csv(path, force_column="force", time_column="t").values.size == rows
        return time.process_time() - begin

    seconds(1000)
    # Ten times the rows may take some ten times as long; a quadratic one takes a hundred. The
    # least of three: what else this machine does only adds to a time.
    many, few = (min(seconds(rows) for _ in range(3)) for rows in (100_000, 10_000))
    assert many < 40 * max(few, 0.01)


CELLS = st.one_of(
    st.sampled_from(
        ["", "0", "1", "2,5", "3.25", "-1e3", "nan", "inf", "x", '"', "#", "t", "force"]
    ),
    st.floats().map(str),
    st.text(max_size=5),
)
TABLES = st.builds(
    lambda rows, delimiter, end: end.join(delimiter.join(row) for row in rows),
    st.lists(st.lists(CELLS, min_size=1, max_size=3), max_size=8),
    st.sampled_from([",", ";", "\t", " "]),
    st.sampled_from(["\n", "\r\n", "\r"]),
)


@settings(max_examples=400, deadline=None)
@given(
    content=st.one_of(st.binary(max_size=60), TABLES.map(lambda t: t.encode("utf-8", "replace"))),
    column=st.sampled_from([1, 2, "force", "1+2", "t+force"]),
    timed=st.booleans(),
)
@example(b"1e308,1e308\n1e308,1e308", "1+2", False)
@example(b"0,1\n5e-324,1", 2, True)
def test_any_file_is_a_trace_or_an_import_error(
    tmp_path_factory: pytest.TempPathFactory, content: bytes, column: str | int, timed: bool
) -> None:
    path = tmp_path_factory.mktemp("any") / "trace.csv"
    path.write_bytes(content)
    rate: dict = {"time_column": 1} if timed else {"sample_rate_hz": 10.0}
    try:
        trace = import_csv(path, force_column=column, **rate)
    except TraceImportError as problem:
        assert "\n" not in str(problem)  # noqa: PT017 - most files are refused, and may be
        return
    assert trace.values.size >= 2
    assert not np.isinf(trace.trace().force_n).any()
    assert trace.trace().sample_rate_hz > 0


NUMBERS = st.floats(-1e6, 1e6)


@settings(max_examples=60, deadline=None)
@given(
    values=st.lists(NUMBERS | st.none(), min_size=2, max_size=30).filter(
        lambda v: any(x is not None for x in v)
    ),
    style=st.sampled_from([",.", ";.", ";,", "\t.", "\t,"]),
)
def test_numbers_written_are_numbers_read(
    tmp_path_factory: pytest.TempPathFactory, values: list[float | None], style: str
) -> None:
    delimiter, point = style
    lines = [
        f"{i}{delimiter}{'' if v is None else repr(v)}".replace(".", point)
        for i, v in enumerate(values)
    ]
    path = tmp_path_factory.mktemp("any") / "trace.csv"
    path.write_text("\n".join([f"t{delimiter}force", *lines]))
    trace = import_csv(path, force_column="force", time_column="t", time_unit="s")
    np.testing.assert_array_equal(trace.values, [np.nan if v is None else v for v in values])
    assert trace.sample_rate_hz == 1.0
