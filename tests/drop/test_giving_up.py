"""Giving up: a board that withholds a block for ever is let go, by name and reason, and is told."""

import json
from dataclasses import replace

import pytest
from fakes.crew import SilentCrew
from fakes.drops import KNOWN, PEAK, PER_BLOCK, Lies, plan_at, session_with
from fakes.liars import Liar, Lie, campaign_at, held
from fakes.lies import fields, refuses, silent

from tautlog.archive.assess import assess
from tautlog.board.session import Session
from tautlog.campaign.ledger import all_entries, exposures, read_entries
from tautlog.cli import run
from tautlog.drop.fetching import Place
from tautlog.drop.giving_up import GivingUp, event_of, give_up, what_is_given_up
from tautlog.drop.recovery import held_event
from tautlog.drop.run import run_drop
from tautlog.drop.stop import StopRequest
from tautlog.errors import LinkError, RefusedError
from tautlog.firmware import wire
from tautlog.record import open_record

WITHHELD = Lies(withheld=frozenset({PEAK + 60}), oldest=0)
GIVE_UP = ("recover", "--port", "liar", "--give-up", "--by", "A. Rigger")
WHY = "asked five times, block 93 never comes"


@pytest.fixture
def campaign(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return campaign_at(tmp_path)


@pytest.fixture
def at_port(monkeypatch):
    def at_port(board):
        monkeypatch.setattr("tautlog.board.link.SerialLink", lambda url: board)
        monkeypatch.setitem(Session.__init__.__kwdefaults__, "clock", board.clock)
        return board

    return at_port


def records_in(folder):
    return [open_record(path) for path in sorted(folder.glob("*.h5"))]


def test_without_it_the_board_keeps_its_event_for_ever(campaign, at_port, tmp_path, capsys):
    board = at_port(Liar(lies=WITHHELD))
    run_drop(session_with(board), plan_at(tmp_path / "drop.h5"), SilentCrew())
    for _ in range(3):
        board.most_s = board.now_s + 60.0
        assert run(["recover", "--port", "liar"]) == 0
        assert board.state == wire.HELD
    assert len(records_in(tmp_path)) == 4
    assert "recover --give-up --by NAME --reason TEXT" in capsys.readouterr().err.replace("\n", " ")


def test_a_named_person_gives_it_up_and_it_is_told_everywhere(campaign, at_port, tmp_path, capsys):
    board = at_port(Liar(lies=WITHHELD))
    run_drop(session_with(board), plan_at(tmp_path / "drop.h5"), SilentCrew())
    before = {record.path for record in records_in(tmp_path)}
    board.most_s = board.now_s + 60.0
    assert run([*GIVE_UP, "--reason", WHY, "--article", "bridle-1"]) == 0
    assert board.state == wire.SAFE
    assert board.heard[-1] == "discard"
    (record,) = [one for one in records_in(tmp_path) if one.path not in before]
    (entry,) = record.given_up
    assert (entry.by, entry.reason) == ("A. Rigger", WHY)
    assert "never came" in entry.lacks
    verdict = assess(record).verdict
    assert verdict.record_verdict in ("suspect", "invalid")
    assert any(WHY in finding.text for finding in record.trace().contradictions)
    assert record.verify_seal().state == "intact"
    assert run(["verify"]) == 0
    # The ledger keeps who and why, and counts this record's drop once.
    (standing,) = all_entries(tmp_path)
    assert (standing.entry.by, standing.entry.given_up) == ("A. Rigger", record.path.name)
    assert WHY in standing.entry.note
    assert read_entries(tmp_path) == []
    assert run(["ledger", "--entries"]) == 0
    assert WHY in capsys.readouterr().out.replace("\n", " ")


def test_what_would_be_valid_without_the_decision_is_suspect(tmp_path):
    """A board may say that what it withholds is gone: a gap far from the contact is a note."""
    board = Liar(lies=replace(WITHHELD, oldest=None))
    held(board)
    gone = board.release // PER_BLOCK + 20
    board._first = lambda: gone - 30
    board.lies = Lies(withheld=frozenset({PEAK + 20, PEAK + 21}), oldest=1 << 30)
    session = session_with(board)
    path = tmp_path / "again.h5"
    who = GivingUp("A. Rigger", WHY, None)
    event = held_event(session)
    give_up(session, event, Place(tmp_path, lambda: (KNOWN, path)), who, StopRequest(), print)
    record = open_record(path)
    found = {finding.code for finding in record.trace().contradictions}
    assert found == {"event-given-up"}
    assert assess(record).verdict.record_verdict == "suspect"
    assert board.state == wire.SAFE


def test_what_the_board_gives_after_all_is_not_given_up(campaign, at_port, tmp_path, capsys):
    board = at_port(Liar(lies=WITHHELD))
    run_drop(session_with(board), plan_at(tmp_path / "drop.h5"), SilentCrew())
    board.lies, board.most_s = Lies(), board.now_s + 60.0
    assert run([*GIVE_UP, "--reason", WHY]) == 0
    assert board.state == wire.SAFE
    assert not any(record.given_up for record in records_in(tmp_path))
    assert all_entries(tmp_path) == []
    assert "nothing was given up" in capsys.readouterr().err


LIES = {
    "fetch is refused": Lie({"fetch": refuses(text="no")}),
    "fetch is not answered": Lie({"fetch": silent}),
    "head is a text": Lie({"fetch": fields(head="12")}),
    "no block is sent": Lie(frames={wire.BLOCK: lambda board, payload: []}),
    "no event is told": Lie(frames={wire.EVENT: lambda board, payload: []}),
}


@pytest.mark.parametrize("lie", LIES.values(), ids=LIES)
def test_whatever_is_withheld_the_drop_counts_and_the_board_is_free(
    campaign, at_port, tmp_path, lie
):
    board = at_port(Liar(lie, lies=Lies()))
    held(board)
    assert run([*GIVE_UP, "--reason", WHY, "--article", "bridle-1"]) == 0
    assert board.state == wire.SAFE
    made = records_in(tmp_path)
    assert [one.given_up[-1].by for one in made] == ["A. Rigger"] * len(made)
    for record in made:
        assert assess(record).verdict.record_verdict in ("suspect", "invalid")
    counted = read_entries(tmp_path)
    assert len(made) + len(counted) == 1  # in a record or in the ledger, and once
    assert len(all_entries(tmp_path)) == 1


def test_without_record_and_ledger_nothing_is_forgotten(at_port, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    board = at_port(Liar(LIES["fetch is refused"]))
    held(board)
    assert run([*GIVE_UP, "--reason", WHY]) == 1
    assert board.state == wire.HELD
    assert "nothing would remain of the drop" in capsys.readouterr().err.replace("\n", " ")


def test_a_ledger_that_cannot_be_written_keeps_the_event(campaign, at_port, tmp_path):
    board = at_port(Liar(lies=WITHHELD))
    run_drop(session_with(board), plan_at(tmp_path / "drop.h5"), SilentCrew())
    (tmp_path / "ledger.jsonl").mkdir()
    board.most_s = board.now_s + 60.0
    assert run([*GIVE_UP, "--reason", WHY]) == 1
    assert board.state == wire.HELD


def test_a_cable_that_is_out_gives_nothing_up(campaign, at_port, tmp_path):
    board = at_port(Liar(lies=WITHHELD))
    run_drop(session_with(board), plan_at(tmp_path / "drop.h5"), SilentCrew())
    board.most_s = board.now_s + 60.0
    board.on_time.append((board.now_s + 1.0, lambda: setattr(board, "out", True)))
    session = session_with(board)
    who = GivingUp("A. Rigger", WHY, tmp_path)
    place = Place(tmp_path, lambda: (KNOWN, tmp_path / "again.h5"))
    with pytest.raises(LinkError):
        give_up(session, event_of(session), place, who, StopRequest(), print)
    assert not any(record.given_up for record in records_in(tmp_path))
    assert all_entries(tmp_path) == []


@pytest.mark.parametrize(("by", "reason"), [("", WHY), ("A. Rigger", " "), ("\u3164", WHY)])
def test_nobody_gives_up_without_name_and_reason(campaign, at_port, by, reason):
    board = at_port(Liar(lies=WITHHELD))
    with pytest.raises(RefusedError):
        GivingUp(by, reason, None)
    assert run(["recover", "--port", "liar", "--give-up", "--by", by, "--reason", reason]) == 2
    assert run(["recover", "--port", "liar", "--by", "A. Rigger"]) == 2
    assert board.heard == []


def test_the_guard(tmp_path):
    board = Liar(lies=WITHHELD)
    run_drop(session_with(board), plan_at(tmp_path / "drop.h5"), SilentCrew())
    session = session_with(board)
    event = held_event(session)
    record = open_record(tmp_path / "drop.h5")
    assert "1 of" in what_is_given_up(record, event, session.instrument)
    for wrong in (
        replace(record, status="recording"),
        replace(record, instrument=replace(record.instrument, serial="f-2")),
        replace(record, instrument=None),
        None,
    ):
        with pytest.raises(RefusedError):
            what_is_given_up(wrong, event, session.instrument)
    whole = tmp_path / "whole"
    whole.mkdir()
    honest = Liar(Lie())
    held(honest)
    event = held_event(session_with(honest))
    with pytest.raises(RefusedError):  # the record of another drop lacks all of this one
        what_is_given_up(replace(record, status="aborted"), event, session.instrument)


def test_the_entry_names_the_drop_where_its_record_is_elsewhere(campaign, at_port, tmp_path):
    board = at_port(Liar(lies=replace(WITHHELD, withheld=frozenset({PEAK + 20}))))
    held(board)
    away = tmp_path / "away"
    said = [*GIVE_UP, "--reason", WHY, "--article", "bridle-1", "--out", str(away)]
    assert run(said) == 0
    (entry,) = read_entries(tmp_path)
    assert entry.article == "bridle-1"
    found = exposures([], [entry], [])
    assert {(one.kind, one.drops) for one in found} == {("article", 1), ("line", 1), ("mount", 1)}
    assert json.loads((tmp_path / "ledger.jsonl").read_text())["given_up"]
