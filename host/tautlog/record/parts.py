"""Parts: groups, tables and attributes of a record's file, each checked before it is read.

A file may come from anywhere. Anything not stored as the format requires is refused with a
ValueError, so that no reader sees other numbers than a plain HDF5 reader. Data that would take
far more memory than disk is refused, too.
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
from tautlog.record.stored import require_plain

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

    Described = TypeVar("Described", bound=DataclassInstance)

Value: TypeAlias = str | int | float | list["Value"]
PlaceAttributes: TypeAlias = Mapping[
    str, Mapping[str, Value]
]  # attributes by the name of their place

# Own choices.
MOST_ATTRIBUTES = 1 << 10  # of one place; the format defines some thirty
MOST_ITEMS = 1 << 10  # of one attribute; 64 texts, which may all name the same long one
MOST_NAMES = 1 << 6
MOST_TEXT = 1 << 26  # characters of all attributes of one place
# Type, dimensions and most lines. A receiver takes 2**28 samples of a channel, in blocks of 128 or
# more, and keeps 1024 events; the limits of the two tables are on what is read at once.
_TABLES: Mapping[str, tuple[np.dtype[np.generic], int, float]] = {
    "trace/counts": (COUNTS_DTYPE, 2, math.inf),
    "trace/values": (VALUES_DTYPE, 1, math.inf),
    "trace/blocks": (BLOCK_DTYPE, 1, 1 << 21),
    "events": (EVENT_DTYPE, 1, 1 << 16),
}

# By the library's own types: an enumeration, or 12 bits of 16, look the same to numpy.
_IN_FILE = {name: h5py.h5t.py_create(dtype) for name, (dtype, _, _) in _TABLES.items()}
_TEXT = h5py.string_dtype()
_TEXT_IN_MEMORY = h5py.h5t.py_create(_TEXT)


def group(file: h5py.File, name: str) -> h5py.Group:
    """A group of the file; ValueError if something else has its name."""
    place = _own(file, name)
    if not isinstance(place, h5py.Group):
        raise ValueError(f"/{name} is not a group")
    return place


def table(file: h5py.File, name: str) -> h5py.Dataset:
    """One of the format's data sets; ValueError if it is not one, or is too large to read."""
    place = _own(file, name)
    if not isinstance(place, h5py.Dataset):
        raise ValueError(f"/{name} is not a data set")
    dtype, dimensions, most = _TABLES[name]
    if not place.id.get_type().equal(_IN_FILE[name]):
        raise ValueError(f"/{name} holds {place.dtype}, expected exactly {dtype}")
    shape = place.shape
    if len(shape) != dimensions or 0 in shape[1:]:
        raise ValueError(f"/{name} has the shape {shape}, expected {dimensions} dimension(s)")
    if shape[0] > most:
        raise ValueError(f"/{name} has {shape[0]} lines, at most {most} are read")
    require_plain(place, shape, dtype.itemsize)
    return place


def has(file: h5py.File, name: str) -> bool:
    """Whether a group of the file has this name for anything; no link is followed."""
    return bool(file.id.links.exists(name.encode()))


def _own(file: h5py.File, name: str) -> h5py.HLObject:
    """The object under a name in this file, not a link."""
    if file.id.links.get_info(name.encode()).type != h5py.h5l.TYPE_HARD:
        raise ValueError(f"/{name} is a link to something else")
    return file[name]


def attributes(place: h5py.HLObject) -> dict[str, Value]:
    """All attributes as plain Python values."""
    found: dict[str, Value] = {}
    length, count = 0, h5py.h5a.get_num_attrs(place.id)
    if count > MOST_ATTRIBUTES:
        raise ValueError(f"{place.name} has {count} attributes, allowed are {MOST_ATTRIBUTES}")
    names: list[bytes] = []
    h5py.h5a.iterate(place.id, names.append)
    for stored in names:
        name = stored.decode("utf-8", "surrogateescape")
        found[name] = value = _attribute(place, name)
        length += len(value) if isinstance(value, str) else 0
        if length > MOST_TEXT:
            raise ValueError(f"the texts of {place.name} have more than {MOST_TEXT} characters")
    return found


def text_of(place: h5py.HLObject, name: str) -> str:
    """An attribute as text, "" if it is missing."""
    return str(_attribute(place, name)) if name in place.attrs else ""


def number_in(values: Mapping[str, Value], name: str) -> float:
    """The number in a text attribute; ValueError or KeyError if there is none."""
    text = str(values[name])
    number = float(text)
    if not math.isfinite(number):
        raise ValueError(f"{name} = {text[:40]!r} is not a number")
    return number


def object_in(text: str) -> dict[str, Any]:
    """The JSON object in a text; ValueError if it is not a JSON object."""
    if len(text) > MOST_JSON:
        raise ValueError(f"a JSON text has {len(text)} characters, allowed are {MOST_JSON}")
    return read_object(text)


def _attribute(place: h5py.HLObject, name: str) -> Value:
    """Return an attribute as str, int, float or a list of these."""
    # h5py's low level, and types by the library's: attributes are most of the time of opening.
    opened = h5py.h5a.open(place.id, name.encode("utf-8", "surrogateescape"))
    shape, stored_as = opened.shape, opened.get_type()
    is_text = stored_as.get_class() == h5py.h5t.STRING and stored_as.is_variable_str()
    most = MOST_NAMES if is_text else MOST_ITEMS
    if shape is None or math.prod(shape) > most:
        raise ValueError(f"{name} of {place.name} has the shape {shape}, allowed are {most}")
    dtype = _TEXT if is_text else stored_as.dtype
    if dtype.subdtype or (dtype.kind == "O" and not is_text):
        raise ValueError(f"{name} of {place.name} is of type {dtype}")
    read = np.empty(shape, dtype)
    opened.read(read, _TEXT_IN_MEMORY if is_text else None)
    if shape:
        return [_plain(item) for item in read.ravel().tolist()]
    return _plain(read.item())


def _plain(item: Value | bytes) -> Value:
    if not isinstance(item, bytes):
        return item
    # So that damaged text can still be compared and shown.
    text = item.decode("utf-8", "surrogateescape")
    return text.encode("utf-8", "replace").decode("utf-8")


def sealed_attributes(file: h5py.File) -> dict[str, dict[str, Value]]:
    """Attributes of the places that a seal covers, by the place's name, each read only once.

    The format defines no attributes for ``/trace``, its blocks, ``/events`` and ``/channels``. If
    there are any, they are included, and no seal fits.
    """
    group(file, "trace")  # itself no link
    imported = has(file, "trace/values")
    samples = table(file, "trace/values" if imported else "trace/counts")
    places = [file, samples, group(file, "setup"), group(file, "calibration")]
    places += [group(file, f"channels/{name}") for name in channel_groups(file)]
    found = {str(place.name): attributes(place) for place in places}
    bare = ["trace", "events", *([] if imported else ["trace/blocks"])]
    for name in bare + ["channels"] * has(file, "channels"):
        place = _own(file, name)
        if h5py.h5a.get_num_attrs(place.id):
            found[str(place.name)] = attributes(place)
    return found


def channel_groups(file: h5py.File) -> list[str]:
    """Names of the groups in ``/channels``, "1" for the second column and so on; often none."""
    return sorted(group(file, "channels")) if has(file, "channels") else []


def built(values: Mapping[str, Value], kind: type[Described]) -> Described:
    """Make a dataclass from the values that are its fields, in the fields' types."""
    found: dict[str, Any] = {}
    for field in fields(kind):
        type_name = str(field.type)
        if field.name not in values:
            continue
        if type_name.startswith("float"):
            found[field.name] = real(values, field.name)
        else:
            found[field.name] = (
                whole(values, field.name) if type_name == "int" else str(values[field.name])
            )
    return kind(**found)


def real(values: Mapping[str, Value], name: str) -> float:
    """A numeric attribute; ValueError or KeyError if it is not a number."""
    value = values[name]
    if not isinstance(value, (int, float)):
        raise ValueError(f"{name} = {str(value)[:40]!r} is not a number")
    return float(value)


def whole(values: Mapping[str, Value], name: str) -> int:
    """An integer attribute; ValueError or KeyError if it is not an integer."""
    value = real(values, name)
    if not value.is_integer():
        raise ValueError(f"{name} = {value!r} is not an integer")
    return int(value)
