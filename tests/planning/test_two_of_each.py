"""Campaigns with two lines and two mounts: what is named counts, whichever stands first."""

import json

import pytest
from command_line import said
from kites import PULLED, change, kite_in, refusal

from tautlog.cli import run

LINE, STIFF_LINE = "polyester 8 mm, 1.5 m", "stiff"
MOUNT, YIELDED = "beam-1", "old beam"
STIFF_SECTION = f'[[line]]\nname = "{STIFF_LINE}"\nstiffness_n_per_m = 400000.0\n\n'
OTHER_MOUNT = f'[[mount]]\nname = "{YIELDED}"\n\n'


@pytest.fixture(params=["good ones first", "bad ones first"])
def two(request, tmp_path, monkeypatch):
    """The example's campaign, a line that is far too stiff, and a mount whose pull failed."""
    kite = kite_in(tmp_path, monkeypatch)
    for section, added in (("[[line]]", STIFF_SECTION), ("[[mount]]", OTHER_MOUNT)):
        if request.param == "bad ones first":
            change(kite, f"\n{section}\n", f"\n{added}{section}\n")
        else:
            path = kite / "campaign.toml"
            path.write_text(path.read_text() + "\n" + added)
    yielded = ["--held", "70", "--deflection", "1.5", "--set", "1.4", "--by", "A"]
    assert run(["proof", "--mount", YIELDED, "--pulled", "9000", *yielded]) == 0
    return kite


def test_the_good_line_on_the_good_mount_is_let_through(two, capsys):
    assert refusal(capsys, "--line", LINE, "--mount", MOUNT) == ""


@pytest.mark.parametrize(
    ("line", "mount", "word"),
    [
        (STIFF_LINE, MOUNT, "2400 N"),
        (LINE, YIELDED, "yields"),
        (STIFF_LINE, YIELDED, "yields"),
    ],
)
def test_what_is_named_is_what_counts(two, capsys, line, mount, word):
    told = refusal(capsys, "--line", line, "--mount", mount)
    assert word in told
    assert (YIELDED if mount == YIELDED else MOUNT) in told
    _, out, _ = said(capsys, "plan", "--line", line, "--mount", mount, "--json")
    assert any(one.get("refuses") for one in json.loads(out)["checks"])


def test_without_a_name_no_mount_is_assumed(two, capsys):
    told = refusal(capsys, "--line", LINE)
    assert MOUNT in told
    assert YIELDED in told


def test_a_good_pull_of_one_mount_lifts_nothing_of_the_other(two, capsys):
    assert run(["proof", "--mount", MOUNT, "--pulled", "9000", *PULLED]) == 0
    assert "yields" in refusal(capsys, "--line", LINE, "--mount", YIELDED)
    assert refusal(capsys, "--line", STIFF_LINE, "--mount", MOUNT) != ""
