"""A block that a board never sends is given up, and what lies behind it is kept."""

import signal

import pytest
from fakes.crew import SilentCrew
from fakes.drops import BLOCK_S, HISTORY, KNOWN, PEAK, DropBoard, Lies, plan_at, session_with

from tautlog.archive.assess import assess
from tautlog.archive.kept_marks import as_json as told_of
from tautlog.board.holes import ALL_S, LEAST_S, REPEATS, Patience
from tautlog.drop.recovery import complete, held_event, missing_blocks, recover, what_lacks
from tautlog.drop.run import run_drop
from tautlog.errors import AbortedError, LinkError, LinkTimeoutError
from tautlog.firmware import wire
from tautlog.record import open_record


def never(*blocks):
    """A board that withholds blocks and says that it has all from its first on."""
    return Lies(withheld=frozenset(blocks), oldest=0)


def dropped(path, lies, crew=None):
    board = DropBoard(lies)
    return board, run_drop(session_with(board), plan_at(path), crew or SilentCrew())


@pytest.mark.parametrize("scale", [1.0, 5.0])
@pytest.mark.rows(1)
def test_a_hole_has_an_end(tmp_path, scale):
    board = DropBoard(never(PEAK, PEAK + 1))
    session = session_with(board, timeout_scale=scale)
    outcome = run_drop(session, plan_at(tmp_path / "drop.h5"), SilentCrew())
    assert outcome.missing_blocks == 2
    assert board.now_s < 1.0 + 5.0 + (LEAST_S + 2.0) * scale  # health and drop, the hole, and some
    record = open_record(outcome.path)
    assert record.status == "complete"
    assert missing_blocks(record) == 2
    marked = told_of(assess(record))
    assert marked["missing_samples"] == 2 * 1024
    assert marked["record_verdict"] == "invalid"
    assert marked["load_verdict"] == "at-least"
    assert "block-withheld" in {one["code"] for one in marked["reasons"]}
    assert marked["rest_force_n"] is not None  # all that came after it is there


def test_many_holes_have_an_end_too(tmp_path):
    """Every third block for 3 s: sixty holes of 3 s each would be three minutes."""
    board, outcome = dropped(tmp_path / "drop.h5", never(*range(5, 185, 3)))
    assert outcome.missing_blocks == 60
    assert board.now_s < 1.0 + 5.0 + ALL_S + LEAST_S + 2.0


def test_the_last_blocks_of_all_are_given_up(tmp_path):
    """No later block shows their loss; the board's status does."""
    board, outcome = dropped(tmp_path / "drop.h5", never(*range(180, 400)))
    assert outcome.missing_blocks > 0
    assert open_record(outcome.path).status == "complete"
    assert board.now_s < 60.0


def test_a_board_that_keeps_a_block_back_keeps_its_event(tmp_path):
    board, outcome = dropped(tmp_path / "drop.h5", never(PEAK))
    assert "discard" not in board.heard
    assert any("keeps the event" in one for one in outcome.notes)
    # And where it has it after all, it comes into a record of its own.
    board.lies = Lies()
    session = session_with(board)
    held = held_event(session)
    assert "missing" in what_lacks(open_record(outcome.path), held)
    again = recover(session, tmp_path / "again.h5", KNOWN, held)
    assert again.missing_blocks == 0
    assert board.heard[-1] == "discard"


def test_what_the_line_lost_comes_again_and_is_no_hole(tmp_path):
    lost = frozenset(range(0, 150, 4))
    _, outcome = dropped(tmp_path / "drop.h5", Lies(lost_once=lost))
    assert outcome.missing_blocks == 0
    assert open_record(outcome.path).trace().contradictions == ()


def pull_out_at(board, at_s):
    board.on_time.append((at_s, lambda: setattr(board, "out", True)))


def test_a_recovery_counts_what_is_missing(tmp_path):
    """In the part that was on disk, in the part that came, and between the two."""
    path = tmp_path / "drop.h5"
    board = DropBoard(never(8, 9, 150))
    pull_out_at(board, 7.0)
    with pytest.raises(LinkError, match="cable is out"):
        run_drop(session_with(board), plan_at(path, record_s=5.0), SilentCrew())
    left = open_record(path)
    assert (left.status, missing_blocks(left)) == ("recording", 2)
    board.out, board.reason = False, wire.WINDOW_COMPLETE
    board.read()  # it has ended the recording by itself
    gone = int(left.block_table["block"][-1]) + 5
    board._first = lambda: gone  # what the board holds begins four blocks later
    outcome = recover(session_with(board), path)
    assert outcome.missing_blocks == 2 + 4 + (board.release // 1024 + 150 >= gone)
    assert told_of(assess(open_record(path)))["missing_samples"] == outcome.missing_blocks * 1024


def test_a_record_that_is_completed_alone_counts_them_too(tmp_path):
    path = tmp_path / "drop.h5"
    board = DropBoard(never(8, 9))
    pull_out_at(board, 7.0)
    with pytest.raises(LinkError):
        run_drop(session_with(board), plan_at(path, record_s=5.0), SilentCrew())
    assert complete(path).missing_blocks == 2


@pytest.mark.parametrize("name", ["SIGTERM", "SIGINT"])
@pytest.mark.parametrize("after_s", [0.1, 1.5, 2.9])
def test_signals_work_at_any_moment_of_a_hole(tmp_path, name, after_s):
    """One Ctrl-C, or two SIGTERM, end the recording; the hole is waited for and the rest kept."""
    board = DropBoard(never(3))
    number = getattr(signal, name)

    def ask():
        for _ in range(2 if name == "SIGTERM" else 1):
            signal.raise_signal(number)

    def begin():
        board.on_time.append((board.now_s + 3 * BLOCK_S + after_s, ask))

    plan = plan_at(tmp_path / "drop.h5", record_s=60.0)
    outcome = run_drop(session_with(board), plan, SilentCrew(released=begin))
    assert outcome.early
    assert outcome.missing_blocks == 1
    assert board.now_s < 1.0 + 3.0 + 2.0 * LEAST_S + 3.0


@pytest.mark.parametrize("name", ["SIGTERM", "SIGINT"])
def test_three_signals_leave_a_hole_at_once(tmp_path, name):
    board = DropBoard(never(3))

    def ask():
        for _ in range(3):
            signal.raise_signal(getattr(signal, name))

    def begin():
        board.on_time.append((board.now_s + 0.5, ask))

    plan = plan_at(tmp_path / "drop.h5", record_s=60.0)
    with pytest.raises(AbortedError, match="left by"):
        run_drop(session_with(board), plan, SilentCrew(released=begin))
    assert board.now_s < 1.0 + 3.0 + 1.0


def test_a_board_of_which_no_block_comes_any_more(tmp_path):
    """It lives, and says always that there is no newer block."""
    board = DropBoard()

    def stop():
        stands = int(board.now_s / BLOCK_S)
        board.__class__ = type("Stands", (DropBoard,), {"head": property(lambda self: stands)})

    board.on_time.append((4.0, stop))
    with pytest.raises(LinkTimeoutError, match=r"no further block.*tautlog recover"):
        run_drop(session_with(board), plan_at(tmp_path / "drop.h5"), SilentCrew())


def test_patience():
    one = Patience(1.0)
    one.misses(7, 9, 0.0)
    for _ in range(REPEATS):
        assert not one.is_over(7, LEAST_S)
        one.asked(7)
    assert not one.is_over(7, LEAST_S - 0.01)  # often enough, and too soon
    assert one.is_over(7, LEAST_S)
    one.misses(8, 9, 5.0)  # the block came after all: the next hole begins anew
    assert not one.is_over(8, 60.0)
    one.misses(8, 9, 5.0 + ALL_S)
    one.give_up(5.0 + ALL_S)
    one.misses(9, 10, 100.0)
    assert one.is_over(9, 100.0)
    assert HISTORY * BLOCK_S < LEAST_S  # a board's own memory is full before
