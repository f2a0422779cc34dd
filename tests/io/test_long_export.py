"""A long record is exported whole; its force in a class is that of the stretch that was judged."""

import csv

import numpy as np
import pytest
import pyuff
from long_records import long_record

from tautlog.archive.assess import assess
from tautlog.io import export
from tautlog.record import excerpt, excerpted, open_record

RATE_HZ = 6250.0


@pytest.fixture
def record(tmp_path, monkeypatch):
    """A long record with a gap; read in pieces that end within its excerpt and its gap."""
    monkeypatch.setattr(excerpt, "MOST_SAMPLES", 42_000)
    monkeypatch.setattr(export, "_SAMPLES_AT_ONCE", 17_001)
    monkeypatch.setattr(export, "_AROUND", 100)
    path = tmp_path / "a.h5"
    long_record(path, seconds=20.0, at_s=9.0, left_out=[(2.5, 3.5)], rate_hz=RATE_HZ)
    return open_record(path)


def test_every_sample_of_a_long_record_is_in_its_csv(record, tmp_path):
    path = export.export_csv(record, tmp_path / "a.csv", cfc=180)
    lines = path.read_text().splitlines()
    told = [line for line in lines if line.startswith("#")]
    assert any("judged was its stretch" in line and "empty outside" in line for line in told)
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    found = {name: np.array([float(row[name] or "nan") for row in rows]) for name in rows[0]}
    whole, drop, span = record.trace(), assess(record, cfc=180), excerpted(record).excerpt.span
    assert np.allclose(found["time_s"], whole.time_s, rtol=1e-8)
    assert np.allclose(found["raw_n"], whole.force_n, rtol=1e-8, equal_nan=True)
    zeroed = whole.force_n - drop.curve.zero_n
    assert np.allclose(found["unfiltered_n"], zeroed, atol=1e-6, equal_nan=True)
    inside = slice(span.start, span.stop)
    assert np.allclose(found["force_n"][inside], drop.curve.force_n, atol=1e-6)
    assert np.isnan(np.delete(found["force_n"], np.arange(span.start, span.stop))).all()


def test_the_universal_file_of_a_long_record_has_its_excerpt_at_its_times(record, tmp_path):
    path = export.export_uff(record, tmp_path / "a.uff", cfc=180)
    force = pyuff.UFF(str(path)).read_sets(0)
    drop = assess(record, cfc=180)
    assert force["abscissa_min"] == pytest.approx(drop.curve.begins_s, rel=1e-5)
    assert np.allclose(force["data"], drop.curve.force_n, atol=1e-6)
