"""Imported: writes a whole foreign trace as a record."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import h5py
import numpy as np
import numpy.typing as npt

from tautlog.model.calibration import Calibration
from tautlog.model.origin import IMPORTED
from tautlog.model.trace import DropSetup
from tautlog.record import layout
from tautlog.record.record_file import Head, RecordFile, add_to_chain, put_setup
from tautlog.record.seal import put_seal


@dataclass(frozen=True)
class ImportedValues:
    """A trace as it came, with its unit, polarity and rate.

    Attributes
    ----------
    values : ndarray of float64, shape (samples,)
        Values as they came; NaN where a value is missing.
    unit, newton_per_unit, polarity, sample_rate_hz, first_time_s
        See the format.
    source : mapping
        The origin of the values; becomes attributes ``source_*``.
    """

    values: npt.NDArray[np.float64]
    unit: str
    newton_per_unit: float
    polarity: int
    sample_rate_hz: float
    first_time_s: float
    source: Mapping[str, object]


def write_values(
    path: str | os.PathLike[str],
    imported: ImportedValues,
    *,
    setup: DropSetup,
    calibration: Calibration,
    campaign: str = "",
    utc: str = "",
) -> None:
    """Write a whole imported trace as a complete and sealed record.

    Parameters
    ----------
    path : path
        The new file.
    imported : ImportedValues
        The trace.
    setup : DropSetup
        The known set-up of the drop.
    calibration : Calibration
        Only `expanded_u_fraction`, `expanded_u_n`, `range_n`, `date` and `note` matter.
    campaign, utc : str
        As in `RecordWriter.create`.

    Raises
    ------
    RecordExistsError, RecordError
        As in `RecordWriter.create`.
    """

    def fill(file: h5py.File) -> None:
        _put_values(file, imported)
        put_setup(file, setup, calibration)
        file.attrs["status"] = "complete"
        put_seal(file)

    opened = RecordFile.create(Path(path), Head(IMPORTED, campaign, utc), fill)
    link = opened.link()
    opened.close()
    add_to_chain(Path(path), link)


def _put_values(file: h5py.File, imported: ImportedValues) -> None:
    trace = file.create_group("trace")
    values = trace.create_dataset("values", data=np.asarray(imported.values, dtype="<f8"))
    layout.put(values, {f"source_{name}": value for name, value in imported.source.items()})
    names = ("unit", "newton_per_unit", "polarity", "sample_rate_hz", "first_time_s")
    layout.put(values, {name: getattr(imported, name) for name in names})
