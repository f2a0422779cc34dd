"""The line of a name, as all that predict a drop ask for it."""

import pytest

from tautlog.archive.catalogue import catalogued
from tautlog.campaign.campaign import read_campaign
from tautlog.campaign.new_campaign import write_new_campaign
from tautlog.model.calibration import Calibration
from tautlog.model.stream import Instrument
from tautlog.model.trace import DropSetup
from tautlog.planning.lines import Lines, line_for
from tautlog.record import RecordWriter, add_marks

INSTRUMENT = Instrument("0", "b", "s", 62500.0, 8, ("force",), 16, 8)
NAME = "polyester 8 mm, 1.5 m"  # the example's


@pytest.fixture
def campaign(tmp_path):
    return read_campaign(write_new_campaign(tmp_path / "kite"))


def drop(campaign, day, stiffness, status="complete", line=NAME, peak=1900.0):
    """A record of a drop whose marks tell a stiffness; its samples do not matter here."""
    path = campaign.folder / f"{day}.h5"
    setup = DropSetup(mass_kg=9.0, height_m=1.2, line=line, mount="beam-1")
    RecordWriter.create(
        path, setup=setup, calibration=Calibration(), instrument=INSTRUMENT, utc=f"{day}T10:00:00Z"
    ).finish(status)
    told = {"record_verdict": "valid", "trace_says": "held", "peak_force_n": peak}
    add_marks(path, {}, told | {"line_stiffness_n_per_m": stiffness, "damping_ratio": 0.1})


def test_records_go_before_the_file_and_only_earlier_ones_are_asked(campaign):
    assert line_for(campaign, NAME).stiffness_n_per_m == 21_000.0
    drop(campaign, "2026-03-01", 22_000.0)
    drop(campaign, "2026-03-02", 30_000.0)
    assert line_for(campaign, NAME).stiffness_n_per_m == 30_000.0
    assert line_for(campaign, NAME, before_utc="2026-03-02T10:00:00Z").stiffness_n_per_m == 22_000.0
    assert line_for(campaign, NAME, before_utc="2026-02-01").source == "campaign.toml"
    lines = Lines(campaign)
    assert lines.names == (NAME,)
    assert lines.line("nobody's") is lines.line("") is None


def test_a_drop_that_was_called_off_before_the_release_ages_nothing(campaign):
    drop(campaign, "2026-03-01", 22_000.0, status="aborted", peak=None)
    drop(campaign, "2026-03-02", 23_000.0)
    assert line_for(campaign, NAME).drops == 1
    (first, second) = catalogued(campaign.folder)
    assert (first.released, second.released) == (False, True)
    assert (first.mount, second.mount) == ("beam-1", "beam-1")
