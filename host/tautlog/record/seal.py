"""Seal: one SHA-256 over all that a finished record says; see the format's text."""

from __future__ import annotations

import hashlib
import json
from typing import Any

import h5py
import numpy as np

from tautlog.record.layout import BLOCK_DTYPE, EVENT_DTYPE, attributes, dataset, group

_UNSEALED = {"status", "status_text", "seal_sha256"}
_HASH_SAMPLES = 1 << 20


def put_seal(file: h5py.File) -> None:
    """Seal a record."""
    file.attrs["seal_sha256"] = seal_of(file)


def seal_of(file: h5py.File) -> str:
    """Return the seal of what is in the file now."""
    trace = group(file, "trace")
    imported = "values" in trace
    samples = trace["values" if imported else "counts"]
    digests = [_digest(samples, np.dtype("<f8" if imported else "<u2"))]
    digests.append(hashlib.sha256().digest() if imported else _digest(trace["blocks"], BLOCK_DTYPE))
    digests.append(_digest(dataset(file, "events"), EVENT_DTYPE))
    lines = []
    for place in (file, samples, group(file, "setup"), group(file, "calibration")):
        for name, value in attributes(place).items():
            if place.name != "/" or name not in _UNSEALED:
                lines.append((place.name, name, json.dumps([place.name, name, value]) + "\n"))
    text = "".join(line for _, _, line in sorted(lines))
    digests.append(hashlib.sha256(text.encode("ascii")).digest())
    return hashlib.sha256(b"".join(digests)).hexdigest()


def _digest(dataset: h5py.Dataset, dtype: np.dtype[Any]) -> bytes:
    digest = hashlib.sha256()
    for start in range(0, dataset.shape[0], _HASH_SAMPLES):
        part = dataset[start : start + _HASH_SAMPLES]
        digest.update(np.ascontiguousarray(part, dtype=dtype).tobytes())
    return digest.digest()
