"""Reader: a record's set-up, events and samples, as they were written."""

from __future__ import annotations

import os
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import numpy.typing as npt

from tautlog.analysis.contradictions import Story, contradictions
from tautlog.analysis.in_force import in_force
from tautlog.analysis.letting_go import letting_go
from tautlog.files.strict_json import read_object
from tautlog.firmware import wire
from tautlog.model.calibration import Calibration
from tautlog.model.contradiction import Contradiction
from tautlog.model.origin import MEASURED, REHEARSED, origin_of
from tautlog.model.reception import Reception, reception_in
from tautlog.model.stream import BoardEvent, Instrument
from tautlog.model.trace import Completeness, DropSetup, Trace
from tautlog.record import entries, layout
from tautlog.record.entries import Decision, Inspection, MarksRun, Photo
from tautlog.record.entry_seals import EditedEntry, edited_entries
from tautlog.record.layout import BLOCK_DTYPE, EVENT_DTYPE
from tautlog.record.numbers import refuse_nonsense
from tautlog.record.recalibration import Recalibration, recalibration_in, too_far_from
from tautlog.record.seal import Told, differing, seal_of, version_of
from tautlog.record.trouble import damaged, error, reading

RELEASE_EVENT = "release-opened"
RELEASE_EVENTS = (RELEASE_EVENT, "release-by-force")
ENDED_EVENT = "recording-ended"
ARTICLE_EVENT, MOUNT_EVENT = "article-wire-opened", "mount-wire-opened"
# Flags of a block whose samples stand nobody knows where.
MISPLACED_FLAGS = wire.FLAG_CONVERTER_OVERRUN | wire.FLAG_LATE
# Longest trace that is laid out on its grid: 2 GiB of force. A block number beyond
# it is damage, not a gap.
MAX_TRACE_SAMPLES = 1 << 28


@dataclass(frozen=True)
class SealCheck:
    """What the seal says.

    Attributes
    ----------
    state : str
        "intact", "broken", or "unsealed" for a record that was never finished.
    stored, computed : str
        The seal in the file, or ""; the seal of what is in the file now.
    differs : tuple of str
        What is not as it was sealed, in words.
    """

    state: str
    stored: str
    computed: str
    differs: tuple[str, ...] = ()


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
    inspections : tuple of Inspection
        Oldest first.
    decisions : tuple of Decision
        Oldest first.
    photos : tuple of Photo
        Oldest first.
    shunt_off : float or None
        Step of the shunt resistor after the drop over that before it, less one.
    previous_seal : str
        Seal of the record before it in its campaign; "" for the first.
    origin : str
        One of `origin`: "measured", "rehearsed" or "imported".
    recalibration : Recalibration or None
        What the newest marks used instead of `calibration`.
    arming : dict
        What was measured and found before arming; empty where nobody kept it.
    reception : Reception
        What the laptop saw of the board that no block and no event holds.
    seal_version : int
        What its seal covers; from 2 on status and entries too.
    edited : tuple of EditedEntry
        Entries that are not what was entered; they are among none of the above.
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
    inspections: tuple[Inspection, ...] = ()
    decisions: tuple[Decision, ...] = ()
    photos: tuple[Photo, ...] = ()
    shunt_off: float | None = None
    previous_seal: str = ""
    origin: str = MEASURED
    recalibration: Recalibration | None = None
    arming: dict[str, Any] = field(default_factory=dict)
    reception: Reception = field(default_factory=Reception)
    seal_version: int = 1
    edited: tuple[EditedEntry, ...] = ()

    @property
    def marks_edited(self) -> bool:
        """Whether the newest marks are not those that were kept."""
        return any(one.where == "marks" and one.newest for one in self.edited)

    @property
    def rehearsed(self) -> bool:
        """Whether nothing moved: a rehearsal counts for nothing."""
        return self.origin == REHEARSED

    @property
    def calibration_used(self) -> Calibration:
        """What forces are made with: that of the newest marks, else the record's own."""
        return self.recalibration.calibration if self.recalibration else self.calibration

    @property
    def inspected_setup(self) -> DropSetup:
        """The set-up, with what was found after the drop: of the article, by the shunt."""
        setup = replace(self.setup, shunt_off=self.shunt_off)
        if not self.inspections:
            return setup
        return replace(setup, article_finding=self.inspections[-1].finding)

    def __enter__(self) -> Record:
        return self

    def __exit__(self, *_: object) -> None:
        """Nothing is open."""

    @property
    def release_index(self) -> int | None:
        """Sample of the first opening of the release switch, from the trace's start."""
        return self._first_of(RELEASE_EVENT)

    @property
    def released(self) -> bool:
        """Whether the drop may have loaded what it hangs on: not where it was called off before."""
        if self.status != "aborted" or any(one.name in RELEASE_EVENTS for one in self.events):
            return True
        told = self.marks[-1].result if self.marks else {}
        loaded = (told.get("load_verdict") or "no-load") != "no-load"
        return loaded or told.get("peak_force_n") is not None

    def counts(self) -> npt.NDArray[np.uint16]:
        """Return the raw samples as stored, shape (samples, channels).

        Raises
        ------
        RecordError
            If the record is imported or damaged.
        """
        if self.instrument is None:
            raise error(self.path, "is an imported trace: it holds values, not counts")
        with reading(self.path) as file:
            return np.asarray(layout.dataset(file, "trace/counts")[()], dtype=np.uint16)

    def trace(self, channel: int = 0) -> Trace:
        """Return the force on its uniform grid, NaN where a sample is missing.

        Made with `calibration_used`.

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
        with reading(self.path) as file:
            counts = np.asarray(layout.dataset(file, "trace/counts")[:, channel], dtype=np.uint16)
            size, places, known = _grid(
                self.block_table, counts.size, self.instrument.samples_per_block
            )
        reduction, used = self.instrument.reduction, self.calibration_used
        force_n = used.force_n(counts, reduction)
        clipped = used.clipped(counts, reduction)
        found = contradictions(self.story(size, counts.size))
        limits = in_force(self.arming) if channel == 0 else None
        if limits is not None and (unlike := limits.unlike(used, reduction)):
            clipped |= limits.clipped(counts)
            found += (Contradiction("rails-differ", unlike),)
        if places is not None:
            force_n = _placed(size, places, known, force_n, np.nan)
            clipped = _placed(size, places, known, clipped, False)
        release = letting_go(self.events, self.sample_rate_hz, size)
        return Trace(
            force_n=force_n,
            sample_rate_hz=self.sample_rate_hz,
            release_time_s=release.time_s,
            release_doubt=release.doubt,
            release_note=release.note,
            article_wire_s=self._time_of(ARTICLE_EVENT, size),
            mount_wire_s=self._time_of(MOUNT_EVENT, size),
            clipped=clipped,
            quantum_n=used.quantum_n(reduction),
            calibration_u_fraction=used.expanded_u_fraction,
            calibration_u_n=used.expanded_u_n,
            covered_n=used.range_n,
            bandwidth_hz=used.bandwidth_hz,
            calibration_expired=too_far_from(used, self.utc),
            completeness=Completeness(self.status, self._ended_by()),
            contradictions=found,
        )

    def story(self, size: int, rows: int) -> Story:
        """All that the record holds of its drop but the samples.

        Parameters
        ----------
        size, rows : int
            Samples of the trace, with and without its gaps.
        """
        assert self.instrument is not None
        table = self.block_table
        numbers, row, stamps_us, lost = (
            table[name].astype(np.int64) for name in ("block", "row", "stamp_us", "lost")
        )
        return Story(
            self.events,
            self.sample_rate_hz,
            self.instrument.samples_per_block,
            size,
            numbers,
            np.diff(row, append=rows),
            stamps_us,
            lost,
            self.reception,
        )

    def _ended_by(self) -> str:
        """Name of the reason that the board gave for the end of its recording, or ""."""
        ended = [event.value for event in self.events if event.name == ENDED_EVENT]
        return wire.REASONS[ended[-1]][0] if ended and ended[-1] in wire.REASONS else ""

    def _time_of(self, name: str, size: int) -> float | None:
        """Seconds from the trace's start to the first event of a name, if it lies within."""
        first = self._first_of(name)
        return first / self.sample_rate_hz if first is not None and 0 <= first < size else None

    def _first_of(self, name: str) -> int | None:
        return next((event.sample_index for event in self.events if event.name == name), None)

    def verify_seal(self) -> SealCheck:
        """Compare the seal with what is in the file now.

        Raises
        ------
        RecordError
            If the record is too damaged to be read.
        """
        with reading(self.path) as file:
            return _seal_check(file, layout.sealed_attributes(file))

    def _imported_trace(self) -> Trace:
        with reading(self.path) as file:
            values = np.asarray(layout.dataset(file, "trace/values")[()], dtype=np.float64)
            factor = float(self.source["newton_per_unit"]) * int(self.source["polarity"])
        return Trace(
            force_n=values * factor,
            sample_rate_hz=self.sample_rate_hz,
            calibration_u_fraction=self.calibration.expanded_u_fraction,
            calibration_u_n=self.calibration.expanded_u_n,
            covered_n=self.calibration.range_n,
            bandwidth_hz=self.calibration.bandwidth_hz,
            calibration_expired=self.calibration.expired_on(self.utc),
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
    with reading(where) as file:
        return _record(file, where, layout.sealed_attributes(file))


def open_checked(path: str | os.PathLike[str]) -> tuple[Record, SealCheck]:
    """Read a record and its seal in one opening; see `open_record`.

    Raises
    ------
    RecordError
        As in `open_record`.
    """
    where = Path(path)
    with reading(where) as file:
        told = layout.sealed_attributes(file)
        return _record(file, where, told), _seal_check(file, told)


def _seal_check(file: h5py.File, told: Told) -> SealCheck:
    computed, parts = seal_of(file, told)
    stored = str(told["/"].get("seal_sha256", ""))
    if not stored and told["/"].get("status") == "recording":
        return SealCheck("unsealed", "", computed)
    if not stored:
        return SealCheck("broken", "", computed, ("the seal, which was taken away",))
    if stored == computed:
        return SealCheck("intact", stored, computed)
    sealed = read_object(str(told["/"].get("seal_parts_json", "{}")))
    return SealCheck("broken", stored, computed, differing(sealed, parts))


def _record(file: h5py.File, where: Path, told: Told) -> Record:
    instrument = _instrument(file, told)
    samples = told["/trace/values" if instrument is None else "/trace/counts"]
    rate_hz = float(samples["sample_rate_hz"])

    def text(name: str) -> str:
        return str(told["/"].get(name, ""))

    if not 0 < rate_hz < np.inf:
        raise damaged(where, f"its sample rate is {rate_hz!r}")
    table = np.zeros(0, BLOCK_DTYPE)
    if instrument is not None:
        table = layout.dataset(file, "trace/blocks")[()].astype(BLOCK_DTYPE)
    edited = edited_entries(file, told)
    without = frozenset((one.where, one.number) for one in edited)
    marks = entries.read_marks(file, without)
    refuse_nonsense(told)
    own = Calibration(**layout.fields_of(told["/calibration"], Calibration))
    return Record(
        path=where,
        format_version=int(told["/"]["format_version"]),
        record_id=text("record_id"),
        software=text("software"),
        utc=text("utc"),
        campaign=text("campaign"),
        status=text("status"),
        status_text=text("status_text"),
        setup=DropSetup(**layout.fields_of(told["/setup"], DropSetup)),
        calibration=own,
        instrument=instrument,
        source=dict(samples) if instrument is None else {},
        sample_rate_hz=rate_hz,
        first_sample_index=int(told["/"].get("first_sample_index", 0)),
        block_table=table,
        events=_events(file),
        marks=marks,
        inspections=entries.read_texts(file, "inspections", Inspection, without),
        decisions=entries.read_texts(file, "decisions", Decision, without),
        photos=entries.read_photos(file, without),
        shunt_off=entries.read_shunt_off(file, without),
        previous_seal=text("previous_seal_sha256"),
        origin=origin_of(told["/"], imported=instrument is None),
        recalibration=recalibration_in(marks[-1].settings, own) if marks else None,
        arming=read_object(text("arming_json") or "{}"),
        reception=reception_in(read_object(text("reception_json") or "{}")),
        seal_version=version_of(told),
        edited=edited,
    )


def _instrument(file: h5py.File, told: Told) -> Instrument | None:
    if "/trace/values" in told:
        return None
    root, samples = told["/"], told["/trace/counts"]
    instrument = Instrument(
        firmware=str(root.get("firmware", "")),
        board=str(root.get("board", "")),
        serial=str(root.get("serial", "")),
        sample_rate_hz=float(samples["sample_rate_hz"]),
        reduction=int(samples["reduction"]),
        channels=tuple(samples["channels"]),
        samples_per_block=int(samples["samples_per_block"]),
        history_blocks=int(root["history_blocks"]),
        converter_bits=int(samples["converter_bits"]),
        state=str(root.get("board_state", "")),
    )
    counts = layout.dataset(file, "trace/counts")
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
        for line in layout.dataset(file, "events")[()].astype(EVENT_DTYPE)
    )


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
