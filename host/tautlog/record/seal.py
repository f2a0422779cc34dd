"""Seal: one SHA-256 over all that a finished record says; see the format's text."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

import h5py
import numpy as np

from tautlog.record.layout import BLOCK_DTYPE, EVENT_DTYPE, dataset, sealed_attributes

_UNSEALED = {"status", "status_text", "seal_sha256", "seal_parts_json"}
_HASH_SAMPLES = 1 << 20
_PART_DIGITS = 16
# What the parts of a seal are called when one of them differs.
PART_NAMES = {
    "samples": "the samples",
    "blocks": "the table of blocks",
    "events": "the events",
    "/": "identity, time or campaign of the record",
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
    text = ""
    for place in sorted(told):
        lines = [
            json.dumps([place, name, told[place][name]]) + "\n"
            for name in sorted(told[place])
            if place != "/" or name not in _UNSEALED
        ]
        text += "".join(lines)
        parts[place] = hashlib.sha256("".join(lines).encode("ascii")).digest()
    digests.append(hashlib.sha256(text.encode("ascii")).digest())
    short = {name: digest.hex()[:_PART_DIGITS] for name, digest in parts.items()}
    return hashlib.sha256(b"".join(digests)).hexdigest(), short


def differing(sealed: Mapping[str, Any], now: Mapping[str, str]) -> tuple[str, ...]:
    """Names of the parts that are not what they were; the seal itself where all of them are."""
    if not sealed:
        return ("samples, events, set-up or calibration",)  # sealed without its parts
    found = [PART_NAMES[name] for name in now if sealed.get(name) != now[name]]
    return tuple(dict.fromkeys(found)) or ("the seal itself",)


def _digest(dataset: h5py.Dataset, dtype: np.dtype[Any]) -> bytes:
    digest = hashlib.sha256()
    for start in range(0, dataset.shape[0], _HASH_SAMPLES):
        part = dataset[start : start + _HASH_SAMPLES]
        digest.update(np.ascontiguousarray(part, dtype=dtype).tobytes())
    return digest.digest()
