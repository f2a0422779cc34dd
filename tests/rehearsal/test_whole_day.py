"""A whole day, from init to report, by the commands that a crew types, on one rehearsed rig."""

import contextlib
import json
import re
import socket
import subprocess
import sys
from pathlib import Path

import click
import pytest
from brought_up import REHEARSED, bring_up
from command_line import said
from kites import change, kite_in

from tautlog.board.link import SerialLink
from tautlog.campaign.calibrations import FOLDER
from tautlog.campaign.campaign import read_campaign
from tautlog.errors import LinkError
from tautlog.record import open_record
from tautlog.rehearsal.bench_port import BenchLine, BenchPort
from tautlog.rehearsal.practice import SERIAL, scene_of
from tautlog.rehearsal.process import BoardProcess
from tautlog.rehearsal.rig import SimulatedRig

SPEED = 8.0
LOADS_KG = (0, 10, 30, 60, 30, 10, 0)
PULLED = ("--pulled", "3000", "--held", "70", "--deflection", "1.5", "--set", "0.05")


def free_port():
    with socket.create_server(("127.0.0.1", 0)) as probe:
        return probe.getsockname()[1]


def practice_campaign(tmp_path, monkeypatch, capsys):
    """The folder as `init --practice` makes it, but at a port that is free."""
    folder = tmp_path / "practice"
    status, out, _ = said(capsys, "init", folder, "--practice")
    assert status == 0
    assert "REHEARSAL" in out
    port = free_port()
    change(folder, "socket://127.0.0.1:7000", f"socket://127.0.0.1:{port}")
    monkeypatch.chdir(folder)
    return folder, port


@contextlib.contextmanager
def quick_rig(folder, port):
    """Rig and board in this process, faster than real ones; what hands say to it."""
    rig = SimulatedRig(scene_of(read_campaign(folder)), seed=1)
    with (
        BoardProcess(rig, speed=SPEED, serial=SERIAL, link_port=port),
        BenchPort(rig.bench) as bench,
        BenchLine(bench.port) as line,
    ):
        yield line.tell, bench.port


@contextlib.contextmanager
def served_rig(folder, port):
    """The served rehearsal as people start it."""
    bench_port = free_port()
    with subprocess.Popen(
        [
            *(sys.executable, "-m", "tautlog", "rehearse"),
            *("--serve", str(port), "--bench", str(bench_port)),
        ],
        cwd=folder,
        stdout=subprocess.PIPE,
        stdin=subprocess.DEVNULL,
        text=True,
    ) as child:
        try:
            assert any("a rehearsed board answers" in line for line in child.stdout)
            with BenchLine(bench_port) as line:
                yield line.tell, bench_port
        finally:
            child.kill()


class Crew:
    """Two persons who do at the rig what the commands ask for."""

    def __init__(self, tell, capsys, monkeypatch):
        self.tell, self.capsys = tell, capsys
        monkeypatch.setattr(click, "prompt", self._asked)
        monkeypatch.setattr(click, "confirm", lambda *_, **__: True)

    def _asked(self, text, **_):
        weight = re.match(r"hang ([\d.]+) kg", text)
        if weight:
            self.tell(f"hang {weight[1]}")
        elif "line slack" in text:
            self.tell("lower")
        elif "sled hangs" in text:
            self.tell("hang")
        return ""

    def does(self, *words):
        for word in words:
            self.tell(word)

    def says(self, *arguments):
        status, out, err = said(self.capsys, *arguments)
        assert status == 0, (arguments, out, err)
        assert "REHEARSAL" in out + err, arguments
        return out

    def drops(self, **options):
        """Let one fall; its record."""
        given = [part for name, value in options.items() for part in (f"--{name}", value)]
        waits = ("--link-timeout", "3", "--countdown", "0.5", "--record", "3")
        return json.loads(self.says("drop", "--yes", "--json", *waits, *given))


def practise(crew, folder, loads_kg=LOADS_KG, heights_m=(1.2, 1.15)):
    """From the calibration to the report; what each drop printed."""
    crew.does("lower")
    loads = [part for kg in loads_kg for part in ("--load", kg)]
    crew.says("calibrate", *loads, "--link-timeout", "3", "--note", "weights of the set A")
    crew.does("hang 0")
    crew.says("calibrate", "--hang", "--link-timeout", "3")
    crew.does("lower", "pull 3000", "pull 0")
    crew.says("proof", *PULLED, "--by", "A. Rigger")
    crew.does("key off", "coil in", "latch")
    crew.says("check", "--by", "A. Rigger", "--with", "B. Second", "--link-timeout", "3")
    dropped = []
    for height_m in heights_m:
        if dropped:
            crew.does("key off", "lower", f"height {height_m}", "latch")
        crew.does("key on")
        looked = {"looked-by": "A. Rigger"} if dropped else {}
        dropped.append(crew.drops(height=height_m, **looked))
        crew.says("inspect", dropped[-1]["record"], "--found", "intact", "--by", "A. Rigger")
    decided = ("--verdict", "pass", "--by", "R. Lead", "--reason", "on target, eye intact")
    crew.says("decide", dropped[-1]["record"], *decided)
    crew.says("report")
    return dropped


def judge_the_day(crew, folder, dropped):
    """The drops are what they were, and all of it is marked."""
    for drop in dropped:
        marks, record = drop["marks"], open_record(drop["record"])
        assert (marks["load_verdict"], marks["record_verdict"]) == ("on-target", "valid")
        assert record.origin == "rehearsed"
        assert record.path.parent == folder
    # The line is made so that the peak lies at mid-band, 1.05 x 1800 N; less height, less force.
    peaks_n = [drop["marks"]["peak_force_n"] for drop in dropped]
    assert peaks_n[0] == pytest.approx(1890.0, rel=0.01)
    assert peaks_n == sorted(peaks_n, reverse=True)
    listed = [line for line in crew.says("list").splitlines() if "bridle-1  bridle-1" in line]
    assert len(listed) == len(dropped)
    assert all(line.startswith("REHEARSAL: ") for line in listed)
    rows = crew.says("ledger").splitlines()[1:]
    assert all(" 0 " in row for row in rows if not row.startswith("REHEARSAL"))
    page = (folder / "report.html").read_text()
    assert page.count("REHEARSAL") >= 3
    assert said(crew.capsys, "export", dropped[0]["record"])[0] == 0
    csv = Path(dropped[0]["record"]).with_suffix(".csv").read_text()
    assert "rehears" in csv[:3000].lower()
    kept = json.loads(next((folder / FOLDER).glob("*.json")).read_text())
    assert kept["rehearsed"] is True
    assert kept["calibration"]["newton_per_volt"] == pytest.approx(
        scene_of(read_campaign(folder)).chain.newton_per_volt, rel=3e-3
    )


def judge_a_real_campaign(capsys, monkeypatch, tmp_path, folder, records):
    """Nothing of that day counts in a real campaign, also if somebody copies it there."""
    kite = kite_in(tmp_path, monkeypatch)
    for record in records:
        source = Path(record)
        (kite / source.name).write_bytes(source.read_bytes())
    ledger = json.loads(said(capsys, "ledger", "--json")[1])
    assert [row["drops"] for row in ledger] == [0]  # the mount's
    assert said(capsys, "list", "--json")[1].strip() == "[]"
    (kite / FOLDER).mkdir()
    for file in (folder / FOLDER).glob("*.json"):
        (kite / FOLDER / file.name).write_bytes(file.read_bytes())
    _, out, err = said(capsys, "plan")
    assert "made to practise with" in out + err
    assert "REFUSE calibration" in out + err


@pytest.mark.wide
def test_a_day_is_practised_from_calibration_to_report(tmp_path, monkeypatch, capsys):
    folder, port = practice_campaign(tmp_path, monkeypatch, capsys)
    bring_up(folder, REHEARSED)
    with quick_rig(folder, port) as (tell, _):
        crew = Crew(tell, capsys, monkeypatch)
        dropped = practise(crew, folder, (0, 30, 60, 30), heights_m=(1.2,))
    judge_the_day(crew, folder, dropped)
    records = [drop["record"] for drop in dropped]
    judge_a_real_campaign(capsys, monkeypatch, tmp_path, folder, records)


@pytest.mark.long
@pytest.mark.timeout(900)
def test_the_whole_day_is_practised_on_the_served_rehearsal(tmp_path, monkeypatch, capsys):
    folder, port = practice_campaign(tmp_path, monkeypatch, capsys)
    with served_rig(folder, port) as (tell, bench_port):
        crew = Crew(tell, capsys, monkeypatch)
        by = ("--by", "A. Rigger", "--link-timeout", "3")
        crew.says("health", "--bring-up", "--bench", bench_port, *by)
        assert "down" in tell("where")
        assert "coil: out" in tell("where")
        dropped = practise(crew, folder)
    judge_the_day(crew, folder, dropped)


def test_nobody_answers_at_a_practice_that_is_over(tmp_path, monkeypatch, capsys):
    folder, port = practice_campaign(tmp_path, monkeypatch, capsys)
    with quick_rig(folder, port):
        SerialLink(f"socket://127.0.0.1:{port}").close()
    with pytest.raises(LinkError):
        SerialLink(f"socket://127.0.0.1:{port}")
