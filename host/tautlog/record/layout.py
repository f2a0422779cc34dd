"""Layout: how figures, texts and tables stand in a record's HDF5 groups.

Constants of the format, and the small steps that writer, reader and seal share.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import fields
from typing import Any

import h5py
import numpy as np
import numpy.typing as npt

from tautlog import __version__

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
CHUNK_SAMPLES = 1 << 16
CHUNK_BLOCKS = 1 << 10
CHUNK_EVENTS = 1 << 6
# HDF5 1.8's own format, since 2008: its headers carry checks, so that a damaged one is
# an error (the older default lets the library crash on it: 10 of 6000 flipped bytes),
# and an unfinished file opens everywhere (a newer one is refused until it was mended).
LIBVER = ("v108", "v108")


def put(place: h5py.HLObject, attributes: Mapping[str, Any]) -> None:
    """Write attributes; None is not known and leaves none."""
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


def extend(dataset: h5py.Dataset, lines: npt.NDArray[Any]) -> None:
    """Append lines to a data set."""
    # h5py's low level: slicing costs more than the writing when commits are small.
    start, *rest = dataset.id.shape
    dataset.id.set_extent((start + len(lines), *rest))
    place = dataset.id.get_space()
    place.select_hyperslab((start, *(0 for _ in rest)), lines.shape)
    dataset.id.write(h5py.h5s.create_simple(lines.shape), place, lines)


def json_text(value: Mapping[str, Any], name: str) -> str:
    """Return a mapping as a JSON object; ValueError if it is none."""

    def plain(item: Any) -> Any:
        if isinstance(item, (np.generic, np.ndarray)):
            return item.tolist()
        raise TypeError(f"a {type(item).__name__} is none of JSON")

    try:
        return json.dumps(dict(value), allow_nan=False, default=plain)
    except (TypeError, ValueError) as problem:
        raise ValueError(f"`{name}` must be a JSON object: {problem}") from problem


def group(file: h5py.File, name: str) -> h5py.Group:
    """Return a group; ValueError if something else stands there."""
    place = file[name]
    if not isinstance(place, h5py.Group):
        raise ValueError(f"/{name} is no group")
    return place


def dataset(file: h5py.File, name: str) -> h5py.Dataset:
    """Return a data set; ValueError if something else stands there."""
    place = file[name]
    if not isinstance(place, h5py.Dataset):
        raise ValueError(f"/{name} is no data set")
    return place


def attributes(place: h5py.HLObject) -> dict[str, Any]:
    """Return all attributes as plain Python values."""
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


def text_of(place: h5py.HLObject, name: str) -> str:
    """Return an attribute as text, empty where there is none."""
    return str(_plain(place.attrs[name])) if name in place.attrs else ""


def sealed_attributes(file: h5py.File) -> dict[str, dict[str, Any]]:
    """Attributes of the places that a seal covers, by the place's name, each read but once."""
    trace = group(file, "trace")
    samples = dataset(file, "trace/values" if "values" in trace else "trace/counts")
    places = (file, samples, group(file, "setup"), group(file, "calibration"))
    return {str(place.name): attributes(place) for place in places}


def fields_of(values: Mapping[str, Any], kind: type) -> dict[str, Any]:
    """Those values that are fields of a dataclass, of their type there."""
    found = {}
    for field in fields(kind):
        if field.name in values:
            convert = float if "float" in str(field.type) else int if field.type == "int" else str
            found[field.name] = convert(values[field.name])
    return found
