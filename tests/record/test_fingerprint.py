"""One event makes one record, also where the board was not heard to forget it."""

import json

import pytest
from fakes.crew import SilentCrew
from fakes.drops import KNOWN, DropBoard, Lies, plan_at, session_with

from tautlog.archive.fingerprint import fingerprint_of
from tautlog.cli import run
from tautlog.drop.recovery import already_in, held_event, recover, unfinished_record
from tautlog.drop.run import run_drop
from tautlog.errors import LinkError, RecordError
from tautlog.firmware import wire
from tautlog.record import open_record


@pytest.fixture(scope="module")
def first(tmp_path_factory):
    """A board that was not heard to forget its event, and the whole record of it."""
    path = tmp_path_factory.mktemp("drop") / "first.h5"
    board = DropBoard(Lies(misses_discard=True))
    outcome = run_drop(session_with(board), plan_at(path), SilentCrew())
    assert "`tautlog recover` recognizes it" in outcome.notes[0]
    return board, path


@pytest.fixture
def held(first, tmp_path):
    """The same, for a test to change."""
    board, path = first
    copy = tmp_path / path.name
    copy.write_bytes(path.read_bytes())
    again = DropBoard()
    again.__dict__ |= {name: one for name, one in board.__dict__.items() if name != "lies"}
    again.heard, again._outgoing, again.events = [], bytearray(), list(board.events)
    return again, copy


class Port:
    """Stands for `link.SerialLink`: whatever port is named, this board answers."""

    board: DropBoard

    def __init__(self, url):
        pass

    def __enter__(self):
        return self.board

    def __exit__(self, *_):
        pass


@pytest.fixture
def command(held, monkeypatch, capsys):
    board, path = held
    monkeypatch.setattr("tautlog.board.link.SerialLink", type("Port", (Port,), {"board": board}))
    monkeypatch.chdir(path.parent)

    def command(*more):
        status = run(["recover", "--port", "any", *more])
        said = capsys.readouterr()
        return status, said.out, said.err

    return command


def test_a_whole_record_of_the_event_is_known_again(held, command):
    board, path = held
    status, out, err = command("--json")
    assert status == 0, err
    assert json.loads(out)["record"] == str(path.name)
    assert board.heard[-1] == "discard"
    assert [one.name for one in path.parent.glob("*.h5")] == [path.name]
    status, _, err = command()
    assert (status, "nothing to recover" in err) == (1, True)


def test_it_is_said(held, command):
    _, path = held
    _, _, err = command()
    assert f"already in {path.name}, complete and verified: no new record" in err


def flip_a_sample(path):
    """In the samples, so that the seal shows it and nothing else."""
    data = bytearray(path.read_bytes())
    data[-200_000] ^= 1
    path.write_bytes(data)


@pytest.mark.parametrize("how", ["damaged", "of another board", "of another boot", "gone"])
@pytest.mark.rows(2)
def test_what_is_not_surely_there_is_fetched(held, command, how):
    board, path = held
    if how == "damaged":
        flip_a_sample(path)
        assert open_record(path).verify_seal().state == "broken"
    elif how == "of another board":
        board.serial = "f-2"
    elif how == "of another boot":
        board.events = [
            one[:-4] + wire.struct.pack("<I", 77 * n) for n, one in enumerate(board.events)
        ]
    else:
        path.unlink()
    status, _, err = command("--out", "again.h5")
    assert status == 0, err
    again = open_record(path.with_name("again.h5"))
    assert again.status == "recovered"
    assert "again.h5" in err
    assert ("its seal is not intact" in err) == (how == "damaged")
    assert board.heard[-1] == "discard"


def test_the_file_is_looked_at_again_before_the_board_forgets(held, monkeypatch):
    board, path = held
    session = session_with(board)
    event = held_event(session)
    looked = []

    def lacks(record, of):
        looked.append(record.path)
        return "" if len(looked) == 1 else "it was changed in between"

    monkeypatch.setattr("tautlog.drop.recovery.what_lacks", lacks)
    with pytest.raises(RecordError, match=r"changed in between.*recover"):
        already_in(session, event, path.parent)
    assert "discard" not in board.heard


def left(path, at_s):
    """A record that was begun, and whose cable came out."""
    board = DropBoard()
    board.on_time.append((at_s, lambda: setattr(board, "out", True)))
    with pytest.raises(LinkError):
        run_drop(session_with(board), plan_at(path), SilentCrew())
    return board


@pytest.mark.parametrize("at_s", [2.2, 4.0], ids=["before the release", "after it"])
def test_no_event_goes_into_the_record_of_another(held, tmp_path, at_s):
    """It was left unfinished, and its own event is gone: two drops would be one record."""
    board, _ = held
    stranger = tmp_path / "stranger.h5"
    left(stranger, at_s)
    assert fingerprint_of(open_record(stranger)).traits
    board.events = [later(one) for one in board.events]
    session = session_with(board)
    event = held_event(session)
    assert unfinished_record(tmp_path, event) is None
    with pytest.raises(RecordError, match="of another drop than"):
        recover(session, stranger, held=event)
    assert open_record(stranger).status == "recording"


def later(event):
    """The same event, a second later by the board's clock."""
    stamp_us = wire.struct.unpack_from("<I", event, len(event) - 4)[0]
    return event[:-4] + wire.struct.pack("<I", stamp_us + 1_000_000)


def test_a_board_that_tells_its_event_before_it_is_greeted(held, tmp_path):
    """After a restart: nobody has said yet how long its blocks are, so its samples are unknown."""
    board, path = held
    for one in board.events:
        board._send(wire.EVENT, one)
    session = session_with(board)
    event = held_event(session)
    assert event.identity == fingerprint_of(open_record(path))
    outcome = recover(session, tmp_path / "new.h5", KNOWN, event)
    record = open_record(outcome.path)
    assert record.trace().contradictions == ()
    assert record.trace().release_time_s == pytest.approx(4 * 1024 / 62500, abs=1024 / 62500)


def test_an_unfinished_record_of_the_event_is_found_and_made_whole(tmp_path):
    path = tmp_path / "drop.h5"
    board = left(path, 4.0)
    board.out, board.reason = False, wire.WINDOW_COMPLETE
    for _ in range(200):
        board.read()
    session = session_with(board)
    event = held_event(session)
    assert unfinished_record(tmp_path, event) == path
    assert recover(session, path, held=event).missing_blocks == 0
    assert open_record(path).trace().contradictions == ()
