"""Bring-ups at a rehearsed board: its rig, its campaign, and hands that do what is asked."""

from dataclasses import replace

from kites import change

from tautlog.campaign.campaign import read_campaign
from tautlog.cli import run
from tautlog.drop.bring_up import BringUp
from tautlog.model.proven_wiring import AS_EXPECTED, NOT_AS_EXPECTED
from tautlog.model.wire_faults import FAULTS, TRIED
from tautlog.rehearsal.bench_hands import BenchHands
from tautlog.rehearsal.rig import SimulatedRig
from tautlog.rehearsal.scene import default_scene

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


def session_of(bench, hands=None, keep=None):
    session, rig_bench, campaign = bench
    kept = []
    hands = hands or BenchHands(rig_bench.do)
    return BringUp(session, campaign, hands, "A. Rigger", keep or kept.append, SPEED)


def results(bench, *names):
    one = session_of(bench)
    return list(one.run([one.named(name) for name in names]))


def identity(fault):
    return f"{fault.wire} {fault.kind}"


def tried(*, further):
    """The faults that hands can try, of further channels and contacts or of all the others."""
    return [one for one in FAULTS if one.tried == TRIED and (one.wire in FURTHER) == further]


def is_found_in_its_step(bench, fault):
    """A fault of the table shows in its step, with its words, and nowhere before."""
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


def restore(bench):
    """Everything as it must be, for the next test."""
    for line in RESTORED:
        bench[1].do(line)
