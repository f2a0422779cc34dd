"""Record: the content of one record; no file stays open."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from tautlog.analysis.contradictions import Story, contradictions
from tautlog.analysis.in_turn import on_time, summed
from tautlog.analysis.letting_go import letting_go
from tautlog.analysis.limits_at_arming import in_force
from tautlog.analysis.ratiometric import corrected, correction_of
from tautlog.analysis.sync_flash import sync_flash
from tautlog.firmware import wire
from tautlog.model.calibration import Calibration
from tautlog.model.channels import (
    EXCITATION,
    FORCE,
    YES,
    Channel,
    ExcitationMonitor,
    channel_for,
    columns_of,
)
from tautlog.model.contradiction import Contradiction
from tautlog.model.excerpt import Excerpt, Span
from tautlog.model.linearity import conversion_noise
from tautlog.model.origin import MEASURED, REHEARSED
from tautlog.model.reception import Reception
from tautlog.model.stream import BoardEvent, Instrument
from tautlog.model.trace import Completeness, DropSetup, Trace
from tautlog.record.called_off import RELEASE_EVENT, RELEASE_EVENTS, called_off
from tautlog.record.entries import Decision, GivenUp, Inspection, MarksRun, Photo
from tautlog.record.entry_seals import EditedEntry
from tautlog.record.grid import Grid, grid_of, require_length
from tautlog.record.own_doubts import converter_differs, given_up
from tautlog.record.parts import Value, real, sealed_attributes, table, whole
from tautlog.record.problems import damaged, error, reading
from tautlog.record.recalibration import Recalibration, too_far_from
from tautlog.record.seal import SealCheck, check_seal
from tautlog.record.stated_legs import stated_leaning

ENDED_EVENT = "recording-ended"
ARTICLE_EVENT, MOUNT_EVENT = "article-wire-opened", "mount-wire-opened"


@dataclass(frozen=True)
class Record:
    """One record as read; `open_record` makes one. No file stays open.

    Attributes
    ----------
    path : Path
        The file.
    format_version : int
        Version of the file's format.
    record_id, software, utc, campaign, status, status_text : str
        See the format.
    setup : DropSetup
        The set-up as stated by people.
    calibration : Calibration
        The calibration of that day.
    instrument : Instrument or None
        The instrument that recorded it; None for an imported trace.
    source : mapping
        Attributes of ``/trace/values`` of an imported trace, else empty.
    sample_rate_hz : float
        Samples per second.
    first_sample_index : int
        Board's index of the first sample.
    block_table : ndarray of BLOCK_DTYPE, shape (blocks,)
        ``/trace/blocks``.
    events : tuple of BoardEvent
        Their sample indices count from the start of the trace.
    marks, inspections, decisions : tuple of MarksRun, of Inspection, of Decision
        Oldest first.
    photos, given_up : tuple of Photo, of GivenUp
        Oldest first.
    shunt_off : float or None
        Ratio of the shunt resistor's steps after and before the drop, minus 1.
    previous_seal, chain_head : str
        Seal of the record before it in its campaign, and head of its chain, or "".
    entry_seals : tuple of (str, int, str)
        Place, order and seal of every sealed entry, such as ("marks/1", 1, "3b...").
    origin : str
        One of `origin`: "measured", "rehearsed" or "imported".
    recalibration : Recalibration or None
        The calibration that the newest marks used instead of `calibration`.
    arming : dict
        Measurements and findings before arming; empty if none were kept.
    reception : Reception
        What the laptop saw of the board besides blocks and events.
    seal_version : int
        What the seal covers; from 2 on also status and entries.
    sealed : bool
        The record has a seal, or remains of one.
    edited : tuple of EditedEntry
        Entries that were changed after they were entered; the entries above leave them out.
    channels : tuple of Channel
        What is known of the channels beyond the first.
    rows : int
        Samples of a channel that are stored.
    excerpt : Excerpt or None
        The stretch of a long record that traces are read of; see `excerpt.excerpted`. None: all.
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
    source: Mapping[str, Value]
    sample_rate_hz: float
    first_sample_index: int
    block_table: npt.NDArray[np.void]
    events: tuple[BoardEvent, ...]
    marks: tuple[MarksRun, ...]
    inspections: tuple[Inspection, ...] = ()
    decisions: tuple[Decision, ...] = ()
    photos: tuple[Photo, ...] = ()
    given_up: tuple[GivenUp, ...] = ()
    shunt_off: float | None = None
    previous_seal: str = ""
    chain_head: str = ""
    entry_seals: tuple[tuple[str, int, str], ...] = ()
    origin: str = MEASURED
    recalibration: Recalibration | None = None
    arming: Mapping[str, Any] = field(default_factory=dict)
    reception: Reception = field(default_factory=Reception)
    seal_version: int = 1
    sealed: bool = False
    edited: tuple[EditedEntry, ...] = ()
    channels: tuple[Channel, ...] = ()
    rows: int = 0
    excerpt: Excerpt | None = None

    @property
    def unfinished(self) -> bool:
        """Whether its writer was killed; False if it was sealed, whatever its status says."""
        return self.status == "recording" and not self.sealed

    @property
    def marks_edited(self) -> bool:
        """Whether the newest marks were changed after they were kept."""
        return any(entry.where == "marks" and entry.newest for entry in self.edited)

    @property
    def rehearsed(self) -> bool:
        """Whether the drop was rehearsed: nothing moved, and it is no evidence."""
        return self.origin == REHEARSED

    @property
    def calibration_used(self) -> Calibration:
        """The first channel's calibration: that of the newest marks, else the record's own."""
        chosen = self.recalibration
        return chosen.calibration if chosen and not chosen.channel else self.calibration

    def channel(self, column: int) -> Channel:
        """A channel with the scale used for it; of the newest marks, else the record's own."""
        names = self.instrument.channels if self.instrument else ("force",)
        chosen = self.recalibration
        if chosen and names[column] == chosen.channel:
            return Channel(chosen.channel, chosen.calibration)
        return channel_for(self.channels, names[column])

    @property
    def inspected_setup(self) -> DropSetup:
        """The set-up, with the findings after the drop: of inspection and of the shunt."""
        setup = replace(self.setup, shunt_off=self.shunt_off)
        if not self.inspections:
            return setup
        return replace(setup, article_finding=self.inspections[-1].finding)

    def __enter__(self) -> Record:
        return self

    def __exit__(self, *_: object) -> None:
        """Nothing is open."""

    @property
    def size(self) -> int:
        """Samples of the whole trace, gaps included.

        Raises
        ------
        RecordError
            If the blocks make no sense, or are of a longer trace than can be read.
        """
        try:
            if self.instrument is None:
                require_length(self.rows, "the values")
                return self.rows
            per_block = self.instrument.samples_per_block
            return grid_of(self.block_table, self.rows, per_block, Span(0, 0)).whole
        except ValueError as problem:
            raise damaged(self.path, str(problem)) from problem

    @property
    def release_index(self) -> int | None:
        """Sample index at which the release switch first opened, from the trace's start."""
        return self.first_of(RELEASE_EVENT)

    @property
    def released(self) -> bool:
        """Whether the drop may have loaded line and mount; False if it was called off before."""
        if self.status != "aborted" or any(event.name in RELEASE_EVENTS for event in self.events):
            return True
        marks = self.marks[-1].result if self.marks else {}
        loaded = (marks.get("load_verdict") or "no-load") != "no-load"
        return loaded or marks.get("peak_force_n") is not None or marks.get("clipped") is True

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
            counts: npt.NDArray[np.uint16] = table(file, "trace/counts")[()]
            return counts

    def trace(self, channel: int | None = None) -> Trace:
        """Return the force on its uniform grid, NaN where a sample is missing.

        Of a record with an excerpt that stretch is read; its times are those of the record.

        Parameters
        ----------
        channel : int or None
            Column of the samples, with its own calibration, else with `calibration_used`. None:
            the force of the drop, which is the sum of all force channels; see `legs_of`.

        Raises
        ------
        ValueError
            If there is no such channel.
        RecordError
            If the record is damaged.
        """
        channels = 1 if self.instrument is None else len(self.instrument.channels)
        if channel is not None and not 0 <= channel < channels:
            raise ValueError(f"`channel` must be 0 to {channels - 1}, was {channel!r}")
        if self.instrument is None:
            return _imported_trace(self)
        if channel is not None:
            used = self.channel(channel).calibration if channel else None
            return _trace_by(self, self.instrument, channel, used or self.calibration_used)
        legs = legs_of(self)
        if legs:
            lean = stated_leaning(self.path, self.setup.leg_facts, tuple(legs))
            return summed(tuple(legs.values()), lean)
        return _supplied(self, self.trace(0), self.calibration_used)

    def first_of(self, name: str) -> int | None:
        """Sample index of the first event of a name, from the trace's start."""
        return next((event.sample_index for event in self.events if event.name == name), None)

    def verify_seal(self) -> SealCheck:
        """Compare the seal with the file's present content.

        Raises
        ------
        RecordError
            If the record is too damaged to read.
        """
        with reading(self.path) as file:
            return check_seal(file, sealed_attributes(file))


def _trace_by(record: Record, instrument: Instrument, channel: int, used: Calibration) -> Trace:
    """The force of one column by a calibration, at its own times."""
    counts, grid = _placed_counts(record, instrument, channel)
    reduction, rate_hz = instrument.reduction, record.sample_rate_hz
    clipped = used.clipped(counts, reduction)
    found = contradictions(_story(record, instrument, grid.whole))
    limits = in_force(record.arming) if channel == 0 else None
    if limits is not None and (unlike := limits.unlike(used, reduction)):
        clipped |= limits.clipped(counts)
        found += (Contradiction("rails-differ", unlike),)
    if used.converter_bits != instrument.converter_bits:
        found += (converter_differs(used, instrument),)
    found += tuple(map(given_up, record.given_up[-1:]))
    release = letting_go(record.events, rate_hz, grid.whole)
    force_n = used.force_n(counts, reduction, conversion_noise(counts, reduction))
    bare = Trace(grid.placed(force_n, np.nan), rate_hz)
    return replace(
        _with_flash(bare.under(used).counted(used, reduction), record.events),
        conversion_rate_hz=rate_hz * reduction,
        release_time_s=release.time_s,
        release_doubt=release.doubt,
        release_note=release.note,
        article_wire_s=_time_of(record, ARTICLE_EVENT, grid.whole),
        mount_wire_s=_time_of(record, MOUNT_EVENT, grid.whole),
        clipped=grid.placed(clipped, False),
        calibration_expired=too_far_from(used, record.utc),
        completeness=_how_it_ended(record),
        contradictions=found,
        begins_s=_begins_s(record),
    )


def _placed_counts(
    record: Record, instrument: Instrument, column: int
) -> tuple[npt.NDArray[np.uint16], Grid]:
    """Counts of a column, all or those of the excerpt, and their places."""
    span = record.excerpt.span if record.excerpt else None
    with reading(record.path) as file:
        per_block = instrument.samples_per_block
        grid = grid_of(record.block_table, record.rows, per_block, span)
        return table(file, "trace/counts")[grid.rows, column], grid


def _begins_s(record: Record) -> float:
    """Time of the first sample that is read, from the start of the trace."""
    return record.excerpt.span.start / record.sample_rate_hz if record.excerpt else 0.0


def _time_of(record: Record, name: str, size: int) -> float | None:
    """Seconds from the trace's start to the first event of a name, if it lies within."""
    first = record.first_of(name)
    return first / record.sample_rate_hz if first is not None and 0 <= first < size else None


def _imported_trace(record: Record) -> Trace:
    span = record.excerpt.span if record.excerpt else None
    with reading(record.path) as file:
        stored = table(file, "trace/values")
        require_length(stored.shape[0], "the values")
        values = stored[slice(span.start, span.stop) if span else slice(None)]
        factor = real(record.source, "newton_per_unit") * whole(record.source, "polarity")
    expired = record.calibration.expired_on(record.utc)
    trace = Trace(values * factor, record.sample_rate_hz).under(record.calibration_used)
    return replace(trace, calibration_expired=expired, begins_s=_begins_s(record))


def _how_it_ended(record: Record) -> Completeness:
    """How a record ended, by its status and the board's reasons."""
    ended = [event.value for event in record.events if event.name == ENDED_EVENT]
    reason = wire.REASONS[ended[-1]][0] if ended and ended[-1] in wire.REASONS else ""
    return Completeness(record.status, reason, called_off(record.status, record.events))


def legs_of(record: Record) -> dict[str, Trace | None]:
    """The force of each leg by the name of its channel; empty unless there are several.

    All are at the times of the first. None for a leg that is not calibrated: nothing is guessed.
    """
    instrument = record.instrument
    columns = columns_of(instrument.channels, FORCE) if instrument else ()
    if instrument is None or len(columns) < 2:
        return {}
    return {instrument.channels[column]: _leg(record, instrument, column) for column in columns}


def _leg(record: Record, instrument: Instrument, column: int) -> Trace | None:
    used = record.channel(column).calibration if column else record.calibration_used
    if used is None:
        return None
    trace = _trace_by(record, instrument, column, used)
    trace = replace(trace, force_n=on_time(trace.force_n, instrument.late_samples(column)))
    return _supplied(record, trace, used)


def _story(record: Record, instrument: Instrument, size: int) -> Story:
    """What a record holds of its drop besides the samples."""
    numbers, row, stamps_us, lost = (
        record.block_table[name].astype(np.int64) for name in ("block", "row", "stamp_us", "lost")
    )
    return Story(
        record.events,
        record.sample_rate_hz,
        instrument.samples_per_block,
        size,
        numbers,
        np.diff(row, append=record.rows),
        stamps_us,
        lost,
        record.reception,
    )


def volts_of(record: Record, column: int) -> npt.NDArray[np.float64]:
    """Volts of a column, shape (n_samples,), NaN where a sample is missing.

    Raises
    ------
    RecordError
        If the record is imported or damaged.
    """
    instrument = record.instrument
    if instrument is None:
        raise error(record.path, "is an imported trace: it holds values, not volts")
    counts, grid = _placed_counts(record, instrument, column)
    noise = conversion_noise(counts, instrument.reduction)
    volts = record.calibration.volts(counts, instrument.reduction, noise)
    return on_time(grid.placed(volts, np.nan), instrument.late_samples(column))


def _supplied(record: Record, trace: Trace, used: Calibration) -> Trace:
    """A force corrected by the supply of the bridges, if that is stated and can be done."""
    factor = supply_factor(record)
    if factor is None or used.zero_v is None:
        return trace
    return corrected(trace, used.zero_v * used.newton_per_volt, factor)


def supply_factor(record: Record) -> npt.NDArray[np.float64] | None:
    """Expected over measured supply, sample by sample; None unless stated, see `ratiometric`."""
    names = record.instrument.channels if record.instrument else ()
    for column in columns_of(names, EXCITATION):
        scale = record.channel(column).scale
        if isinstance(scale, ExcitationMonitor) and scale.ratiometric == YES:
            return correction_of(volts_of(record, column), scale, record.sample_rate_hz)
    return None


def _with_flash(trace: Trace, events: tuple[BoardEvent, ...]) -> Trace:
    """The same trace, with what the sync flash tells."""
    flash = sync_flash(events, trace.sample_rate_hz)
    return replace(
        trace,
        flash_time_s=flash.time_s,
        flash_late_s=flash.late_s,
        flash_doubt=flash.doubt,
    )
