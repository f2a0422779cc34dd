"""Proof pulls, fasteners and the flight load on the command line."""

import json

import pytest

from tautlog.cli import run
from tautlog.errors import CampaignError
from tautlog.loadpath import Mount
from tautlog.proofs import add_proof, proven, read_proofs


@pytest.fixture
def kite(tmp_path, monkeypatch):
    assert run(["init", str(tmp_path / "kite")]) == 0
    monkeypatch.chdir(tmp_path / "kite")
    return tmp_path / "kite"


def test_the_newest_proof_counts(kite, capsys):
    given = ["--held", "70", "--deflection", "1.5", "--set", "0.05", "--by", "A"]
    assert run(["proof", "--pulled", "3000", *given]) == 0
    assert "good for peaks up to 2400 N" in capsys.readouterr().out
    (one,) = read_proofs(kite)
    assert one.entry.stiffness_n_per_m == pytest.approx(2e6)
    found = proven(Mount("beam-1"), [one])
    assert (found.proven_n, found.stiffness_n_per_m) == (3000.0, pytest.approx(2e6))
    assert proven(Mount("other"), [one]).proven_n == 0.0
    run(["proof", "--pulled", "1000", *given])
    assert proven(Mount("beam-1"), read_proofs(kite)).proven_n == 1000.0


@pytest.mark.parametrize(
    ("given", "word"),
    [
        (("--held", "20"), "60 s are usual"),
        (("--held", "90", "--deflection", "2", "--set", "0.5"), "it yields"),
    ],
)
def test_a_doubtful_pull_is_kept_and_proves_nothing(kite, capsys, given, word):
    assert run(["proof", "--pulled", "3000", "--by", "A", *given]) == 0
    out = capsys.readouterr().out
    assert "It FAILED" in out
    assert word in out
    found = proven(Mount("beam-1", 9000.0), read_proofs(kite))
    assert found.proven_n == 0.0
    assert word in found.failed


def test_bad_proofs(kite, tmp_path, capsys, monkeypatch):
    good = ["--pulled", "3000", "--held", "70"]
    assert run(["proof", *good, "--by", " "]) == 2
    assert run(["proof", *good, "--by", "A", "--mount", "nobody's"]) == 1
    assert "there are: 'beam-1'" in capsys.readouterr().err
    (kite / "proofs.jsonl").write_text("{}\n")
    with pytest.raises(CampaignError, match="line 1 is no proof"):
        read_proofs(kite)
    monkeypatch.chdir(tmp_path)
    assert run(["proof", *good, "--by", "A"]) == 1


def test_entries_are_only_added(tmp_path):
    for number in (1, 2, 3):
        add_proof(tmp_path, by="A", mount="m", pulled_n=100.0 * number, held_s=60.0)
    assert [one.entry.pulled_n for one in read_proofs(tmp_path)] == [100.0, 200.0, 300.0]


@pytest.mark.parametrize(
    ("given", "one_n"),
    [
        (["lag-screw", "--diameter", "12.7", "--thread", "55.5625", "--wood", "0.55"], 4247.9),
        (["wood-screw", "--diameter", "4.826", "--thread", "25.4", "--wood", "0.45"], 487.8),
        (["timber-screw", "--diameter", "8", "--thread", "64", "--density", "350"], 6735.4),
        (["bolt", "--diameter", "10"], 33_634),
        (["shackle", "--diameter", "15.9"], 10_338),
    ],
)
def test_fasteners(capsys, given, one_n):
    """The same published values as in test_loadpath, through the command."""
    assert run(["fastener", *given, "--count", "2", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["one_n"] == pytest.approx(one_n, rel=1e-3)
    assert told["all_n"] == pytest.approx(2 * told["one_n"])


@pytest.mark.parametrize(
    ("given", "status"),
    [
        (["bolt"], 2),
        (["bolt", "--diameter", "7"], 1),
        (["nail", "--diameter", "7"], 2),
        (["wood-screw", "--diameter", "5", "--thread", "30", "--wood", "0.9"], 1),
        (["wood-screw", "--diameter", "5", "--thread", "30", "--wood", "2"], 2),
        (["wood-screw", "--diameter", "5", "--thread", "30", "--wood", ".4", "--end-grain"], 2),
    ],
)
def test_fasteners_that_cannot_be(capsys, given, status):
    assert run(["fastener", *given]) == status
    assert len(capsys.readouterr().err.strip().splitlines()) == 1


def test_a_flight_load_becomes_a_target(kite, capsys):
    given = ["--flight", "25,1.2,12,30000", "--factor", "1.5", "--solve", "height", "--json"]
    assert run(["plan", *given]) == 0
    told = json.loads(capsys.readouterr().out)
    flight = told["flight"]
    assert flight["force_n"] == pytest.approx(12 * (30_000 * 25 * 1.2 / 26.2) ** 0.5)
    assert told["target_force_n"] == pytest.approx(1.5 * flight["force_n"])
    assert flight["rig_over_flight_duration"] > 1.0
    for bad in ("25,1.2", "a,b,c,d", "25,0,12,30000"):
        assert run(["plan", "--flight", bad]) == 1
    assert run(["plan", *given, "--target", "90"]) == 1
