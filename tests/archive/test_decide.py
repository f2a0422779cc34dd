"""Decisions of named persons, batches of marks, and budgets on the command line."""

import json

import pytest
from command_line import said

from tautlog.archive.batch import records_in, remark
from tautlog.errors import RecordError
from tautlog.record import open_record


def test_a_decision_stands_beside_the_proposal(record, capsys):
    seal = open_record(record).verify_seal()
    given = ("--verdict", "no-test", "--by", "R. Lead", "--reason", "line was <b>wet</b>")
    status, out, _ = said(capsys, "decide", record, *given, "--json")
    assert status == 0
    marked = json.loads(out)
    assert marked["test_verdict"] == "pending"
    assert marked["decision"]["verdict"] == "no-test"
    assert marked["decision"]["proposed"] == "pending"
    assert marked["decision"]["reason"] == "line was <b>wet</b>"
    _, out, _ = said(capsys, "mark", record)
    assert "decided by R. Lead" in out
    assert "proposed was" in out
    assert open_record(record).verify_seal() == seal


def test_the_newest_decision_counts_and_all_are_kept(record, capsys):
    for verdict in ("fail", "pass"):
        given = ("--verdict", verdict, "--by", "R. Lead", "--reason", "as seen")
        assert said(capsys, "decide", record, *given)[0] == 0
    decisions = open_record(record).decisions
    assert [(one.number, one.verdict) for one in decisions] == [(1, "fail"), (2, "pass")]


@pytest.mark.parametrize(
    "given",
    [
        ("--verdict", "pass", "--by", " ", "--reason", "x"),
        ("--verdict", "pass", "--by", "A", "--reason", " "),
        ("--verdict", "pending", "--by", "A", "--reason", "x"),
        ("--verdict", "pass", "--by", "A"),
    ],
)
def test_a_decision_needs_verdict_name_and_reason(record, capsys, given):
    status, _, err = said(capsys, "decide", record, *given)
    assert status == 2
    assert len(err.strip().splitlines()) == 1
    assert open_record(record).decisions == ()


def test_budgets_add_up(record, capsys):
    _, out, _ = said(capsys, "mark", record, "--budget", "--json")
    budgets = {one["figure"]: one for one in json.loads(out)["budgets"]}
    marked = json.loads(out)
    assert set(budgets) == {
        "peak_force_n",
        "line_peak_force_n",
        "impulse_closure",
        "rest_closure",
        "displacement_closure_m",
        "taut_speed_m_s",
        "energy_absorbed_j",
        "max_stretch_m",
        "secant_stiffness_n_per_m",
    }
    peak = budgets["peak_force_n"]
    total = sum(part["u"] ** 2 for part in peak["parts"]) ** 0.5
    assert peak["combined_u"] == pytest.approx(total)
    assert peak["expanded_u"] == pytest.approx(marked["peak_force_expanded_u_n"])
    assert peak["value"] == pytest.approx(marked["peak_force_n"])
    _, out, _ = said(capsys, "mark", record, "--budget")
    assert "0.4 % of the force beyond" in out


def test_marking_again_reproduces_bit_for_bit(record, capsys):
    first = json.loads(said(capsys, "mark", record, "--json")[1])
    second = json.loads(said(capsys, "mark", record, "--json")[1])
    assert first == second


def test_many_records_on_all_cores(record, tmp_path, capsys):
    deep = tmp_path / "more" / "deep"
    deep.mkdir(parents=True)
    (deep / "copy.h5").write_bytes(record.read_bytes())
    (deep / "broken.h5").write_bytes(b"nothing")
    runs = len(open_record(record).marks)
    status, out, err = said(capsys, "remark", tmp_path, "--json")
    assert status == 1
    assert "1 of 3 records" in err
    done = {one["path"]: one for one in json.loads(out)}
    assert done[str(record)]["problem"] == ""
    assert done[str(deep / "broken.h5")]["after"] == {}
    assert len(open_record(record).marks) == runs + 1
    assert len(open_record(deep / "copy.h5").marks) == runs + 1
    one, two = (
        json.dumps(open_record(path).marks[-1].result["peak_force_n"])
        for path in (record, deep / "copy.h5")
    )
    assert one == two


def test_what_changed_is_told(record, capsys):
    said(capsys, "mark", record)
    said(capsys, "inspect", record, "--found", "parted", "--by", "A")
    said(capsys, "mark", record)
    (done,) = remark([record], jobs=1)
    assert not done.changes
    assert done.after.test_verdict == "fail"


def test_places_that_are_not_there(tmp_path):
    with pytest.raises(RecordError, match="neither a record nor a folder"):
        records_in([tmp_path / "nowhere"])


@pytest.mark.wide
def test_many_records_on_a_real_cluster_of_two_workers(record, tmp_path, capsys):
    from distributed import LocalCluster

    for number in range(4):
        (tmp_path / f"copy{number}.h5").write_bytes(record.read_bytes())
    given = {"n_workers": 2, "processes": True, "threads_per_worker": 1, "dashboard_address": None}
    with LocalCluster(**given) as running:
        address = running.scheduler_address
        status, out, _ = said(capsys, "remark", tmp_path, "--cluster", address, "--json")
    assert status == 0
    done = json.loads(out)
    assert len(done) == 5
    assert {one["problem"] for one in done} == {""}
    assert len(open_record(tmp_path / "copy3.h5").marks) == len(open_record(record).marks)


def test_a_cluster_that_is_not_there(record, monkeypatch, capsys):
    monkeypatch.setattr("tautlog.archive.batch.CLUSTER_TIMEOUT_S", 0.5)
    status, _, err = said(capsys, "remark", record, "--cluster", "tcp://127.0.0.1:9")
    assert status == 1
    assert "no cluster answers" in err.strip().splitlines()[-1]
