"""An event that is fetched to another place ages what it pulled all the same."""

import pytest
from fakes.liars import Liar, campaign_at, held
from made_records import VIRTUAL, made

from tautlog.board.session import Session
from tautlog.campaign.ledger import all_entries, read_entries
from tautlog.cli import run
from tautlog.firmware import wire
from tautlog.record import open_record


@pytest.fixture
def home(tmp_path, monkeypatch):
    folder = tmp_path / "home"
    folder.mkdir()
    monkeypatch.chdir(folder)
    return folder


@pytest.fixture
def board(monkeypatch):
    one = Liar()
    monkeypatch.setattr("tautlog.board.link.SerialLink", lambda url: one)
    monkeypatch.setitem(Session.__init__.__kwdefaults__, "clock", one.clock)
    held(one)
    return one


def fetched(*more):
    return run(["recover", "--port", "liar", "--article", "bridle-1", *map(str, more)])


def told(capsys):
    return " ".join(capsys.readouterr().err.split())


def test_it_is_counted_in_the_ledger_of_the_campaign_once(home, board, tmp_path, capsys):
    campaign_at(home)
    away = tmp_path / "away.h5"
    assert fetched("--out", away) == 0
    assert board.state == wire.SAFE
    assert "the ledger counts the drop" in told(capsys)
    (entry,) = read_entries(home)
    assert (entry.article, entry.by) == ("bridle-1", "tautlog recover")
    assert str(away.resolve()) in entry.note
    # Completed again, or found again, it is no second drop.
    held(board)
    assert fetched("--out", tmp_path) == 0
    assert len(all_entries(home)) == len(list(tmp_path.glob("*.h5")))


def test_one_in_the_campaigns_folder_counts_by_its_record(home, board):
    campaign_at(home)
    assert fetched() == 0
    assert len(list(home.glob("*.h5"))) == 1
    assert all_entries(home) == []


def test_a_record_elsewhere_that_is_completed_is_counted(home, tmp_path, capsys):
    campaign_at(home)
    left = made(tmp_path / "left.h5", status="recording")
    assert run(["recover", str(left)]) == 0
    assert open_record(left).status == "recovered"
    assert len(read_entries(home)) == 1
    practised = made(tmp_path / "practised.h5", status="recording", board=VIRTUAL)
    assert run(["recover", str(practised)]) == 0
    assert len(read_entries(home)) == 1


def test_without_a_campaign_it_is_said_that_nothing_counts_it(home, board, tmp_path, capsys):
    assert fetched("--out", tmp_path / "away.h5") == 0
    said = told(capsys)
    assert "no ledger counts this drop" in said
    assert "`tautlog ledger --add`" in said
