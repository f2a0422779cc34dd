"""A drop that was called off before its release is listed as no drop, and gives no bound."""

import json

import pytest
from command_line import said
from made_records import made

from tautlog.archive.assess import assess
from tautlog.archive.catalogue import catalogued
from tautlog.firmware import wire
from tautlog.record import open_record


def judged(path):
    return assess(open_record(path)).verdict


def reasons(verdict):
    return {reason.code: reason.text for reason in verdict.reasons}


@pytest.mark.parametrize("why", [wire.ABORTED, wire.KEY_OFF, wire.LAPTOP_SILENT])
def test_no_load_reached_the_part_when_the_board_went_safe_before_any_release(tmp_path, why):
    path = made(tmp_path / "off.h5", status="aborted", released=False, drops=False, went_safe=why)
    verdict = judged(path)
    assert (verdict.load_verdict, verdict.trace_says) == ("no-load", "unclear")
    assert verdict.test_verdict == "no-test"
    said_so = reasons(verdict)["load-no-load"]
    assert "called off before the release" in said_so
    assert wire.REASONS[why][1] in said_so


def test_the_list_and_the_ledger_say_so(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    made(
        *(tmp_path / "off.h5",),
        **{"status": "aborted", "released": False, "drops": False, "went_safe": wire.ABORTED},
    )
    assert said(capsys, "mark", "off.h5")[0] == 0
    assert said(capsys, "list")[0] == 0
    (row,) = json.loads(said(capsys, "list", "--json")[1])
    assert row["load_verdict"] == "no-load"
    assert not catalogued(tmp_path)[0].released


@pytest.mark.parametrize("why", [0, wire.NOT_LATCHED, wire.NO_RELEASE])
def test_a_board_that_knows_nothing_of_the_sled_excludes_no_load(tmp_path, why):
    path = made(tmp_path / "off.h5", status="aborted", released=False, drops=False, went_safe=why)
    assert judged(path).load_verdict == "at-least"


def test_a_force_that_no_switch_told_of_is_judged_all_the_same(tmp_path):
    path = made(tmp_path / "off.h5", status="aborted", released=False, went_safe=wire.ABORTED)
    assert judged(path).load_verdict not in ("at-least", "no-load", None)
    assert open_record(path).status == "aborted"
