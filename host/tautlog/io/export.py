"""Export: a record as CSV, or in the universal file format used between test laboratories."""

from __future__ import annotations

import csv
import os
from collections.abc import Iterator, Sequence
from dataclasses import replace
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
from tautlog.io.side_columns import ACCELERATION, NEWTON, VOLT, SideColumn, side_columns
from tautlog.model.excerpt import Excerpt, Span
from tautlog.model.marks import Marks
from tautlog.model.trace import Trace
from tautlog.record import Record, excerpted
from tautlog.record.layout import SOFTWARE

FloatArray = npt.NDArray[np.float64]

FORMATS = ("csv", "uff")
COLUMNS = (
    "columns: time_s, seconds from the start of the trace; force_n, newtons, as stated above; "
    "unfiltered_n, newtons, zero removed as in force_n, not filtered; raw_n, newtons, as "
    "measured, zero not removed"
)
_ROWS_AT_ONCE = 100_000
_SAMPLES_AT_ONCE, _AROUND = 1_000_000, 10_000  # of a long record that is read
_UFF_TYPES = {NEWTON: 13, ACCELERATION: 12, VOLT: 1}  # of the format: force, acceleration, general
# Exponents of units: 0, the labels state the units.
_NO_EXPONENTS = {
    f"{axis}_{kind}_unit_exp": 0
    for axis in ("abscissa", "ordinate", "orddenom", "z_axis")
    for kind in ("len", "force", "temp")
}


def export_csv(record: Record, path: Path, *, cfc: int | None = None) -> Path:
    """Write time and force of a record to a new CSV file.

    Columns: time_s from the start of the trace; force_n, the curve behind the record's figures
    (see `marking`), zero removed and filtered to the class; unfiltered_n, zero removed, not
    filtered; raw_n, as measured, zero not removed; and one for each channel of a record that has
    several, see `side_columns`. A missing sample leaves its cells empty; so does force_n outside of
    the stretch of a long record that was judged.
    Lines that begin with # describe the record and the processing of the force; the last of
    them names the columns and their units.

    Raises
    ------
    RecordExistsError
        If a file of that name exists.
    RecordError
        If the file cannot be written.
    """
    record = excerpted(record)
    trace = record.trace()
    drop = assess(record, trace=trace, cfc=cfc)
    side = side_columns(record)
    with new_file(path) as draft, draft.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        header = _about(record, trace) | _figures(drop.marks) | circumstances(record, drop)
        for name, value in header.items():
            _write_comment(file, f"{name}: {value}")
        for line in drop.curve.words():
            _write_comment(file, f"force_n, {line}")
        if record.excerpt:
            _write_comment(file, f"force_n, {drop.marks.text_of('excerpt')}; empty outside of it")
        _write_comment(file, "; ".join([COLUMNS, *(f"{one.name}, {one.words}" for one in side)]))
        writer.writerow(["time_s", "force_n", "unfiltered_n", "raw_n", *(one.name for one in side)])
        pieces = _whole(record, drop) if record.excerpt else [_columns(trace, drop, side)]
        for columns in pieces:
            for start in range(0, columns[0].size, _ROWS_AT_ONCE):
                cut = [values[start : start + _ROWS_AT_ONCE] for values in columns]
                for row in zip(*cut, strict=True):
                    writer.writerow([_number(value) for value in row])
    return path


def _columns(trace: Trace, drop: Assessment, side: Sequence[SideColumn]) -> list[FloatArray]:
    """The columns of a trace that was judged as a whole."""
    curve = drop.curve
    own = [curve.time_s, curve.force_n, curve.unfiltered_n, trace.force_n]
    return own + [one.values for one in side]


def _whole(record: Record, drop: Assessment) -> Iterator[list[FloatArray]]:
    """The same of a long record, piece by piece; no force in its class beyond the excerpt."""
    assert record.excerpt is not None
    curve, judged = drop.curve, record.excerpt.span
    for begin in range(0, record.size, _SAMPLES_AT_ONCE):
        span = Span(begin, min(begin + _SAMPLES_AT_ONCE, record.size))
        # A little more on both sides: channels are brought to the same times, and smoothed.
        around = Span(max(span.start - _AROUND, 0), min(span.stop + _AROUND, record.size))
        part = replace(record, excerpt=Excerpt(around))
        trace, own = part.trace(), slice(span.start - around.start, span.stop - around.start)
        force_n = np.full(span.size, np.nan)
        unfiltered_n = trace.force_n[own] - (curve.zero_n or 0.0)
        low, high = max(span.start, judged.start), min(span.stop, judged.stop)
        if low < high:
            here, there = (slice(low - start, high - start) for start in (span.start, judged.start))
            force_n[here], unfiltered_n[here] = curve.force_n[there], curve.unfiltered_n[there]
        side = [one.values[own] for one in side_columns(part)]
        yield [trace.time_s[own], force_n, unfiltered_n, trace.force_n[own], *side]


def _write_comment(file: TextIO, text: str) -> None:
    file.write("# " + " ".join(text.split()) + "\n")


def _number(value: float) -> str:
    return f"{value:.9g}" if np.isfinite(value) else ""


def _figures(marks: Marks) -> dict[str, float | None]:
    """The peak and its time. The peak lies on the curve, except for the stated correction."""
    names = ("peak_time_s", "peak_force_n", "peak_correction_n", "peak_force_expanded_u_n")
    return {name: getattr(marks, name) for name in names}


def circumstances(record: Record, drop: Assessment) -> dict[str, str]:
    """What a reader must know to use the force: chain, marking, verdicts and decisions.

    Parameters
    ----------
    record : Record
        The record.
    drop : Assessment
        Its figures and verdicts, made with the exported curve.
    """
    stated = {
        "origin": record.origin,
        "status": f"{record.status} {record.status_text}".strip(),
        **_chain_words(record, drop),
        "marking": _marking_words(record, drop),
        **{key: str(getattr(drop.verdict, key)) for key in VERDICT_KEYS},
    }
    for number, decision in enumerate(record.decisions, start=1):
        stated[f"decision {number}"] = (
            f"{decision.proposed} was proposed, {decision.verdict} decided by {decision.by} on "
            f"{decision.utc}: {decision.reason}"
        )
    for number, note in enumerate(notes(drop), start=1):
        stated[f"note {number}"] = note
    return stated


def _chain_words(record: Record, drop: Assessment) -> dict[str, str]:
    """Calibration and rails in words; for an import what was stated of it."""
    used, chosen = drop.calibration.used, drop.calibration.chosen
    share, least_n = used.expanded_u_fraction, used.expanded_u_n
    stated = {"calibration U": f"{100 * share:.3g} % of the force and {least_n:.3g} N (k = 2)"}
    stated["calibration date"] = used.date or "not known"
    stated["calibration covers"] = f"up to {used.range_n:.5g} N" if used.range_n else "not known"
    if record.instrument is None:
        return {"calibration": "not of this rig: the values came as forces", **stated}
    which = "the record's"
    if chosen:
        which = chosen.file or "the record's own, chosen again"
    curved = used.newton_per_square_volt
    bend = f", {curved:.6g} N/V2 above {used.zero_v or 0.0:.6g} V" if curved else ""
    return {
        "calibration": f"{which}, {used.newton_per_volt:.6g} N/V{bend}; {used.note}".rstrip("; "),
        **stated,
        "rails": f"{used.rail_low_v:g} V and {used.rail_high_v:g} V at the converter",
    }


def _marking_words(record: Record, drop: Assessment) -> str:
    """The marking run that the figures agree with; they are made anew for each export."""
    if not record.marks:
        return f"by {SOFTWARE} for this file; no marks are kept with the record"
    run = record.marks[-1]
    if as_kept(record, drop):
        return f"run {run.number} of the record, of {run.utc} by {run.software}"
    return f"by {SOFTWARE} for this file; run {run.number} of the record, of {run.utc}, differs"


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
    """Write a record's force against time to a new universal file, dataset 58.

    The file has two sets: the curve behind the record's figures, and the force as measured; and
    one more for each channel of a record that has several. The last ID line of each says which
    it is. The library pyuff writes it: evenly spaced, real, double precision. The format has no
    missing samples, so a record with gaps is refused. Of a long record the stretch that was judged
    is written, at its times in the record.

    Raises
    ------
    RecordExistsError
        If a file of that name exists.
    RecordError
        If the file cannot be written, or samples are missing.
    """
    import pyuff

    record = excerpted(record)
    trace = record.trace()
    drop = assess(record, trace=trace, cfc=cfc)
    curve = drop.curve
    if not np.isfinite(curve.force_n).all():
        raise RecordError(
            f"{record.path} has missing samples, and this format cannot mark them: export CSV",
            path=str(record.path),
        )
    about = _short(record, drop)
    sets = [
        _set_58(record, trace, curve.force_n, about, "; ".join(curve.short_words())),
        _set_58(record, trace, trace.force_n, about, "as measured; zero not removed"),
    ]
    for one in side_columns(record):
        if not np.isfinite(one.values).all():
            continue  # the sample after a missing one, which refuses the force as well
        made = _set_58(record, trace, one.values, about, one.words)
        named = {
            "ordinate_axis_units_lab": one.unit,
            "id1": _line(f"{one.name} of {record.path.name}"),
        }
        sets.append(made | named | {"ordinate_spec_data_type": _UFF_TYPES[one.unit]})
    with new_file(path) as draft:
        try:
            pyuff.UFF(os.fspath(draft)).write_sets(sets, mode="overwrite")
        except Exception as problem:  # the library wraps the disk's error in a plain Exception
            raise (problem if isinstance(problem, OSError) else OSError(str(problem))) from problem
    return path


def _short(record: Record, drop: Assessment) -> str:
    """Calibration, its uncertainty and the verdicts, in one line of 80."""
    used = record.calibration_used
    run = record.marks[-1].number if record.marks else "none"
    decided = record.decisions[-1].verdict if record.decisions else "none"
    return (
        f"{used.newton_per_volt:.5g} N/V {used.date} U {100 * used.expanded_u_fraction:.2g} %; "
        f"marks {run}; {drop.verdict.record_verdict} {drop.verdict.load_verdict}; decided {decided}"
    )


def _set_58(
    record: Record, trace: Trace, force_n: FloatArray, about: str, what: str
) -> dict[str, Any]:
    """One force against time, in the library's form."""
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
        abscissa_min=trace.begins_s,
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
    """One line of at most 80 ASCII characters, as the format requires."""
    plain = "".join(letter if 32 <= ord(letter) < 127 else "?" for letter in text)
    return plain[:80] or "NONE"
