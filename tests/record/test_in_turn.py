"""Twenty programs that add to one record wait for their turns, and none is left out."""

import multiprocessing
import os

import pytest
from made_records import made

from tautlog.archive.verify import verify
from tautlog.errors import RecordError
from tautlog.files import locks
from tautlog.record import add_marks, open_record
from tautlog.record.journal import journal_path

EACH = 2


def adding(path, who, begin):
    begin.wait(60)
    for number in range(EACH):
        open_record(path)
        add_marks(path, {"cfc": 180}, {"who": who, "number": number})


@pytest.mark.parametrize("programs", [5, pytest.param(20, marks=pytest.mark.long)])
def test_many_programs_mark_one_record(tmp_path, programs):
    if "fork" not in multiprocessing.get_all_start_methods():
        pytest.skip("many programs take long to start here")
    context = multiprocessing.get_context("fork")
    (tmp_path / "campaign.toml").touch()
    path = made(tmp_path / "drop.h5")
    begin = context.Barrier(programs)
    adders = [context.Process(target=adding, args=(path, n, begin)) for n in range(programs)]
    for one in adders:
        one.start()
    for one in adders:
        one.join(120)
    assert [one.exitcode for one in adders] == [0] * programs
    runs = [(run.result["who"], run.result["number"]) for run in open_record(path).marks]
    assert sorted(runs) == sorted((who, n) for who in range(programs) for n in range(EACH))
    assert {one.state for one in verify([tmp_path])} == {"intact"}


def test_a_record_that_stays_in_use_is_told(tmp_path, monkeypatch):
    fcntl = pytest.importorskip("fcntl")
    monkeypatch.setattr(locks, "TURN_S", 0.0)
    path = made(tmp_path / "drop.h5")
    with path.open("rb") as other:
        fcntl.flock(other, fcntl.LOCK_EX)
        with pytest.raises(RecordError, match="is in use by another program"):
            add_marks(path, {}, {})


@pytest.mark.parametrize("there", [True, False])
def test_a_journal_that_is_a_link_is_not_followed(tmp_path, there):
    """Its target was emptied and written to."""
    path = made(tmp_path / "drop.h5")
    precious = tmp_path / "precious.txt"
    if there:
        precious.write_text("precious")
    os.symlink(precious, journal_path(path))
    with pytest.raises(RecordError, match="is a link to another file: remove the link"):
        add_marks(path, {}, {})
    assert open_record(path).marks == ()
    assert precious.exists() == there
    assert not there or precious.read_text() == "precious"
    assert journal_path(path).is_symlink()
