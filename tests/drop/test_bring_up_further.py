"""The bring-up of two legs, an accelerometer and contacts that the board reads back."""

import pytest
from benches import SPEED, identity, is_found_in_its_step, restore, results, rig, tried
from kites import change

from tautlog.board.link import SerialLink
from tautlog.board.session import Session
from tautlog.campaign.campaign import read_campaign
from tautlog.cli import run
from tautlog.rehearsal.process import BoardProcess
from tautlog.rehearsal.rig import SimulatedRig
from tautlog.rehearsal.scene import with_readbacks
from tautlog.rehearsal.side_channels import board_changes, with_acceleration, with_legs


@pytest.fixture(scope="module")
def legs(tmp_path_factory):
    """A board of further channels that greeted, its rig, and a campaign."""
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
def whole(legs):
    yield
    restore(legs)


@pytest.mark.wide
def test_every_wire_of_further_channels_as_it_must_be(legs, whole):
    names = ("rest", "pull force right", "wire force right", "wire acceleration", "rest-again")
    names = (*names, "stop", "gate", "pin", "supply", "chain")
    assert [step.why for step in results(legs, *names)] == [""] * 11


@pytest.mark.parametrize("fault", tried(further=True), ids=identity)
@pytest.mark.rows(2)
def test_each_line_of_the_table_is_found_in_its_step(legs, whole, fault):
    is_found_in_its_step(legs, fault)
