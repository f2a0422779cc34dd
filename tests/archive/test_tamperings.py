"""Sixty-five tamperings with what a campaign keeps, and which of them `verify` must notice.

SEEN: exit status 1. HEAD: only by a head of the chain that was kept elsewhere. NEVER: nothing in
the folder can show it; README names these.
"""

import hashlib
import json
import os
import shutil
from dataclasses import replace
from pathlib import Path

import h5py
import pytest
from brought_up import step_done
from command_line import said
from made_records import imported, made

from tautlog.archive.verify import verify
from tautlog.campaign.bring_ups import add_step
from tautlog.campaign.campaign import read_campaign
from tautlog.campaign.checklist import add_checklist, answered_list, void_checklist
from tautlog.campaign.deviations import Deviation, enter_deviation
from tautlog.campaign.ledger import LedgerEntry, add_entry
from tautlog.campaign.proofs import Proof, add_proof
from tautlog.cli import run
from tautlog.drop.recovery import complete
from tautlog.errors import CampaignError
from tautlog.files.chain import FILE, LINE, Link, head_of, link_of, read_chain
from tautlog.record import add_decision, add_inspection, add_marks, open_record
from tautlog.record.seal import put_seal

SEEN, HEAD, NEVER = "seen", "with a head", "never"
UTC = "2026-03-01T10:00:00Z"
PHOTO = "eye.jpg"


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """A campaign that keeps one of everything, and more of some."""
    folder = tmp_path_factory.mktemp("whole") / "kite"
    assert run(["init", str(folder)]) == 0
    add_proof(folder, Proof(UTC, "A", "beam-1", 3000.0, 70.0))
    add_proof(folder, Proof(UTC, "B", "beam-2", 2000.0, 70.0))
    for name in ("rest", "key"):
        add_step(folder, step_done(name))
    for article in ("a", "b", "c"):
        add_entry(folder, LedgerEntry(UTC, "A", article=article, peak_at_most_n=900.0))
    wet = Deviation(UTC, "A", "the line was wet")
    for made_one in (wet, replace(wet, text="dried for a day", answers=1)):
        enter_deviation(read_campaign(folder), made_one, [])
    rows = [f"{200 * n},{0.5 + 0.2 * n},{turn}" for turn in (1, 2, 3) for n in range(8)]
    points = folder / "points.csv"
    points.write_text("load_n,volt,run\n" + "\n".join(rows) + "\n")
    here = Path.cwd()
    os.chdir(folder)
    try:
        assert run(["calibrate", "--from-csv", "points.csv", "--accept", "A", "a test"]) == 0
    finally:
        os.chdir(here)
    add_checklist(folder, answered_list("A. Rigger", "B. Second", [], {}))
    void_checklist(folder, "the gate was opened")
    for name in ("one", "two", "three"):
        path = imported(folder, name, 900.0)
        add_marks(path, {"cfc": 60}, {"peak_force_n": 900.0})
        add_inspection(path, by="A", finding="intact")
        add_decision(path, by="A", verdict="pass", proposed="pass", reason="seen")
    (folder / PHOTO).write_bytes(b"no photo, but bytes")
    assert run(["photo", str(folder / "one.h5"), str(folder / PHOTO)]) == 0
    imported(folder, "last", 700.0)
    return folder


@pytest.fixture
def kite(whole, tmp_path):
    return Path(shutil.copytree(whole, tmp_path / "kite"))


def noticed(folder, head=""):
    return [one for one in verify([folder], head=head) if one.differs]


# Ways to tamper


def gone(name):
    return lambda folder: (folder / name).unlink()


def exchanged(one, other):
    def change(folder):
        (folder / one).rename(folder / "held")
        (folder / other).rename(folder / one)
        (folder / "held").rename(folder / other)

    return change


def lines_of(path):
    return path.read_bytes().splitlines(keepends=True)


def without_line(name, number):
    def change(folder):
        lines = lines_of(folder / name)
        del lines[number]
        (folder / name).write_bytes(b"".join(lines))

    return change


def other_value(name, number, key, value):
    def change(folder):
        lines = lines_of(folder / name)
        lines[number] = json.dumps({**json.loads(lines[number]), key: value}).encode() + b"\n"
        (folder / name).write_bytes(b"".join(lines))

    return change


def one_more_line(path, at, **changes):
    """A line like another one, added by hand."""

    def change(folder):
        line = {**json.loads(lines_of(folder / path)[at]), **changes}
        with (folder / path).open("ab") as file:
            file.write(json.dumps(line).encode() + b"\n")

    return change


def moved_line(name, one, other):
    def change(folder):
        lines = lines_of(folder / name)
        lines[one], lines[other] = lines[other], lines[one]
        (folder / name).write_bytes(b"".join(lines))

    return change


def h5(name, change):
    def changed(folder):
        with h5py.File(folder / name, "r+") as file:
            change(file)

    return changed


def attribute(place, name, value):
    return lambda file: file[place].attrs.__setitem__(name, value)


def resealed(name, change):
    """Changed, and given the seal that fits."""

    def changed(file):
        change(file)
        put_seal(file)

    return h5(name, changed)


def taken_with_links(name, *, more=()):
    """A record and all its links, and more files."""

    def change(folder):
        for one in (name, *more):
            (folder / one).unlink()
        kept = [one for one in lines_of(folder / "chain.jsonl") if name.encode() not in one]
        (folder / "chain.jsonl").write_bytes(b"".join(kept))

    return change


def chain_anew(folder):
    """Every link of the chain, with the hashes that fit what is there now."""
    links, before = [], hashlib.sha256(b"").hexdigest()
    for link in read_chain(folder).links:
        path, sha256 = folder / link.name, link.sha256
        if link.kind == LINE:
            line = path.read_bytes().splitlines()[link.number - 1]
            sha256 = hashlib.sha256(line).hexdigest()
        elif link.kind == FILE:
            sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
        links.append(Link(link.kind, link.name, sha256, link.number, link.record_id).text(before))
        before = hashlib.sha256(links[-1]).hexdigest()
    (folder / "chain.jsonl").write_bytes(b"".join(one + b"\n" for one in links))


def and_chain_anew(change):
    def changed(folder):
        change(folder)
        chain_anew(folder)

    return changed


def end_cut_off(folder):
    """The last record, and the end of the chain from its link on."""
    lines = lines_of(folder / "chain.jsonl")
    first = next(place for place, one in enumerate(lines) if b"last.h5" in one)
    (folder / "chain.jsonl").write_bytes(b"".join(lines[:first]))
    (folder / "last.h5").unlink()


def grown_anew(folder):
    """No chain; the next entry begins a new one, which takes what it finds."""
    other_value("proofs.jsonl", 0, "pulled_n", 9000.0)(folder)
    (folder / "chain.jsonl").unlink()
    add_entry(folder, LedgerEntry(UTC, "A", article="d"))


def calibration(folder):
    return next((folder / "calibrations").glob("*.json"))


def other_calibration(folder):
    path = calibration(folder)
    path.write_text(path.read_text().replace('"degree": 1', '"degree": 2'))


def second_calibration(folder):
    shutil.copy(calibration(folder), folder / "calibrations" / "0002_2026-03-02.json")


def older_copy(folder):
    """A record put back as it was before somebody decided."""
    with h5py.File(folder / "two.h5", "r+") as file:
        del file["decisions"]


def foreign(folder):
    """A record of another campaign."""
    other = folder.parent / "other"
    assert run(["init", str(other)]) == 0
    shutil.move(imported(other, "foreign", 500.0), folder)


def forged_decision(folder):
    """A decision with the right seal, put in where no chain sees it."""
    copy = folder.parent / "two.h5"
    shutil.copy(folder / "two.h5", copy)
    add_decision(copy, by="Nobody", verdict="fail", proposed="pass", reason="none")
    shutil.move(copy, folder / "two.h5")


CHAIN, PROOFS, LEDGER, STEPS = "chain.jsonl", "proofs.jsonl", "ledger.jsonl", "bring_up.jsonl"
DEVIATIONS = "deviations.jsonl"
TAMPERINGS = {
    # records
    "record gone": (gone("two.h5"), SEEN),
    "last record gone": (gone("last.h5"), SEEN),
    "names of two records exchanged": (exchanged("one.h5", "two.h5"), SEEN),
    "record renamed": (lambda folder: (folder / "two.h5").rename(folder / "drop.h5"), SEEN),
    "record copied under a second name": (
        lambda folder: shutil.copy(folder / "two.h5", folder / "again.h5"),
        SEEN,
    ),
    "record put in another's place": (
        lambda folder: shutil.copy(folder / "one.h5", folder / "two.h5"),
        SEEN,
    ),
    "record cut short": (lambda folder: os.truncate(folder / "two.h5", 3000), SEEN),
    "record emptied": (lambda folder: os.truncate(folder / "two.h5", 0), SEEN),
    "sample": (h5("two.h5", lambda file: file["trace/values"].__setitem__(5, 1.0)), SEEN),
    "mass": (h5("two.h5", attribute("setup", "mass_kg", 8.0)), SEEN),
    "target": (h5("two.h5", attribute("setup", "target_n", 500.0)), SEEN),
    "unit": (h5("two.h5", attribute("trace/values", "unit", "kN")), SEEN),
    "time of the drop": (h5("two.h5", attribute("/", "utc", "2026-01-01T00:00:00Z")), SEEN),
    "status": (h5("two.h5", attribute("/", "status", "recording")), SEEN),
    "origin": (h5("two.h5", attribute("/", "origin", "rehearsed")), SEEN),
    "seal": (h5("two.h5", attribute("/", "seal_sha256", "0" * 64)), SEEN),
    "mass, and a seal that fits": (resealed("two.h5", attribute("setup", "mass_kg", 8.0)), SEEN),
    "sample, and a seal that fits": (
        resealed("two.h5", lambda file: file["trace/values"].__setitem__(5, 1.0)),
        SEEN,
    ),
    "seal removed": (h5("two.h5", lambda file: file.attrs.__delitem__("seal_sha256")), SEEN),
    "record of another campaign put in": (foreign, SEEN),
    "record and all its links": (taken_with_links("two.h5"), SEEN),
    "first record and all its links": (taken_with_links("one.h5"), SEEN),
    "campaign.toml and record": (
        lambda folder: (gone("campaign.toml")(folder), gone("two.h5")(folder)),
        SEEN,
    ),
    "campaign.toml": (gone("campaign.toml"), SEEN),
    # entries of a record
    "marks": (h5("two.h5", attribute("marks/1", "result_json", '{"peak_force_n": 1.0}')), SEEN),
    "finding": (h5("two.h5", attribute("inspections/1", "finding", "parted")), SEEN),
    "verdict of a decision": (h5("two.h5", attribute("decisions/1", "verdict", "fail")), SEEN),
    "who decided": (h5("two.h5", attribute("decisions/1", "by", "B")), SEEN),
    "newest decision taken out": (older_copy, SEEN),
    "all entries taken out": (
        h5("two.h5", lambda file: [file.__delitem__(one) for one in ("inspections", "decisions")]),
        SEEN,
    ),
    "decision with its seal, put in elsewhere": (forged_decision, SEEN),
    "name of a photo": (h5("one.h5", attribute("photos/1", "name", "other.jpg")), SEEN),
    "photo replaced": (lambda folder: (folder / PHOTO).write_bytes(b"another"), SEEN),
    "photo taken away": (gone(PHOTO), NEVER),  # films are kept elsewhere
    # files of lines
    "force of a pull": (other_value(PROOFS, 0, "pulled_n", 9000.0), SEEN),
    "who pulled": (other_value(PROOFS, 1, "by", "C"), SEEN),
    "first pull gone": (without_line(PROOFS, 0), SEEN),
    "last pull gone": (without_line(PROOFS, 1), SEEN),
    "pulls in each other's place": (moved_line(PROOFS, 0, 1), SEEN),
    "pull added by hand": (one_more_line(PROOFS, 1, pulled_n=9000.0), SEEN),
    "all pulls gone": (gone(PROOFS), SEEN),
    "drop in the ledger": (other_value(LEDGER, 1, "article", "x"), SEEN),
    "last drop in the ledger gone": (without_line(LEDGER, 2), SEEN),
    "ledger gone": (gone(LEDGER), SEEN),
    "ledger emptied": (lambda folder: os.truncate(folder / LEDGER, 0), SEEN),
    "step of the bring-up": (other_value(STEPS, 0, "read", "all well"), SEEN),
    "step of the bring-up added by hand": (one_more_line(STEPS, 1, step="latch"), SEEN),
    "step of the bring-up gone": (without_line(STEPS, 1), SEEN),
    # numbered files
    "text of a deviation": (other_value(DEVIATIONS, 0, "text", "nothing"), SEEN),
    "deviation gone": (without_line(DEVIATIONS, 0), SEEN),
    "answer to a deviation gone": (without_line(DEVIATIONS, 1), SEEN),
    "answer added by hand": (one_more_line(DEVIATIONS, 1, by="B", text="accepted"), SEEN),
    "all deviations gone": (gone(DEVIATIONS), SEEN),
    "calibration": (other_calibration, SEEN),
    "calibration gone": (lambda folder: calibration(folder).unlink(), SEEN),
    "calibration put in": (second_calibration, SEEN),
    "checklist gone": (lambda folder: shutil.rmtree(folder / "checklists"), SEEN),
    # the chain
    "chain gone": (gone(CHAIN), SEEN),
    "chain and record gone": (
        lambda folder: (gone(CHAIN)(folder), gone("two.h5")(folder)),
        SEEN,
    ),
    "link edited": (other_value(CHAIN, 3, "sha256", "0" * 64), SEEN),
    "link gone": (without_line(CHAIN, 4), SEEN),
    "links in each other's place": (moved_line(CHAIN, 3, 4), SEEN),
    "chain and pull, grown anew": (grown_anew, SEEN),
    "last record and the end of the chain": (end_cut_off, HEAD),
    "pull, and every link made anew": (
        and_chain_anew(other_value(PROOFS, 0, "pulled_n", 9000.0)),
        SEEN,  # each record names the head that it was begun after
    ),
}


def test_there_are_sixty_five_and_sixty_are_seen():
    told = [expected for _, expected in TAMPERINGS.values()]
    assert len(told) == 65
    assert told.count(SEEN) >= 60


def test_nothing_is_noticed_where_nothing_was_touched(kite):
    assert noticed(kite) == []
    assert {one.state for one in verify([kite])} == {"intact"}
    assert noticed(kite, head_of(kite)) == []


@pytest.mark.parametrize("name", TAMPERINGS)
def test_a_tampering_is_noticed(kite, name):
    change, expected = TAMPERINGS[name]
    head = head_of(kite)
    change(kite)
    assert bool(noticed(kite)) == (expected == SEEN), [one.text for one in verify([kite])]
    assert bool(noticed(kite, head)) == (expected != NEVER)


@pytest.mark.parametrize(
    "changes",
    [
        {"name": "\0"},
        {"name": "\ud800"},
        {"name": ".."},
        {"name": "../../etc/passwd", "kind": "file"},
        {"name": "calibrations/../../x", "kind": "file"},
        {"number": 10**300, "kind": "found", "name": "proofs.jsonl"},
        {"number": -1},
        {"number": "one"},
        {"sha256": None},
        {"kind": "nothing known"},
        {"before": ""},
        {"name": "x" * 10_000},
    ],
    ids=lambda changes: " ".join(changes),
)
def test_a_nonsense_link_is_told_and_stops_nothing(kite, capsys, changes):
    one_more_line(CHAIN, 2, **changes)(kite)
    status, out, err = said(capsys, "verify", kite)
    assert status == 1
    assert "4 intact" in out
    assert "Traceback" not in out + err


@pytest.mark.parametrize("value", ["", "a b\nc", "\u2028", "x" * 1000])
def test_a_nonsense_seal_of_an_entry_is_told(kite, capsys, value):
    h5("two.h5", attribute("marks/1", "seal_sha256", value))(kite)
    status, out, err = said(capsys, "verify", kite)
    assert status == 1
    assert "two.h5: broken" in out
    assert "Traceback" not in out + err


def test_a_drop_killed_and_recovered_after_the_next_is_no_alarm(kite):
    killed = made(kite / "killed.h5", status="recording")
    made(kite / "next.h5")
    assert {one.state for one in verify([kite])} == {"intact", "unfinished"}
    complete(killed)
    made(kite / "after.h5")
    assert {one.state for one in verify([kite])} == {"intact"}


def test_a_kill_before_the_chain_had_a_record_or_marks_is_no_alarm(kite, monkeypatch):
    with monkeypatch.context() as killed:
        killed.setattr("tautlog.record.record_file.add_link", lambda *_: None)
        made(kite / "killed.h5")
        add_marks(kite / "one.h5", {}, {"peak_force_n": 1.0})
    assert noticed(kite) == []
    told = [one for one in verify([kite]) if one.state == "unchained"]
    assert [one.path.name for one in told] == ["killed.h5", "one.h5"]
    add_marks(kite / "one.h5", {}, {"peak_force_n": 1.0})
    assert noticed(kite) == []


def test_a_line_that_the_chain_has_not_is_settled_by_a_person(kite):
    one_more_line(LEDGER, 2, article="by hand")(kite)
    (one,) = noticed(kite)
    assert (one.path.name, one.state) == (LEDGER, "added")
    entry = LedgerEntry(UTC, "A", article="by hand", supersedes=4, reason="killed then")
    add_entry(kite, entry)
    assert noticed(kite) == []


def test_neither_line_nor_link_stays_if_the_chain_cannot_be_written(kite):
    before = (kite / LEDGER).read_bytes()
    (kite / CHAIN).unlink()
    (kite / CHAIN).mkdir()
    with pytest.raises(CampaignError, match=r"chain\.jsonl cannot be written"):
        add_entry(kite, LedgerEntry(UTC, "A", article="d"))
    assert (kite / LEDGER).read_bytes() == before


def test_the_first_digits_of_a_head_are_enough_and_nonsense_is_refused(kite, capsys):
    head = head_of(kite)
    assert said(capsys, "verify", kite, "--head", f"{head[:8]} {head[8:16]}".upper())[0] == 0
    status, _, err = said(capsys, "verify", kite, "--head", "f" * 16)
    assert status == 1
    assert "its end was cut off, or it was written anew" in err
    for wrong in ("1234", "not a head at all"):
        assert said(capsys, "verify", kite, "--head", wrong)[0] == 1
    assert link_of(lines_of(kite / CHAIN)[-1]).kind == "record"
    assert open_record(kite / "last.h5").chain_head in read_chain(kite).heads
