"""Record: one drop in one HDF5 file. This text is the format, version 1.

Any HDF5 reader can use a record; nothing in it needs this project. Strings are
UTF-8, and empty where nobody said anything. A number that is not known is absent,
never zero. Numbers are little-endian; float is float64, int is int64.

``/`` attributes

============================ ======= ================================================
format                       string  "tautlog record"
format_version               int     1
record_id                    ASCII   32 hexadecimal digits, different for every record
software                     string  program and version that wrote the file
utc                          string  ISO 8601, when the file was begun; a label only
campaign                     string  name of the campaign
status                       string  "recording" (being written, or its writer was
                                     killed), "complete", "aborted" (ended early; what
                                     came until then is here), "recovered" (completed
                                     afterwards)
status_text                  string  in plain words, why
seal_sha256                  string  64 hexadecimal digits, see below
firmware, board, serial      string  as the board said of itself; not in an import
history_blocks               int     blocks that the board's memory holds; likewise
board_state                  string  state of the board when it greeted; likewise
first_sample_index           int     board's index of the first sample; likewise
============================ ======= ================================================

``/trace/counts`` uint16, shape (samples, channels): the raw samples, each the sum of
`reduction` conversions, in the order of their blocks. Samples that never came are
not in it; ``/trace/blocks`` says where they belong. Attributes:

============================ ======= ================================================
sample_rate_hz               float   samples per second of one channel
reduction                    int     conversions summed into one sample
channels                     strings names, in the order of the columns
converter_bits               int     resolution of one conversion
samples_per_block            int     samples of one channel in a full block
============================ ======= ================================================

``/trace/blocks`` table, one line a block, ascending by `block`: `block` uint32, its
number on the board; `row` uint64, row of ``/trace/counts`` where it begins; `stamp_us`
uint32, board clock at its last sample, microseconds modulo 2**30; `flags` uint16,
faults that the board saw: 1 the converter's FIFO ran over, 2 a conversion did not
settle, 4 the raw memory was in use again before the block was handled; `lost`
uint16, conversions that the board knows it lost in this block. A jump of `block` is
a gap: block b begins (b - first b) x samples_per_block samples after the start of
the trace. In a block with lost > 0 or with flag 1 or 4 nobody knows which sample
stands where: `Record.trace` shows its samples as missing.

``/trace/values`` float64, shape (samples,), instead of both in an imported trace: the
values as they came, NaN where one was missing. Attributes:

============================ ======= ================================================
unit                         string  unit of the values
newton_per_unit              float   force of one unit
polarity                     int     1, or -1 where tension came as negative values
sample_rate_hz               float   samples per second
first_time_s                 float   time of the first value in the source
source_*                     any     where they came from: file, its SHA-256, columns
============================ ======= ================================================

``/events`` table: `number` uint32, since the board began to sample; `name` 32 bytes,
padded with NUL; `sample_index` int64, nearest sample, counted from the start of the
trace (negative before it, and counted with the samples of gaps); `stamp_us` uint32
as above; `value` int32, its meaning depends on the event.

``/setup`` attributes mass_kg, height_m, target_n, limit_n (float); article, line,
operator, note, article_finding (string): what people said of the drop.

``/calibration`` attributes newton_per_volt, expanded_u_fraction (k = 2), reference_v,
rail_low_v, rail_high_v, range_n (float), converter_bits (int), date, note (string).
Force in newtons, zero not removed, of a count::

    count x reference_v / (2**converter_bits x reduction) x newton_per_volt

``/marks/N`` one group for each marking run, N = 1, 2, ...; attributes software, utc
(string), settings_json, result_json (string, one JSON object each). Runs are only
ever added.

Seal
----
SHA-256 over four SHA-256 digests (32 bytes each) one after another:

1. of ``/trace/counts``, row by row, little-endian uint16; or of ``/trace/values``,
   little-endian float64;
2. of ``/trace/blocks``, line by line, its fields in the order given above, packed and
   little-endian (20 bytes a line); of nothing in an import;
3. of ``/events``, likewise (52 bytes a line);
4. of a text: for every attribute of ``/`` (but status, status_text and seal_sha256),
   ``/trace/counts`` or ``/trace/values``, ``/setup`` and ``/calibration`` one line, a JSON array
   [path, name, value] in ASCII with ", " between, each ended by a line feed, sorted
   by path, then name. Floats have the fewest digits that give the same number back.

The seal shows damage and honest mistakes. It is no signature: who can write the
file can write a new seal.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import stat
import uuid
import weakref
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass, fields
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import numpy.typing as npt

from tautlog import __version__
from tautlog.calibration import Calibration
from tautlog.errors import RecordError, RecordExistsError
from tautlog.firmware import wire
from tautlog.journal import FileLockedError, JournaledFile, journal_path, settle
from tautlog.stream import Block, BoardEvent, Instrument
from tautlog.trace import DropSetup, Trace

FORMAT = "tautlog record"
FORMAT_VERSION = 1
SOFTWARE = f"tautlog {__version__}"
BLOCK_DTYPE = np.dtype(
    [("block", "<u4"), ("row", "<u8"), ("stamp_us", "<u4"), ("flags", "<u2"), ("lost", "<u2")]
)
EVENT_DTYPE = np.dtype(
    [
        ("number", "<u4"),
        ("name", "S32"),
        ("sample_index", "<i8"),
        ("stamp_us", "<u4"),
        ("value", "<i4"),
    ]
)
RELEASE_EVENT = "release-opened"
# Flags of a block whose samples stand nobody knows where.
MISPLACED_FLAGS = wire.FLAG_CONVERTER_OVERRUN | wire.FLAG_LATE
# Longest trace that is laid out on its grid: 2 GiB of force. A block number beyond
# it is damage, not a gap.
MAX_TRACE_SAMPLES = 1 << 28

_UNSEALED = {"status", "status_text", "seal_sha256"}
_CHUNK_SAMPLES = 1 << 16
_CHUNK_BLOCKS = 1 << 10
_CHUNK_EVENTS = 1 << 6
_HASH_SAMPLES = 1 << 20
_BUFFER_BYTES = 1 << 22  # what waits in memory for a commit, at most
# HDF5 1.8's own format, since 2008: its headers carry checks, so that a damaged one is
# an error (the older default lets the library crash on it: 10 of 6000 flipped bytes),
# and an unfinished file opens everywhere (a newer one is refused until it was mended).
_LIBVER = ("v108", "v108")
# Texts lie in heaps that carry no checks, where damage sends the library round in circles.
_HEAP_START = b"GCOL\x01\0\0\0"
_HEAP_CHECK_BYTES = 1 << 26  # larger files are not looked through
# What h5py raises, by experiment, over files with flipped bytes.
_DAMAGE = (OSError, KeyError, ValueError, TypeError, RuntimeError, OverflowError, MemoryError)


# Writing


class RecordWriter:
    """Writes one record as it comes; `create` or `resume` makes one.

    Everything before the block number that `commit` returned is on disk and stays
    readable, whatever kills the program. As a context manager it leaves a record
    that was not finished readable and marked "aborted".

    Attributes
    ----------
    path : Path
        The file.
    next_block : int
        Number after that of the newest block taken; 0 before the first one.
    """

    def __init__(self, raw: JournaledFile, file: h5py.File, instrument: Instrument) -> None:
        self.path = raw.path
        self.next_block = 0
        self._raw = raw
        self._file = file
        self._instrument = instrument
        self._committed = 0
        self._counts = file["trace/counts"]
        self._table = file["trace/blocks"]
        self._rows = self._counts.shape[0]
        self._blocks: list[Block] = []
        self._buffered_bytes = 0
        self._events: list[BoardEvent] = []
        self._event_numbers: set[int] = set()
        # HDF5 must never meet a file object that the interpreter has taken down.
        self._abandon = weakref.finalize(self, _close_uncommitted, file, raw)

    @classmethod
    def create(
        cls,
        path: str | os.PathLike[str],
        *,
        setup: DropSetup,
        calibration: Calibration,
        instrument: Instrument,
        campaign: str = "",
        utc: str = "",
    ) -> RecordWriter:
        """Begin a new record; it is on disk, without samples, on return.

        Parameters
        ----------
        path : path
            File to make.
        setup, calibration, instrument
            As they stand at this drop.
        campaign : str
            Name of the campaign.
        utc : str
            ISO time of the drop; now if empty.

        Raises
        ------
        RecordExistsError
            If there is a file of that name.
        RecordError
            If it cannot be written.
        """
        board = {
            "firmware": instrument.firmware,
            "board": instrument.board,
            "serial": instrument.serial,
            "history_blocks": instrument.history_blocks,
            "board_state": instrument.state,
        }

        def fill(file: h5py.File) -> None:
            _put(file, board)
            _make_counts(file, instrument)
            _put_setup(file, setup, calibration)

        raw, file = _create(Path(path), campaign, utc, fill)
        return cls(raw, file, instrument)

    @classmethod
    def resume(cls, path: str | os.PathLike[str]) -> RecordWriter:
        """Go on with a record whose writer was killed (status "recording").

        Raises
        ------
        RecordError
            If the record was finished, is imported, cannot be written, or is
            still being written.
        """
        record = open_record(path)
        if record.status != "recording" or record.instrument is None:
            raise _error(record.path, f"is finished ({record.status}): nothing can be added to it")
        raw, file = _reopen(record.path, record.record_id)
        writer = cls(raw, file, record.instrument)
        if record.block_table.size:
            writer.next_block = writer._committed = int(record.block_table["block"][-1]) + 1
        writer._event_numbers = {event.number for event in record.events}
        return writer

    def append(self, block: Block) -> None:
        """Take a block; one that is not newer than the newest is ignored.

        Raises
        ------
        ValueError
            If its samples do not have the shape that the instrument promised.
        RecordError
            If the disk refuses.
        """
        channels = len(self._instrument.channels)
        rows = block.counts.shape[0]
        if block.counts.ndim != 2 or block.counts.shape[1] != channels:
            raise ValueError(
                f"`block` must have {channels} channels, its counts had shape {block.counts.shape}"
            )
        if not 0 < rows <= self._instrument.samples_per_block:
            raise ValueError(
                f"`block` must have 1 to {self._instrument.samples_per_block} samples, had {rows}"
            )
        if block.number < self.next_block:
            return
        self._blocks.append(block)
        self.next_block = block.number + 1
        self._buffered_bytes += block.counts.nbytes
        if self._buffered_bytes >= _BUFFER_BYTES:
            self._write_blocks()

    def add_event(self, event: BoardEvent) -> None:
        """Take an event, its sample index counted by the board; each number once."""
        if event.number not in self._event_numbers:
            self._event_numbers.add(event.number)
            self._events.append(event)

    def commit(self) -> int:
        """Put everything taken on disk, so that a kill at any instant spares it.

        Returns
        -------
        int
            Number of the next block expected; every block before it that was
            taken is on disk. 0 before the first block.

        Raises
        ------
        RecordError
            If the disk refuses.
        """
        self._write_blocks()
        self._write_events()
        with self._disk():
            self._file.flush()
            self._raw.commit()
        self._committed = self.next_block
        return self._committed

    def finish(self, status: str = "complete", text: str = "") -> None:
        """Write what is left, the status and the seal, and close the file.

        Parameters
        ----------
        status : str
            "complete", "aborted" or "recovered".
        text : str
            Why, in plain words.

        Raises
        ------
        ValueError
            If the status is none of these.
        RecordError
            If the disk refuses; the record is then as it was last committed.
        """
        if status not in ("complete", "aborted", "recovered"):
            raise ValueError(f"`status` must be complete, aborted or recovered, was {status!r}")
        try:
            self._write_blocks()
            self._write_events(all_of_them=True)
            with self._disk():
                _put(self._file, {"status": status, "status_text": text})
                _seal(self._file)
                self._file.close()
                self._raw.commit()
        finally:
            self._abandon()
        self._committed = self.next_block

    def leave(self) -> None:
        """Commit and close, but do not finish: `resume` can go on with the record."""
        try:
            self.commit()
        finally:
            self._abandon()

    def __enter__(self) -> RecordWriter:
        return self

    def __exit__(self, kind: object, problem: BaseException | None, where: object) -> None:
        if not self._abandon.alive:
            return
        if problem is None:
            self.finish("aborted", "closed before it was finished")
            return
        # The first error is the one to show; on a full disk this one fails as well.
        with contextlib.suppress(RecordError):
            self.finish("aborted", f"{type(problem).__name__}: {problem}")

    @contextlib.contextmanager
    def _disk(self) -> Iterator[None]:
        """Turn refusals of the disk, also those that HDF5 did not hear of, into ours."""
        if not self._abandon.alive:
            raise _error(self.path, "was finished: nothing can be added to it")
        try:
            yield
            if self._raw.failure is not None:
                raise self._raw.failure
        except _DAMAGE as problem:
            cause = self._raw.failure or problem
            raise _error(
                self.path,
                f"cannot be written: {_reason(cause)}. Every block before number "
                f"{self._committed} is on disk",
            ) from problem

    def _write_blocks(self) -> None:
        if not self._blocks:
            return
        lengths = [block.counts.shape[0] for block in self._blocks]
        table = np.empty(len(self._blocks), BLOCK_DTYPE)
        table["block"] = [block.number for block in self._blocks]
        table["row"] = self._rows + np.cumsum([0, *lengths[:-1]], dtype=np.uint64)
        table["stamp_us"] = [block.stamp_us for block in self._blocks]
        table["flags"] = [block.flags for block in self._blocks]
        table["lost"] = [block.lost for block in self._blocks]
        with self._disk():
            if self._rows == 0:
                first = self._blocks[0].number * self._instrument.samples_per_block
                self._file.attrs["first_sample_index"] = first
            _extend(self._counts, np.concatenate([block.counts for block in self._blocks]))
            _extend(self._table, table)
        self._rows += sum(lengths)
        self._blocks = []
        self._buffered_bytes = 0

    def _write_events(self, *, all_of_them: bool = False) -> None:
        # Until the first block is here nobody knows where the trace starts.
        if not self._events or (self._rows == 0 and not all_of_them):
            return
        with self._disk():
            if "first_sample_index" not in self._file.attrs:
                self._file.attrs["first_sample_index"] = 0
            start = int(self._file.attrs["first_sample_index"])
            _extend(self._file["events"], _event_table(self._events, start))
        self._events = []


def write_values(
    path: str | os.PathLike[str],
    values: npt.NDArray[np.float64],
    *,
    unit: str,
    newton_per_unit: float,
    polarity: int,
    sample_rate_hz: float,
    first_time_s: float,
    source: Mapping[str, Any],
    setup: DropSetup,
    calibration: Calibration,
    campaign: str = "",
    utc: str = "",
) -> None:
    """Write a whole imported trace as a record, complete and sealed.

    Parameters
    ----------
    path : path
        File to make.
    values : ndarray of float64, shape (samples,)
        As they came; NaN where one is missing.
    unit, newton_per_unit, polarity, sample_rate_hz, first_time_s
        See the format.
    source : mapping
        Where the values came from; becomes attributes ``source_*``.
    setup : DropSetup
        What is known of the drop.
    calibration : Calibration
        Only `expanded_u_fraction`, `range_n`, `date` and `note` are of meaning here.
    campaign, utc : str
        As in `RecordWriter.create`.

    Raises
    ------
    RecordExistsError, RecordError
        As in `RecordWriter.create`.
    """

    def fill(file: h5py.File) -> None:
        trace = file.create_group("trace")
        dataset = trace.create_dataset("values", data=np.asarray(values, dtype="<f8"))
        attributes = {f"source_{name}": value for name, value in source.items()}
        attributes |= {"unit": unit, "newton_per_unit": newton_per_unit, "polarity": polarity}
        attributes |= {"sample_rate_hz": sample_rate_hz, "first_time_s": first_time_s}
        _put(dataset, attributes)
        _put_setup(file, setup, calibration)
        file.attrs["status"] = "complete"
        _seal(file)

    raw, file = _create(Path(path), campaign, utc, fill)
    _close_uncommitted(file, raw)


def add_marks(
    path: str | os.PathLike[str], settings: Mapping[str, Any], result: Mapping[str, Any]
) -> int:
    """Append a marking run to a record; nothing else in it changes.

    Parameters
    ----------
    path : path
        The record.
    settings, result : mapping
        JSON objects. NaN is none of JSON: not determinable is None.

    Returns
    -------
    int
        Number of the run.

    Raises
    ------
    ValueError
        If either cannot be written as JSON.
    RecordError
        If the record cannot be read or written.
    """
    texts = {"settings_json": _json(settings, "settings"), "result_json": _json(result, "result")}
    record = open_record(path)
    raw, file = _reopen(record.path, record.record_id)
    number = max((run.number for run in record.marks), default=0) + 1
    try:
        marks = file.require_group("marks").create_group(str(number))
        _put(marks, {"software": SOFTWARE, "utc": _now(), **texts})
        file.close()
        raw.commit()
    except _DAMAGE as problem:
        raise _error(record.path, f"cannot be written: {_reason(problem)}") from problem
    finally:
        _close_uncommitted(file, raw)
    return number


# Reading


@dataclass(frozen=True)
class MarksRun:
    """One marking run that a record keeps; `settings` and `result` as from JSON."""

    number: int
    software: str
    utc: str
    settings: dict[str, Any]
    result: dict[str, Any]


@dataclass(frozen=True)
class SealCheck:
    """What the seal says.

    Attributes
    ----------
    state : str
        "intact", "broken", or "unsealed" for a record that was never finished.
    stored, computed : str
        The seal in the file, or ""; the seal of what is in the file now.
    """

    state: str
    stored: str
    computed: str


@dataclass(frozen=True)
class Record:
    """One record as read; `open_record` makes one. No file stays open.

    Attributes
    ----------
    path : Path
        The file.
    format_version : int
        Version of the format that it is written in.
    record_id, software, utc, campaign, status, status_text : str
        See the format.
    setup : DropSetup
        What people said of the drop.
    calibration : Calibration
        As it stood that day.
    instrument : Instrument or None
        What recorded it; None for an imported trace.
    source : dict
        Attributes of ``/trace/values`` of an imported trace, else empty.
    sample_rate_hz : float
        Samples per second.
    first_sample_index : int
        Board's index of the first sample.
    block_table : ndarray of BLOCK_DTYPE, shape (blocks,)
        ``/trace/blocks``.
    events : tuple of BoardEvent
        Their sample index counted from the start of the trace.
    marks : tuple of MarksRun
        Oldest first.
    """

    path: Path
    format_version: int
    record_id: str
    software: str
    utc: str
    campaign: str
    status: str
    status_text: str
    setup: DropSetup
    calibration: Calibration
    instrument: Instrument | None
    source: dict[str, Any]
    sample_rate_hz: float
    first_sample_index: int
    block_table: npt.NDArray[np.void]
    events: tuple[BoardEvent, ...]
    marks: tuple[MarksRun, ...]

    def __enter__(self) -> Record:
        return self

    def __exit__(self, *_: object) -> None:
        """Nothing is open."""

    @property
    def release_index(self) -> int | None:
        """Sample of the first opening of the release switch, from the trace's start."""
        return next((e.sample_index for e in self.events if e.name == RELEASE_EVENT), None)

    def counts(self) -> npt.NDArray[np.uint16]:
        """Return the raw samples as stored, shape (samples, channels).

        Raises
        ------
        RecordError
            If the record is imported or damaged.
        """
        if self.instrument is None:
            raise _error(self.path, "is an imported trace: it holds values, not counts")
        with _reading(self.path) as file:
            return np.asarray(_dataset(file, "trace/counts")[()], dtype=np.uint16)

    def trace(self, channel: int = 0) -> Trace:
        """Return the force on its uniform grid, NaN where a sample is missing.

        Parameters
        ----------
        channel : int
            Column of the samples; the calibration is applied to whichever is asked.

        Raises
        ------
        ValueError
            If there is no such channel.
        RecordError
            If the record is damaged.
        """
        channels = 1 if self.instrument is None else len(self.instrument.channels)
        if not 0 <= channel < channels:
            raise ValueError(f"`channel` must be 0 to {channels - 1}, was {channel!r}")
        if self.instrument is None:
            return self._imported_trace()
        with _reading(self.path) as file:
            counts = np.asarray(_dataset(file, "trace/counts")[:, channel], dtype=np.uint16)
            size, places, known = _grid(
                self.block_table, counts.size, self.instrument.samples_per_block
            )
        reduction = self.instrument.reduction
        force_n = self.calibration.force_n(counts, reduction)
        clipped = self.calibration.clipped(counts, reduction)
        if places is not None:
            force_n = _placed(size, places, known, force_n, np.nan)
            clipped = _placed(size, places, known, clipped, False)
        release, release_time_s = self.release_index, None
        if release is not None and 0 <= release < size:
            release_time_s = release / self.sample_rate_hz
        return Trace(
            force_n=force_n,
            sample_rate_hz=self.sample_rate_hz,
            release_time_s=release_time_s,
            clipped=clipped,
            quantum_n=self.calibration.quantum_n(reduction),
            calibration_u_fraction=self.calibration.expanded_u_fraction,
        )

    def verify_seal(self) -> SealCheck:
        """Compare the seal with what is in the file now.

        Raises
        ------
        RecordError
            If the record is too damaged to be read.
        """
        with _reading(self.path) as file:
            computed = _seal_of(file)
            stored = _text(file, "seal_sha256")
        state = "unsealed" if not stored else "intact" if stored == computed else "broken"
        return SealCheck(state, stored, computed)

    def _imported_trace(self) -> Trace:
        with _reading(self.path) as file:
            values = np.asarray(_dataset(file, "trace/values")[()], dtype=np.float64)
            factor = float(self.source["newton_per_unit"]) * int(self.source["polarity"])
        return Trace(
            force_n=values * factor,
            sample_rate_hz=self.sample_rate_hz,
            calibration_u_fraction=self.calibration.expanded_u_fraction,
        )


def open_record(path: str | os.PathLike[str]) -> Record:
    """Read a record: all attributes and tables; samples when they are asked for.

    A commit that a kill interrupted is finished first.

    Raises
    ------
    RecordError
        If it is not there, no record, newer than this program, damaged or in use.
    """
    where = Path(path)
    with _reading(where) as file:
        instrument = _instrument(file)
        dataset = (
            _dataset(file, "trace/values") if instrument is None else _dataset(file, "trace/counts")
        )
        rate_hz = float(dataset.attrs["sample_rate_hz"])
        if not 0 < rate_hz < np.inf:
            raise _damaged(where, f"its sample rate is {rate_hz!r}")
        table = np.zeros(0, BLOCK_DTYPE)
        if instrument is not None:
            table = _dataset(file, "trace/blocks")[()].astype(BLOCK_DTYPE)
        return Record(
            path=where,
            format_version=int(file.attrs["format_version"]),
            record_id=_text(file, "record_id"),
            software=_text(file, "software"),
            utc=_text(file, "utc"),
            campaign=_text(file, "campaign"),
            status=_text(file, "status"),
            status_text=_text(file, "status_text"),
            setup=DropSetup(**_known(_group(file, "setup"), DropSetup)),
            calibration=Calibration(**_known(_group(file, "calibration"), Calibration)),
            instrument=instrument,
            source=_attributes(dataset) if instrument is None else {},
            sample_rate_hz=rate_hz,
            first_sample_index=int(file.attrs.get("first_sample_index", 0)),
            block_table=table,
            events=_events(file),
            marks=_marks(file),
        )


# Inside: writing


def _create(
    path: Path, campaign: str, utc: str, fill: Callable[[h5py.File], None]
) -> tuple[JournaledFile, h5py.File]:
    """Make a file with what all records have and what `fill` adds, and commit it."""
    record_id = uuid.uuid4().hex
    try:
        raw = JournaledFile(path, record_id.encode(), new=True)
    except FileExistsError as problem:
        raise RecordExistsError(
            f"{path} exists already: choose another name, a record is never overwritten",
            path=str(path),
        ) from problem
    except OSError as problem:
        raise _error(path, f"cannot be made: {_reason(problem)}") from problem
    try:
        file = h5py.File(raw, "w", libver=_LIBVER)
        try:
            # Of fixed length, so that it stands in the file's head: it is the guard.
            file.attrs["record_id"] = np.bytes_(record_id)
            _put(file, {"format": FORMAT, "format_version": FORMAT_VERSION, "software": SOFTWARE})
            _put(file, {"utc": utc or _now(), "campaign": campaign, "status": "recording"})
            file.create_dataset(
                "events", (0,), EVENT_DTYPE, maxshape=(None,), chunks=(_CHUNK_EVENTS,)
            )
            file.create_group("marks")
            fill(file)
            file.flush()
            raw.commit()
        except BaseException:
            _close_uncommitted(file, raw)
            raise
    except BaseException as problem:
        # Nobody was told of this file yet.
        raw.close()
        for name in (path, journal_path(path)):
            name.unlink(missing_ok=True)
        if isinstance(problem, _DAMAGE) and raw.failure is not None:
            raise _error(path, f"cannot be written: {_reason(raw.failure)}") from problem
        raise
    return raw, file


def _reopen(path: Path, record_id: str) -> tuple[JournaledFile, h5py.File]:
    try:
        raw = JournaledFile(path, record_id.encode("ascii", "replace"), new=False)
    except FileLockedError as problem:
        raise _locked(path) from problem
    except (OSError, ValueError) as problem:
        raise _error(path, f"cannot be written: {_reason(problem)}") from problem
    try:
        return raw, h5py.File(raw, "r+", libver=_LIBVER)
    except _DAMAGE as problem:
        raw.close()
        raise _damaged(path, _reason(problem)) from problem


def _close_uncommitted(file: h5py.File, raw: JournaledFile) -> None:
    """Close both; what was not committed never happened."""
    raw.discard()
    with contextlib.suppress(*_DAMAGE):
        file.close()
    raw.close()


def _make_counts(file: h5py.File, instrument: Instrument) -> None:
    trace = file.create_group("trace")
    channels = len(instrument.channels)
    counts = trace.create_dataset(
        "counts",
        (0, channels),
        "<u2",
        maxshape=(None, channels),
        chunks=(_CHUNK_SAMPLES, channels),
    )
    described = asdict(instrument)
    names = ("sample_rate_hz", "reduction", "channels", "converter_bits", "samples_per_block")
    _put(counts, {name: described[name] for name in names})
    trace.create_dataset("blocks", (0,), BLOCK_DTYPE, maxshape=(None,), chunks=(_CHUNK_BLOCKS,))


def _put_setup(file: h5py.File, setup: DropSetup, calibration: Calibration) -> None:
    for name, described in (("setup", setup), ("calibration", calibration)):
        values = asdict(described)
        for field in fields(described):
            if "float" in str(field.type) and values[field.name] is not None:
                values[field.name] = float(values[field.name])
        _put(file.create_group(name), values)


def _put(place: h5py.HLObject, attributes: Mapping[str, Any]) -> None:
    for name, value in attributes.items():
        if value is None:
            continue
        if isinstance(value, str):
            place.attrs[name] = _storable(value)
        elif isinstance(value, (tuple, list)):
            place.attrs.create(
                name, [_storable(str(item)) for item in value], dtype=h5py.string_dtype()
            )
        else:
            place.attrs[name] = value


def _storable(text: str) -> str:
    """Replace what an HDF5 string cannot hold by the sign for unreadable characters."""
    return text.replace("\0", "\ufffd").encode("utf-8", "replace").decode("utf-8")


def _extend(dataset: h5py.Dataset, lines: npt.NDArray[Any]) -> None:
    # h5py's low level: slicing costs more than the writing when commits are small.
    start, *rest = dataset.id.shape
    dataset.id.set_extent((start + len(lines), *rest))
    place = dataset.id.get_space()
    place.select_hyperslab((start, *(0 for _ in rest)), lines.shape)
    dataset.id.write(h5py.h5s.create_simple(lines.shape), place, lines)


def _event_table(events: list[BoardEvent], start: int) -> npt.NDArray[np.void]:
    table = np.empty(len(events), EVENT_DTYPE)
    table["number"] = [event.number for event in events]
    table["name"] = [event.name.encode("ascii", "replace") for event in events]
    table["sample_index"] = [event.sample_index - start for event in events]
    table["stamp_us"] = [event.stamp_us for event in events]
    table["value"] = [event.value for event in events]
    return table


def _json(value: Mapping[str, Any], name: str) -> str:
    def plain(item: Any) -> Any:
        if isinstance(item, (np.generic, np.ndarray)):
            return item.tolist()
        raise TypeError(f"a {type(item).__name__} is none of JSON")

    try:
        return json.dumps(dict(value), allow_nan=False, default=plain)
    except (TypeError, ValueError) as problem:
        raise ValueError(f"`{name}` must be a JSON object: {problem}") from problem


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


# Inside: the seal


def _seal(file: h5py.File) -> None:
    file.attrs["seal_sha256"] = _seal_of(file)


def _seal_of(file: h5py.File) -> str:
    trace = _group(file, "trace")
    imported = "values" in trace
    samples = trace["values" if imported else "counts"]
    digests = [_digest(samples, np.dtype("<f8" if imported else "<u2"))]
    digests.append(hashlib.sha256().digest() if imported else _digest(trace["blocks"], BLOCK_DTYPE))
    digests.append(_digest(_dataset(file, "events"), EVENT_DTYPE))
    lines = []
    for place in (file, samples, _group(file, "setup"), _group(file, "calibration")):
        for name, value in _attributes(place).items():
            if place.name != "/" or name not in _UNSEALED:
                lines.append((place.name, name, json.dumps([place.name, name, value]) + "\n"))
    text = "".join(line for _, _, line in sorted(lines))
    digests.append(hashlib.sha256(text.encode("ascii")).digest())
    return hashlib.sha256(b"".join(digests)).hexdigest()


def _digest(dataset: h5py.Dataset, dtype: np.dtype[Any]) -> bytes:
    digest = hashlib.sha256()
    for start in range(0, dataset.shape[0], _HASH_SAMPLES):
        part = dataset[start : start + _HASH_SAMPLES]
        digest.update(np.ascontiguousarray(part, dtype=dtype).tobytes())
    return digest.digest()


# Inside: reading


@contextlib.contextmanager
def _reading(path: Path) -> Iterator[h5py.File]:
    """Open a record of ours; every way in which that can fail becomes one clear line."""
    _refuse_no_file(path)
    try:
        settle(path)
        _refuse_broken_heaps(path)
        with h5py.File(path, "r") as file:
            _refuse_foreign(path, file)
            yield file
    except (FileLockedError, BlockingIOError) as problem:
        raise _locked(path) from problem
    except PermissionError as problem:
        raise _error(path, f"cannot be read: {_reason(problem)}") from problem
    except _DAMAGE as problem:
        raise _damaged(path, _reason(problem)) from problem


def _refuse_no_file(path: Path) -> None:
    try:
        state = path.stat()
    except FileNotFoundError as problem:
        raise _error(path, "is not there") from problem
    except (OSError, ValueError) as problem:
        raise _error(path, f"cannot be read: {_reason(problem)}") from problem
    if stat.S_ISDIR(state.st_mode):
        raise _error(path, "is a folder, expected a record (an .h5 file)")
    if not stat.S_ISREG(state.st_mode):
        raise _error(path, "is no ordinary file, expected a record (an .h5 file)")
    if state.st_size == 0:
        raise _error(path, "is empty (0 bytes), expected a record: take it from a copy")
    try:
        known = h5py.is_hdf5(path)
    except _DAMAGE:
        known = False
    if not known and os.access(path, os.R_OK):
        raise _error(path, "is not an HDF5 file, expected a tautlog record")


def _refuse_broken_heaps(path: Path) -> None:
    """Raise ValueError if a heap of texts does not add up.

    HDF5 File Format Specification, version 3, section III.E, Global Heap: 8 bytes
    signature and version; u64 size of the collection; objects of u16 index, u16
    reference count, 4 bytes, u64 size, and the object padded to 8 bytes. Index 0 is
    the free space up to the end, its head included in its size.
    """
    if path.stat().st_size > _HEAP_CHECK_BYTES:
        return
    data = path.read_bytes()
    at = data.find(_HEAP_START)
    while at >= 0:
        end = at + int.from_bytes(data[at + 8 : at + 16], "little")
        place, free = at + 16, False
        while place + 16 <= end <= len(data) and not free:
            size = int.from_bytes(data[place + 8 : place + 16], "little")
            free = data[place : place + 2] == b"\0\0"
            place += size if free else 16 + (size + 7) // 8 * 8
        if not place <= end <= len(data) or (free and place != end):
            raise ValueError(f"the texts at byte {at} do not add up")
        at = data.find(_HEAP_START, at + 1)


def _refuse_foreign(path: Path, file: h5py.File) -> None:
    if _text(file, "format") != FORMAT:
        raise _error(path, f"is an HDF5 file but not a {FORMAT}")
    version = int(file.attrs["format_version"])
    if version > FORMAT_VERSION:
        raise _error(
            path,
            f"has format version {version}, this tautlog reads up to {FORMAT_VERSION}: "
            "install a newer tautlog",
        )
    if version < 1:
        raise _damaged(path, f"its format version is {version}")


def _group(file: h5py.File, name: str) -> h5py.Group:
    place = file[name]
    if not isinstance(place, h5py.Group):
        raise ValueError(f"/{name} is no group")
    return place


def _dataset(file: h5py.File, name: str) -> h5py.Dataset:
    place = file[name]
    if not isinstance(place, h5py.Dataset):
        raise ValueError(f"/{name} is no data set")
    return place


def _attributes(place: h5py.HLObject) -> dict[str, Any]:
    return {name: _plain(place.attrs[name]) for name in place.attrs}


def _plain(value: Any) -> Any:
    """Return an attribute as str, int, float or a list of these."""
    if isinstance(value, np.bytes_):
        return value.decode("ascii", "replace")
    if isinstance(value, bytes):
        return value.decode("utf-8", "replace")
    if isinstance(value, np.ndarray):
        return [_plain(item) for item in value.ravel()]
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, str):
        # So that damaged text can still be compared and shown.
        return value.encode("utf-8", "replace").decode("utf-8")
    raise ValueError(f"an attribute of type {type(value).__name__}")


def _text(place: h5py.HLObject, name: str) -> str:
    return str(_plain(place.attrs[name])) if name in place.attrs else ""


def _known(place: h5py.Group, kind: type) -> dict[str, Any]:
    """Return the attributes that are fields of a dataclass, of the type that they have there."""
    values = _attributes(place)
    found = {}
    for field in fields(kind):
        if field.name in values:
            convert = float if "float" in str(field.type) else int if field.type == "int" else str
            found[field.name] = convert(values[field.name])
    return found


def _instrument(file: h5py.File) -> Instrument | None:
    if "values" in _group(file, "trace"):
        return None
    counts = _dataset(file, "trace/counts")
    told = _attributes(counts)
    instrument = Instrument(
        firmware=_text(file, "firmware"),
        board=_text(file, "board"),
        serial=_text(file, "serial"),
        sample_rate_hz=float(told["sample_rate_hz"]),
        reduction=int(told["reduction"]),
        channels=tuple(told["channels"]),
        samples_per_block=int(told["samples_per_block"]),
        history_blocks=int(file.attrs["history_blocks"]),
        converter_bits=int(told["converter_bits"]),
        state=_text(file, "board_state"),
    )
    if counts.ndim != 2 or counts.shape[1] != len(instrument.channels):
        raise ValueError(f"counts of shape {counts.shape} for channels {instrument.channels}")
    if instrument.reduction < 1 or instrument.samples_per_block < 1:
        raise ValueError("reduction and samples per block must be at least 1")
    return instrument


def _events(file: h5py.File) -> tuple[BoardEvent, ...]:
    return tuple(
        BoardEvent(
            number=int(line["number"]),
            name=line["name"].decode("ascii", "replace"),
            sample_index=int(line["sample_index"]),
            stamp_us=int(line["stamp_us"]),
            value=int(line["value"]),
        )
        for line in _dataset(file, "events")[()].astype(EVENT_DTYPE)
    )


def _json_object(text: str) -> dict[str, Any]:
    value = json.loads(text)
    if not isinstance(value, dict):
        raise ValueError("marks that are no JSON object")
    return value


def _marks(file: h5py.File) -> tuple[MarksRun, ...]:
    runs = [
        MarksRun(
            number=int(name),
            software=_text(group, "software"),
            utc=_text(group, "utc"),
            settings=_json_object(_text(group, "settings_json")),
            result=_json_object(_text(group, "result_json")),
        )
        for name, group in ((name, _group(file, f"marks/{name}")) for name in _group(file, "marks"))
    ]
    return tuple(sorted(runs, key=lambda run: run.number))


def _grid(
    table: npt.NDArray[np.void], rows: int, samples_per_block: int
) -> tuple[int, npt.NDArray[np.int64] | None, npt.NDArray[np.bool_]]:
    """Say where each row of the counts belongs on the uniform grid.

    Returns
    -------
    size : int
        Samples of the grid.
    places : ndarray of int64, shape (rows,), or None
        Place of each row; None when every row stands at its own number and is good.
    known : ndarray of bool, shape (rows,)
        Rows of which it is known where they belong.
    """
    if not table.size:
        if rows:
            raise ValueError(f"{rows} samples and no blocks")
        return 0, None, np.zeros(0, dtype=bool)
    start = table["row"].astype(np.int64)
    lengths = np.diff(start, append=rows)
    numbers = table["block"].astype(np.int64)
    if start[0] != 0 or lengths.min() < 1 or lengths.max() > samples_per_block:
        raise ValueError("the table of blocks does not fit the samples")
    if np.any(np.diff(numbers) < 1):
        raise ValueError("block numbers do not ascend")
    first = (numbers - numbers[0]) * samples_per_block
    size = int(first[-1] + lengths[-1])
    if size > MAX_TRACE_SAMPLES:
        raise ValueError(f"block numbers from {numbers[0]} to {numbers[-1]}")
    good = (table["lost"] == 0) & (table["flags"] & MISPLACED_FLAGS == 0)
    if size == rows and good.all():
        return size, None, np.ones(rows, dtype=bool)
    places = np.arange(rows) + np.repeat(first - start, lengths)
    return size, places, np.repeat(good, lengths)


def _placed(
    size: int,
    places: npt.NDArray[np.int64],
    known: npt.NDArray[np.bool_],
    values: npt.NDArray[Any],
    missing: float | bool,
) -> npt.NDArray[Any]:
    grid = np.full(size, missing, dtype=values.dtype)
    grid[places[known]] = values[known]
    return grid


# Inside: errors


def _error(path: Path, what: str) -> RecordError:
    return RecordError(f"{path} {what}", path=str(path))


def _damaged(path: Path, why: str) -> RecordError:
    return _error(path, f"is damaged or cut short ({why}): take it from a copy")


def _locked(path: Path) -> RecordError:
    return _error(path, "is in use: another program writes it; wait or close that program")


def _reason(problem: BaseException) -> str:
    """Return one line of what went wrong."""
    if isinstance(problem, OSError) and problem.errno and not isinstance(problem, FileLockedError):
        return os.strerror(problem.errno)
    text = " ".join(str(problem).split())
    return text or type(problem).__name__
