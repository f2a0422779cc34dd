"""A disk that is full or read-only, a folder that goes, a clock that goes back, other line ends.

Each is told truly, and nothing is lost. Disks are tmpfs (Linux, tmpfs(5)) in a name space of mounts
of their own, which is gone with the command.
"""

import os
import shutil
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from command_line import said
from made_records import imported

import tautlog.archive.assess as assess_module
import tautlog.files.chain as chain_module
from tautlog.archive.verify import verify
from tautlog.campaign.campaign import read_campaign
from tautlog.campaign.ledger import LedgerEntry, add_entry
from tautlog.campaign.proofs import Proof, add_proof
from tautlog.cli import run
from tautlog.display.quick_look import mark_new
from tautlog.files.chain import head_of, read_chain
from tautlog.planning.intended import drops_since_proof
from tautlog.record import add_inspection, open_record

UTC_TEXT = "2026-03-01T10:00:00Z"


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    folder = tmp_path_factory.mktemp("odd") / "kite"
    assert run(["init", str(folder)]) == 0
    add_proof(folder, Proof(UTC_TEXT, "A", "beam-1", 3000.0, 70.0))
    add_entry(folder, LedgerEntry(UTC_TEXT, "A", article="a", peak_at_most_n=900.0))
    mark_new(imported(folder, "one", 900.0), cfc=60)
    return folder


@pytest.fixture
def kite(whole, tmp_path, monkeypatch):
    folder = Path(shutil.copytree(whole, tmp_path / "kite"))
    monkeypatch.chdir(folder)
    return folder


def contents(folder):
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.name.startswith(".")
    }


# Disks

MOUNTS = (
    shutil.which("unshare")
    and not subprocess.run(
        ["unshare", "-rm", "mount", "-t", "tmpfs", "tmpfs", "/mnt"], capture_output=True
    ).returncode
)
on_a_disk = pytest.mark.skipif(not MOUNTS, reason="no name spaces of mounts here")


def on_disk(kite, *arguments, room_kb, read_only=False):
    """A command in a campaign on a disk with so much room left; what it said, what is there."""
    place, back = kite.parent / "disk", kite.parent / "back"
    place.mkdir()
    used_kb = sum(len(one) // 1024 + 8 for one in contents(kite).values()) + 64
    script = f"""
        mount -t tmpfs -o size={used_kb + 4096}k tmpfs {place} || exit 99
        cp -r {kite}/. {place} || exit 98
        cd {place}
        left=$(df -k --output=avail . | tail -1)
        head -c $(( (left - {room_kb}) * 1024 )) /dev/zero > .filled
        if [ {int(read_only)} = 1 ]; then mount -o remount,ro {place} || exit 97; fi
        "$@"; status=$?
        rm -f .filled; cp -r {place} {back}; exit $status
    """
    done = subprocess.run(
        ["unshare", "-rm", "sh", "-c", script, "sh", sys.executable, "-m", "tautlog", *arguments],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
        timeout=100,
    )
    assert done.returncode < 90, done.stderr
    assert "Traceback" not in done.stderr
    return done, contents(back)


@on_a_disk
@pytest.mark.parametrize(
    ("read_only", "arguments"),
    [
        (False, ("inspect", "one.h5", "--found", "intact", "--by", "A")),
        (False, ("export", "one.h5", "--out", "e.csv")),
        (True, ("inspect", "one.h5", "--found", "intact", "--by", "A")),
        (True, ("ledger", "--add", "--article", "a", "--by", "A")),
        (True, ("report", "--out", "r.html")),
    ],
    ids=lambda one: one[0] if isinstance(one, tuple) else "read-only" if one else "full",
)
def test_a_disk_that_takes_nothing_leaves_all_as_it_was(kite, arguments, read_only):
    done, after = on_disk(kite, *arguments, room_kb=0, read_only=read_only)
    assert done.returncode == 1
    assert "cannot be" in done.stderr
    reason = "Read-only file system" if read_only else "No space left on device"
    assert reason in done.stderr
    assert after == contents(kite)


@on_a_disk
@pytest.mark.parametrize("command", ["list", "verify", "ledger", "next"])
def test_a_read_only_disk_can_be_read(kite, command):
    here = subprocess.run(
        [sys.executable, "-m", "tautlog", command], capture_output=True, text=True, cwd=kite
    )
    done, after = on_disk(kite, command, room_kb=0, read_only=True)
    assert done.returncode == here.returncode == 0, done.stderr
    assert done.stdout.replace(str(kite.parent / "disk"), str(kite)) == here.stdout
    assert after == contents(kite)


# A folder that goes


@pytest.mark.parametrize("command", ["list", "verify", "ledger", "report", "next", "plan"])
def test_a_folder_that_is_gone_before_a_command_is_told(kite, capsys, command):
    shutil.rmtree(kite)
    status, out, err = said(capsys, command)
    assert status in (1, 2), out
    assert "Traceback" not in err
    assert len(err.strip().splitlines()) == 1


def test_a_folder_that_goes_while_a_record_is_marked_is_told(kite, capsys, monkeypatch):
    mark = assess_module.mark

    def gone(*given, **named):
        shutil.move(kite, kite.parent / "elsewhere")
        return mark(*given, **named)

    monkeypatch.setattr(assess_module, "mark", gone)
    status, out, err = said(capsys, "mark", kite / "one.h5", "--cfc", "180")
    assert "Traceback" not in err
    assert "does not exist" in err or "cannot be" in err
    assert status in (0, 1)
    assert "N" in out  # the figures are told all the same
    assert open_record(kite.parent / "elsewhere" / "one.h5").verify_seal().state == "intact"


# Other line ends


def with_other_ends(folder):
    """What a checkout on Windows does to every text."""
    for path in (*folder.rglob("*.jsonl"), *folder.rglob("*.toml"), *folder.rglob("*.json")):
        path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))


def test_other_line_ends_are_told_and_are_no_change(kite, capsys):
    head = head_of(kite)
    with_other_ends(kite)
    found = [one for one in verify([kite], head=head) if one.state != "intact"]
    assert {one.path.name for one in found} == {"chain.jsonl", "proofs.jsonl", "ledger.jsonl"}
    assert {one.state for one in found} == {"doubtful"}
    assert all("CR LF" in one.text for one in found)
    status, out, _ = said(capsys, "verify")
    assert status == 0
    assert "CR LF" in out
    for command in ("list", "ledger", "next"):
        assert said(capsys, command)[0] == 0


def test_what_is_added_to_other_line_ends_follows_them(kite):
    with_other_ends(kite)
    add_entry(kite, LedgerEntry(UTC_TEXT, "A", article="b", peak_at_most_n=100.0))
    add_inspection(kite / "one.h5", by="A", finding="intact")
    assert read_chain(kite).changed == ()
    assert [one.text for one in verify([kite]) if one.differs] == []


def test_a_change_is_found_under_other_line_ends(kite):
    with_other_ends(kite)
    path = kite / "proofs.jsonl"
    path.write_bytes(path.read_bytes().replace(b"3000", b"9000"))
    assert "line 1 is not as it was kept" in " ".join(
        one.text for one in verify([kite]) if one.differs
    )


# A clock that goes back


def test_a_clock_set_back_by_a_day_is_told_and_the_order_stays(kite, capsys, monkeypatch):
    yesterday = datetime.now(UTC) - timedelta(days=1)
    monkeypatch.setattr(chain_module, "stamp", lambda: f"{yesterday:%Y-%m-%dT%H:%M:%SZ}")
    add_inspection(kite / "one.h5", by="A", finding="intact")
    monkeypatch.undo()
    monkeypatch.chdir(kite)
    add_inspection(kite / "one.h5", by="A", finding="parted")
    (told,) = [one for one in verify([kite]) if one.state == "doubtful"]
    assert told.path.name == "one.h5"
    assert "the clock was set back" in told.text
    assert f"{yesterday:%Y-%m-%dT%H}" in told.text
    status, out, _ = said(capsys, "verify")
    assert status == 0
    assert "the clock was set back" in out
    assert [one.finding for one in open_record(kite / "one.h5").inspections] == ["intact", "parted"]
    assert [link.number for link in read_chain(kite).links][-2:] == [2, 3]
    assert said(capsys, "list")[0] == 0


# What mutations found (tests/benchmarks/mutations.py)


def test_a_mount_without_a_name_has_seen_the_drops_that_name_none(kite, capsys):
    """`next` and `plan` ended in a StopIteration."""
    path = kite / "campaign.toml"
    path.write_text(path.read_text().replace('name = "beam-1"', 'name = ""'))
    for command in ("next", "plan", "ledger"):
        status, _, err = said(capsys, command)
        assert status in (0, 1), err
        assert "Traceback" not in err
    campaign = read_campaign(kite)
    (mount,) = campaign.mounts
    assert drops_since_proof(campaign, mount) == 2  # of the record, and by hand
