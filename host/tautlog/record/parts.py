"""Parts: groups, tables and attributes of a record's file, each checked before it is read.

A file may have been written by anybody. What is not stored as the format says is refused with
a ValueError, so that nobody sees other numbers here than with a plain reader; so is what would
be far more in memory than it is on disk.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import fields
from typing import TYPE_CHECKING, Any, TypeAlias, TypeVar

import h5py
import numpy as np

from tautlog.files.strict_json import read_object
from tautlog.record.layout import (
    BLOCK_DTYPE,
    COUNTS_DTYPE,
    EVENT_DTYPE,
    MOST_JSON,
    VALUES_DTYPE,
)

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

    Described = TypeVar("Described", bound=DataclassInstance)

Value: TypeAlias = str | int | float | list["Value"]
Told: TypeAlias = Mapping[str, Mapping[str, Value]]  # attributes by the name of their place

# Own choices. Somebody may pack a record anew and compress it; what unfolds to more than this
# must be on disk byte by byte.
UNFOLDED_BYTES = 1 << 26
MOST_ITEMS = 1 << 10  # of one attribute
MOST_TEXT = 1 << 26  # characters of all attributes of one place
_TABLES: Mapping[str, tuple[np.dtype[np.generic], int]] = {
    "trace/counts": (COUNTS_DTYPE, 2),
    "trace/values": (VALUES_DTYPE, 1),
    "trace/blocks": (BLOCK_DTYPE, 1),
    "events": (EVENT_DTYPE, 1),
}


def group(file: h5py.File, name: str) -> h5py.Group:
    """Return a group; ValueError if something else stands there."""
    place = _own(file, name)
    if not isinstance(place, h5py.Group):
        raise ValueError(f"/{name} is no group")
    return place


def table(file: h5py.File, name: str) -> h5py.Dataset:
    """Return one of the format's data sets; ValueError if it is none, or too much to be read."""
    place = _own(file, name)
    if not isinstance(place, h5py.Dataset):
        raise ValueError(f"/{name} is no data set")
    dtype, dimensions = _TABLES[name]
    stored_as, shape = place.dtype, place.shape
    if stored_as != dtype:
        raise ValueError(f"/{name} holds {stored_as}, expected {dtype}")
    if len(shape) != dimensions or 0 in shape[1:]:
        raise ValueError(f"/{name} has the shape {shape}, expected {dimensions} dimension(s)")
    plan = place.id.get_create_plist()
    if plan.get_layout() == h5py.h5d.VIRTUAL or plan.get_external_count():
        raise ValueError(f"what /{name} holds lies in other files")
    chunked = plan.get_layout() == h5py.h5d.CHUNKED
    chunk = math.prod(plan.get_chunk()) * dtype.itemsize if chunked else 0
    _refuse_bomb(place, math.prod(shape) * dtype.itemsize, chunk)
    return place


def _own(file: h5py.File, name: str) -> h5py.HLObject:
    """What stands under a name in this very file."""
    if file.id.links.get_info(name.encode()).type != h5py.h5l.TYPE_HARD:
        raise ValueError(f"/{name} is a link to something else")
    return file[name]


def _refuse_bomb(place: h5py.Dataset, claimed: int, chunk: int) -> None:
    """Refuse what is far more bytes than are stored, or is stored in pieces that are."""
    if max(claimed, chunk) <= UNFOLDED_BYTES:
        return
    stored = min(place.id.get_storage_size(), place.file.id.get_filesize())
    if chunk > UNFOLDED_BYTES or claimed > stored:
        told = f"{place.name} claims {claimed} bytes in pieces of {chunk}, {stored} are stored"
        raise ValueError(f"{told}; without compression up to {UNFOLDED_BYTES} more could be read")


def attributes(place: h5py.HLObject) -> dict[str, Value]:
    """Return all attributes as plain Python values."""
    told: dict[str, Value] = {}
    length = 0
    for name in place.attrs:
        told[name] = value = _attribute(place, name)
        length += len(value) if isinstance(value, str) else 0
        if length > MOST_TEXT:
            raise ValueError(f"the texts of {place.name} are more than {MOST_TEXT} characters")
    return told


def text_of(place: h5py.HLObject, name: str) -> str:
    """Return an attribute as text, empty where there is none."""
    return str(_attribute(place, name)) if name in place.attrs else ""


def number_in(values: Mapping[str, Value], name: str) -> float:
    """Return the number that an attribute holds as text; ValueError or KeyError if it is none."""
    text = str(values[name])
    number = float(text)
    if not math.isfinite(number):
        raise ValueError(f"{name} = {text[:40]!r} is no number")
    return number


def object_in(text: str) -> dict[str, Any]:
    """Return the JSON object that an attribute holds; ValueError if it is none."""
    if len(text) > MOST_JSON:
        raise ValueError(f"a JSON text of {len(text)} characters, allowed are {MOST_JSON}")
    return read_object(text)


def _attribute(place: h5py.HLObject, name: str) -> Value:
    """Return an attribute as str, int, float or a list of these."""
    # h5py's low level: its attributes are half of what it takes to open a record.
    one = h5py.h5a.open(place.id, name.encode("utf-8", "surrogateescape"))
    shape, dtype = one.shape, one.dtype
    if shape is None or math.prod(shape) > MOST_ITEMS:
        raise ValueError(f"{name} of {place.name} has the shape {shape}, allowed are {MOST_ITEMS}")
    if dtype.subdtype or (dtype.kind == "O" and not h5py.check_string_dtype(dtype)):
        raise ValueError(f"{name} of {place.name} is of type {dtype}")
    read = np.empty(shape, dtype)
    one.read(read)
    items = [_plain(item) for item in read.ravel().tolist()]
    return items if shape else items[0]


def _plain(item: Value | bytes) -> Value:
    if not isinstance(item, bytes):
        return item
    # So that damaged text can still be compared and shown.
    text = item.decode("utf-8", "surrogateescape")
    return text.encode("utf-8", "replace").decode("utf-8")


def sealed_attributes(file: h5py.File) -> dict[str, dict[str, Value]]:
    """Attributes of the places that a seal covers, by the place's name, each read but once.

    The format knows none of the tables beside the samples, and of the group that holds them:
    where there are any, they are told, and no seal fits.
    """
    trace = group(file, "trace")
    imported = "values" in trace
    samples = table(file, "trace/values" if imported else "trace/counts")
    places = (file, samples, group(file, "setup"), group(file, "calibration"))
    told = {str(place.name): attributes(place) for place in places}
    for name in ("trace", "events", *(() if imported else ("trace/blocks",))):
        place = _own(file, name)
        if h5py.h5a.get_num_attrs(place.id):
            told[str(place.name)] = attributes(place)
    return told


def built(values: Mapping[str, Value], kind: type[Described]) -> Described:
    """Make a dataclass of those values that are its fields, of their type there."""
    found: dict[str, Any] = {}
    for field in fields(kind):
        told = str(field.type)
        if field.name not in values:
            continue
        if told.startswith("float"):
            found[field.name] = real(values, field.name)
        else:
            found[field.name] = (
                whole(values, field.name) if told == "int" else str(values[field.name])
            )
    return kind(**found)


def real(values: Mapping[str, Value], name: str) -> float:
    """Return the number that an attribute is; ValueError or KeyError if it is none."""
    value = values[name]
    if not isinstance(value, (int, float)):
        raise ValueError(f"{name} = {str(value)[:40]!r} is no number")
    return float(value)


def whole(values: Mapping[str, Value], name: str) -> int:
    """Likewise, a whole number."""
    value = real(values, name)
    if not value.is_integer():
        raise ValueError(f"{name} = {value!r} is no whole number")
    return int(value)
