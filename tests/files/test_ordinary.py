"""Pipes, devices, broken links and huge files: refused at once, and never taken for nothing."""

import os

import pytest
from command_line import said
from kites import kite_in, refusal

from tautlog.files.ordinary import read_ordinary

pytestmark = pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes on this system")


@pytest.fixture
def kite(tmp_path, monkeypatch):
    return kite_in(tmp_path, monkeypatch)


def replaced(path, kind):
    if path.exists():
        path.unlink()
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "device":
        path.symlink_to("/dev/zero")
    elif kind == "folder":
        path.mkdir()
    elif kind == "broken link":
        path.symlink_to("nowhere")
    elif kind == "huge":
        with path.open("wb") as file:
            file.truncate(1 << 30)


KINDS = ["pipe", "device", "folder", "broken link", "huge", "gone"]


@pytest.mark.parametrize("kind", KINDS)
def test_a_campaign_file_that_cannot_be_read_is_not_no_campaign(kite, capsys, kind):
    replaced(kite / "campaign.toml", kind)
    told = refusal(capsys)
    assert "campaign.toml" in told
    assert "cannot be read" in told


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "gone"])
def test_proofs_that_cannot_be_read_prove_nothing(kite, capsys, kind):
    replaced(kite / "proofs.jsonl", kind)
    assert "proofs.jsonl" in refusal(capsys)


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind not in ("gone", "folder")])
@pytest.mark.rows(1)
def test_no_command_waits_for_a_file_of_a_campaign(kite, capsys, kind):
    (kite / "calibrations").mkdir(exist_ok=True)
    for name in ("ledger.jsonl", "chain.jsonl", "calibrations/0001_2026-05-01.json"):
        replaced(kite / name, kind)
    for command in (["ledger"], ["verify"], ["plan"], ["calibrate", "--list"], ["list"]):
        status, _, _ = said(capsys, *command)
        assert status in (0, 1)


def test_what_is_read_has_a_bound(tmp_path):
    path = tmp_path / "file"
    path.write_bytes(b"12345")
    assert read_ordinary(path, 5) == b"12345"
    with pytest.raises(OSError, match="5 bytes, 4 are allowed"):
        read_ordinary(path, 4)


def test_a_campaign_of_300_000_keys_is_refused_unread(kite, capsys, monkeypatch):
    """It took three seconds of the processor to find its section unknown."""
    keys = "".join(f"key{number} = {number}\n" for number in range(300_000))
    (kite / "campaign.toml").write_text(f"[many]\n{keys}")
    monkeypatch.setattr("tautlog.campaign.toml_text.tomllib.loads", None)
    assert "bytes, 1048576 are allowed" in refusal(capsys)
