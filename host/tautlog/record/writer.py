"""Writer: writes a record block by block, as the data arrives."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Mapping
from contextlib import AbstractContextManager
from dataclasses import asdict
from pathlib import Path

import h5py
import numpy as np

from tautlog.errors import RecordError
from tautlog.files.chain import is_chained
from tautlog.model.calibration import Calibration
from tautlog.model.channels import Channel
from tautlog.model.origin import MEASURED, REHEARSED, board_is_rehearsed
from tautlog.model.reception import Reception
from tautlog.model.stream import Block, BoardEvent, Instrument
from tautlog.model.trace import DropSetup
from tautlog.record import layout
from tautlog.record.channels import put_channels
from tautlog.record.layout import BLOCK_DTYPE, COUNTS_DTYPE
from tautlog.record.problems import error
from tautlog.record.reader import open_record
from tautlog.record.record import Record
from tautlog.record.record_file import Head, RecordFile, add_to_chain, put_setup
from tautlog.record.seal import put_seal
from tautlog.record.tables import block_lines, event_lines

_BUFFER_BYTES = 1 << 22  # most bytes that wait in memory for a commit


class RecordWriter:
    """Writes one record as its data arrives; `create` or `resume` makes a writer.

    All blocks before the number that `commit` returned are on disk and stay readable, even if
    the program is killed. As a context manager it leaves an unfinished record readable and
    marked "aborted".

    Attributes
    ----------
    path : Path
        The file.
    next_block : int
        Number after that of the newest block taken; 0 before the first.
    reception : Reception
        What the laptop sees of the board besides blocks and events; kept at every commit.
    """

    def __init__(self, opened: RecordFile, instrument: Instrument) -> None:
        self.path = opened.path
        self.next_block = 0
        self.reception = Reception()
        self._reception_text = ""
        self._opened = opened
        self._instrument = instrument
        self._committed = 0
        self._counts = opened.file["trace/counts"]
        self._table = opened.file["trace/blocks"]
        self._rows = self._counts.shape[0]
        self._blocks: list[Block] = []
        self._buffered_bytes = 0
        self._events: list[BoardEvent] = []
        self._event_numbers: set[int] = set()

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
        arming: Mapping[str, object] | None = None,
        channels: tuple[Channel, ...] = (),
    ) -> RecordWriter:
        """Begin a new record; it is on disk, without samples, on return.

        Parameters
        ----------
        path, setup, calibration, instrument
            The new file; the rest as it is at this drop.
        campaign, utc : str
            Name of the campaign; ISO time of the drop, default: now.
        arming : mapping, optional
            Measurements and findings before arming, a JSON object.
        channels : tuple of Channel
            What is known of the instrument's channels beyond the first.

        Raises
        ------
        RecordExistsError
            If a file of that name exists.
        RecordError
            If it cannot be written.
        """
        text = None if arming is None else layout.json_text(arming, "arming")

        def fill(file: h5py.File) -> None:
            layout.put(file, {"arming_json": text})
            _put_instrument(file, instrument)
            put_setup(file, setup, calibration)
            put_channels(file, instrument.channels, channels)

        rehearsed = board_is_rehearsed(instrument.board, instrument.serial)
        head = Head(REHEARSED if rehearsed else MEASURED, campaign, utc)
        return cls(RecordFile.create(Path(path), head, fill), instrument)

    @classmethod
    def resume(cls, path: str | os.PathLike[str]) -> RecordWriter:
        """Continue a record whose writer was killed (status "recording").

        Raises
        ------
        RecordError
            If the record is finished, is imported, cannot be written, or is still being
            written; if it says "recording" but was sealed once.
        """
        record = open_record(path)
        instrument = _unfinished(record)
        writer = cls(RecordFile.reopen(record.path, record.record_id), instrument)
        if record.block_table.size:
            writer.next_block = writer._committed = int(record.block_table["block"][-1]) + 1
        writer._event_numbers = {event.number for event in record.events}
        writer.reception = record.reception
        return writer

    def append(self, block: Block) -> None:
        """Take a block; ignore it unless it is newer than the newest.

        Raises
        ------
        ValueError
            If the shape of its samples does not fit the instrument.
        RecordError
            If the disk refuses.
        """
        _refuse_misfit(block, self._instrument)
        if block.number < self.next_block:
            return
        self._blocks.append(block)
        self.next_block = block.number + 1
        self._buffered_bytes += block.counts.nbytes
        if self._buffered_bytes >= _BUFFER_BYTES:
            self._write_blocks()

    def add_event(self, event: BoardEvent) -> None:
        """Take an event, with its sample index as the board counts; each number once."""
        if event.number not in self._event_numbers:
            self._event_numbers.add(event.number)
            self._events.append(event)

    def commit(self) -> int:
        """Put everything taken on disk; a kill at any instant cannot destroy it.

        Returns
        -------
        int
            Number of the next block expected; every block taken before it is on disk. 0 before
            the first block.

        Raises
        ------
        RecordError
            If the disk refuses.
        RecordGoneError
            If the file is no longer under its name; the message says where it was saved.
        """
        self._write_blocks()
        self._write_events()
        self._write_reception()
        with self._writing():
            self._opened.commit()
        self._committed = self.next_block
        return self._committed

    def finish(self, status: str = "complete", text: str = "") -> None:
        """Write the remaining data, the status and the seal, and close the file.

        Parameters
        ----------
        status : str
            "complete", "aborted" or "recovered".
        text : str
            Why, in plain words.

        Raises
        ------
        ValueError
            If the status is not one of these.
        RecordError
            If the disk refuses; the record is then as last committed.
        RecordGoneError
            If the file is no longer under its name; the message says where it was saved.
        """
        if status not in ("complete", "aborted", "recovered"):
            raise ValueError(f"`status` must be complete, aborted or recovered, was {status!r}")
        try:
            self._write_blocks()
            self._write_events(all_of_them=True)
            self._write_reception()
            with self._writing(whole=True) as file:
                layout.put(file, {"status": status, "status_text": text})
                put_seal(file)
                link = self._opened.link()
                self._opened.commit_closed()
        finally:
            self._opened.close()
        self._committed = self.next_block
        add_to_chain(self.path, link)

    def leave(self) -> None:
        """Commit and close without finishing: `resume` can continue the record.

        A closed record stays as it is.
        """
        if self._opened.is_open:
            try:
                self.commit()
            finally:
                self._opened.close()

    def withdraw(self) -> None:
        """Close the file and remove it: nothing was recorded."""
        self._opened.remove()

    def must_be_there(self) -> None:
        """Check that the finished record is still under its name; else RecordError."""
        self._opened.must_be_there()

    def __enter__(self) -> RecordWriter:
        return self

    def __exit__(self, kind: object, problem: BaseException | None, where: object) -> None:
        if not self._opened.is_open:
            return
        if problem is None:
            self.finish("aborted", "closed before it was finished")
            return
        # Show the first error; on a full disk this fails as well.
        with contextlib.suppress(RecordError):
            self.finish("aborted", f"{type(problem).__name__}: {problem}")

    def _writing(self, *, whole: bool = False) -> AbstractContextManager[h5py.File]:
        on_disk = f"Every block before number {self._committed} is on disk"
        return self._opened.writing(on_disk, whole=whole)

    def _write_blocks(self) -> None:
        if not self._blocks:
            return
        samples = np.concatenate([block.counts for block in self._blocks])
        with self._writing() as file:
            if self._rows == 0:
                first = self._blocks[0].number * self._instrument.samples_per_block
                file.attrs["first_sample_index"] = first
            layout.extend(self._counts, samples)
            layout.extend(self._table, block_lines(self._blocks, self._rows))
        self._rows += len(samples)
        self._blocks = []
        self._buffered_bytes = 0

    def _write_events(self, *, all_of_them: bool = False) -> None:
        # The start of the trace is unknown until the first block is here.
        if not self._events or not (self._rows or all_of_them):
            return
        with self._writing() as file:
            if "first_sample_index" not in file.attrs:
                file.attrs["first_sample_index"] = 0
            start = int(file.attrs["first_sample_index"])
            layout.extend(file["events"], event_lines(self._events, start))
        self._events = []

    def _write_reception(self) -> None:
        seen = self.reception.as_json()
        text = layout.json_text(seen, "reception") if seen else ""
        if text != self._reception_text:
            with self._writing() as file:
                layout.put(file, {"reception_json": text})
            self._reception_text = text


def _put_instrument(file: h5py.File, instrument: Instrument) -> None:
    """Write the instrument, and make its samples and the table of blocks, both empty."""
    values = asdict(instrument)
    layout.put(file, {name: values[name] for name in ("firmware", "board", "serial")})
    layout.put(file, {"history_blocks": values["history_blocks"], "board_state": values["state"]})
    trace = file.create_group("trace")
    channels = len(instrument.channels)
    counts = trace.create_dataset(
        "counts",
        (0, channels),
        COUNTS_DTYPE,
        maxshape=(None, channels),
        chunks=(layout.CHUNK_SAMPLES, channels),
    )
    names = ("sample_rate_hz", "reduction", "channels", "converter_bits", "samples_per_block")
    layout.put(counts, {name: values[name] for name in names})
    trace.create_dataset(
        "blocks", (0,), BLOCK_DTYPE, maxshape=(None,), chunks=(layout.CHUNK_BLOCKS,)
    )


def _unfinished(record: Record) -> Instrument:
    """The instrument of an unfinished record; RecordError for any other record."""
    if record.status != "recording" or record.instrument is None:
        raise error(record.path, f"is finished ({record.status}): nothing can be added to it")
    if record.sealed or record.edited or is_chained(record.path.parent, record.record_id):
        raise error(
            record.path,
            'has status "recording" but was sealed: it was changed after it was finished, and is '
            "not sealed again; keep it, and look for another copy",
        )
    return record.instrument


def _refuse_misfit(block: Block, instrument: Instrument) -> None:
    """Raise ValueError for a block whose shape does not fit the instrument."""
    channels = len(instrument.channels)
    rows = block.counts.shape[0]
    if block.counts.ndim != 2 or block.counts.shape[1] != channels:
        raise ValueError(
            f"`block` must have {channels} channels, its counts had shape {block.counts.shape}"
        )
    if not 0 < rows <= instrument.samples_per_block:
        raise ValueError(
            f"`block` must have 1 to {instrument.samples_per_block} samples, had {rows}"
        )
