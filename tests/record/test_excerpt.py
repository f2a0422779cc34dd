"""A long record is judged by the stretch around its drop; what lies outside is never silent.

The limit is lowered, so that records of seconds are long ones. What the whole record says is
found by lifting it.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, assume, given, settings
from hypothesis import strategies as st
from long_records import long_record
from made_records import made

from tautlog.archive.assess import assess
from tautlog.errors import RecordError
from tautlog.model.excerpt import Excerpt, Span
from tautlog.record import excerpt, excerpted, grid, open_record, parts
from tautlog.record.layout import BLOCK_DTYPE

RATE_HZ = 6250.0
MOST = 42_000  # of a record of 20 s 125 000
ALIKE = settings(
    max_examples=8,
    phases=[Phase.explicit, Phase.generate],  # one example takes too long to shrink it
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
FIGURES = (
    *("peak_force_n", "peak_time_s", "onset_time_s", "slack_time_s", "duration_s", "rise_time_s"),
    *("impulse_ns", "rest_force_n", "bounces", "impulse_closure", "release_time_s"),
    *("samples", "missing_samples", "line_stiffness_n_per_m", "peak_force_expanded_u_n"),
)


@pytest.fixture
def place(tmp_path):
    """A new name for each example."""
    number = iter(range(1000))
    return lambda: tmp_path / f"{next(number)}.h5"


def near(value):
    return pytest.approx(value, rel=2e-3, abs=2e-4)


def both(path, monkeypatch):
    """The assessment of the excerpt, and that of the whole record."""
    monkeypatch.setattr(excerpt, "MOST_SAMPLES", MOST)
    short = assess(open_record(path))
    monkeypatch.setattr(excerpt, "MOST_SAMPLES", 1 << 40)
    return short, assess(open_record(path))


def test_a_record_below_the_limit_is_read_as_it_is(tmp_path):
    record = open_record(made(tmp_path / "a.h5"))
    assert record.size <= excerpt.MOST_SAMPLES
    assert excerpted(record) is record
    assert not assess(record).has("excerpt")


@ALIKE
@given(
    at_s=st.floats(0.5, 15.5),
    released=st.booleans(),
    stiffness=st.sampled_from((9_000.0, 20_800.0, 60_000.0)),
)
def test_wherever_the_drop_is_its_marks_are_those_of_the_whole(
    place, monkeypatch, at_s, released, stiffness
):
    path = long_record(
        place(),
        seconds=20.0,
        at_s=at_s,
        released=released,
        stiffness=stiffness,
        rate_hz=RATE_HZ,
    )
    short, whole = both(path, monkeypatch)
    assert short.has("excerpt")
    assert not short.has("beyond-excerpt")
    for name in FIGURES:
        told, of_all = getattr(short.marks, name), getattr(whole.marks, name)
        assert told == (of_all if of_all is None else near(of_all)), name
    assert short.verdict.load_verdict == whole.verdict.load_verdict
    assert short.verdict.trace_says == whole.verdict.trace_says
    assert short.verdict.record_verdict == whole.verdict.record_verdict


@ALIKE
@given(
    at_s=st.floats(1.0, 15.0),
    later=st.floats(0.0, 19.8),
    height=st.floats(1.0, 1.6),
)
def test_a_higher_pull_is_never_silent(place, monkeypatch, at_s, later, height):
    """Wherever it is: either it is the peak, or the record is suspect and says so."""
    monkeypatch.setattr(excerpt, "MOST_SAMPLES", MOST)
    pulls = [(later, 1900.0 * height)]
    path = long_record(place(), seconds=20.0, at_s=at_s, pulls=pulls, rate_hz=RATE_HZ)
    record = excerpted(open_record(path))
    drop = assess(record)
    span = record.excerpt.span
    # What marking says of two pulls in one excerpt is not this test's business.
    assume(not span.start <= (later + 0.025) * RATE_HZ < span.stop)
    assert drop.has("beyond-excerpt")
    assert drop.verdict.record_verdict in ("suspect", "invalid")
    assert "the force reaches" in drop.marks.text_of("beyond-excerpt")


def test_of_two_drops_without_a_release_the_other_is_told(place, monkeypatch):
    monkeypatch.setattr(excerpt, "MOST_SAMPLES", MOST)
    path = long_record(
        place(), seconds=20.0, at_s=2.0, pulls=[(18.0, 1500.0)], released=False, rate_hz=RATE_HZ
    )
    drop = assess(open_record(path))
    assert drop.has("beyond-excerpt")
    assert drop.verdict.record_verdict != "valid"


def test_hands_on_the_sled_before_and_after_are_no_drop(place, monkeypatch):
    monkeypatch.setattr(excerpt, "MOST_SAMPLES", MOST)
    pulls = [(1.0, 150.0), (18.0, 200.0)]
    path = long_record(place(), seconds=20.0, at_s=8.0, pulls=pulls, rate_hz=RATE_HZ)
    drop = assess(open_record(path))
    assert drop.has("excerpt")
    assert not drop.has("beyond-excerpt")
    assert drop.verdict.record_verdict == "valid"


def test_a_rail_outside_is_told(place, monkeypatch):
    monkeypatch.setattr(excerpt, "MOST_SAMPLES", MOST)
    path = long_record(place(), seconds=20.0, at_s=5.0, pulls=[(17.0, -3000.0)], rate_hz=RATE_HZ)
    drop = assess(open_record(path))
    assert "at a limit" in drop.marks.text_of("beyond-excerpt")
    assert drop.verdict.record_verdict == "suspect"


@pytest.mark.parametrize("released", [True, False])
def test_what_is_missing_outside_is_counted(place, monkeypatch, released):
    path = long_record(
        place(),
        seconds=20.0,
        at_s=9.0,
        left_out=[(1.0, 2.0), (17.0, 18.0)],
        released=released,
        rate_hz=RATE_HZ,
    )
    short, whole = both(path, monkeypatch)
    assert short.marks.missing_samples == whole.marks.missing_samples > 1.5 * RATE_HZ
    assert short.marks.samples == whole.marks.samples
    # Without a release nothing tells that the drop was not in the gap.
    assert short.has("beyond-excerpt") is not released


@settings(max_examples=60, deadline=None)
@given(
    left_out=st.sets(st.integers(1, 17), max_size=10),
    spoiled=st.sets(st.integers(0, 18), max_size=4),
    start=st.integers(0, 19_000),
    size=st.integers(0, 5_000),
)
def test_a_stretch_of_a_grid_is_that_stretch_of_the_whole(left_out, spoiled, start, size):
    numbers = [number for number in range(19) if number not in left_out]
    lengths = [1000] * (len(numbers) - 1) + [777]
    table = np.zeros(len(numbers), BLOCK_DTYPE)
    table["block"], table["row"] = numbers, np.cumsum([0, *lengths[:-1]])
    table["lost"] = [number in spoiled for number in numbers]
    rows = np.arange(float(sum(lengths)))
    whole = grid.grid_of(table, rows.size, 1000)
    of_all = whole.placed(rows, np.nan)
    span = Span(min(start, whole.size), min(start + size, whole.size))
    part = grid.grid_of(table, rows.size, 1000, span)
    assert (part.size, part.whole) == (span.size, whole.size)
    found = part.placed(rows[part.rows], np.nan)
    assert np.array_equal(found, of_all[span.start : span.stop], equal_nan=True)


def test_a_record_beyond_the_limit_is_refused_with_size_and_limit(tmp_path, monkeypatch):
    path = made(tmp_path / "a.h5")
    size = open_record(path).size
    monkeypatch.setattr(grid, "MAX_TRACE_SAMPLES", 1000)
    with pytest.raises(RecordError, match=f"{size} samples, at most 1000"):
        assess(open_record(path))


def test_an_excerpt_is_read_as_that_stretch(tmp_path):
    record = open_record(made(tmp_path / "a.h5"))
    whole = record.trace()
    part = replace(record, excerpt=Excerpt(Span(1000, 50_000))).trace()
    assert np.array_equal(part.force_n, whole.force_n[1000:50_000])
    assert np.array_equal(part.clipped, whole.clipped[1000:50_000])
    assert part.time_s[0] == pytest.approx(whole.time_s[1000])
    assert part.release_time_s == whole.release_time_s


@pytest.mark.parametrize("name", ["trace/blocks", "events"])
def test_a_table_without_end_is_refused_with_its_size(tmp_path, monkeypatch, name):
    path = made(tmp_path / "a.h5")
    monkeypatch.setitem(parts._TABLES, name, (*parts._TABLES[name][:2], 2))
    with pytest.raises(RecordError, match=rf"/{name} has \d+ lines, at most 2 are read"):
        open_record(path)
