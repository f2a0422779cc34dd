"""Inspections: added, never rewritten; the newest is what a drop is judged by."""

import json

import pytest
from command_line import said

from tautlog.cli import run
from tautlog.record import add_inspection, open_record


def test_an_inspection_decides(record, capsys):
    _, out, _ = said(capsys, "mark", record, "--json")
    assert json.loads(out)["test_verdict"] == "pending"
    status, out, _ = said(capsys, "inspect", record, "--found", "intact", "--by", "A. Rigger")
    assert status == 0
    assert "inspected by A. Rigger: intact" in out
    _, out, _ = said(capsys, "mark", record, "--json")
    assert json.loads(out)["test_verdict"] == "pass"


def test_the_newest_counts_and_all_are_kept(record, capsys):
    seal = open_record(record).verify_seal()
    samples = open_record(record).counts().tobytes()
    hostile = "seam 3, <b>left</b> \u00e9"
    for finding, by, note in (("intact", "A", ""), ("parted", "B", hostile)):
        given = ("--found", finding, "--by", by, "--note", note)
        status, out, _ = said(capsys, "inspect", record, *given, "--json")
        assert status == 0
    assert json.loads(out)["test_verdict"] == "fail"
    after = open_record(record)
    assert [(one.number, one.by, one.finding, one.note) for one in after.inspections] == [
        (1, "A", "intact", ""),
        (2, "B", "parted", hostile),
    ]
    assert after.setup.article_finding == "not-inspected"  # what was said before stays
    assert after.verify_seal() == seal
    assert seal.state == "intact"
    assert after.counts().tobytes() == samples


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--found", "intact"), "--by"),
        (("--by", "A"), "--found"),
        (("--found", "fine", "--by", "A"), "fine"),
        (("--found", "intact", "--by", "  "), "name"),
    ],
)
def test_bad_input(record, capsys, arguments, words):
    status, _, err = said(capsys, "inspect", record, *arguments)
    assert status == 2
    assert words in err
    assert open_record(record).inspections == ()


def test_no_record(tmp_path, capsys):
    given = ("--found", "intact", "--by", "A")
    status, _, err = said(capsys, "inspect", tmp_path / "none.h5", *given)
    assert status == 1
    assert err.count("\n") == 1


def test_a_record_that_was_never_inspected(record):
    assert open_record(record).inspected_setup == open_record(record).setup
    assert add_inspection(record, by="A", finding="slipped") == 1
    assert open_record(record).inspected_setup.article_finding == "slipped"


def test_where_it_gave_and_what_moved_first_are_asked_for_and_kept(record, capsys):
    assert run(["inspect", str(record), "--found", "parted", "--by", "A"]) == 0
    assert "say where it failed (--where)" in capsys.readouterr().err
    told = ["--where", "left eye", "--moved", "screw 3"]
    assert run(["inspect", str(record), "--found", "parted", "--by", "A", *told]) == 0
    assert capsys.readouterr().err == ""
    first, second = open_record(record).inspections
    assert (first.where, first.moved) == ("", "")
    assert (second.where, second.moved) == ("left eye", "screw 3")
    assert run(["inspect", str(record), "--found", "intact", "--by", "A"]) == 0
    assert capsys.readouterr().err == ""
