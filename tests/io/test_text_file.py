"""Text files are read in pieces, and told apart and refused as if they were read as a whole."""

import threading

import numpy as np
import pytest
from resident import many_rows, run_measured

from tautlog.errors import TraceImportError
from tautlog.io import columns, text_file
from tautlog.io.importer import import_csv


@pytest.fixture
def pieces(monkeypatch):
    monkeypatch.setattr(columns, "_ROWS_AT_ONCE", 3)
    monkeypatch.setattr(columns, "_HEAD_ROWS", 4)
    monkeypatch.setattr(text_file, "_BYTES_AT_ONCE", 5)
    monkeypatch.setattr(text_file, "_LINES_LOOKED_AT", 2)


def table(path, rows=20, **other):
    lines = [other.get(f"line{i}", f"{i};{i},5") for i in range(rows)]
    path.write_text("t;force µ\n" + "\n".join(lines) + "\n", encoding=other.get("as_", "utf-8"))
    return path


def read(path):
    return import_csv(path, force_column="force µ", time_column="t", time_unit="s")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "utf-8-sig", "latin-1"])
def test_pieces_make_the_whole(tmp_path, pieces, encoding):
    trace = read(table(tmp_path / "a.csv", as_=encoding))
    assert np.array_equal(trace.values, np.arange(20) + 0.5)
    assert trace.sample_rate_hz == 1.0


def test_a_mistake_has_its_line_in_any_piece(tmp_path, pieces):
    for line in (2, 3, 13, 19):
        path = table(tmp_path / f"{line}.csv", **{f"line{line}": f"{line};x"})
        with pytest.raises(TraceImportError, match=f"line {line + 2}, column .* found 'x'"):
            read(path)
    with pytest.raises(TraceImportError, match=r"line 17 has 1 column\(s\)"):
        read(table(tmp_path / "short.csv", line15="15"))
    with pytest.raises(TraceImportError, match="line 18: the time 16 s is not after"):
        read(table(tmp_path / "odd.csv", line15="99;1,5"))


def test_a_line_without_end_is_refused_before_it_is_held(tmp_path, monkeypatch):
    monkeypatch.setattr(text_file, "_LONGEST_LINE", 1 << 21)
    path = tmp_path / "a.csv"
    path.write_bytes(b"t;force\n" + b"0" * (4 << 20))
    with pytest.raises(TraceImportError, match="line 2 has more than 2097152 characters"):
        read(path)


def test_more_lines_than_a_trace_can_have_are_refused_with_the_limit(tmp_path, monkeypatch):
    monkeypatch.setattr(text_file, "MAX_TRACE_SAMPLES", 5)
    with pytest.raises(TraceImportError, match="more than 10 lines: a trace has at most 5 samples"):
        read(table(tmp_path / "a.csv"))


def test_a_file_that_grows_while_it_is_read_is_refused(tmp_path, monkeypatch):
    path = table(tmp_path / "a.csv")
    numbers = columns.Columns.numbers

    def slow(*given):
        with path.open("a", encoding="utf-8") as file:
            file.write("20;20,5\n")
        return numbers(*given)

    monkeypatch.setattr(columns.Columns, "numbers", slow)
    with pytest.raises(TraceImportError, match="changed while it was read"):
        read(path)


def test_what_comes_out_of_a_pipe_is_read(tmp_path):
    os = pytest.importorskip("os")
    if not hasattr(os, "mkfifo"):
        pytest.skip("no named pipes here")
    path = tmp_path / "pipe"
    os.mkfifo(path)
    filled = threading.Thread(target=table, args=(path,))
    filled.start()
    assert read(path).values.size == 20
    filled.join()


@pytest.mark.long
def test_five_million_rows_take_less_than_400_mb(tmp_path):
    path = many_rows(tmp_path / "a.csv", 5_000_000)
    given = ["--force-column", "force_n", "--time-column", "time_s", "--mass", "9"]
    status, out, errors, megabytes, _ = run_measured(
        "import", path, *given, "--height", "1.2", "--out", tmp_path / "a.h5"
    )
    assert status == 0, errors
    assert "5000000 samples at 50000 Hz" in out
    assert megabytes < 400
