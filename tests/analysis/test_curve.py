"""One curve: what is drawn, laid over, told and exported is what was marked."""

import csv
import dataclasses
import re

import numpy as np
import pytest
from traces import RATE_HZ, arrest, recorded

from tautlog.analysis.filters import cfc_filter
from tautlog.analysis.judge import judge
from tautlog.analysis.marking import mark
from tautlog.archive.assess import assess
from tautlog.archive.marks_json import as_json
from tautlog.display.pictures.drop import draw_drop
from tautlog.display.report.gathering import contents_of
from tautlog.display.report.sources import Source
from tautlog.display.views import NamedDrop, view
from tautlog.io.export import export_csv
from tautlog.model.calibration import Calibration
from tautlog.model.trace import DropSetup
from tautlog.record import ImportedValues, open_record, write_values

SETUP = DropSetup(mass_kg=10.0, height_m=1.0, target_n=1000.0)
ROUNDING_N = 0.01  # of the report's curve; the others hold nine digits


def slower(force):
    """Every sixth sample: a tenth of the time to write and draw."""
    trace = recorded(force, zero_n=440.0)
    return dataclasses.replace(
        trace, force_n=trace.force_n[::6], clipped=trace.clipped[::6], sample_rate_hz=RATE_HZ / 6
    )


def traces():
    """Every fault that ever parted a marker from its curve, by name."""
    _, force = arrest(10.0, 1.0, 5000.0, 0.1, total_s=1.0)
    _, parted = arrest(10.0, 1.0, 5000.0, 0.1, total_s=1.0, breaks_at_n=900.0)
    good = slower(force)
    peak = int(np.argmax(good.force_n))
    gapped, near, clipped, glitch = (good.force_n.copy() for _ in range(4))
    gapped[peak - 50 : peak + 33] = np.nan
    near[peak + 500 : peak + 560] = np.nan
    clipped = np.minimum(clipped, 440.0 + 1000.0)
    glitch[peak - 4] += 900.0
    return {
        "good": good,
        "parted": slower(parted),
        "reversed": slower(-force),
        "reversed and parted": slower(-parted),
        "clipped": dataclasses.replace(good, force_n=clipped, clipped=clipped >= 1440.0),
        "gap at the peak": dataclasses.replace(good, force_n=gapped),
        "gap after it": dataclasses.replace(good, force_n=near),
        "glitch": dataclasses.replace(good, force_n=glitch),
        "cable": dataclasses.replace(
            good, force_n=np.where(np.arange(good.force_n.size) < peak - 66, good.force_n, 3000.0)
        ),
    }


def marker_of(figure):
    """Height of the peak's marker, in the large axes."""
    (found,) = [one for one in figure.axes[1].lines if one.get_marker() == "v"]
    return float(found.get_xdata()[0]), float(found.get_ydata()[0])


def misses(axes, name, x, height_n, reach):
    """How far the drawn line passes the marker by; it is drawn by the ends of short pieces."""
    (line,) = [one for one in axes.lines if one.get_label() == name]
    near = np.abs(line.get_xdata() - x) <= reach
    return float(np.nanmin(np.abs(line.get_ydata()[near] - height_n)))


@pytest.fixture(params=traces())
def record(request, tmp_path):
    trace = traces()[request.param]
    path = tmp_path / "one.h5"
    write_values(
        path,
        ImportedValues(
            trace.force_n,
            unit="N",
            newton_per_unit=1.0,
            polarity=1,
            sample_rate_hz=trace.sample_rate_hz,
            first_time_s=0.0,
            source={},
        ),
        setup=SETUP,
        calibration=Calibration(),
    )
    return open_record(path)


@pytest.mark.parametrize("cfc", [60, None])
@pytest.mark.rows(6)
def test_the_peak_lies_on_every_curve(record, tmp_path, cfc):
    """Picture, overlay, export and report show one force at the time of the peak."""
    one = assess(record, cfc=cfc)
    marks, curve = one.marks, one.curve
    at_s = marks.peak_time_s
    read_n = marks.peak_force_n - marks.peak_correction_n
    assert curve.at(at_s) == pytest.approx(read_n, abs=1e-6)
    figure = draw_drop(one, "x")
    at_ms, height_n = marker_of(figure)
    assert height_n == pytest.approx(read_n, abs=1e-6)
    if cfc:
        reach_ms = 0.1
        off_n = misses(figure.axes[1], f"CFC {cfc}", at_ms, read_n, reach_ms)
        assert off_n < 1e-4 * abs(read_n)
    overlay = view("contact", [NamedDrop("one", one)]).panels[0].curves[0]
    since_s = at_s - marks.onset_time_s
    assert float(np.interp(since_s, overlay.x, overlay.y)) == pytest.approx(read_n, abs=1e-6)
    assert exported(record, tmp_path / "a.csv", cfc, at_s) == pytest.approx(read_n, rel=1e-8)
    told = contents_of([Source(record, one)]).traces[0]
    since_release_s = np.asarray(told.time_s) + (marks.release_time_s or 0.0)
    nearest = int(np.argmin(np.abs(since_release_s - at_s)))
    assert told.force_n[nearest] == pytest.approx(read_n, abs=ROUNDING_N)


def exported(record, path, cfc, at_s):
    export_csv(record, path, cfc=cfc)
    lines = [one for one in path.read_text().splitlines() if not one.startswith("#")]
    rows = list(csv.DictReader(lines))
    return float(rows[round(at_s * record.sample_rate_hz)]["force_n"])


def test_the_export_says_what_was_done(record, tmp_path):
    one = assess(record, cfc=180)
    export_csv(record, tmp_path / "a.csv", cfc=180)
    lines = (tmp_path / "a.csv").read_text().splitlines()
    head = "\n".join(line for line in lines if line.startswith("#"))
    assert re.search(r"zero: -?4\d\d\.\d+ N removed", head)
    assert "channel frequency class 180" in head
    assert ("this contact is negative" in head) == (one.marks.peak_force_n < 0)
    assert ("the load path let go at" in head) == (one.curve.break_time_s is not None)
    missing = bool(np.isnan(one.curve.unfiltered_n).any())  # also after a pulled cable
    assert ("sample(s), left empty" in head) == missing


def test_a_parted_curve_is_filtered_up_to_the_break():
    """The class filters of scipy over the whole trace stand 100 N and more below the marker."""
    trace = traces()["parted"]
    marks = mark(trace, SETUP, cfc=60)
    across = cfc_filter(trace.force_n - marks.zero_offset_n, trace.sample_rate_hz, 60)
    assert (
        marks.curve.at(marks.peak_time_s) - across[round(marks.peak_time_s * trace.sample_rate_hz)]
        > 100.0
    )
    assert marks.curve.break_time_s == pytest.approx(marks.break_time_s, abs=1e-9)


def test_the_ends_of_the_duration_lie_on_the_curve():
    marks = mark(traces()["good"], SETUP)
    curve = marks.curve
    tenth_n = 0.1 * marks.peak_force_n
    assert curve.at(curve.duration_from_s) == pytest.approx(tenth_n, abs=2.0)
    assert curve.at(curve.duration_to_s) == pytest.approx(tenth_n, abs=2.0)
    assert curve.duration_to_s - curve.duration_from_s == pytest.approx(marks.duration_s)


def test_nobody_changes_a_curve():
    curve = mark(traces()["good"], SETUP).curve
    with pytest.raises(ValueError, match="read-only"):
        curve.force_n[0] = 1.0


def test_a_zero_that_was_not_removed_is_in_the_uncertainty():
    """A trace that reads 440 N slack: the peak is 440 N too high, and the interval holds it."""
    trace = traces()["good"]
    right, wrong = mark(trace, SETUP), mark(trace, SETUP, zero="none")
    off_n = wrong.peak_force_n - right.peak_force_n
    assert off_n == pytest.approx(440.0, abs=2.0)
    assert wrong.peak_force_expanded_u_n > off_n
    assert wrong.curve.zero_n is None
    assert "zero: not removed" in wrong.curve.words()
    assert as_json(wrong, judge(wrong, SETUP), "x")["load_verdict"] != "on-target"
