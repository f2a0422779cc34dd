"""Commands on records of five minutes take bounded memory."""

import pytest
from long_records import long_record
from resident import run_measured

from tautlog.cli import run

MOST_MB = 300.0


@pytest.mark.long
def test_a_record_of_five_minutes_takes_less_than_300_mb(tmp_path):
    path = long_record(tmp_path / "a.h5", seconds=300.0, at_s=210.0)
    for command in (
        ("mark", path),
        ("show", path, "--out", tmp_path / "a.png"),
        ("report", tmp_path, "--out", tmp_path / "report"),
        ("list", tmp_path),
        ("verify", tmp_path),
        ("export", path, "--out", tmp_path / "a.csv"),
    ):
        status, _, errors, megabytes, _ = run_measured(*command)
        assert status == 0, errors
        assert megabytes < MOST_MB, command


@pytest.mark.long
def test_an_overlay_of_two_takes_little_more(tmp_path):
    paths = [
        long_record(tmp_path / f"{number}.h5", seconds=300.0, at_s=100.0, seed=number)
        for number in range(2)
    ]
    assert run(["mark", str(paths[0])]) == 0
    status, _, errors, megabytes, _ = run_measured("show", *paths, "--out", tmp_path / "a.png")
    assert status == 0, errors
    assert megabytes < 1.2 * MOST_MB
