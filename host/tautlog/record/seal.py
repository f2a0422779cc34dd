"""Seal: one SHA-256 over all that a finished record says; see the format's text."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

import h5py
import numpy as np

from tautlog.record.layout import BLOCK_DTYPE, EVENT_DTYPE, dataset, sealed_attributes
from tautlog.record.seal_version import ENTRIES_SEALED

_NEVER = {"seal_sha256", "seal_parts_json"}
_STATUS = {"status", "status_text"}
_HASH_SAMPLES = 1 << 20
_PART_DIGITS = 16
# What the parts of a seal are called when one of them differs.
PART_NAMES = {
    "samples": "the samples",
    "blocks": "the table of blocks",
    "events": "the events",
    "/": "identity, time or campaign of the record",
    "status": "the status of the recording",
    "origin": "the origin (measured, rehearsed or imported)",
    "/trace/counts": "what is said of the samples",
    "/trace/values": "what is said of the samples",
    "/setup": "the set-up",
    "/calibration": "the calibration",
}
Told = Mapping[str, Mapping[str, Any]]  # `layout.sealed_attributes`


def put_seal(file: h5py.File) -> None:
    """Seal a record, and note the parts of the seal, so that it can be told which differs."""
    seal, parts = seal_of(file, sealed_attributes(file))
    file.attrs["seal_sha256"] = seal
    file.attrs["seal_parts_json"] = json.dumps(parts)


def seal_of(file: h5py.File, told: Told) -> tuple[str, dict[str, str]]:
    """Return the seal of what is in the file now, and the beginning of each part's hash."""
    if "/trace/values" in told:
        digests = [_digest(dataset(file, "trace/values"), np.dtype("<f8"))]
        digests.append(hashlib.sha256().digest())
    else:
        digests = [_digest(dataset(file, "trace/counts"), np.dtype("<u2"))]
        digests.append(_digest(dataset(file, "trace/blocks"), BLOCK_DTYPE))
    digests.append(_digest(dataset(file, "events"), EVENT_DTYPE))
    parts = dict(zip(("samples", "blocks", "events"), digests, strict=True))
    lines_of: dict[str, str] = {}
    text = ""
    for place in sorted(told):
        for name in sorted(told[place]):
            part = _part_of(place, name, version_of(told))
            if part:
                line = json.dumps([place, name, told[place][name]]) + "\n"
                lines_of[part] = lines_of.get(part, "") + line
                text += line
    parts |= {
        part: hashlib.sha256(lines.encode("ascii")).digest() for part, lines in lines_of.items()
    }
    digests.append(hashlib.sha256(text.encode("ascii")).digest())
    short = {name: digest.hex()[:_PART_DIGITS] for name, digest in parts.items()}
    return hashlib.sha256(b"".join(digests)).hexdigest(), short


def version_of(told: Told) -> int:
    """What a record's seal covers; 1 for those of older programs."""
    version = told["/"].get("seal_version", 1)
    return version if isinstance(version, int) else 1


def _part_of(place: str, name: str, version: int) -> str:
    """To which part of the seal an attribute belongs; "" for none."""
    if place != "/":
        return place
    if name in _NEVER or (version < ENTRIES_SEALED and name in _STATUS):
        return ""
    if version < ENTRIES_SEALED:
        return place
    return "status" if name in _STATUS else "origin" if name == "origin" else place


def differing(sealed: Mapping[str, Any], now: Mapping[str, str]) -> tuple[str, ...]:
    """Names of the parts that are not what they were; the seal itself where all of them are."""
    if not sealed:
        return ("samples, events, set-up or calibration",)  # sealed without its parts
    found = [PART_NAMES[name] for name in (*now, *sealed) if sealed.get(name) != now.get(name)]
    return tuple(dict.fromkeys(found)) or ("the seal itself",)


def _digest(dataset: h5py.Dataset, dtype: np.dtype[Any]) -> bytes:
    digest = hashlib.sha256()
    for start in range(0, dataset.shape[0], _HASH_SAMPLES):
        part = dataset[start : start + _HASH_SAMPLES]
        digest.update(np.ascontiguousarray(part, dtype=dtype).tobytes())
    return digest.digest()
