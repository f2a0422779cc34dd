"""Any sequence of blocks in, the same samples out, and NaN exactly where nothing came."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tautlog import record
from tautlog.model.calibration import Calibration
from tautlog.model.stream import Block, BoardEvent, Instrument
from tautlog.model.trace import DropSetup
from tautlog.record import RecordWriter, add_marks, open_record

PER_BLOCK = 16

# A step from one block's number to the next: 1 is the next one, 0 and less were sent
# again, more is a gap. And after how many blocks is a commit.
SEQUENCES = st.lists(
    st.tuples(st.integers(-3, 4), st.integers(0, 3), st.booleans(), st.booleans()), max_size=30
)
FLOATS = st.floats(1e-6, 1e9)
TEXTS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=40)
SETUPS = st.builds(
    DropSetup,
    mass_kg=st.none() | FLOATS,
    height_m=st.none() | FLOATS,
    target_n=st.none() | FLOATS,
    limit_n=st.none() | FLOATS,
    article=TEXTS,
    line=TEXTS,
    operator=TEXTS,
    note=TEXTS,
    article_finding=TEXTS,
)
CALIBRATIONS = st.builds(
    Calibration,
    newton_per_volt=st.floats(-1e6, 1e6).filter(bool),
    expanded_u_fraction=FLOATS,
    reference_v=FLOATS,
    converter_bits=st.integers(1, 16),
    rail_low_v=FLOATS,
    rail_high_v=FLOATS,
    range_n=FLOATS,
    date=TEXTS,
    note=TEXTS,
)


def instrument(channels: int) -> Instrument:
    names = tuple(f"channel {i}" for i in range(channels))
    return Instrument("0", "b", "s", 1000.0, 4, names, PER_BLOCK, 8)


@settings(max_examples=40, deadline=None)
@given(
    sequence=SEQUENCES,
    first=st.integers(0, 2**31),
    channels=st.integers(1, 3),
    killed=st.booleans(),
)
def test_samples_out_are_samples_in(
    tmp_path_factory: pytest.TempPathFactory,
    sequence: list[tuple[int, int, bool, bool]],
    first: int,
    channels: int,
    killed: bool,
) -> None:
    path = tmp_path_factory.mktemp("any") / "drop.h5"
    random = np.random.default_rng(first)
    writer = RecordWriter.create(
        path, setup=DropSetup(), calibration=Calibration(), instrument=instrument(channels)
    )
    taken: dict[int, np.ndarray] = {}
    misplaced: set[int] = set()
    number = first
    for step, lost, commit, resume in sequence:
        number = max(number + step, 0)
        counts = random.integers(0, 2**16, (PER_BLOCK, channels), dtype=np.uint16)
        writer.append(Block(number, number % 2**30, 0, lost, counts))
        if not taken or number > max(taken):
            taken[number] = counts
            if lost:
                misplaced.add(number)
        if commit:
            assert writer.commit() == max(taken) + 1
        if commit and resume and killed:
            del writer
            writer = RecordWriter.resume(path)
    writer.finish("recovered")
    read = open_record(path)
    assert read.verify_seal().state == "intact"
    assert read.block_table["block"].tolist() == sorted(taken)
    stored = [taken[n] for n in sorted(taken)]
    np.testing.assert_array_equal(
        read.counts(), np.concatenate(stored) if stored else np.zeros((0, channels))
    )
    expected = np.full(((max(taken) - min(taken) + 1) * PER_BLOCK if taken else 0), np.nan)
    for n in taken.keys() - misplaced:
        start = (n - min(taken)) * PER_BLOCK
        expected[start : start + PER_BLOCK] = taken[n][:, -1]
    force_n = read.trace(channels - 1).force_n
    np.testing.assert_allclose(force_n, expected * (3.3 / 16384 * 1000), rtol=1e-14)


@settings(max_examples=40, deadline=None)
@given(setup=SETUPS, calibration=CALIBRATIONS, campaign=TEXTS)
def test_what_people_said_comes_back_to_the_last_digit(
    tmp_path_factory: pytest.TempPathFactory,
    setup: DropSetup,
    calibration: Calibration,
    campaign: str,
) -> None:
    path = tmp_path_factory.mktemp("any") / "drop.h5"
    RecordWriter.create(
        path, setup=setup, calibration=calibration, instrument=instrument(1), campaign=campaign
    ).finish()
    read = open_record(path)
    assert (read.setup, read.calibration, read.campaign) == (setup, calibration, campaign)
    assert read.verify_seal().state == "intact"


EVENTS = st.builds(
    BoardEvent,
    number=st.integers(0, 2**16 - 1),
    name=st.sampled_from(["armed", "release-edge", "mount-wire-opened"]),
    sample_index=st.integers(0, 2**40),
    stamp_us=st.integers(0, 2**30 - 1),
    value=st.integers(-(2**31), 2**31 - 1),
)


@settings(max_examples=40, deadline=None)
@given(events=st.lists(EVENTS, max_size=12), block=st.none() | st.integers(0, 2**31))
def test_events_out_are_events_in(
    tmp_path_factory: pytest.TempPathFactory, events: list[BoardEvent], block: int | None
) -> None:
    path = tmp_path_factory.mktemp("any") / "drop.h5"
    with RecordWriter.create(
        path, setup=DropSetup(), calibration=Calibration(), instrument=instrument(1)
    ) as writer:
        for place, event in enumerate(events):
            writer.add_event(event)
            writer.commit()
            if place == len(events) // 2 and block is not None:
                writer.append(Block(block, 0, 0, 0, np.zeros((PER_BLOCK, 1), np.uint16)))
        writer.finish()
    first: dict[int, BoardEvent] = {}
    for event in events:
        first.setdefault(event.number, event)
    start = block * PER_BLOCK if block is not None and events else 0
    read = open_record(path)
    placed = [replace(event, sample_index=event.sample_index + start) for event in read.events]
    assert placed == list(first.values())


JSON_OBJECTS = st.dictionaries(
    TEXTS,
    st.recursive(
        st.none()
        | st.booleans()
        | st.integers()
        | st.floats(allow_nan=False, allow_infinity=False)
        | TEXTS,
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXTS, inner, max_size=3),
        max_leaves=8,
    ),
    max_size=5,
)


@settings(max_examples=40, deadline=None)
@given(runs=st.lists(st.tuples(JSON_OBJECTS, JSON_OBJECTS), min_size=1, max_size=4))
def test_marks_out_are_marks_in(
    tmp_path_factory: pytest.TempPathFactory, runs: list[tuple[dict, dict]]
) -> None:
    path = tmp_path_factory.mktemp("any") / "drop.h5"
    record.write_values(
        path,
        record.ImportedValues(
            np.array([1.0, np.nan, 2.0]),
            unit="kN",
            newton_per_unit=1000.0,
            polarity=-1,
            sample_rate_hz=10.0,
            first_time_s=-0.5,
            source={},
        ),
        setup=DropSetup(),
        calibration=Calibration(),
    )
    for given_settings, result in runs:
        add_marks(path, given_settings, result)
    read = open_record(path)
    assert [(run.settings, run.result) for run in read.marks] == runs
    assert read.verify_seal().state == "intact"
    np.testing.assert_array_equal(read.trace().force_n, [-1000.0, np.nan, -2000.0])
