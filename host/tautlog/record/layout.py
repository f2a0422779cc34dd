"""Layout: writes values, texts and tables into a record's HDF5 groups; `parts` reads them."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, datetime

import h5py
import numpy as np
import numpy.typing as npt

from tautlog import __version__
from tautlog.files.strict_json import read_object

FORMAT = "tautlog record"
FORMAT_VERSION = 2  # with /channels; the newest that is read
PLAIN_VERSION = 1  # of a record without
SOFTWARE = f"tautlog {__version__}"
COUNTS_DTYPE, VALUES_DTYPE = np.dtype("<u2"), np.dtype("<f8")
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
MOST_JSON = 1 << 22  # characters of one JSON text; own choice, a thousand times the usual
CHUNK_SAMPLES = 1 << 16
CHUNK_BLOCKS = 1 << 10
CHUNK_EVENTS = 1 << 6
# The format of HDF5 1.8 (2008). Its headers have checksums, so damage is an error; the older
# default lets the library crash (on 10 of 6000 flipped bytes). An unfinished file opens
# everywhere; a newer format is refused until it is repaired.
LIBVER = ("v108", "v108")


def put(place: h5py.HLObject, attributes: Mapping[str, object]) -> None:
    """Write attributes; None means unknown and is left out."""
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
    """Replace what an HDF5 string cannot hold by the replacement character."""
    return text.replace("\0", "\ufffd").encode("utf-8", "replace").decode("utf-8")


def extend(dataset: h5py.Dataset, lines: npt.NDArray[np.generic]) -> None:
    """Append lines to a data set."""
    # h5py's low level: for small commits slicing costs more than writing.
    start, *rest = dataset.id.shape
    dataset.id.set_extent((start + len(lines), *rest))
    place = dataset.id.get_space()
    place.select_hyperslab((start, *(0 for _ in rest)), lines.shape)
    dataset.id.write(h5py.h5s.create_simple(lines.shape), place, lines)


def json_text(value: Mapping[str, object], name: str) -> str:
    """A mapping as a JSON object; ValueError if it cannot be read back."""
    try:
        text = json.dumps(dict(value), allow_nan=False, default=_plain)
        read_object(text)  # never write what cannot be read back
    except (TypeError, ValueError) as problem:
        raise ValueError(f"`{name}` must be a JSON object: {problem}") from problem
    if len(text) > MOST_JSON:
        raise ValueError(f"`{name}` must have up to {MOST_JSON} characters, had {len(text)}")
    return text


def _plain(item: object) -> object:
    if isinstance(item, (np.generic, np.ndarray)):
        return item.tolist()
    raise TypeError(f"a {type(item).__name__} cannot be written as JSON")


def now() -> str:
    """The present time in a record's form: ISO 8601, UTC."""
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
