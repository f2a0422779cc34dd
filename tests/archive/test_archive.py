"""The list of records: every file is in it, broken ones with their problem."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tautlog.archive.catalogue import catalogued
from tautlog.archive.summary import RecordSummary
from tautlog.errors import RecordError
from tautlog.model.calibration import Calibration
from tautlog.model.stream import Instrument
from tautlog.model.trace import DropSetup
from tautlog.record import ImportedValues, RecordWriter, add_marks, write_values

INSTRUMENT = Instrument("0", "b", "s", 62500.0, 8, ("force",), 16, 8)


def write(path: Path, utc: str, setup: DropSetup) -> None:
    RecordWriter.create(
        path, setup=setup, calibration=Calibration(), instrument=INSTRUMENT, utc=utc
    ).finish("aborted")


def test_an_empty_folder_has_no_records(tmp_path: Path) -> None:
    assert catalogued(tmp_path) == []


def test_records_come_by_time_with_the_newest_marks(tmp_path: Path) -> None:
    setup = DropSetup(mass_kg=9.0, height_m=1.2, target_n=1800.0, article="b-1", line="8 mm")
    write(tmp_path / "a.h5", "2026-02-02T00:00:00Z", setup)
    write(tmp_path / "b.h5", "2026-01-01T00:00:00Z", DropSetup())
    (tmp_path / "notes.txt").write_text("no record")
    add_marks(tmp_path / "a.h5", {}, {"peak_force_n": 1.0, "test_verdict": "fail"})
    add_marks(
        tmp_path / "a.h5",
        {},
        {
            "peak_force_n": 1850.5,
            "record_verdict": "valid",
            "load_verdict": "on-target",
            "trace_says": "held",
            "test_verdict": None,
        },
    )
    unsealed = {"record_id": "", "seal": "", "seal_now": "", "entries": ""}
    assert [one._replace(**unsealed) for one in catalogued(tmp_path)] == [
        RecordSummary(
            str(tmp_path / "b.h5"), utc="2026-01-01T00:00:00Z", status="aborted", released=False
        ),
        RecordSummary(
            str(tmp_path / "a.h5"),
            utc="2026-02-02T00:00:00Z",
            status="aborted",
            article="b-1",
            line="8 mm",
            mass_kg=9.0,
            height_m=1.2,
            target_n=1800.0,
            peak_force_n=1850.5,
            record_verdict="valid",
            load_verdict="on-target",
            trace_says="held",
            upper_n=setup.upper_n,
        ),
    ]
    assert [one.name for one in catalogued(tmp_path)] == ["b", "a"]


def test_imported_records_are_listed(tmp_path: Path) -> None:
    write_values(
        tmp_path / "a.h5",
        ImportedValues(
            np.zeros(3),
            unit="N",
            newton_per_unit=1.0,
            polarity=1,
            sample_rate_hz=1.0,
            first_time_s=0.0,
            source={"file": "x.csv"},
        ),
        setup=DropSetup(article="plate"),
        calibration=Calibration(),
    )
    (one,) = catalogued(tmp_path)
    assert (one.article, one.status, one.peak_force_n) == ("plate", "complete", None)


def test_broken_files_are_listed_last_with_their_problem(tmp_path: Path) -> None:
    (tmp_path / "0-empty.h5").touch()
    (tmp_path / "1-text.h5").write_text("no HDF5")
    (tmp_path / "2-folder.h5").mkdir()
    write(tmp_path / "3-good.h5", "2026-01-01T00:00:00Z", DropSetup())
    content = (tmp_path / "3-good.h5").read_bytes()
    (tmp_path / "4-cut.h5").write_bytes(content[: len(content) // 2])
    with RecordWriter.create(
        tmp_path / "5-busy.h5",
        setup=DropSetup(),
        calibration=Calibration(),
        instrument=INSTRUMENT,
    ):
        summaries = catalogued(tmp_path)
    assert [one.name[0] for one in summaries] == ["3", "0", "1", "2", "4", "5"]
    assert summaries[0].problem == ""
    for one, words in zip(
        summaries[1:],
        ["is empty", "is not an HDF5 file", "is a folder", "is damaged", "is in use"],
        strict=True,
    ):
        assert words in one.problem
        assert (one.utc, one.mass_kg) == ("", None)


@pytest.mark.parametrize("name", ["nothing", "file"])
def test_a_folder_that_is_none_is_an_error(tmp_path: Path, name: str) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(RecordError, match=r"cannot be listed: .*; expected a folder of records"):
        catalogued(tmp_path / name)


def test_a_target_in_the_list_has_the_digits_of_its_peak():
    """Found by an attack: 1809 stood beside 1891.10 +/- 82.57, which was on target."""
    record = RecordSummary(
        "e.h5",
        target_n=1808.52472,
        upper_n=1990.0,
        peak_force_n=1891.098,
        peak_force_expanded_u_n=82.569,
    )
    target, shown = record.shown()
    peak, _, spread = shown.partition(" +/- ")
    assert float(peak) - float(spread) >= float(target)
    assert RecordSummary("e.h5", target_n=1800.0).shown() == ("1800", "-")
