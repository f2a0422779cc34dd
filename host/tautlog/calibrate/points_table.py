"""Points: known loads and readings from a handwritten table."""

from __future__ import annotations

import csv
import math
from pathlib import Path

from tautlog.calibrate.calibrating import Point
from tautlog.errors import CalibrationError
from tautlog.model import quantities as q
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2
from tautlog.model.units import is_bare

# Columns by their names; the unit is the end of the name.
LOADS = {"load_n": 1.0, "load_kn": 1000.0, "mass_kg": STANDARD_GRAVITY_M_PER_S2}
METER = "meter_v"  # read by another instrument than the board: its steps are not the converter's
READINGS = {
    METER: 1.0,
    "volt": 1.0,
    "reading_v": 1.0,
    "reading_mv": 0.001,
    "count": None,
    "counts": None,
}


def read_points(
    path: Path, *, volt_per_count: float, gravity_m_s2: float = STANDARD_GRAVITY_M_PER_S2
) -> list[Point]:
    """Read points from a CSV file; see `points_in`.

    Raises
    ------
    CalibrationError
        Names the file, the line and what was expected.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as problem:
        raise CalibrationError(f"{path} cannot be read: {problem}") from problem
    return points_in(text, str(path), volt_per_count=volt_per_count, gravity_m_s2=gravity_m_s2)


def points_in(
    text: str,
    path: str,
    *,
    volt_per_count: float,
    gravity_m_s2: float = STANDARD_GRAVITY_M_PER_S2,
) -> list[Point]:
    """Points in the text of a CSV table: load, reading, and run if there are several runs.

    Parameters
    ----------
    text, path : str
        The table, and its name for errors. A header line names the columns: load_n, load_kn or
        mass_kg; volt, reading_v, reading_mv, count or counts, all as the board reads them, or
        meter_v, as another instrument does; run, if there are several.
    volt_per_count : float
        Volts per count, for readings in counts.
    gravity_m_s2 : float
        Local gravity, for masses.

    Raises
    ------
    CalibrationError
        Names the line and what was expected.
    """
    delimiter, lines = _lines(text, path)
    head = [name.strip().lower() for name in lines[0]]
    load_at, load_factor = _column(path, head, LOADS, "a load")
    read_at, read_factor = _column(path, head, READINGS, "a reading")
    if head[load_at] == "mass_kg":
        load_factor = gravity_m_s2
    run_at = head.index("run") if "run" in head else None
    points = []
    for number, line in enumerate(lines[1:], start=2):
        if not any(cell.strip() for cell in line):
            continue
        load = _value(path, number, line, load_at, delimiter)
        mass = head[load_at] == "mass_kg"
        wrong = q.WEIGHT.problem(load) if mass else q.LOAD.problem(load * (load_factor or 1.0))
        if wrong:
            raise CalibrationError(f"{path} line {number}: {head[load_at]} {load:g}: {wrong}")
        reading = _value(path, number, line, read_at, delimiter)
        run = 1 if run_at is None else int(_value(path, number, line, run_at, delimiter))
        factor = volt_per_count if read_factor is None else read_factor
        by_meter = head[read_at] == METER
        points.append(Point(load * (load_factor or 1.0), reading * factor, run, by_meter))
    return points


def _lines(text: str, path: str) -> tuple[str, list[list[str]]]:
    """Delimiter and lines of a CSV table."""
    sample = text.partition("\n")[0]
    delimiter = max(",;\t", key=sample.count)
    lines = list(csv.reader(text.splitlines(), delimiter=delimiter))
    if not lines:
        raise CalibrationError(f"{path} is empty: expected a header line and points")
    return delimiter, lines


def _column(
    path: str, head: list[str], known: dict[str, float] | dict[str, float | None], what: str
) -> tuple[int, float | None]:
    found = [(place, name) for place, name in enumerate(head) if name in known]
    if len(found) > 1:
        raise CalibrationError(
            f"{path} line 1: {' and '.join(name for _, name in found)} both give {what}: keep one"
        )
    if found:
        place, name = found[0]
        return place, known[name]
    raise CalibrationError(
        f"{path} line 1: no column has {what}; the columns are {', '.join(head) or 'none'}, "
        f"allowed are {', '.join(known)}"
    )


def _value(path: str, number: int, line: list[str], place: int, delimiter: str) -> float:
    text = line[place].strip() if place < len(line) else ""
    digits = text.replace(",", ".") if delimiter != "," else text
    value = float(digits) if is_bare(digits) else math.nan
    if not math.isfinite(value):
        raise CalibrationError(f"{path} line {number}: {text[:40]!r} is not a number")
    return value
