"""Record file: a record's HDF5 file, open for writing, on top of a journaled file."""

from __future__ import annotations

import contextlib
import uuid
import weakref
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, fields
from pathlib import Path

import h5py
import numpy as np

from tautlog.errors import CampaignError, RecordExistsError
from tautlog.files.chain import ENTRY, RECORD, Link, add_link, begin, head_of, last_seal
from tautlog.files.locks import in_turn
from tautlog.model import seal_version
from tautlog.model.calibration import Calibration
from tautlog.model.origin import REHEARSED
from tautlog.model.trace import DropSetup
from tautlog.record import layout, parts
from tautlog.record.disk import FileGoneError, FileLockedError, identity_of
from tautlog.record.gone import save_gone
from tautlog.record.journal import journal_path
from tautlog.record.journaled_file import JournaledFile
from tautlog.record.layout import EVENT_DTYPE
from tautlog.record.problems import DAMAGE, damaged, error, locked, reason


@dataclass(frozen=True)
class Head:
    """What every record states from the beginning.

    Attributes
    ----------
    origin : str
        One of `model.origin`.
    campaign, utc : str
        Name of the campaign; ISO time of the drop, default: now.
    """

    origin: str
    campaign: str
    utc: str


class RecordFile:
    """A record's file, open for writing; `create` or `reopen` makes one.

    Attributes
    ----------
    path : Path
        The file.
    file : h5py.File
        The open HDF5 file; writes take effect with `commit`.
    """

    def __init__(self, raw: JournaledFile, file: h5py.File) -> None:
        self.path = raw.path
        self.file = file
        self._raw = raw
        # HDF5 must never use a file object that the interpreter has destroyed.
        self._end = weakref.finalize(self, _close_uncommitted, file, raw)

    @classmethod
    def create(cls, path: Path, head: Head, fill: Callable[[h5py.File], None]) -> RecordFile:
        """Make a file with the common head and what `fill` adds, and commit it."""
        record_id = uuid.uuid4().hex
        try:
            raw = JournaledFile(path, record_id.encode(), new=True)
        except FileExistsError as problem:
            raise RecordExistsError(
                f"{path} exists already: choose another name, tautlog never overwrites a record",
                path=str(path),
            ) from problem
        except OSError as problem:
            raise error(path, f"cannot be created: {reason(problem)}") from problem
        opened = None
        try:
            opened = cls(raw, h5py.File(raw, "w", libver=layout.LIBVER))
            _put_head(opened.file, record_id, head, path.parent)
            fill(opened.file)
            opened.commit()
        except BaseException as problem:
            # No caller knows this file yet.
            _remove(raw, raw.close if opened is None else opened.close)
            if isinstance(problem, DAMAGE) and raw.failure is not None:
                raise error(path, f"cannot be written: {reason(raw.failure)}") from problem
            raise
        return opened

    @classmethod
    def reopen(cls, path: Path, record_id: str) -> RecordFile:
        """Open the file of a record that was just read, for writing."""
        try:
            guard = record_id.encode("ascii", "replace")
            raw = in_turn(lambda: JournaledFile(path, guard, new=False))
        except FileLockedError as problem:
            raise locked(path) from problem
        except (OSError, ValueError) as problem:
            raise error(path, f"cannot be written: {reason(problem)}") from problem
        try:
            return cls(raw, h5py.File(raw, "r+", libver=layout.LIBVER))
        except DAMAGE as problem:
            raw.close()
            raise damaged(path, reason(problem)) from problem

    @property
    def is_open(self) -> bool:
        """Whether the file is still open."""
        return self._end.alive

    @contextlib.contextmanager
    def writing(self, on_disk: str, *, whole: bool = False) -> Iterator[h5py.File]:
        """Turn disk errors, also those hidden from HDF5, into RecordError.

        Parameters
        ----------
        on_disk : str
            What is already on disk, for the message.
        whole : bool
            This write finishes the record.
        """
        if not self.is_open:
            raise error(self.path, "is finished: nothing can be added to it")
        try:
            yield self.file
            if self._raw.failure is not None:
                raise self._raw.failure
        except FileGoneError as problem:
            gone = save_gone(self._raw, whole=whole)
            self.close()
            raise gone from problem
        except DAMAGE as problem:
            cause = self._raw.failure or problem
            raise error(self.path, f"cannot be written: {reason(cause)}. {on_disk}") from problem

    def commit(self) -> None:
        """Commit all writes to disk; see `JournaledFile.commit`."""
        self.file.flush()
        self._raw.commit()

    def commit_closed(self) -> None:
        """Commit for the last time, and close the HDF5 file."""
        self.file.close()
        self._raw.commit()

    def close(self) -> None:
        """Close the file; uncommitted writes are lost."""
        self._end()

    def remove(self) -> None:
        """Close and remove the file, unless another file has its name now."""
        _remove(self._raw, self._end)

    def link(self, entry: h5py.Group | None = None) -> Link | None:
        """What a chain keeps of the sealed record, or of an entry; None of a rehearsal."""
        if parts.text_of(self.file, "origin") == REHEARSED:
            return None
        record_id = parts.text_of(self.file, "record_id")
        seal = parts.text_of(self.file if entry is None else entry, "seal_sha256")
        if entry is None:
            return Link(RECORD, self.path.name, seal, record_id=record_id)
        return Link(ENTRY, self.path.name, seal, int(entry.attrs["entry"]), record_id)

    def must_be_there(self) -> None:
        """Check that the closed file is still under its name.

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


def add_to_chain(path: Path, link: Link | None) -> None:
    """Add what was just written in a record's closed file to the chain of its campaign.

    A chain that cannot be written does not fail the record: `verify` reports it.
    """
    if link is not None:
        with contextlib.suppress(CampaignError):
            add_link(path.parent, link)


def put_setup(file: h5py.File, setup: DropSetup, calibration: Calibration) -> None:
    """Write the set-up and the calibration."""
    for name, described in (("setup", setup), ("calibration", calibration.resolved)):
        values = asdict(described)
        for field in fields(described):
            if "float" in str(field.type) and values[field.name] is not None:
                values[field.name] = float(values[field.name])
        layout.put(file.create_group(name), values)


def _put_head(file: h5py.File, record_id: str, head: Head, folder: Path) -> None:
    # Of fixed length, so that it is in the first bytes of the file: it is the guard.
    file.attrs["record_id"] = np.bytes_(record_id)
    # A rehearsal is not part of a campaign's chain.
    if head.origin != REHEARSED:
        with contextlib.suppress(CampaignError):
            begin(folder)
    previous, chain = ("", "") if head.origin == REHEARSED else (last_seal(folder), head_of(folder))
    head_values = {
        "format": layout.FORMAT,
        "format_version": layout.PLAIN_VERSION,
        "software": layout.SOFTWARE,
        "utc": head.utc or layout.now(),
        "campaign": head.campaign,
        "status": "recording",
        "origin": head.origin,
        "seal_version": seal_version.CURRENT,
        "previous_seal_sha256": previous or None,
        "chain_sha256": chain or None,
    }
    layout.put(file, head_values)
    file.create_dataset(
        "events", (0,), EVENT_DTYPE, maxshape=(None,), chunks=(layout.CHUNK_EVENTS,)
    )
    file.create_group("marks")


def _remove(raw: JournaledFile, close: Callable[[], object]) -> None:
    """Close and remove a new file, unless another file has its name now."""
    mine = [path for path in (raw.path, journal_path(raw.path)) if raw.owns(path)]
    close()
    for name in mine:
        with contextlib.suppress(OSError):
            name.unlink(missing_ok=True)


def _close_uncommitted(file: h5py.File, raw: JournaledFile) -> None:
    """Close both files without committing."""
    raw.discard()
    with contextlib.suppress(*DAMAGE):
        file.close()
    raw.close()
