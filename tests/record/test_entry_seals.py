"""What is entered after a record was sealed is sealed too; no edit of it passes in silence."""

import json

import h5py
import pytest
from command_line import said
from made_records import SETUP, made

from tautlog.archive.catalogue import catalogued
from tautlog.archive.verify import verify
from tautlog.display.quick_look import mark_new
from tautlog.planning.lessons import learn_line
from tautlog.record import add_decision, add_inspection, open_record


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """A record with marks, a decision, an inspection and marks after it."""
    path = made(tmp_path_factory.mktemp("whole") / "drop.h5")
    mark_new(path)
    add_decision(path, by="A", verdict="no-test", proposed="pending", reason="rails")
    add_inspection(path, by="B", finding="intact")
    mark_new(path)
    return path


@pytest.fixture
def path(whole, tmp_path):
    """A copy of it, to be changed."""
    copy = tmp_path / "drop.h5"
    copy.write_bytes(whole.read_bytes())
    return copy


def edit_result(file, number=2, **what):
    run_ = file[f"marks/{number}"]
    run_.attrs["result_json"] = json.dumps({**json.loads(run_.attrs["result_json"]), **what})


def test_entries_follow_one_another_and_verify(path, capsys):
    with h5py.File(path) as file:
        entries = [file[one] for one in ("marks/1", "decisions/1", "inspections/1", "marks/2")]
        assert [int(one.attrs["entry"]) for one in entries] == [1, 2, 3, 4]
        seals = [file.attrs["seal_sha256"], *(one.attrs["seal_sha256"] for one in entries)]
        assert [one.attrs["previous_sha256"] for one in entries] == seals[:-1]
        before = file.attrs["seal_sha256"]
    status, out, _ = said(capsys, "verify", path)
    assert (status, out.strip()) == (0, "1 intact")
    said(capsys, "mark", path)
    with h5py.File(path) as file:
        assert file.attrs["seal_sha256"] == before
    assert said(capsys, "verify", path)[0] == 0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda file: edit_result(file, peak_force_n=9999.0), "marks 2 was edited"),
        (lambda file: edit_result(file, 1, peak_force_n=9999.0), "marks 1 was edited"),
        (lambda file: edit_result(file, test_verdict="fail"), "marks 2 was edited"),
        (lambda file: file["marks/2"].attrs.__setitem__("settings_json", "{}"), "marks 2 was"),
        (lambda file: file["marks/2"].attrs.__setitem__("utc", "2020"), "marks 2 was edited"),
        (lambda file: file["decisions/1"].attrs.__setitem__("verdict", "pass"), "decisions 1 was"),
        (lambda file: file["decisions/1"].attrs.__setitem__("by", "B"), "decisions 1 was edited"),
        (lambda file: file["inspections/1"].attrs.__setitem__("finding", "parted"), "inspections"),
        (lambda file: file["decisions/1"].attrs.__delitem__("seal_sha256"), "has no seal"),
        (lambda file: file["decisions"].__delitem__("1"), "before inspections 1 was edited or"),
        (lambda file: file.move("marks/2", "marks/3"), "marks 3 was edited"),
        (lambda file: file.copy("marks/1", "marks/3"), "marks 3 was edited"),
        (lambda file: file.create_group("decisions/2"), "decisions 2 has no seal"),
        (lambda file: file.attrs.__setitem__("status", "aborted"), "the status of the recording"),
        (lambda file: file.attrs.__setitem__("status_text", "all well"), "the status of the"),
        (lambda file: file.attrs.__setitem__("origin", "rehearsed"), "the origin (measured"),
        (lambda file: file.attrs.__delitem__("seal_version"), "changed since it was sealed"),
        (lambda file: file.attrs.__delitem__("seal_sha256"), "has no seal"),
    ],
)
def test_every_edit_is_told_by_verify(path, capsys, change, words):
    with h5py.File(path, "r+") as file:
        change(file)
    status, out, err = said(capsys, "verify", path)
    assert status == 1
    assert words in out, out
    assert "Traceback" not in out + err


def test_edited_marks_give_one_figure_everywhere_and_a_word(path, monkeypatch, capsys):
    """They gave 9999 N in list and ledger, 1931 N in mark, and no word in either."""
    right = open_record(path).marks[-1].result["peak_force_n"]
    with h5py.File(path, "r+") as file:
        edit_result(file, peak_force_n=9999.0, record_verdict="valid", test_verdict="pass")
    monkeypatch.chdir(path.parent)
    (one,) = json.loads(said(capsys, "list", "--json")[1])
    assert one["peak_force_n"] == pytest.approx(right)
    assert "NOT BELIEVED: marks 2 was edited after it was written" in said(capsys, "list")[1]
    _, out, err = said(capsys, "ledger", "--json")
    assert [row["highest_n"] for row in json.loads(out)] == [pytest.approx(right)] * 3
    assert "drop: NOT BELIEVED: marks 2 was edited" in err
    marked = json.loads(said(capsys, "mark", path, "--json")[1])
    assert marked["peak_force_n"] == pytest.approx(right)
    assert marked["edited"] == ["marks 2 was edited after it was written"]


def test_an_edited_decision_decides_nothing(path, monkeypatch, capsys):
    with h5py.File(path, "r+") as file:
        file["decisions/1"].attrs["verdict"] = "pass"
    monkeypatch.chdir(path.parent)
    (one,) = json.loads(said(capsys, "list", "--json")[1])
    assert one["decided"] == ""
    assert "decisions 1 was edited" in one["edited"]
    out = said(capsys, "mark", path)[1]
    assert "NOT BELIEVED: decisions 1 was edited after it was written" in out


def test_nothing_is_learned_of_edited_marks(path):
    with h5py.File(path, "r+") as file:
        edit_result(file, line_stiffness_n_per_m=90_000.0)
    learned = learn_line(path.parent, SETUP.line)
    assert learned.line.stiffness_n_per_m == pytest.approx(20_800, rel=0.05)


@pytest.mark.parametrize(
    ("place", "name", "value"),
    [("setup", "target_n", 900.0), ("calibration", "date", "2026-02-01")],
)
def test_a_record_that_is_not_what_was_sealed_is_invalid(path, capsys, place, name, value):
    """It was told as valid, and on the target that somebody had put there."""
    with h5py.File(path, "r+") as file:
        file[place].attrs[name] = value
    marked = json.loads(said(capsys, "mark", path, "--json")[1])
    assert marked["record_verdict"] == "invalid"
    assert "not-sealed" in {one["code"] for one in marked["reasons"]}


def older(path):
    """Take from a record what older programs did not write."""
    import tautlog.record.seal as seals

    with h5py.File(path, "r+") as file:
        for place in ("marks/1", "marks/2", "decisions/1", "inspections/1"):
            for name in ("entry", "previous_sha256", "seal_sha256"):
                del file[place].attrs[name]
        del file.attrs["seal_version"]
        seals.put_seal(file)
    return path


def test_a_record_of_an_older_program_is_told_as_such_and_is_whole(path, capsys):
    status, out, _ = said(capsys, "verify", older(path))
    assert status == 0
    assert out.splitlines()[0] == "1 intact"
    assert "1 of them sealed by an older program" in out
    record = open_record(path)
    assert (len(record.marks), len(record.decisions), record.edited) == (2, 1, ())


def test_an_entry_added_to_an_older_record_is_sealed(path, capsys):
    older(path)
    said(capsys, "mark", path)
    assert said(capsys, "verify", path)[0] == 0
    with h5py.File(path, "r+") as file:
        edit_result(file, 3, peak_force_n=1.0)
    (one,) = verify([path])
    assert (one.state, "marks 3 was edited" in one.text) == ("broken", True)


def test_a_status_of_an_unfinished_record_is_no_way_around_the_seal(path, capsys):
    with h5py.File(path, "r+") as file:
        file.attrs["status"] = "recording"
    assert said(capsys, "verify", path)[0] == 1


def test_the_catalogue_keeps_what_was_seen_of_an_edit(path):
    with h5py.File(path, "r+") as file:
        edit_result(file, peak_force_n=9999.0)
    assert catalogued(path.parent) == catalogued(path.parent)
    assert "marks 2" in catalogued(path.parent)[0].edited


def test_an_export_says_what_made_its_forces_and_what_was_said_of_them(path, capsys):
    """Its head named no calibration, no verdict and no decision."""
    assert said(capsys, "export", path, "--out", path.with_suffix(".csv"))[0] == 0
    lines = path.with_suffix(".csv").read_text().splitlines()
    head = dict(one.removeprefix("# ").split(": ", 1) for one in lines if one.startswith("# "))
    assert head["calibration"].startswith("the record's, 1000 N/V")
    assert head["calibration date"] == "2026-03-01"
    assert head["calibration U"] == "4 % of the force and 0 N (k = 2)"
    assert head["rails"] == "0.05 V and 3.2 V at the converter"
    assert head["force_n, zero"].endswith("N removed")
    assert head["force_n, filter"].startswith("channel frequency class 180")
    assert head["marking"].startswith("run 2 of the record, of 20")
    assert head["record_verdict"] == "valid"
    assert head["decision 1"].startswith("pending was proposed, no-test decided by A on 20")
    assert (head["origin"], head["status"]) == ("measured", "complete")
    assert said(capsys, "export", path, "--to", "uff", "--out", path.with_suffix(".uff"))[0] == 0
    told = path.with_suffix(".uff").read_text()
    assert "1000 N/V 2026-03-01 U 4 %; marks 2; valid" in told
    assert "decided no-test" in told


def test_an_export_of_another_class_says_that_it_is_no_kept_run(path, capsys):
    out = path.with_suffix(".csv")
    assert said(capsys, "export", path, "--out", out, "--cfc", "60")[0] == 0
    assert "# marking: by tautlog" in out.read_text()
    assert "for this file; run 2 of the record" in out.read_text()
