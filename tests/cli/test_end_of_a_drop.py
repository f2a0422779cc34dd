"""What stays on the screen: the five lines and the next command, last."""

import re

import pytest
from command_line import said


@pytest.fixture(scope="module")
def places(tmp_path_factory):
    return tmp_path_factory.mktemp("rehearsed")


def test_a_drop_ends_with_five_lines_and_the_next_command(places, capsys):
    status, out, _ = said(capsys, "rehearse", "--yes", "--speed", "20", "--out", str(places))
    assert status == 0
    lines = out.strip().splitlines()
    assert [line[0] for line in lines[-6:-1]] == list("12345")
    assert re.match(r"next: tautlog inspect '?\S+\.h5'? --found FINDING --by NAME$", lines[-1])
    assert "peak_time_s" not in out
    record = next(places.glob("*.h5"))
    assert f"record  {record}" in out
    assert record.with_suffix(".png").exists()


def test_all_figures_by_option_and_by_mark(places, capsys):
    record = next(places.glob("*.h5"))
    status, out, _ = said(capsys, "mark", str(record))
    assert status == 0
    assert "peak_time_s" in out
    assert out.strip().splitlines()[-1].startswith("5 ")
    status, out, _ = said(
        capsys, "rehearse", "--yes", "--speed", "20", "--all", "--out", str(places)
    )
    assert status == 0
    assert out.index("peak_time_s") < out.index("\n1 REHEARSAL")
