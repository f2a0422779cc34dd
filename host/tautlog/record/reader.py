"""Reader: opens a record's file and reads it into a `Record`."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import h5py
import numpy as np

from tautlog.analysis.limits_at_arming import in_force
from tautlog.model.calibration import Calibration
from tautlog.model.origin import origin_of
from tautlog.model.reception import reception_in
from tautlog.model.steps import steps_of
from tautlog.model.stream import Instrument
from tautlog.model.trace import DropSetup
from tautlog.record import entries
from tautlog.record.channels import channels_in
from tautlog.record.entries import Decision, GivenUp, Inspection
from tautlog.record.entry_seals import believed, edited_entries, seals_in
from tautlog.record.layout import BLOCK_DTYPE
from tautlog.record.numbers import refuse_nonsense, require_scale
from tautlog.record.parts import (
    PlaceAttributes,
    Value,
    built,
    object_in,
    real,
    sealed_attributes,
    table,
    whole,
)
from tautlog.record.problems import reading
from tautlog.record.recalibration import recalibration_in
from tautlog.record.record import Record
from tautlog.record.seal import SealCheck, check_seal, version_of, was_sealed
from tautlog.record.tables import events_of


def open_record(path: str | os.PathLike[str], *, patient: bool = True) -> Record:
    """Read a record: all attributes and tables, and samples on demand.

    A commit that a kill interrupted is finished first. If another program adds something to the
    record, its turn is awaited, unless `patient` is False.

    Raises
    ------
    RecordError
        If the file is missing, not a record, newer than this program, damaged or in use.
    """
    where = Path(path)
    with reading(where, patient=patient) as file:
        return _record(file, where, sealed_attributes(file))


def open_checked(path: str | os.PathLike[str]) -> tuple[Record, SealCheck]:
    """Read a record and its seal in one opening, without waiting; see `open_record`.

    Raises
    ------
    RecordError
        As in `open_record`.
    """
    where = Path(path)
    with reading(where, patient=False) as file:
        sealed = sealed_attributes(file)
        return _record(file, where, sealed), check_seal(file, sealed)


def _record(file: h5py.File, where: Path, sealed: PlaceAttributes) -> Record:
    instrument = _instrument(file, sealed)
    samples = sealed["/trace/values" if instrument is None else "/trace/counts"]

    def text(name: str) -> str:
        return str(sealed["/"].get(name, ""))

    blocks = np.zeros(0, BLOCK_DTYPE) if instrument is None else table(file, "trace/blocks")[()]
    there = entries.read_entries(file)
    edited, seals = edited_entries(there, sealed), seals_in(there)
    marks = entries.marks_in(there := believed(there, edited))
    refuse_nonsense(sealed)
    own = _calibration(sealed["/calibration"], counted=instrument is not None)
    channels = channels_in(sealed, instrument.channels if instrument else ())
    return Record(
        path=where,
        format_version=whole(sealed["/"], "format_version"),
        record_id=text("record_id"),
        software=text("software"),
        utc=text("utc"),
        campaign=text("campaign"),
        status=text("status"),
        status_text=text("status_text"),
        setup=built(sealed["/setup"], DropSetup),
        calibration=own,
        instrument=instrument,
        source=dict(samples) if instrument is None else {},
        sample_rate_hz=real(samples, "sample_rate_hz"),
        first_sample_index=whole({"first_sample_index": 0, **sealed["/"]}, "first_sample_index"),
        block_table=blocks,
        events=events_of(table(file, "events")[()]),
        marks=marks,
        inspections=entries.texts_in(there, "inspections", Inspection),
        decisions=entries.texts_in(there, "decisions", Decision),
        photos=entries.photos_in(there),
        given_up=entries.texts_in(there, "given_up", GivenUp),
        shunt_off=entries.shunt_off_in(there),
        previous_seal=text("previous_seal_sha256"),
        chain_head=text("chain_sha256"),
        entry_seals=seals,
        origin=origin_of(sealed["/"], imported=instrument is None),
        recalibration=recalibration_in(marks[-1].settings, own, channels) if marks else None,
        arming=_arming(text("arming_json")),
        reception=reception_in(object_in(text("reception_json") or "{}")),
        seal_version=version_of(sealed),
        sealed=was_sealed(sealed),
        edited=edited,
        channels=channels,
        rows=table(file, "trace/values" if instrument is None else "trace/counts").shape[0],
    )


def _calibration(values: Mapping[str, Value], *, counted: bool) -> Calibration:
    """The first channel's calibration; refuse one that lacks what turns counts into newtons."""
    if counted:
        require_scale("/calibration", values)
    own = built(values, Calibration)
    steps_of(own.converter, own.converter_bits)  # refuses what is no table
    return own


def _arming(text: str) -> dict[str, Any]:
    """The findings before arming. Check the limits here: traces are judged by them."""
    arming = object_in(text or "{}")
    if not isinstance(arming.get("limits") or {}, dict):
        raise ValueError("the limits at arming are damaged")
    in_force(arming)
    return arming


def _instrument(file: h5py.File, sealed: PlaceAttributes) -> Instrument | None:
    if "/trace/values" in sealed:
        return None
    root, samples = sealed["/"], sealed["/trace/counts"]
    channels = samples["channels"]
    if not isinstance(channels, list):
        raise ValueError(f"channels = {channels!r} is not a list of names")
    instrument = Instrument(
        firmware=str(root.get("firmware", "")),
        board=str(root.get("board", "")),
        serial=str(root.get("serial", "")),
        sample_rate_hz=real(samples, "sample_rate_hz"),
        reduction=whole(samples, "reduction"),
        channels=tuple(str(name) for name in channels),
        samples_per_block=whole(samples, "samples_per_block"),
        history_blocks=whole(root, "history_blocks"),
        converter_bits=whole(samples, "converter_bits"),
        state=str(root.get("board_state", "")),
    )
    counts = table(file, "trace/counts")
    if counts.shape[1] != len(instrument.channels):
        raise ValueError(f"counts of shape {counts.shape} for channels {instrument.channels}")
    return instrument
