"""After a board was armed nobody goes to the rig by any command until somebody has looked."""

import pytest
from command_line import said
from kites import NO_BOARD, kite_in, table

from tautlog.campaign.zone import note_armed, stay_out
from tautlog.cli import run

PORT = NO_BOARD[:2]
PULL = ["proof", "--pulled", "3000", "--held", "70", "--deflection", "1.5", "--set", "0.05"]
LOADS = ["--load", "0", "--load", "5", "--load", "10", "--load", "0"]
AT_THE_RIG = [
    [*PULL, "--by", "A"],
    ["calibrate", *PORT, *LOADS],
    ["calibrate", *PORT, "--hang", "--mass", "9"],
    ["health", *PORT, "--bring-up", "--by", "A"],
    ["check", *PORT, "--by", "A. One", "--with", "B. Two"],
    ["drop", *NO_BOARD],
]
FROM_AFAR = [
    ["calibrate", *PORT, "--shunt", "100000"],
    ["health", *PORT, "--bring-up", "--list"],
    ["health", *PORT],
    ["recover", *PORT],
]


@pytest.fixture
def kite(tmp_path, monkeypatch):
    folder = kite_in(tmp_path, monkeypatch)
    note_armed(folder, "drop.h5")
    return folder


@pytest.mark.parametrize("given", AT_THE_RIG, ids=" ".join)
def test_what_is_done_at_the_rig_asks_who_looked(kite, capsys, given):
    status, _, err = said(capsys, *given)
    assert status == 1
    assert "STAY OUT: nobody has confirmed" in err
    assert stay_out(kite) is not None
    _, _, err = said(capsys, *given, "--looked-by", "B. Hand")
    assert "STAY OUT" not in err
    assert stay_out(kite) is None


@pytest.mark.parametrize("given", FROM_AFAR, ids=" ".join)
def test_what_is_done_from_afar_is_not_refused(kite, capsys, given):
    _, out, err = said(capsys, *given)
    assert "socket://127.0.0.1:9" in err  # it went on to the board
    assert ("STAY OUT" in out + err) == (given[0] == "recover")
    assert stay_out(kite) is not None


def test_what_is_done_at_the_table_is_not_refused(kite):
    again = ["--supersedes", "1", "--reason", "misread", "--by", "A"]
    assert run([*PULL, *again]) == 0
    assert run(table(kite)) == 0
    assert stay_out(kite) is not None


@pytest.mark.parametrize("name", ["", " "])
def test_a_name_that_is_none_is_no_look(kite, name):
    assert run([*PULL, "--by", "A", "--looked-by", name]) == 2
    assert stay_out(kite) is not None
