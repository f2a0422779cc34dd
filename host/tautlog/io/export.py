"""Export: a record as CSV, or in the universal file format that test laboratories exchange."""

from __future__ import annotations

import csv
import os
from pathlib import Path
from typing import Any, TextIO

import numpy as np
import numpy.typing as npt

from tautlog.archive.assess import assess
from tautlog.archive.assessment import Assessment
from tautlog.archive.kept_marks import VERDICT_KEYS, as_kept
from tautlog.archive.verdict_lines import notes
from tautlog.errors import RecordError
from tautlog.files.new_file import new_file
from tautlog.model.marks import Marks
from tautlog.model.trace import Trace
from tautlog.record import Record
from tautlog.record.layout import SOFTWARE

FloatArray = npt.NDArray[np.float64]

FORMATS = ("csv", "uff")
COLUMNS = (
    "columns: time_s, seconds from the start of the trace; force_n, newtons, as said above; "
    "unfiltered_n, newtons, zero removed as in force_n and nothing else; raw_n, newtons, as "
    "measured, zero not removed"
)
_ROWS_AT_ONCE = 100_000
# Exponents of units: 0, as the labels say them.
_NO_EXPONENTS = {
    f"{axis}_{kind}_unit_exp": 0
    for axis in ("abscissa", "ordinate", "orddenom", "z_axis")
    for kind in ("len", "force", "temp")
}


def export_csv(record: Record, path: Path, *, cfc: int | None = None) -> Path:
    """Write time and force of a record to a new CSV file.

    Columns: time_s from the start of the trace; force_n, the curve that the record's figures
    are taken from, as `marking` makes it: zero removed, in the class; unfiltered_n, zero
    removed and nothing else; raw_n, as measured, zero not removed. Empty where a sample is
    missing. Lines that begin with # say what the record is and what was done to the force;
    the last of them names the columns and their units.

    Raises
    ------
    RecordExistsError
        If there is a file of that name.
    RecordError
        If it cannot be written.
    """
    trace = record.trace()
    one = assess(record, trace=trace, cfc=cfc)
    curve = one.curve
    columns = {
        "time_s": curve.time_s,
        "force_n": curve.force_n,
        "unfiltered_n": curve.unfiltered_n,
        "raw_n": trace.force_n,
    }
    with new_file(path) as draft, draft.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        told = _about(record, trace) | _figures(one.marks)
        for name, value in (told | said_of(record, one)).items():
            _say(file, f"{name}: {value}")
        for line in curve.words():
            _say(file, f"force_n, {line}")
        _say(file, COLUMNS)
        writer.writerow(columns)
        for start in range(0, curve.force_n.size, _ROWS_AT_ONCE):
            pieces = [one[start : start + _ROWS_AT_ONCE] for one in columns.values()]
            for row in zip(*pieces, strict=True):
                writer.writerow([_number(value) for value in row])
    return path


def _say(file: TextIO, text: str) -> None:
    file.write("# " + " ".join(text.split()) + "\n")


def _number(value: float) -> str:
    return f"{value:.9g}" if np.isfinite(value) else ""


def _figures(marks: Marks) -> dict[str, float | None]:
    """The peak, and when it was: it lies on the curve, but for a correction that is told."""
    names = ("peak_time_s", "peak_force_n", "peak_correction_n", "peak_force_expanded_u_n")
    return {name: getattr(marks, name) for name in names}


def said_of(record: Record, one: Assessment) -> dict[str, str]:
    """What a reader must know before he uses the force: chain, marking, verdicts, people.

    Parameters
    ----------
    record : Record
        The record.
    one : Assessment
        Its figures and verdicts, made with the curve that is exported.
    """
    told = {
        "origin": record.origin,
        "status": f"{record.status} {record.status_text}".strip(),
        **_chain_words(record, one),
        "marking": _marking_words(record, one),
        **{key: str(getattr(one.verdict, key)) for key in VERDICT_KEYS},
    }
    for number, decision in enumerate(record.decisions, start=1):
        told[f"decision {number}"] = (
            f"{decision.proposed} was proposed, {decision.verdict} decided by {decision.by} on "
            f"{decision.utc}: {decision.reason}"
        )
    for number, note in enumerate(notes(one), start=1):
        told[f"note {number}"] = note
    return told


def _chain_words(record: Record, one: Assessment) -> dict[str, str]:
    """Calibration and rails in words; of an import what was said of it."""
    used, chosen = one.calibration.used, one.calibration.chosen
    share, least_n = used.expanded_u_fraction, used.expanded_u_n
    told = {"calibration U": f"{100 * share:.3g} % of the force and {least_n:.3g} N (k = 2)"}
    told["calibration date"] = used.date or "not known"
    told["calibration covers"] = f"up to {used.range_n:.5g} N" if used.range_n else "not known"
    if record.instrument is None:
        return {"calibration": "none of this rig: the values came as they are", **told}
    which = "the record's"
    if chosen:
        which = chosen.file or "the record's own, taken again"
    curved = used.newton_per_square_volt
    bend = f", {curved:.6g} N/V2 above {used.zero_v or 0.0:.6g} V" if curved else ""
    return {
        "calibration": f"{which}, {used.newton_per_volt:.6g} N/V{bend}; {used.note}".rstrip("; "),
        **told,
        "rails": f"{used.rail_low_v:g} V and {used.rail_high_v:g} V at the converter",
    }


def _marking_words(record: Record, one: Assessment) -> str:
    """Which marking run the figures are of; they are made anew for each export."""
    if not record.marks:
        return f"by {SOFTWARE} for this file; no marks are kept with the record"
    run = record.marks[-1]
    if as_kept(record, one):
        return f"run {run.number} of the record, of {run.utc} by {run.software}"
    return f"by {SOFTWARE} for this file, unlike run {run.number} of the record, of {run.utc}"


def _about(record: Record, trace: Trace) -> dict[str, str | float | None]:
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
        "release_time_s": trace.release_time_s,
    }


def export_uff(record: Record, path: Path, *, cfc: int | None = None) -> Path:
    """Write a record's force over time to a new file of universal file format, dataset 58.

    Two sets: the curve that the record's figures are taken from, and the force as measured;
    what each is stands in its last line. By the library pyuff. Evenly spaced, real, double
    precision; missing samples cannot be said in this format, so that a record with gaps is
    refused.

    Raises
    ------
    RecordExistsError
        If there is a file of that name.
    RecordError
        If it cannot be written, or samples are missing.
    """
    import pyuff

    trace = record.trace()
    one = assess(record, trace=trace, cfc=cfc)
    curve = one.curve
    if not np.isfinite(curve.force_n).all():
        raise RecordError(
            f"{record.path} has missing samples, which this format cannot say: export CSV",
            path=str(record.path),
        )
    about = _short(record, one)
    sets = [
        _set_58(record, trace, curve.force_n, about, "; ".join(curve.short_words())),
        _set_58(record, trace, trace.force_n, about, "as measured; zero not removed"),
    ]
    with new_file(path) as draft:
        try:
            pyuff.UFF(os.fspath(draft)).write_sets(sets, mode="overwrite")
        except Exception as problem:  # the library puts a plain one over what the disk said
            raise (problem if isinstance(problem, OSError) else OSError(str(problem))) from problem
    return path


def _short(record: Record, one: Assessment) -> str:
    """Calibration, its uncertainty and the verdicts, in one line of 80."""
    used = record.calibration_used
    run = record.marks[-1].number if record.marks else "none"
    decided = record.decisions[-1].verdict if record.decisions else "none"
    return (
        f"{used.newton_per_volt:.5g} N/V {used.date} U {100 * used.expanded_u_fraction:.2g} %; "
        f"marks {run}; {one.verdict.record_verdict} {one.verdict.load_verdict}; decided {decided}"
    )


def _set_58(
    record: Record, trace: Trace, force_n: FloatArray, about: str, what: str
) -> dict[str, Any]:
    """One force over time as the library wants it."""
    import pyuff

    setup = record.setup
    made: dict[str, Any] = pyuff.prepare_58(
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
        data=force_n,
        x=trace.time_s,
        ord_data_type=4,
        num_pts=force_n.size,
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
        id3=_line(f"{record.utc}; record {record.record_id}"),
        id4=_line(about),
        id5=_line(what),
        return_full_dict=True,
    )
    return made


def _line(text: str) -> str:
    """One line of 80 plain letters, as the format has it."""
    plain = "".join(one if 32 <= ord(one) < 127 else "?" for one in text)
    return plain[:80] or "NONE"
