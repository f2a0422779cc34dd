"""Seal: one SHA-256 over the content of a finished record; the format's text defines it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass

import h5py

from tautlog.model.seal_version import ENTRIES_SEALED
from tautlog.record.parts import PlaceAttributes, object_in, sealed_attributes, table

_NEVER = {"seal_sha256", "seal_parts_json"}
_STATUS = {"status", "status_text"}
_HASH_SAMPLES = 1 << 20
_PART_DIGITS = 16
_NOT_WALKED = "HDF5's own tables of the file, which not every program can read any more"
# Names of the parts of a seal, for messages.
PART_NAMES = {
    "samples": "the samples",
    "blocks": "the table of blocks",
    "events": "the events",
    "/": "identity, time or campaign of the record",
    "status": "the status of the recording",
    "origin": "the origin (measured, rehearsed or imported)",
    "/trace/counts": "the attributes of the samples",
    "/trace/values": "the attributes of the samples",
    "/trace": "the attributes of the trace",
    "/trace/blocks": "the attributes of the table of blocks",
    "/events": "the attributes of the events",
    "/setup": "the set-up",
    "/calibration": "the calibration",
}


@dataclass(frozen=True)
class SealCheck:
    """The result of checking a seal.

    Attributes
    ----------
    state : str
        "intact", "broken", or "unsealed" for a record that was never finished.
    stored, computed : str
        The seal in the file, or ""; the seal of its present content.
    differs : tuple of str
        What changed since it was sealed, in words.
    """

    state: str
    stored: str
    computed: str
    differs: tuple[str, ...] = ()


def put_seal(file: h5py.File) -> None:
    """Seal a record, and keep the parts of the seal to name what changes later."""
    seal, parts = seal_of(file, sealed_attributes(file))
    file.attrs["seal_sha256"] = seal
    file.attrs["seal_parts_json"] = json.dumps(parts)


def seal_of(file: h5py.File, attributes: PlaceAttributes) -> tuple[str, dict[str, str]]:
    """The seal of the file's present content, and the beginning of each part's hash."""
    if "/trace/values" in attributes:
        digests = [_digest(table(file, "trace/values")), hashlib.sha256().digest()]
    else:
        digests = [_digest(table(file, "trace/counts")), _digest(table(file, "trace/blocks"))]
    digests.append(_digest(table(file, "events")))
    parts = dict(zip(("samples", "blocks", "events"), digests, strict=True))
    lines_of: dict[str, str] = {}
    text = ""
    for place in sorted(attributes):
        for name in sorted(attributes[place]):
            part = _part_of(place, name, version_of(attributes))
            if part:
                line = json.dumps([place, name, attributes[place][name]]) + "\n"
                lines_of[part] = lines_of.get(part, "") + line
                text += line
    parts |= {
        part: hashlib.sha256(lines.encode("ascii")).digest() for part, lines in lines_of.items()
    }
    digests.append(hashlib.sha256(text.encode("ascii")).digest())
    short = {name: digest.hex()[:_PART_DIGITS] for name, digest in parts.items()}
    return hashlib.sha256(b"".join(digests)).hexdigest(), short


def check_seal(file: h5py.File, attributes: PlaceAttributes) -> SealCheck:
    """Compare the seal with the file's present content."""
    computed, parts = seal_of(file, attributes)
    stored = str(attributes["/"].get("seal_sha256", ""))
    recording, sealed = attributes["/"].get("status") == "recording", was_sealed(attributes)
    if recording and not sealed:
        return SealCheck("unsealed", "", computed)
    differs: tuple[str, ...] = ()
    if not stored:
        differs = ("the seal, which was removed",)
    elif stored != computed:
        differs = differing(object_in(str(attributes["/"].get("seal_parts_json", "{}"))), parts)
    elif version_of(attributes) >= ENTRIES_SEALED and not _names_parts(attributes, parts):
        differs = ("the names of the seal's parts, which the seal does not cover",)
    if not _can_be_walked(file):
        differs = (*differs, _NOT_WALKED)
    if recording:  # seals of older programs do not cover it
        differs = tuple(dict.fromkeys((PART_NAMES["status"], *differs)))
    return SealCheck("broken" if differs else "intact", stored, computed, differs)


def _can_be_walked(file: h5py.File) -> bool:
    """Whether a plain reader gets from object to object; what HDF5 keeps of its rooms may be hurt.

    The seal covers what is stored under a name, and all of that may still be as it was.
    """
    try:
        file.visit(lambda _: None)
    except (RuntimeError, OSError, ValueError, KeyError):
        return False
    return True


def _names_parts(attributes: PlaceAttributes, parts: Mapping[str, str]) -> bool:
    """Whether the parts kept with a seal that fits are those of the content; some keep none."""
    text = attributes["/"].get("seal_parts_json", "")
    try:
        return not text or object_in(str(text)) == parts
    except ValueError:
        return False


def was_sealed(attributes: PlaceAttributes) -> bool:
    """Whether a record has a seal, or remains of one: then it was finished once."""
    return any(attributes["/"].get(name) for name in _NEVER)


def version_of(attributes: PlaceAttributes) -> int:
    """Version of a record's seal; 1 for records of older programs."""
    version = attributes["/"].get("seal_version", 1)
    return version if isinstance(version, int) else 1


def _part_of(place: str, name: str, version: int) -> str:
    """The part of the seal to which an attribute belongs; "" for none."""
    if place != "/":
        return place
    if name in _NEVER or (version < ENTRIES_SEALED and name in _STATUS):
        return ""
    if version < ENTRIES_SEALED:
        return place
    return "status" if name in _STATUS else "origin" if name == "origin" else place


def differing(sealed: Mapping[str, object], now: Mapping[str, str]) -> tuple[str, ...]:
    """Names of the parts that changed; the seal itself if no part did."""
    if not sealed:
        return ("samples, events, set-up or calibration",)  # sealed without its parts
    found = [
        PART_NAMES.get(name, name[:40])
        for name in (*now, *sealed)
        if sealed.get(name) != now.get(name)
    ]
    return tuple(dict.fromkeys(found)) or ("the seal itself",)


def _digest(lines: h5py.Dataset) -> bytes:
    digest = hashlib.sha256()
    for start in range(0, lines.shape[0], _HASH_SAMPLES):
        # `table` made sure that these are the format's bytes.
        digest.update(lines[start : start + _HASH_SAMPLES].tobytes())
    return digest.digest()
