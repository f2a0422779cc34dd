"""The bring-up on a rehearsed board: the real firmware, every wire opened and shorted."""

import io
import json
from dataclasses import replace

import pytest
from command_line import said
from kites import change

from tautlog.board.link import SerialLink
from tautlog.board.session import Session
from tautlog.campaign.bring_ups import add_step, proving_of, read_bring_up
from tautlog.campaign.campaign import read_campaign
from tautlog.cli import run
from tautlog.drop.bring_up import BringUp
from tautlog.errors import AbortedError, LinkError
from tautlog.firmware import wire
from tautlog.model.proven_wiring import AS_EXPECTED, NOT_AS_EXPECTED, NOT_DONE, unproven
from tautlog.model.wire_faults import FAULTS, LIGHTS, TRIED
from tautlog.rehearsal.bench import Bench
from tautlog.rehearsal.bench_hands import BenchHands
from tautlog.rehearsal.bench_port import BenchPort
from tautlog.rehearsal.process import BoardProcess
from tautlog.rehearsal.rig import SimulatedRig
from tautlog.rehearsal.scene import default_scene, with_readbacks
from tautlog.rehearsal.side_channels import board_changes, with_acceleration, with_legs

SPEED = 8.0
FITTED = ("article_wire", "mount_wire", "flash")
FURTHER = ("force right", "acceleration", "stop", "gate", "pin")  # on the other board
RESTORED = ("key off", "latch closed", "pull 0", "coil in", "clear")


def rig():
    scene = default_scene()
    behaviour = replace(scene.behaviour, key_on=False)
    return SimulatedRig(replace(scene, behaviour=behaviour), seed=1)


def campaign_at(folder):
    """A campaign of a rig that has everything, with the shunt of the rehearsed rig."""
    assert run(["init", str(folder)]) == 0
    change(folder, '# kind = "drops"', 'kind = "rehearsal"')
    for name in FITTED:
        change(folder, f'{name} = "no"', f'{name} = "yes"')
    # R / (4 Rs + 2 R) of 350 ohm at 5 V and gain 500 is the rehearsed rig's 0.5 V.
    change(folder, "# shunt_ohm = 87150.0", "shunt_ohm = 437325.0")
    return read_campaign(folder)


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A board that greeted, its rig, and a campaign."""
    folder = tmp_path_factory.mktemp("bring-up") / "kite"
    campaign = campaign_at(folder)
    one = rig()
    with BoardProcess(one, speed=SPEED) as board, SerialLink(board.url) as link:
        session = Session(link, timeout_scale=3.0)
        session.greet()
        yield session, one.bench, campaign


def session_of(bench, hands=None, keep=None):
    session, rig_bench, campaign = bench
    kept = []
    hands = hands or BenchHands(rig_bench.do)
    return BringUp(session, campaign, hands, "A. Rigger", keep or kept.append, SPEED)


def results(bench, *names):
    one = session_of(bench)
    return list(one.run([one.named(name) for name in names]))


@pytest.fixture(scope="module")
def legs(tmp_path_factory):
    """The same with two legs and an accelerometer."""
    folder = tmp_path_factory.mktemp("legs") / "kite"
    assert run(["init", str(folder)]) == 0
    change(folder, '# kind = "drops"', 'kind = "rehearsal"')
    change(folder, '# channel = "force left"', 'channel = "force left"')
    path = folder / "campaign.toml"
    leg = '[[force_channel]]\nname = "force right"\nzero_v = 0.45\n'
    path.write_text(path.read_text() + leg)
    scene = with_readbacks(with_acceleration(with_legs(rig().scene)))
    one = SimulatedRig(scene, seed=1)
    changes = board_changes(scene)
    board = BoardProcess(one, speed=SPEED, changes=changes)
    with board, SerialLink(board.url) as link:
        session = Session(link, timeout_scale=3.0)
        session.greet()
        yield session, one.bench, read_campaign(folder)


@pytest.fixture
def whole(bench):
    yield
    for line in RESTORED:
        bench[1].do(line)


@pytest.mark.wide
def test_every_wire_as_it_must_be_and_the_drop_is_permitted(bench, whole):
    session, _, campaign = bench
    one = session_of(bench, keep=lambda done: add_step(campaign.folder, done))
    done = list(one.run(one.steps))
    assert [(step.step, step.why) for step in done if step.result != AS_EXPECTED] == []
    assert len(done) == len(one.steps) == len({step.step for step in done})
    proving = proving_of(campaign, session.instrument)
    assert unproven(proving) == ""
    assert all(step.rehearsed for step in proving.done)
    assert one.open_steps(proving.done) == ()
    # It counts for no real board.
    real = replace(session.instrument, board="Pico", serial="E660C062137A2B34")
    assert "was never brought up" in unproven(proving_of(campaign, real))


def identity(fault):
    return f"{fault.wire} {fault.kind}"


@pytest.mark.wide
def test_every_wire_of_further_channels_as_it_must_be(legs):
    names = ("rest", "pull force right", "wire force right", "wire acceleration", "rest-again")
    names = (*names, "stop", "gate", "pin", "supply", "chain")
    assert [step.why for step in results(legs, *names)] == [""] * 11


@pytest.mark.parametrize("fault", [one for one in FAULTS if one.tried == TRIED], ids=identity)
@pytest.mark.rows(9)
def test_each_line_of_the_table_is_found_in_its_step(bench, legs, whole, fault):
    bench = legs if fault.wire in FURTHER else bench
    names = ["rest"] if fault.step == "rest" else ["rest", fault.step]
    bench[1].do(f"fault {fault.kind} {fault.wire}")
    try:
        done = results(bench, *names)
    finally:
        bench[1].do(f"fault mended {fault.wire}")
    assert [step.result for step in done[:-1]] == [AS_EXPECTED] * (len(done) - 1)
    assert done[-1].step == fault.step
    assert done[-1].result == NOT_AS_EXPECTED
    assert fault.says in done[-1].why


@pytest.mark.parametrize("row", LIGHTS, ids=lambda row: row.what)
def test_the_lights_are_as_the_table_says(row):
    wanted = {
        name
        for name, lit in [
            *(("chain", row.chain), ("enable", row.enable), ("pulse", row.pulse)),
            ("coil", row.lamp),
        ]
        if lit
    }
    for fault in row.fault or (("drive", "mended"),):
        one = Bench(default_scene())
        one.do(f"fault {fault[1]} {fault[0]}")
        one.watch(wire.OUTPUT_BEAT | wire.OUTPUT_DRIVE)
        assert one.seen == wanted, fault


def test_a_coil_that_was_left_on_is_told_and_nothing_is_armed_after_it(bench, whole):
    class Forgetful(BenchHands):
        def do(self, step, phase):
            told = super().do(step, phase)
            bench[1].do("coil in")
            return told

    found = []
    one = session_of(bench, Forgetful(bench[1].do), found.append)
    with pytest.raises(AbortedError, match="the board was not armed"):
        list(one.run([one.named("drive"), one.named("drive-wire")]))
    assert found[-1].step == "drive"
    assert "THE LATCH OPENED" in found[-1].why
    assert bench[0].ask("status")["state"] == "safe"


@pytest.mark.parametrize("how", ["lost", "Ctrl-C"])
@pytest.mark.wide
def test_what_ends_while_armed_takes_an_earlier_good_result_away(bench, whole, monkeypatch, how):
    """Else the newest attempt, which came to nothing, would hide behind an older one."""
    kept = []
    one = session_of(bench, keep=kept.append)
    assert [step.result for step in one.run([one.named("lamp")])] == [AS_EXPECTED, AS_EXPECTED]

    def broken(*_):
        raise LinkError("the port is gone") if how == "lost" else KeyboardInterrupt

    monkeypatch.setattr("tautlog.drop.bring_up.try_armed", broken)
    with pytest.raises(AbortedError if how == "lost" else KeyboardInterrupt) as told:
        list(one.run([one.named("lamp")]))
    assert how != "lost" or "ARMED" in str(told.value)
    assert how != "lost" or "key off" in str(told.value)
    assert (kept[-1].step, kept[-1].result) == ("lamp", NOT_DONE)
    assert "while the board was armed" in kept[-1].why
    assert one.named("lamp") in one.open_steps(kept)


def test_without_the_phrase_nothing_is_armed_and_nothing_done(bench, whole):
    class Unsure(BenchHands):
        def coil_is_out(self, phase):
            return False

    done = []
    one = session_of(bench, Unsure(bench[1].do), done.append)
    with pytest.raises(AbortedError, match="coil was not confirmed"):
        list(one.run([one.named("lamp")]))
    assert [(step.step, step.result) for step in done] == [("coil-out", NOT_AS_EXPECTED)]


# On the command line


@pytest.fixture
def served(tmp_path, monkeypatch):
    """A campaign, a served board and the port of its bench."""
    campaign_at(tmp_path / "kite")
    monkeypatch.chdir(tmp_path / "kite")
    one = rig()
    with BoardProcess(one, speed=SPEED, serial="rehearsal-1") as board, BenchPort(one.bench) as at:
        yield tmp_path / "kite", one.bench, ["--port", board.url, "--link-timeout", "3"], at.port


@pytest.mark.wide
def test_a_bring_up_is_kept_goes_on_where_it_stopped_and_opens_the_drop(served, capsys):
    kite, _, port, at = served
    given = ["health", "--bring-up", "--by", "A. Rigger", "--bench", at, *port]
    status, out, err = said(capsys, *given, "--step", "switch", "--json")
    told = json.loads(out)
    assert status == 1
    assert [step["step"] for step in told["steps"]] == ["coil-out", "switch"]
    assert "missing: rest, key" in told["unproven"]
    assert "not proven yet" in err
    status, out, _ = said(capsys, "health", "--bring-up", "--list", *port)
    assert status == 0
    assert "switch                  as expected" in out
    status, out, err = said(capsys, *given)
    assert (status, "bring-up whole" in out) == (0, True), err
    steps = [line.entry.step for line in read_bring_up(kite)]
    assert steps.count("switch") == 1
    assert steps.count("coil-out") == 2  # in every session
    status, out, _ = said(capsys, *given)
    assert (status, "nothing was" in out, "does it again" in out) == (0, False, True)


def test_a_person_at_a_terminal_is_led_and_nothing_is_taken_for_done(served, capsys, monkeypatch):
    kite, _, port, _ = served
    given = ["health", "--bring-up", "--by", "A. Rigger", "--step", "switch", *port]
    typed = ["coil is out", "", "", "s", "s no second person"]  # opened in words only
    monkeypatch.setattr("sys.stdin", io.StringIO("\n".join([*typed, "", ""])))
    status, out, err = said(capsys, *given)
    assert status == 1
    assert "Open the release switch's wire (GP10) at the box." in err
    assert "give a reason" in err
    assert "expected  switch open" in out
    assert "NOT AS EXPECTED: switch: expected open, read closed" in out
    assert "it may be release switch shorted to ground" in out
    last = read_bring_up(kite)[-1].entry
    assert (last.step, last.result) == ("switch", NOT_AS_EXPECTED)
    assert "no second person" in last.why
    monkeypatch.setattr("sys.stdin", io.StringIO("not sure\n"))
    status, _, err = said(capsys, *given)
    assert (status, "the board was not armed" in err) == (1, True)


def test_wrong_calls(served, tmp_path, monkeypatch, capsys):
    _, _, port, _ = served
    given = ["health", "--bring-up", *port]
    assert "needs the name" in said(capsys, *given)[2]
    assert (
        "no step 'swich' here; did you mean 'switch'"
        in said(capsys, *given, "--by", "A", "--step", "swich")[2]
    )
    assert said(capsys, "health", "--by", "A", *port)[0] == 2
    assert said(capsys, "rehearse", "--bench", "7001")[0] == 2
    empty = tmp_path / "empty"
    empty.mkdir()
    monkeypatch.chdir(empty)
    status, _, err = said(capsys, *given, "--by", "A")
    assert (status, "tautlog init" in err) == (1, True)
