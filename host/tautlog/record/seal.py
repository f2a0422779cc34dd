"""Seal: one SHA-256 over all that a finished record says; see the format's text."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

import h5py
import numpy as np

from tautlog.record.layout import BLOCK_DTYPE, EVENT_DTYPE, dataset, sealed_attributes

_UNSEALED = {"status", "status_text", "seal_sha256"}
_HASH_SAMPLES = 1 << 20


def put_seal(file: h5py.File) -> None:
    """Seal a record."""
    file.attrs["seal_sha256"] = seal_of(file, sealed_attributes(file))


def seal_of(file: h5py.File, told: Mapping[str, Mapping[str, Any]]) -> str:
    """Return the seal of what is in the file now; `told` is its `sealed_attributes`."""
    if "/trace/values" in told:
        digests = [_digest(dataset(file, "trace/values"), np.dtype("<f8"))]
        digests.append(hashlib.sha256().digest())
    else:
        digests = [_digest(dataset(file, "trace/counts"), np.dtype("<u2"))]
        digests.append(_digest(dataset(file, "trace/blocks"), BLOCK_DTYPE))
    digests.append(_digest(dataset(file, "events"), EVENT_DTYPE))
    lines = []
    for place, values in told.items():
        for name, value in values.items():
            if place != "/" or name not in _UNSEALED:
                lines.append((place, name, json.dumps([place, name, value]) + "\n"))
    text = "".join(line for _, _, line in sorted(lines))
    digests.append(hashlib.sha256(text.encode("ascii")).digest())
    return hashlib.sha256(b"".join(digests)).hexdigest()


def _digest(dataset: h5py.Dataset, dtype: np.dtype[Any]) -> bytes:
    digest = hashlib.sha256()
    for start in range(0, dataset.shape[0], _HASH_SAMPLES):
        part = dataset[start : start + _HASH_SAMPLES]
        digest.update(np.ascontiguousarray(part, dtype=dtype).tobytes())
    return digest.digest()
