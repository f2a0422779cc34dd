"""A line is added whole, or not at all, and a line that was cut short spoils no other.

A disk that takes only a part of a write returns how much it took, and no error (write(2)).
"""

import errno
import json
import os
import subprocess
import sys

import pytest

from tautlog.campaign.ledger import LedgerEntry, add_entry, all_entries
from tautlog.campaign.proofs import Proof, add_proof
from tautlog.cli import run
from tautlog.errors import CampaignError
from tautlog.files.append import append_line
from tautlog.files.chain import RECORD, Link, add_link, read_chain
from tautlog.files.json_lines import read_standing

UTC = "2026-03-01T10:00:00Z"
WHOLE = LedgerEntry(UTC, "A", article="a")


@pytest.fixture
def half_writes(monkeypatch):
    """A disk that takes half of what it is given."""
    real = os.write

    def write(handle, text):
        return real(handle, text[: len(text) // 2])

    monkeypatch.setattr("tautlog.files.append.os.write", write)


def test_a_short_write_is_an_error_and_leaves_nothing(tmp_path, half_writes):
    path = tmp_path / "lines.jsonl"
    path.write_bytes(b'{"a": 1}\n')
    with pytest.raises(CampaignError, match=r"lines.jsonl cannot be written: the disk took 4 of 9"):
        append_line(path, b'{"a": 2}')
    assert path.read_bytes() == b'{"a": 1}\n'


def test_what_a_full_disk_refuses_altogether_leaves_nothing(tmp_path, monkeypatch):
    path = tmp_path / "lines.jsonl"
    path.write_bytes(b'{"a": 1}\n')

    def refused(handle):
        raise OSError(5, "Input/output error")

    monkeypatch.setattr("tautlog.files.append.os.fsync", refused)
    with pytest.raises(CampaignError, match="Input/output error"):
        append_line(path, b'{"a": 2}')
    assert path.read_bytes() == b'{"a": 1}\n'


def test_what_another_program_added_meanwhile_is_never_cut_off(tmp_path, monkeypatch):
    path = tmp_path / "lines.jsonl"
    real = os.write

    def write(handle, text):
        taken = real(handle, text[:4])
        with path.open("ab") as other:
            other.write(b'\n{"b": 1}\n')
        return taken

    monkeypatch.setattr("tautlog.files.append.os.write", write)
    with pytest.raises(CampaignError, match="the disk took 4 of 9 bytes"):
        append_line(path, b'{"a": 2}')
    assert path.read_bytes() == b'{"a"\n{"b": 1}\n'


@pytest.mark.parametrize("add", ["ledger", "proof", "link"])
def test_every_file_of_lines_is_added_to_in_this_way(tmp_path, half_writes, add):
    (tmp_path / "campaign.toml").touch()
    if add == "link":
        with pytest.raises(CampaignError, match="the disk took"):
            add_link(tmp_path, Link(RECORD, "a.h5", "seal", record_id="id"))
        assert read_chain(tmp_path).links == ()
    elif add == "ledger":
        with pytest.raises(CampaignError, match="the disk took"):
            add_entry(tmp_path, WHOLE)
    else:
        with pytest.raises(CampaignError, match="the disk took"):
            add_proof(tmp_path, Proof(UTC, "A", "m", 100.0, 60.0))
    assert all(one.read_bytes() == b"" for one in tmp_path.glob("*.jsonl"))


def test_a_line_that_was_cut_short_stands_by_itself_and_is_told(tmp_path):
    path = tmp_path / "ledger.jsonl"
    add_entry(tmp_path, WHOLE)
    path.write_bytes(path.read_bytes() + b'{"utc": "2026-0')
    added = add_entry(tmp_path, LedgerEntry(UTC, "B", article="b"))
    assert added.number == 3
    assert added.doubt == "line 2 of ledger.jsonl was cut short: check it"
    assert path.read_bytes().splitlines()[1] == b'{"utc": "2026-0'
    with pytest.raises(CampaignError, match="line 2 is not a valid entry"):
        all_entries(tmp_path)
    correction = LedgerEntry(UTC, "B", article="c", supersedes=2, reason="cut short")
    assert add_entry(tmp_path, correction).doubt == ""
    told = read_standing(path, LedgerEntry, "entry")
    assert [one.number for one in told if one.superseded_by is None] == [1, 4, 3]


def test_the_command_tells_of_it(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "campaign.toml").write_text("[campaign]\n")
    (tmp_path / "ledger.jsonl").write_bytes(b'{"utc": "2026-0')
    assert run(["ledger", "--add", "--by", "A", "--article", "a"]) == 1
    err = capsys.readouterr().err
    assert "LOOK: line 1 of ledger.jsonl was cut short" in err
    assert "ledger.jsonl line 1 is not a valid entry" in err
    given = ["--supersedes", "1", "--by", "A", "--reason", "cut short"]
    assert run(["ledger", *given, "--article", "a"]) == 0
    assert "LOOK" not in capsys.readouterr().err


FULL = """
import resource, sys
from pathlib import Path
from tautlog.campaign.ledger import LedgerEntry, add_entry
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[1]), int(sys.argv[1])))
add_entry(Path(), LedgerEntry("2026-03-01T10:00:00Z", "A", article="a"))
"""


@pytest.mark.parametrize("room", [0, 1, 40])
def test_a_full_disk_adds_nothing(tmp_path, room):
    """A limit on the size of a file stands for the full disk, as in `test_full_disk`."""
    pytest.importorskip("resource")
    path = tmp_path / "ledger.jsonl"
    add_entry(tmp_path, WHOLE)
    before = path.read_bytes()
    limit = str(len(before) + room)
    done = subprocess.run(
        [sys.executable, "-c", FULL, limit], cwd=tmp_path, capture_output=True, text=True
    )
    assert done.returncode == 1
    assert "CampaignError: ledger.jsonl cannot be written: " in done.stderr
    assert path.read_bytes() == before
    assert json.loads(before)["article"] == "a"


def test_a_file_system_without_locks_takes_lines_all_the_same(tmp_path, monkeypatch):
    """Some network folders answer a lock with an error."""

    def refuse(*_):
        raise OSError(errno.ENOLCK, "No locks available")

    fcntl = pytest.importorskip("fcntl")
    monkeypatch.setattr(fcntl, "flock", refuse)
    assert append_line(tmp_path / "lines", b"one").number == 1
    assert (tmp_path / "lines").read_bytes() == b"one\n"
