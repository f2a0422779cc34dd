"""Signed heads: what a signature of the chain shows, and what takes it away."""

import json

import pytest
from command_line import said
from keys import made
from kites import kite_in

from tautlog.cli import run

pytest.importorskip("cryptography", reason="no cryptography here: nothing can be signed")


@pytest.fixture
def kite(tmp_path, monkeypatch):
    made("ed25519", tmp_path / "own")
    made("ed25519", tmp_path / "other")
    return kite_in(tmp_path, monkeypatch)


def signed(kite, name="own"):
    return run(["sign", "--key", str(kite.parent / name), "--by", "A. Rigger"])


def verified(capsys, kite, name="own"):
    status, out, err = said(capsys, "verify", "--key", str(kite.parent / f"{name}.pub"))
    return status, out + err


def later(kite):
    assert run(["deviation", "the second weight was taken first", "--by", "B"]) == 0


def test_a_signature_holds_and_what_came_later_is_told(kite, capsys):
    status, told = verified(capsys, kite)
    assert (status, "no signature of the key SHA256:" in told) == (1, True)
    assert signed(kite) == 0
    later(kite)
    status, told = verified(capsys, kite)
    assert status == 0, told
    assert "signed by A. Rigger" in told
    # Its own line needs no signature, the deviation does.
    assert "NOT ALL OF IT IS SIGNED: 1 link came after the last signature" in told
    assert signed(kite) == 0
    status, told = verified(capsys, kite)
    assert (status, "NOT ALL" in told, "all links are signed" in told) == (0, False, True)
    later(kite)
    later(kite)
    status, told = verified(capsys, kite, "other")
    assert (status, "no signature of the key" in told) == (1, True)


def test_a_campaign_made_anew_has_no_signature_of_the_key(kite, capsys):
    """The forger has all files but the key: the chain is rebuilt, and says so of itself."""
    assert signed(kite) == 0
    (kite / "chain.jsonl").unlink()
    lines = (kite / "proofs.jsonl").read_text().replace("3000", "3900")
    (kite / "proofs.jsonl").write_text(lines)
    later(kite)
    status, out, _ = said(capsys, "verify")
    assert (status, "cut off, or made anew" in out) == (1, True)
    (kite / "signatures.jsonl").unlink()  # else it would be found to be broken
    status, told = verified(capsys, kite)
    assert (status, "no signature of the key" in told) == (1, True)


@pytest.mark.parametrize(
    ("name", "value"),
    [("by", "B. Other"), ("utc", "2026-01-01T00:00:00Z"), ("links", 1), ("head", "0" * 64)],
)
def test_a_line_that_was_changed_does_not_hold(kite, capsys, name, value):
    assert signed(kite) == 0
    path = kite / "signatures.jsonl"
    path.write_text(json.dumps(json.loads(path.read_text()) | {name: value}) + "\n")
    status, told = verified(capsys, kite)
    assert status == 1
    assert "not one of what it stands beside" in told
    assert "no signature of the key" in told


@pytest.mark.parametrize("line", ["", "{}", "[]", '{"links": 1e400}', "\0", "[" * 5000])
def test_a_line_that_is_none_is_named(kite, capsys, line):
    assert signed(kite) == 0
    with open(kite / "signatures.jsonl", "a") as file:
        file.write(line + "\n")
    status, told = verified(capsys, kite)
    assert (status, "is no signed head" in told) == ((1, True) if line else (0, False))


def test_a_broken_chain_is_not_signed(kite, capsys):
    lines = (kite / "chain.jsonl").read_text().splitlines()
    (kite / "chain.jsonl").write_text("\n".join(lines[:2] + lines[3:]) + "\n")
    status, _, err = said(capsys, "sign", "--key", str(kite.parent / "own"), "--by", "A")
    assert (status, "the chain is not whole" in err) == (1, True)
    assert not (kite / "signatures.jsonl").exists()


def test_wrong_calls(kite, capsys, tmp_path, monkeypatch):
    own = str(kite.parent / "own")
    assert said(capsys, "sign", "--key", own)[0] == 2
    assert "cannot be read" in said(capsys, "sign", "--key", "none", "--by", "A")[2]
    assert "no private key" in said(capsys, "sign", "--key", own + ".pub", "--by", "A")[2]
    (tmp_path / "empty").mkdir()
    monkeypatch.chdir(tmp_path / "empty")
    assert "tautlog init" in said(capsys, "sign", "--key", own, "--by", "A")[2]
    status, out, err = said(capsys, "verify", "--key", own + ".pub")
    assert (status, "no campaign is here" in out + err) == (1, True)


def test_without_the_library_it_is_said(kite, capsys, monkeypatch):
    assert signed(kite) == 0
    monkeypatch.setattr("tautlog.archive.signed_heads.has_library", lambda: False)
    monkeypatch.setattr("tautlog.files.ssh_signature.has_library", lambda: False)
    status, out, _ = said(capsys, "verify")
    assert (status, "was not checked: that needs a library" in out) == (0, True)
    status, told = verified(capsys, kite)
    assert (status, "pip install 'tautlog[sign]'" in told) == (1, True)
    assert signed(kite) == 1


def test_json_has_the_number_of_links_that_are_not_signed(kite, capsys):
    assert signed(kite) == 0
    for number in range(3):
        given = ("verify", "--json", "--key", str(kite.parent / "own.pub"))
        status, out, _ = said(capsys, *given)
        told = [one for one in json.loads(out) if "links_not_signed" in one]
        assert status == 0
        assert [one["links_not_signed"] for one in told] == [number]
        assert told[0]["state"] == ("doubtful" if number else "intact")
        later(kite)


@pytest.mark.parametrize("name", ["chain.jsonl", "signatures.jsonl", "proofs.jsonl"])
def test_what_is_only_a_link_to_another_file_gets_no_line(kite, capsys, tmp_path, name):
    """Found by an attack: a signature went into the chain of another campaign."""
    assert signed(kite) == 0
    elsewhere = tmp_path / name
    (kite / name).rename(elsewhere)
    (kite / name).symlink_to(elsewhere)
    before = elsewhere.read_bytes()
    status, _, err = said(capsys, "sign", "--key", str(kite.parent / "own"), "--by", "A")
    if name != "proofs.jsonl":
        assert (status, "it is a link to another file" in " ".join(err.split())) == (1, True)
    pull = ("proof", "--pulled", "3000", "--held", "70", "--by", "A")
    if name != "signatures.jsonl":
        status, _, err = said(capsys, *pull)
        assert (status, "it is a link to another file" in " ".join(err.split())) == (1, True)
    assert elsewhere.read_bytes() == before
