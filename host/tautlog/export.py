"""Export: a record as CSV, or in the universal file format that test laboratories exchange."""

from __future__ import annotations

import csv
import os
from pathlib import Path
from typing import Any

import numpy as np

from tautlog.errors import RecordError
from tautlog.filters import cfc_filter
from tautlog.newfile import new_file
from tautlog.record import Record

FORMATS = ("csv", "uff")
_ROWS_AT_ONCE = 100_000
# Exponents of units: 0, as the labels say them.
_NO_EXPONENTS = {
    f"{axis}_{kind}_unit_exp": 0
    for axis in ("abscissa", "ordinate", "orddenom", "z_axis")
    for kind in ("len", "force", "temp")
}


def export_csv(record: Record, path: Path, *, cfc: int | None = None) -> Path:
    """Write time, force and, with a class, filtered force of a record to a new CSV file.

    Columns: time_s from the start of the trace; force_n, zero not removed, empty where a
    sample is missing; force_cfcN_n, the same filtered. Lines that begin with # say what
    the record is; the last of them names the columns and their units.

    Raises
    ------
    RecordExistsError
        If there is a file of that name.
    RecordError
        If it cannot be written.
    """
    trace = record.trace()
    columns = [trace.time_s, trace.force_n]
    names = ["time_s", "force_n"]
    if cfc is not None:
        columns.append(cfc_filter(trace.force_n, trace.sample_rate_hz, cfc))
        names.append(f"force_cfc{cfc}_n")
    with new_file(path) as draft, draft.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        for name, value in _about(record).items():
            file.write("# " + " ".join(f"{name}: {value}".split()) + "\n")
        file.write("# columns: seconds from the start of the trace; newtons, zero not removed\n")
        writer.writerow(names)
        for start in range(0, trace.force_n.size, _ROWS_AT_ONCE):
            pieces = [one[start : start + _ROWS_AT_ONCE] for one in columns]
            for row in zip(*pieces, strict=True):
                writer.writerow([_number(value) for value in row])
    return path


def _number(value: float) -> str:
    return f"{value:.9g}" if np.isfinite(value) else ""


def _about(record: Record) -> dict[str, Any]:
    setup = record.setup
    return {
        "record": record.path.name,
        "record_id": record.record_id,
        "utc": record.utc,
        "campaign": record.campaign,
        "article": setup.article,
        "line": setup.line,
        "mass_kg": setup.mass_kg,
        "height_m": setup.height_m,
        "target_n": setup.target_n,
        "sample_rate_hz": record.sample_rate_hz,
        "release_time_s": record.trace().release_time_s,
    }


def export_uff(record: Record, path: Path) -> Path:
    """Write a record's force over time to a new file of universal file format, dataset 58.

    By the library pyuff. Evenly spaced, real, double precision; missing samples cannot be
    said in this format, so that a record with gaps is refused.

    Raises
    ------
    RecordExistsError
        If there is a file of that name.
    RecordError
        If it cannot be written, or samples are missing.
    """
    import pyuff

    trace = record.trace()
    if not np.isfinite(trace.force_n).all():
        raise RecordError(
            f"{record.path} has missing samples, which this format cannot say: export CSV",
            path=str(record.path),
        )
    setup = record.setup
    dataset = pyuff.prepare_58(
        binary=0,
        func_type=1,
        ver_num=0,
        load_case_id=0,
        rsp_ent_name="NONE",
        rsp_node=1,
        rsp_dir=3,
        ref_ent_name="NONE",
        ref_node=0,
        ref_dir=0,
        data=trace.force_n,
        x=trace.time_s,
        ord_data_type=4,
        num_pts=trace.force_n.size,
        abscissa_spacing=1,
        abscissa_min=0.0,
        abscissa_inc=1.0 / trace.sample_rate_hz,
        ordinate_spec_data_type=13,
        orddenom_spec_data_type=0,
        abscissa_spec_data_type=17,
        ordinate_axis_units_lab="N",
        abscissa_axis_units_lab="s",
        orddenom_axis_units_lab="NONE",
        z_axis_axis_units_lab="NONE",
        z_axis_value=0.0,
        z_axis_spec_data_type=0,
        **_NO_EXPONENTS,
        id1=_line(f"force of {record.path.name}"),
        id2=_line(f"{record.campaign} / {setup.article} / {setup.line}"),
        id3=_line(record.utc),
        id4=_line(f"record {record.record_id}"),
        id5=_line(f"{record.software}; zero not removed"),
        return_full_dict=True,
    )
    with new_file(path) as draft:
        try:
            pyuff.UFF(os.fspath(draft)).write_sets(dataset, mode="overwrite")
        except Exception as problem:  # the library puts a plain one over what the disk said
            raise (problem if isinstance(problem, OSError) else OSError(str(problem))) from problem
    return path


def _line(text: str) -> str:
    """One line of 80 plain letters, as the format has it."""
    plain = "".join(one if 32 <= ord(one) < 127 else "?" for one in text)
    return plain[:80] or "NONE"
