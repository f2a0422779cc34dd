"""Stored: how the data of a record's table lies in its file.

HDF5 can keep numbers in ways by which two readers see different ones, or by which a small file
takes all memory: lossy filters, data in other files, lines that nobody
wrote, chunks without number. A record needs none of them, so each is refused with a ValueError
before anything is read.
"""

from __future__ import annotations

import math

import h5py

# Own choices. Somebody may pack a record anew and compress it; what unfolds to more than this
# must be on disk byte by byte.
UNFOLDED_BYTES = 1 << 26
MOST_CHUNKS = 1 << 16  # a thousand times those of a long record; the library reads one by one
# What loses nothing and is in every HDF5 library (HDF5 Reference Manual, H5Z): deflate, shuffle,
# and a checksum. Scale-offset and n-bit may round; szip and registered filters are often missing.
_FILTERS = {h5py.h5z.FILTER_DEFLATE, h5py.h5z.FILTER_SHUFFLE, h5py.h5z.FILTER_FLETCHER32}


def require_plain(place: h5py.Dataset, shape: tuple[int, ...], item_bytes: int) -> None:
    """Refuse data that another reader could see otherwise, or that is far larger than its file.

    Parameters
    ----------
    place : h5py.Dataset
        One of the format's data sets.
    shape : tuple of int
        Its shape.
    item_bytes : int
        Bytes of one of its items.

    Raises
    ------
    ValueError
        If a filter is not one of the plain ones; the data is in other files, was never written,
        or unfolds from far fewer bytes.
    """
    name, plan = place.name, place.id.get_create_plist()
    layout, count = plan.get_layout(), plan.get_nfilters()
    if layout == h5py.h5d.VIRTUAL or plan.get_external_count():
        raise ValueError(f"the data of {name} is in other files")
    filters = {plan.get_filter(number)[0] for number in range(count)}
    if filters - _FILTERS:
        raise ValueError(f"{name} has the filter {min(filters - _FILTERS)}, which may change it")
    chunk = plan.get_chunk() if layout == h5py.h5d.CHUNKED else ()
    chunks = math.prod(-(-lines // side) for lines, side in zip(shape, chunk, strict=False))
    claimed = math.prod(shape) * item_bytes
    _refuse_bomb(place, claimed, math.prod(chunk) * item_bytes if chunk else 0)
    if chunks > MOST_CHUNKS:
        raise ValueError(f"{name} is in {chunks} chunks, allowed are {MOST_CHUNKS}")
    if claimed and not _is_written(place.id, chunks if chunk else 0):
        raise ValueError(f"{name} has lines that were never written")


def _refuse_bomb(place: h5py.Dataset, claimed: int, chunk: int) -> None:
    """Refuse data that unfolds to far more bytes than are stored, as a whole or in one chunk."""
    if max(claimed, chunk) <= UNFOLDED_BYTES:
        return
    stored = min(place.id.get_storage_size(), place.file.id.get_filesize())
    if chunk > UNFOLDED_BYTES or claimed > stored:
        size = f"{place.name} claims {claimed} bytes in chunks of {chunk}, {stored} are stored"
        raise ValueError(f"{size}; at most {UNFOLDED_BYTES} may come from compression")


def _is_written(place: h5py.h5d.DatasetID, chunks: int) -> bool:
    """Whether all of a data set that holds something is in its file."""
    if chunks:
        return bool(place.get_num_chunks() == chunks)
    return bool(place.get_space_status() == h5py.h5d.SPACE_STATUS_ALLOCATED)
