"""Writer: a record as it comes, block by block, and what is added to it later."""

from __future__ import annotations

import contextlib
import os
import uuid
import weakref
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, fields
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import numpy.typing as npt

from tautlog.errors import RecordError, RecordExistsError
from tautlog.model.calibration import Calibration
from tautlog.model.origin import IMPORTED, MEASURED, REHEARSED, board_is_rehearsed
from tautlog.model.reception import Reception
from tautlog.model.stream import Block, BoardEvent, Instrument
from tautlog.model.trace import DropSetup
from tautlog.record import layout, seal_version
from tautlog.record.chain import add_link, last_seal
from tautlog.record.entry_seals import put_entry_seal
from tautlog.record.gone import save_gone
from tautlog.record.journal import (
    FileGoneError,
    FileLockedError,
    JournaledFile,
    identity_of,
    journal_path,
)
from tautlog.record.layout import BLOCK_DTYPE, EVENT_DTYPE
from tautlog.record.reader import open_record
from tautlog.record.seal import put_seal
from tautlog.record.trouble import DAMAGE, damaged, error, locked, reason

_BUFFER_BYTES = 1 << 22  # what waits in memory for a commit, at most


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
    reception : Reception
        What the laptop sees of the board besides; it is kept at every commit.
    """

    def __init__(self, raw: JournaledFile, file: h5py.File, instrument: Instrument) -> None:
        self.path = raw.path
        self.next_block = 0
        self.reception = Reception()
        self._told = ""
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
        arming: Mapping[str, Any] | None = None,
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
        arming : mapping, optional
            What was measured and found before arming, a JSON object.

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
        if arming is not None:
            board["arming_json"] = layout.json_text(arming, "arming")

        def fill(file: h5py.File) -> None:
            layout.put(file, board)
            _make_counts(file, instrument)
            _put_setup(file, setup, calibration)

        rehearsed = board_is_rehearsed(instrument.board, instrument.serial)
        origin = REHEARSED if rehearsed else MEASURED
        raw, file = _create(Path(path), campaign, utc, fill, origin)
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
            raise error(record.path, f"is finished ({record.status}): nothing can be added to it")
        raw, file = _reopen(record.path, record.record_id)
        writer = cls(raw, file, record.instrument)
        if record.block_table.size:
            writer.next_block = writer._committed = int(record.block_table["block"][-1]) + 1
        writer._event_numbers = {event.number for event in record.events}
        writer.reception = record.reception
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
        RecordGoneError
            If the file is not under its name any more; says where it was saved.
        """
        self._write_blocks()
        self._write_events()
        self._write_reception()
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
        RecordGoneError
            If the file is not under its name any more; says where it was saved.
        """
        if status not in ("complete", "aborted", "recovered"):
            raise ValueError(f"`status` must be complete, aborted or recovered, was {status!r}")
        try:
            self._write_blocks()
            self._write_events(all_of_them=True)
            self._write_reception()
            with self._disk(whole=True):
                layout.put(self._file, {"status": status, "status_text": text})
                put_seal(self._file)
                link, origin = _link_of(self._file), layout.text_of(self._file, "origin")
                self._file.close()
                self._raw.commit()
        finally:
            self._abandon()
        self._committed = self.next_block
        if origin != REHEARSED:
            add_link(self.path, *link)

    def leave(self) -> None:
        """Commit and close, but do not finish: `resume` can go on with the record.

        A record that is closed already stays as it is.
        """
        if not self._abandon.alive:
            return
        try:
            self.commit()
        finally:
            self._abandon()

    def withdraw(self) -> None:
        """Close the file and remove it: nothing was recorded."""
        _remove(self._raw, self._abandon)

    def must_be_there(self) -> None:
        """Make sure that the finished record is still the one under its name.

        Raises
        ------
        RecordError
            If it was removed, moved or replaced since.
        """
        try:
            there = self._raw.identity == identity_of(self.path)
        except OSError as problem:
            raise error(self.path, f"was finished and is gone: {reason(problem)}") from problem
        if not there:
            raise error(self.path, "was finished and is now another file")

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
    def _disk(self, *, whole: bool = False) -> Iterator[None]:
        """Turn refusals of the disk, also those that HDF5 did not hear of, into ours."""
        if not self._abandon.alive:
            raise error(self.path, "was finished: nothing can be added to it")
        try:
            yield
            if self._raw.failure is not None:
                raise self._raw.failure
        except FileGoneError as problem:
            gone = save_gone(self._raw, whole=whole)
            self._abandon()
            raise gone from problem
        except DAMAGE as problem:
            cause = self._raw.failure or problem
            raise error(
                self.path,
                f"cannot be written: {reason(cause)}. Every block before number "
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
            layout.extend(self._counts, np.concatenate([block.counts for block in self._blocks]))
            layout.extend(self._table, table)
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
            layout.extend(self._file["events"], _event_table(self._events, start))
        self._events = []

    def _write_reception(self) -> None:
        told = self.reception.told()
        text = layout.json_text(told, "reception") if told else ""
        if text == self._told:
            return
        with self._disk():
            layout.put(self._file, {"reception_json": text})
        self._told = text


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
        Only `expanded_u_fraction`, `expanded_u_n`, `range_n`, `date` and `note` are of meaning.
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
        layout.put(dataset, attributes)
        _put_setup(file, setup, calibration)
        file.attrs["status"] = "complete"
        put_seal(file)

    raw, file = _create(Path(path), campaign, utc, fill, IMPORTED)
    link = _link_of(file)
    _close_uncommitted(file, raw)
    add_link(Path(path), *link)


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
    texts = {
        "settings_json": layout.json_text(settings, "settings"),
        "result_json": layout.json_text(result, "result"),
    }
    return _add_entry(path, "marks", texts)


def add_inspection(
    path: str | os.PathLike[str],
    *,
    by: str,
    finding: str,
    note: str = "",
    where: str = "",
    moved: str = "",
) -> int:
    """Append what an inspection of the article found; nothing else in a record changes.

    Parameters
    ----------
    path : path
        The record.
    by, finding, note : str
        Who looked; one of `inspection.ARTICLE_FINDINGS`; in plain words.
    where, moved : str
        Where it gave; what touched or moved first.

    Returns
    -------
    int
        Number of the inspection.

    Raises
    ------
    RecordError
        If the record cannot be read or written.
    """
    texts = {"by": by, "finding": finding, "note": note, "where": where, "moved": moved}
    return _add_entry(path, "inspections", texts)


def add_decision(
    path: str | os.PathLike[str], *, by: str, verdict: str, proposed: str, reason: str
) -> int:
    """Append what a named person decided; the proposal stays beside it.

    Parameters
    ----------
    path : path
        The record.
    by, verdict, reason : str
        Who; one of the test verdicts; why.
    proposed : str
        What the tool proposed.

    Returns
    -------
    int
        Number of the decision.

    Raises
    ------
    RecordError
        If the record cannot be read or written.
    """
    texts = {"by": by, "verdict": verdict, "proposed": proposed, "reason": reason}
    return _add_entry(path, "decisions", texts)


def add_photo(
    path: str | os.PathLike[str],
    *,
    name: str,
    sha256: str,
    size: int,
    offset_s: float | None = None,
    note: str = "",
) -> int:
    """Append name and hash of a photo or film; the file itself is not touched.

    Parameters
    ----------
    path : path
        The record.
    name, sha256, note : str
        Of the file, its hash, what it shows.
    size : int
        Bytes.
    offset_s : float or None
        Time in a film at which the board's flash is seen.

    Returns
    -------
    int
        Number of the photo.

    Raises
    ------
    RecordError
        If the record cannot be read or written.
    """
    texts = {"name": name, "sha256": sha256, "size": str(size), "note": note}
    if offset_s is not None:
        texts["offset_s"] = repr(float(offset_s))
    return _add_entry(path, "photos", texts)


def add_shunt_check(path: str | os.PathLike[str], *, before_v: float, after_v: float) -> int:
    """Append the steps of the shunt resistor before and after a drop.

    Parameters
    ----------
    path : path
        The record.
    before_v, after_v : float
        Volts at the converter.

    Returns
    -------
    int
        Number of the check.

    Raises
    ------
    RecordError
        If the record cannot be read or written.
    """
    texts = {"before_v": repr(float(before_v)), "after_v": repr(float(after_v))}
    return _add_entry(path, "shunt_checks", texts)


def _add_entry(path: str | os.PathLike[str], where: str, texts: Mapping[str, str]) -> int:
    """Append a numbered group with attributes, the program and the time."""
    record = open_record(path)
    raw, file = _reopen(record.path, record.record_id)
    try:
        place = file.require_group(where)
        number = max((int(name) for name in place), default=0) + 1
        entry = place.create_group(str(number))
        layout.put(entry, {"software": layout.SOFTWARE, "utc": _now(), **texts})
        put_entry_seal(file, entry)
        file.close()
        raw.commit()
    except DAMAGE as problem:
        raise error(record.path, f"cannot be written: {reason(problem)}") from problem
    finally:
        _close_uncommitted(file, raw)
    return number


def _link_of(file: h5py.File) -> tuple[str, str, str]:
    """What the chain keeps of a sealed record: identity, seal, and the seal before it."""
    return (
        layout.text_of(file, "record_id"),
        layout.text_of(file, "seal_sha256"),
        layout.text_of(file, "previous_seal_sha256"),
    )


def _create(
    path: Path, campaign: str, utc: str, fill: Callable[[h5py.File], None], origin: str
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
        raise error(path, f"cannot be made: {reason(problem)}") from problem
    try:
        file = h5py.File(raw, "w", libver=layout.LIBVER)
        try:
            # Of fixed length, so that it stands in the file's head: it is the guard.
            file.attrs["record_id"] = np.bytes_(record_id)
            layout.put(
                file,
                {
                    "format": layout.FORMAT,
                    "format_version": layout.FORMAT_VERSION,
                    "software": layout.SOFTWARE,
                },
            )
            layout.put(file, {"utc": utc or _now(), "campaign": campaign, "status": "recording"})
            layout.put(file, {"origin": origin, "seal_version": seal_version.CURRENT})
            # A rehearsal is no link of a campaign's chain.
            previous = "" if origin == REHEARSED else last_seal(path.parent)
            if previous:
                layout.put(file, {"previous_seal_sha256": previous})
            file.create_dataset(
                "events", (0,), EVENT_DTYPE, maxshape=(None,), chunks=(layout.CHUNK_EVENTS,)
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
        _remove(raw, raw.close)
        if isinstance(problem, DAMAGE) and raw.failure is not None:
            raise error(path, f"cannot be written: {reason(raw.failure)}") from problem
        raise
    return raw, file


def _reopen(path: Path, record_id: str) -> tuple[JournaledFile, h5py.File]:
    try:
        raw = JournaledFile(path, record_id.encode("ascii", "replace"), new=False)
    except FileLockedError as problem:
        raise locked(path) from problem
    except (OSError, ValueError) as problem:
        raise error(path, f"cannot be written: {reason(problem)}") from problem
    try:
        return raw, h5py.File(raw, "r+", libver=layout.LIBVER)
    except DAMAGE as problem:
        raw.close()
        raise damaged(path, reason(problem)) from problem


def _remove(raw: JournaledFile, close: Callable[[], object]) -> None:
    """Close a new file and remove it, unless another one has taken its name."""
    mine = [one for one in (raw.path, journal_path(raw.path)) if raw.owns(one)]
    close()
    for name in mine:
        with contextlib.suppress(OSError):
            name.unlink(missing_ok=True)


def _close_uncommitted(file: h5py.File, raw: JournaledFile) -> None:
    """Close both; what was not committed never happened."""
    raw.discard()
    with contextlib.suppress(*DAMAGE):
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
        chunks=(layout.CHUNK_SAMPLES, channels),
    )
    described = asdict(instrument)
    names = ("sample_rate_hz", "reduction", "channels", "converter_bits", "samples_per_block")
    layout.put(counts, {name: described[name] for name in names})
    trace.create_dataset(
        "blocks", (0,), BLOCK_DTYPE, maxshape=(None,), chunks=(layout.CHUNK_BLOCKS,)
    )


def _put_setup(file: h5py.File, setup: DropSetup, calibration: Calibration) -> None:
    for name, described in (("setup", setup), ("calibration", calibration)):
        values = asdict(described)
        for field in fields(described):
            if "float" in str(field.type) and values[field.name] is not None:
                values[field.name] = float(values[field.name])
        layout.put(file.create_group(name), values)


def _event_table(events: list[BoardEvent], start: int) -> npt.NDArray[np.void]:
    table = np.empty(len(events), EVENT_DTYPE)
    table["number"] = [event.number for event in events]
    table["name"] = [event.name.encode("ascii", "replace") for event in events]
    table["sample_index"] = [event.sample_index - start for event in events]
    table["stamp_us"] = [event.stamp_us for event in events]
    table["value"] = [event.value for event in events]
    return table


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
