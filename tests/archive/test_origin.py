"""A rehearsal never passes for a drop, whatever it is called and wherever it lies."""

import json
import re

import h5py
import pytest
from command_line import said
from made_records import SETUP, VIRTUAL, made

from tautlog.archive.catalogue import catalogued
from tautlog.campaign.campaign import read_campaign
from tautlog.campaign.new_campaign import write_new_campaign
from tautlog.display.quick_look import mark_new
from tautlog.files.chain import read_chain
from tautlog.planning.intended import drops_since_proof
from tautlog.planning.lines import line_for
from tautlog.record import open_record


@pytest.fixture
def kite(tmp_path, monkeypatch, capsys):
    """A campaign of one measured drop and a rehearsed one that was copied among the records."""
    folder = write_new_campaign(tmp_path / "kite").parent
    monkeypatch.chdir(folder)
    for name, more in (("real", {}), ("played", {"board": VIRTUAL, "stiffness": 30_000.0})):
        mark_new(made(folder / f"{name}.h5", **more))
    capsys.readouterr()
    return folder


def since_proof(folder):
    campaign = read_campaign(folder)
    return drops_since_proof(campaign, campaign.mounts[0])


def test_the_file_says_what_it_is(kite):
    with h5py.File(kite / "played.h5") as file:
        assert file.attrs["origin"] == "rehearsed"
        assert "previous_seal_sha256" not in file.attrs
    with h5py.File(kite / "real.h5") as file:
        assert file.attrs["origin"] == "measured"
    assert [one.name for one in read_chain(kite).records] == ["real.h5"]


def test_a_rehearsal_of_an_older_program_is_known_by_its_board(kite):
    with h5py.File(kite / "played.h5", "r+") as file:
        del file.attrs["origin"]
    assert open_record(kite / "played.h5").rehearsed
    assert not open_record(kite / "real.h5").rehearsed


def test_it_counts_for_nothing(kite, capsys):
    (one,) = json.loads(said(capsys, "list", "--json")[1])
    assert one["record"].endswith("real.h5")
    _, out, _ = said(capsys, "list")
    assert "played" not in out
    assert "rehearsals left out: 1" in out
    rows = json.loads(said(capsys, "ledger", "--json")[1])
    assert {one["drops"] for one in rows if one["kind"] in ("article", "line", "mount")} == {1}
    assert since_proof(kite) == 1
    assert line_for(read_campaign(kite), SETUP.line).stiffness_n_per_m < 25_000.0
    assert said(capsys, "verify")[1].startswith("1 intact\n")
    assert said(capsys, "report")[0] == 0
    assert "played" not in (kite / "report.html").read_text()


def test_it_is_shown_as_what_it_is_when_it_is_asked_for(kite, capsys):
    _, out, _ = said(capsys, "list", "--rehearsed")
    assert "REHEARSAL: played" in out
    _, out, _ = said(capsys, "ledger", "--rehearsed")
    assert "REHEARSAL article" in out
    assert "REHEARSAL" in said(capsys, "verify", "--rehearsed")[1]
    assert said(capsys, "report", "--rehearsed", "--out", "all.html")[0] == 0
    page = (kite / "all.html").read_text()
    assert "REHEARSAL: played" in page
    assert "REHEARSAL (" in page  # of how the drops ended
    assert "1 drop, and 1 rehearsed, " in page
    articles = page[page.index('id="articles"') : page.index('id="fields"')]
    cells = re.findall(r"<t[hd] [^>]*>([^<]*)</t[hd]>", articles)
    at = cells.index("bridle-1")
    assert cells[at : at + 3] == ["bridle-1", "A", "1"]
    _, out, err = said(capsys, "learn", "--line", SETUP.line, "--rehearsed")
    assert "played.h5" in out
    assert "real.h5" not in out
    assert "REHEARSAL" in err


def test_every_verdict_of_it_says_so(kite, capsys):
    _, out, _ = said(capsys, "mark", "played.h5")
    assert all("REHEARSAL: " in line for line in out.splitlines()[-5:])
    assert json.loads(said(capsys, "mark", "played.h5", "--json")[1])["origin"] == "rehearsed"
    assert "REHEARSAL" not in said(capsys, "mark", "real.h5")[1]


def test_a_page_of_nothing_but_rehearsals_is_none(kite, capsys):
    status, _, err = said(capsys, "report", "played.h5")
    assert status == 1
    assert "--rehearsed" in err
    (kite / "real.h5").unlink()
    status, _, err = said(capsys, "learn", "--line", SETUP.line)
    assert status == 1
    assert "rehearsals teach nothing" in err


def test_a_drop_that_was_relabelled_as_a_rehearsal_is_not_hidden(kite, capsys):
    with h5py.File(kite / "real.h5", "r+") as file:
        file.attrs["origin"] = "rehearsed"
    assert [one.name for one in catalogued(kite) if not one.rehearsed] == ["real"]
    assert "it counts" in said(capsys, "list")[1]
    assert since_proof(kite) == 1
    status, out, _ = said(capsys, "verify")
    assert status == 1
    assert "real.h5" in out


@pytest.mark.wide
def test_rehearsals_of_a_campaign_lie_apart(kite, capsys):
    status, _, err = said(capsys, "rehearse", "--yes", "--json", "--speed", "20")
    assert status == 0, err
    (path,) = (kite / "rehearsals").glob("*.h5")
    assert open_record(path).rehearsed
    assert len(catalogued(kite)) == 2
    assert [one.name for one in read_chain(kite).records] == ["real.h5"]
    assert said(capsys, "verify")[1].startswith("1 intact\n")


def test_an_import_is_shown_as_imported(kite, capsys):
    table = kite / "t.csv"
    table.write_text("t,f\n" + "".join(f"{i / 1000},{i % 7}\n" for i in range(2000)))
    given = ["--force-column", "f", "--time-column", "t", "--out", "came.h5"]
    assert said(capsys, "import", table, *given)[0] == 0
    assert "imported: came" in said(capsys, "list")[1]
    assert "imported: another instrument recorded the trace" in said(capsys, "mark", "came.h5")[1]
