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
_TABLES = {
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
    if place.dtype != dtype:
        raise ValueError(f"/{name} holds {place.dtype}, expected {dtype}")
    if place.ndim != dimensions or 0 in place.shape[1:]:
        raise ValueError(f"/{name} has the shape {place.shape}, expected {dimensions} dimension(s)")
    if place.is_virtual or place.external:
        raise ValueError(f"what /{name} holds lies in other files")
    _refuse_bomb(file, place)
    return place


def _own(file: h5py.File, name: str) -> object:
    """What stands under a name in this very file."""
    link = file.get(name, getlink=True)
    if not isinstance(link, (h5py.HardLink, type(None))):
        raise ValueError(f"/{name} is a link to something else")
    return file[name]


def _refuse_bomb(file: h5py.File, place: h5py.Dataset) -> None:
    """Refuse what is far more than what is stored, or is stored in pieces that are."""
    claimed = math.prod(place.shape) * place.dtype.itemsize
    chunk = math.prod(place.chunks or (0,)) * place.dtype.itemsize
    if max(claimed, chunk) <= UNFOLDED_BYTES:
        return
    stored = min(place.id.get_storage_size(), file.id.get_filesize())
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


def number_in(text: str, name: str) -> float:
    """Return the number that an attribute holds as text; ValueError if it is none."""
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
    items = math.prod(place.attrs.get_id(name).shape)
    if items > MOST_ITEMS:
        raise ValueError(f"{name} of {place.name} has {items} items, allowed are {MOST_ITEMS}")
    return _plain(place.attrs[name])


def _plain(value: object) -> Value:
    """Return an attribute as str, int, float or a list of these."""
    if isinstance(value, np.bytes_):
        return value.decode("ascii", "replace")
    if isinstance(value, bytes):
        return value.decode("utf-8", "replace")
    if isinstance(value, np.ndarray):
        return [_plain(item) for item in value.ravel()]
    if isinstance(value, np.generic):
        item: Value = value.item()
        return item
    if isinstance(value, str):
        # So that damaged text can still be compared and shown.
        return value.encode("utf-8", "replace").decode("utf-8")
    raise ValueError(f"an attribute of type {type(value).__name__}")


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
    bare = (trace, table(file, "events"), *(() if imported else (table(file, "trace/blocks"),)))
    more = {str(place.name): attributes(place) for place in bare}
    return told | {name: values for name, values in more.items() if values}


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
